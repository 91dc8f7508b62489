//! A panel file, checked: nothing downstream asks again whether a number can be. What is wrong is
//! named with file, line or key, and one hint. Examples are `fixtures/panels/*.toml`. What a text
//! may hold is in `panel_raw.rs`.

use super::band::{Bands, Compares};
use super::panel_raw::{RawBand, RawNumbering, RawPanel, RawSupply};
use super::series::Series;
use super::source::{Learnt, Measured, Source};
use super::toml_words::complaint;
use crate::event::{LoopKind, ZoneState};
use crate::fit::spread::Spread;

/// A panel's zone input.
#[derive(Clone, Debug, PartialEq)]
pub struct Panel {
    /// What it is called.
    pub name: String,
    /// Where its numbers come from.
    pub origin: String,
    /// Its supply.
    pub source: Source,
    /// The thresholds' tolerance, as a factor about 1.
    pub thresholds: Spread,
    /// What it reads.
    pub bands: Bands,
    /// The loop that it is made for.
    pub kind: LoopKind,
    /// The resistors that it asks for.
    pub resistors: Resistors,
    /// How its zones are numbered.
    pub numbering: Option<RawNumbering>,
}

/// The resistors that a panel asks for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Resistors {
    /// At the end of the line, in ohms; `None`: to be chosen.
    pub eol_ohms: Option<f64>,
    /// For alarm, in ohms.
    pub alarm_ohms: Option<f64>,
    /// Across the fault contact, in ohms.
    pub fault_ohms: Option<f64>,
    /// The series to pick from.
    pub series: Series,
    /// Their tolerance, in per cent.
    pub percent: f64,
}

/// Why a panel file is refused.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{file}{}: {problem}", .line.map(|l| format!(":{l}")).unwrap_or_default())]
pub struct BadPanel {
    /// The file, as it was named.
    pub file: String,
    /// The line, from 1, where one is known.
    pub line: Option<usize>,
    /// What is wrong, naming the key.
    pub problem: String,
    /// What to do about it.
    pub hint: String,
}

/// What is wrong, and the hint.
type Wrong = (String, &'static str);

impl Panel {
    /// Reads the text of a panel file; `file` is its name in messages.
    ///
    /// # Errors
    /// [`BadPanel`] names the file, and the line or the key.
    pub fn parse(text: &str, file: &str) -> Result<Self, BadPanel> {
        let file = file.to_owned();
        let raw: RawPanel = match toml::from_str(text) {
            Ok(raw) => raw,
            Err(error) => {
                let found = complaint(
                    text,
                    &error,
                    "`coilmark schema panel` describes panel files; fixtures/panels has some",
                );
                let (line, problem, hint) = (found.line, found.problem, found.hint);
                return Err(BadPanel { file, line, problem, hint });
            }
        };
        Self::checked(raw).map_err(|(problem, hint)| BadPanel {
            file,
            line: None,
            problem,
            hint: hint.into(),
        })
    }

    /// The JSON Schema of a panel file.
    #[must_use]
    pub fn schema() -> schemars::Schema {
        schemars::schema_for!(RawPanel)
    }

    fn checked(raw: RawPanel) -> Result<Self, Wrong> {
        let named = [("name", &raw.name), ("source", &raw.source)];
        for (key, text) in named {
            let printable = !text.trim().is_empty() && !text.chars().any(char::is_control);
            if !printable || text.chars().count() > 120 {
                return Err((
                    format!("`{key}`: expected 1 to 120 printable characters"),
                    "say in a few words what it is and where the numbers come from",
                ));
            }
        }
        within("threshold_percent", raw.threshold_percent, 0.0, 50.0)?;
        within("loop.percent", raw.wired.percent, 0.01, 30.0)?;
        let wired = &raw.wired;
        let resistors = [
            ("loop.eol_ohms", wired.eol_ohms),
            ("loop.alarm_ohms", wired.alarm_ohms),
            ("loop.fault_ohms", wired.fault_ohms),
        ];
        for (key, ohms) in resistors.into_iter().filter_map(|(key, ohms)| Some((key, ohms?))) {
            within(key, ohms, 1.0, 1e7)?;
        }
        wanted_resistors(wired.kind, wired.alarm_ohms, wired.fault_ohms)?;
        if let Some(numbering) = &raw.numbering {
            check_numbering(numbering)?;
        }
        Ok(Self {
            source: source(&raw.supply)?,
            thresholds: Spread::percent(1.0, raw.threshold_percent),
            bands: bands(&raw.band)?,
            kind: wired.kind,
            resistors: Resistors {
                eol_ohms: wired.eol_ohms,
                alarm_ohms: wired.alarm_ohms,
                fault_ohms: wired.fault_ohms,
                series: wired.series,
                percent: wired.percent,
            },
            numbering: raw.numbering,
            name: raw.name,
            origin: raw.source,
        })
    }
}

fn within(key: &str, value: f64, low: f64, high: f64) -> Result<f64, Wrong> {
    if (low..=high).contains(&value) {
        return Ok(value);
    }
    Err((format!("`{key}` = {value}: expected {low} to {high}"), "the key's name says the unit"))
}

fn wanted_resistors(
    kind: LoopKind,
    alarm_ohms: Option<f64>,
    fault_ohms: Option<f64>,
) -> Result<(), Wrong> {
    let alarm = matches!(kind, LoopKind::Double | LoopKind::Triple) && alarm_ohms.is_none();
    let fault = kind == LoopKind::Triple && fault_ohms.is_none();
    let hint = "say its ohms; the panel's manual has them";
    match (alarm, fault) {
        (true, _) => Err(("`loop.alarm_ohms` is missing for this kind of loop".into(), hint)),
        (_, true) => Err(("`loop.fault_ohms` is missing for this kind of loop".into(), hint)),
        _ => Ok(()),
    }
}

fn spread(key: &str, value: f64, percent: Option<f64>, u: Option<f64>) -> Result<Spread, Wrong> {
    match (percent, u) {
        (Some(_), Some(_)) => Err((
            format!("`supply.{key}_percent` and `supply.{key}_u`: one of the two"),
            "a tolerance for a stated value, a standard uncertainty for a measured one",
        )),
        (Some(percent), None) => Ok(Spread::percent(
            value,
            within(&format!("supply.{key}_percent"), percent, 0.0, 50.0)?,
        )),
        (None, Some(u)) => {
            Ok(Spread::measured(value, within(&format!("supply.{key}_u"), u, 0.0, value / 4.0)?))
        }
        (None, None) => Ok(Spread::exact(value)),
    }
}

/// The source as stated, or from what was measured.
fn source(raw: &RawSupply) -> Result<Source, Wrong> {
    within("supply.volts", raw.volts, 0.5, 60.0)?;
    let volts = spread("volts", raw.volts, raw.volts_percent, raw.volts_u)?;
    let measured = (raw.known_ohms, raw.known_volts);
    let hint = "write `ohms`, or `known_ohms` with `known_volts`, or `short_milliamps`";
    let ohms = match (raw.ohms, measured, raw.short_milliamps) {
        (Some(ohms), (None, None), None) => ohms,
        (None, (None, None), Some(milliamps)) => {
            raw.volts / within("supply.short_milliamps", milliamps, 0.001, 1000.0)? * 1e3
        }
        (None, (Some(known), Some(across)), None) => {
            let exact = |value| Measured { value, u: 0.0 };
            Learnt::from_two(exact(raw.volts), exact(known), exact(across), f64::INFINITY)
                .map_err(|bad| (format!("`supply`: {bad}"), hint))?
                .ohms
                .value
        }
        _ => {
            let problem = "`supply`: the source's resistance has to be said in one way";
            return Err((problem.into(), hint));
        }
    };
    within("supply.ohms", ohms, 1.0, 1e7)?;
    Ok(Source { volts, ohms: spread("ohms", ohms, raw.ohms_percent, raw.ohms_u)? })
}

fn bands(raw: &[RawBand]) -> Result<Bands, Wrong> {
    let hint = "list bands from a short to an open loop, each with `up_to_ohms` (or each with \
                `up_to_volts`), the last with neither";
    let Some((last, first)) = raw.split_last() else {
        return Err(("`band`: none".into(), hint));
    };
    if raw.len() > 12 {
        return Err((format!("`band`: {} of them, at most 12", raw.len()), hint));
    }
    if last.up_to_ohms.is_some() || last.up_to_volts.is_some() {
        return Err(("the last `band` has an end".into(), hint));
    }
    let in_ohms: Vec<f64> = first.iter().filter_map(|band| band.up_to_ohms).collect();
    let in_volts: Vec<f64> = first.iter().filter_map(|band| band.up_to_volts).collect();
    let (unit, ends) = match (in_ohms.len(), in_volts.len()) {
        (n, 0) if n == first.len() => (Compares::Ohms, in_ohms),
        (0, n) if n == first.len() => (Compares::Volts, in_volts),
        _ => return Err(("`band`: every band but the last needs an end in one unit".into(), hint)),
    };
    let reads: Vec<ZoneState> = raw.iter().map(|band| band.reads).collect();
    if !reads.contains(&ZoneState::Ready) || !reads.contains(&ZoneState::Violated) {
        return Err(("`band`: none reads ready, or none reads violated".into(), hint));
    }
    Bands::new(unit, reads, ends).ok_or(("`band`: the ends do not rise from above 0".into(), hint))
}

fn check_numbering(raw: &RawNumbering) -> Result<(), Wrong> {
    let ranges = [
        ("numbering.zones_per_expander", raw.zones_per_expander, 1, 64),
        ("numbering.first_zone", raw.first_zone, 0, 9999),
        ("numbering.first_address", raw.first_address, 0, 255),
        ("numbering.switches", raw.switches, 1, 8),
    ];
    for (key, value, low, high) in ranges {
        within(key, f64::from(value), f64::from(low), f64::from(high))?;
    }
    if raw.first_address >= 1 << raw.switches {
        let problem = "`numbering.first_address`: the switches do not reach it";
        return Err((problem.into(), "switches count in twos: 3 switches give 0 to 7"));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: &str = r#"
name = "one"
source = "invented for this test"
[supply]
volts = 12
ohms = 4700
[loop]
kind = "series"
eol_ohms = 3300
[[band]]
reads = "tamper"
up_to_ohms = 1000
[[band]]
reads = "ready"
up_to_ohms = 6000
[[band]]
reads = "violated"
"#;

    fn refused(old: &str, new: &str) -> BadPanel {
        assert!(GOOD.contains(old), "{old}");
        Panel::parse(&GOOD.replacen(old, new, 1), "a.toml").expect_err(new)
    }

    #[test]
    fn a_panel_is_read() {
        let panel = Panel::parse(GOOD, "a.toml").unwrap();
        assert_eq!(panel.bands.iter().count(), 3);
        assert_eq!(panel.resistors.eol_ohms, Some(3300.0));
    }

    #[test]
    fn an_unknown_key_is_named_with_its_line_and_the_nearest_one() {
        let bad = refused("eol_ohms", "eol_ohm");
        assert_eq!((bad.line, bad.hint.as_str()), (Some(9), "did you mean `eol_ohms`?"));
        assert_eq!(refused("\"series\"", "\"serie\"").hint, "did you mean `series`?");
    }

    #[test]
    fn what_cannot_be_is_refused_by_its_key() {
        let cases = [
            ("volts = 12", "volts = 1e9", "supply.volts"),
            ("volts = 12", "volts = nan", "supply.volts"),
            ("ohms = 4700", "ohms_percent = 1", "supply"),
            ("ohms = 4700", "ohms = 1\nshort_milliamps = 2", "supply"),
            ("\"series\"", "\"double\"", "alarm_ohms"),
            ("up_to_ohms = 6000", "up_to_ohms = 600", "band"),
            ("up_to_ohms = 6000", "up_to_volts = 6", "band"),
            ("reads = \"violated\"", "reads = \"fault\"", "band"),
            ("name = \"one\"", "name = \"\"", "name"),
            ("eol_ohms = 3300", "eol_ohms = -1", "eol_ohms"),
        ];
        for (old, new, key) in cases {
            let bad = refused(old, new);
            assert!(bad.problem.contains(key) && !bad.hint.is_empty(), "{new}: {bad}");
        }
    }

    #[test]
    fn a_name_is_as_long_as_it_may_be_and_printable() {
        let named = |name: &str| Panel::parse(&GOOD.replacen("one", name, 1), "a");
        assert_eq!(named(&"\u{e9}".repeat(120)).unwrap().name.chars().count(), 120);
        for bad in ["x".repeat(121), "  ".into(), "a\\tb".into(), "a\\u001b".into()] {
            assert!(named(&bad).unwrap_err().problem.contains("`name`"), "{bad}");
        }
    }

    #[test]
    fn a_loop_of_three_resistors_wants_all_of_them() {
        let triple = |more: &str| {
            Panel::parse(&GOOD.replacen("\"series\"", &format!("\"triple\"{more}"), 1), "a")
        };
        assert!(triple("").unwrap_err().problem.contains("alarm_ohms"));
        assert!(triple("\nalarm_ohms = 1000").unwrap_err().problem.contains("fault_ohms"));
        assert!(triple("\nalarm_ohms = 1000\nfault_ohms = 3300").is_ok());
    }

    #[test]
    fn a_measured_supply_is_known_to_a_quarter_at_the_worst() {
        let with = |u: &str| Panel::parse(&GOOD.replacen("= 12", &format!("= 12\n{u}"), 1), "a");
        assert!(with("volts_u = 3").is_ok() && with("ohms_u = 1175").is_ok());
        assert!(with("volts_u = 3.01").unwrap_err().problem.contains("supply.volts_u"));
        assert!(with("ohms_u = 1176").unwrap_err().problem.contains("supply.ohms_u"));
    }

    #[test]
    fn bands_are_twelve_at_most_and_all_but_the_last_end_in_one_unit() {
        let of = |count: usize| {
            let ready = "[[band]]\nreads = \"ready\"";
            let mut text = GOOD.to_owned();
            for end in 3..count {
                let more = format!("{ready}\nup_to_ohms = {}\n{ready}", 5000 - end);
                text = text.replacen(ready, &more, 1);
            }
            Panel::parse(&text, "a")
        };
        assert_eq!(of(12).unwrap().bands.iter().count(), 12);
        assert!(of(13).unwrap_err().problem.contains("13 of them"));
        let one_unit = "every band but the last needs an end in one unit";
        let in_volts = GOOD.replace("up_to_ohms = 1000", "up_to_volts = 1");
        let in_volts = in_volts.replace("up_to_ohms = 6000", "up_to_volts = 6");
        assert!(Panel::parse(&in_volts, "a").is_ok());
        for text in
            [GOOD.replace("up_to_ohms = 1000\n", ""), in_volts.replace("up_to_volts = 1\n", "")]
        {
            assert!(Panel::parse(&text, "a").unwrap_err().problem.contains(one_unit));
        }
        let none = GOOD.replace("up_to_ohms = 1000\n", "").replace("up_to_ohms = 6000\n", "");
        assert!(Panel::parse(&none, "a").unwrap_err().problem.contains(one_unit));
        for end in ["up_to_ohms = 9000", "up_to_volts = 9"] {
            let closed = Panel::parse(&format!("{GOOD}{end}\n"), "a").unwrap_err();
            assert!(closed.problem.contains("the last `band` has an end"), "{closed}");
        }
        let never_ready = refused("reads = \"ready\"", "reads = \"fault\"");
        assert!(never_ready.problem.contains("none reads ready"), "{never_ready}");
    }

    #[test]
    fn switches_reach_the_first_address_and_count_up_from_switch_1_if_nothing_else_is_said() {
        let with = |first_address: u32| {
            let numbering = format!(
                "{GOOD}[numbering]\nzones_per_expander = 8\nfirst_zone = 9\nswitches = 3\n\
                 first_address = {first_address}\n"
            );
            Panel::parse(&numbering, "a")
        };
        let numbering = with(7).unwrap().numbering.unwrap();
        assert!(numbering.switch_1_is_lowest && numbering.on_is_1);
        assert!(with(8).unwrap_err().problem.contains("the switches do not reach it"));
        assert!(with(256).unwrap_err().problem.contains("numbering.first_address"));
    }

    #[test]
    fn the_schema_describes_a_panel_file() {
        let schema = serde_json::to_string(&Panel::schema()).unwrap();
        for key in ["threshold_percent", "up_to_volts", "short_milliamps", "zones_per_expander"] {
            assert!(schema.contains(key), "{key}");
        }
    }

    #[test]
    fn measured_supplies_give_the_resistance() {
        let with = |new: &str| Panel::parse(&GOOD.replacen("ohms = 4700", new, 1), "a").unwrap();
        let across = with("known_ohms = 3300\nknown_volts = 4.95");
        assert!((across.source.ohms.nominal - 4700.0).abs() < 1e-6);
        assert!((with("short_milliamps = 2.5").source.ohms.nominal - 4800.0).abs() < 1e-6);
    }
}
