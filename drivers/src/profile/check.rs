//! From what the file says to what it means: keys that do not belong to the kind, numbers out
//! of bounds, patterns without their groups and missing commands are faults here, each with
//! the key it is about, so that the message can point at its line.

use super::raw::{RawChecksum, RawDtr, RawFunction, RawKind, RawRemoteWhen, RawTerminator};
use super::{
    Accuracy, Checksum, Dialect, FunctionCommands, LinesDialect, Profile, RawOhmsAccuracy,
    RawProfile, RawVoltsAccuracy, RemoteWhen, ScpiDialect, Terminator, UnitWord,
};
use crate::link::Dtr;
use crate::reading::Function;
use regex_lite::Regex;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

/// A fault of meaning, with the key it is about.
#[derive(Debug)]
pub(super) struct Fault {
    key: String,
    problem: String,
}

impl Fault {
    fn new(key: &str, problem: impl Into<String>) -> Self {
        Self { key: key.to_owned(), problem: problem.into() }
    }

    /// The fault as text, with the line of the key in the file.
    pub(super) fn place(&self, text: &str) -> String {
        let names_key = |line: &str| {
            let line = line.trim_start_matches(['[', ' ', '\t']);
            line.strip_prefix(self.key.as_str())
                .is_some_and(|rest| rest.trim_start().starts_with(['=', ']', '.']))
        };
        match text.lines().position(names_key) {
            Some(index) => format!("line {}: {}: {}", index + 1, self.key, self.problem),
            None => format!("{}: {}", self.key, self.problem),
        }
    }
}

/// Checks a profile.
pub(super) fn check(raw: RawProfile) -> Result<Profile, Fault> {
    if raw.name.is_empty() || raw.name.len() > 64 || raw.name.contains(|c: char| c.is_control()) {
        return Err(Fault::new("name", "must have 1 to 64 printable characters"));
    }
    if !(0.0..=10.0).contains(&raw.lead_ohms) {
        return Err(Fault::new("lead_ohms", "must be from 0 to 10"));
    }
    check_lines(&raw)?;
    let dtr = match raw.dtr {
        RawDtr::On => Dtr::On,
        RawDtr::Off => Dtr::Off,
        RawDtr::Leave => Dtr::Leave,
    };
    let dialect = match raw.kind {
        RawKind::Scpi => Dialect::Scpi(scpi(&raw)?),
        RawKind::Lines => Dialect::Lines(lines(&raw)?),
    };
    let accuracy = accuracy(&raw)?;
    Ok(Profile { name: raw.name, dialect, dtr, lead_ohms: raw.lead_ohms, accuracy })
}

/// Whatever is sent must be one printable line of less than 256 bytes: one write.
fn check_lines(raw: &RawProfile) -> Result<(), Fault> {
    let lists = [("init", &raw.init), ("remote", &raw.remote), ("local", &raw.local)];
    for (key, list) in lists {
        list.iter().try_for_each(|line| check_line(key, line))?;
    }
    let single = [
        ("poll", &raw.poll),
        ("error_query", &raw.error_query),
        ("function_query", &raw.function_query),
    ];
    for (key, line) in single {
        line.iter().try_for_each(|line| check_line(key, line))?;
    }
    for function in raw.functions.values() {
        function.configure.iter().try_for_each(|line| check_line("configure", line))?;
        function.measure.iter().try_for_each(|line| check_line("measure", line))?;
        function.read.iter().try_for_each(|line| check_line("read", line))?;
    }
    Ok(())
}

fn check_line(key: &str, line: &str) -> Result<(), Fault> {
    let printable = line.bytes().all(|byte| (0x20..0x7f).contains(&byte));
    if line.is_empty() || line.len() > 250 || !printable {
        return Err(Fault::new(key, "must be 1 to 250 printable ASCII characters"));
    }
    Ok(())
}

/// A key that belongs to the other kind is a mistake, not a harmless extra.
fn refuse(kind: &str, keys: &[(&str, bool)]) -> Result<(), Fault> {
    match keys.iter().find(|(_, given)| *given) {
        Some((key, _)) => Err(Fault::new(key, format!("does not belong to kind `{kind}`"))),
        None => Ok(()),
    }
}

fn span(key: &str, given: Option<u32>, usual: u32) -> Result<Duration, Fault> {
    let millis = given.unwrap_or(usual);
    if millis > 600_000 {
        return Err(Fault::new(key, "must be at most 600000 (ten minutes)"));
    }
    Ok(Duration::from_millis(millis.into()))
}

fn timeout(given: Option<u32>, usual: u32) -> Result<Duration, Fault> {
    let timeout = span("timeout_ms", given, usual)?;
    if timeout.is_zero() {
        return Err(Fault::new("timeout_ms", "must be above 0"));
    }
    Ok(timeout)
}

const fn terminator(raw: RawTerminator) -> Terminator {
    match raw {
        RawTerminator::Lf => Terminator::Lf,
        RawTerminator::Cr => Terminator::Cr,
        RawTerminator::CrLf => Terminator::CrLf,
        RawTerminator::None => Terminator::Nothing,
    }
}

fn scpi(raw: &RawProfile) -> Result<ScpiDialect, Fault> {
    refuse(
        "scpi",
        &[
            ("pattern", raw.pattern.is_some()),
            ("decimal_comma", raw.decimal_comma),
            ("checksum", raw.checksum != RawChecksum::None),
            ("poll", raw.poll.is_some()),
            ("skip_lines", raw.skip_lines.is_some()),
            ("units", !raw.units.is_empty()),
        ],
    )?;
    if raw.functions.is_empty() {
        return Err(Fault::new("functions", "a SCPI meter needs at least one"));
    }
    let mut functions = BTreeMap::new();
    for (function, commands) in &raw.functions {
        functions.insert(*function, Arc::new(function_commands(*function, commands)?));
    }
    Ok(ScpiDialect {
        terminator: terminator(raw.terminator),
        timeout: timeout(raw.timeout_ms, 1000)?,
        integration: span("integration_ms", raw.integration_ms, 2500)?,
        settle: span("settle_ms", raw.settle_ms, 0)?,
        gap: span("gap_ms", raw.gap_ms, 0)?,
        quiet: span("quiet_ms", raw.quiet_ms, 60)?,
        pace: span("pace_ms", raw.pace_ms, 5)?,
        open: span("open_ms", raw.open_ms, 0)?,
        init: raw.init.clone(),
        remote: raw.remote.clone(),
        remote_when: match raw.remote_when {
            RawRemoteWhen::Always => RemoteWhen::Always,
            RawRemoteWhen::Refused => RemoteWhen::Refused,
        },
        local: raw.local.clone(),
        echo: raw.echo,
        overload: raw.overload.iter().map(|word| word.to_ascii_uppercase()).collect(),
        error_query: raw.error_query.clone(),
        function_query: raw.function_query.clone(),
        block: block(raw)?,
        status_every: raw.status_every_readings.unwrap_or(20).max(1),
        functions,
    })
}

fn block(raw: &RawProfile) -> Result<usize, Fault> {
    let count = raw.readings_per_query.unwrap_or(1);
    match usize::try_from(count) {
        Ok(count) if (1..=10_000).contains(&count) => Ok(count),
        _ => Err(Fault::new("readings_per_query", "must be from 1 to 10000")),
    }
}

fn function_commands(function: Function, raw: &RawFunction) -> Result<FunctionCommands, Fault> {
    if raw.configure.is_empty() && raw.measure.is_none() {
        let key = format!("functions.{}", function.name());
        return Err(Fault::new(&key, "needs `configure` or `measure`"));
    }
    Ok(FunctionCommands {
        configure: raw.configure.clone(),
        measure: raw.measure.clone(),
        read: raw.read.clone().unwrap_or_else(|| "READ?".to_owned()),
        shown_as: raw.shown_as.iter().map(|shown| crate::scpi::short_header(shown)).collect(),
    })
}

fn lines(raw: &RawProfile) -> Result<LinesDialect, Fault> {
    refuse(
        "lines",
        &[
            ("error_query", raw.error_query.is_some()),
            ("function_query", raw.function_query.is_some()),
            ("readings_per_query", raw.readings_per_query.is_some()),
            ("status_every_readings", raw.status_every_readings.is_some()),
            ("remote", !raw.remote.is_empty()),
            ("quiet_ms", raw.quiet_ms.is_some()),
            ("pace_ms", raw.pace_ms.is_some()),
            ("echo", raw.echo),
        ],
    )?;
    let mut functions = BTreeMap::new();
    for (function, commands) in &raw.functions {
        if commands.configure.is_empty() || commands.measure.is_some() || commands.read.is_some() {
            let key = format!("functions.{}", function.name());
            return Err(Fault::new(&key, "a meter of lines has `configure` only"));
        }
        functions.insert(*function, commands.configure.clone());
    }
    Ok(LinesDialect {
        terminator: terminator(raw.terminator),
        timeout: timeout(raw.timeout_ms, 5000)?,
        integration: span("integration_ms", raw.integration_ms, 0)?,
        settle: span("settle_ms", raw.settle_ms, 0)?,
        gap: span("gap_ms", raw.gap_ms, 0)?,
        open: span("open_ms", raw.open_ms, 0)?,
        init: raw.init.clone(),
        local: raw.local.clone(),
        poll: raw.poll.clone(),
        skip_lines: raw.skip_lines.unwrap_or(1),
        pattern: raw.pattern.as_deref().map(pattern).transpose()?,
        decimal_comma: raw.decimal_comma,
        checksum: match raw.checksum {
            RawChecksum::None => Checksum::None,
            RawChecksum::Xor => Checksum::Xor,
            RawChecksum::Sum => Checksum::Sum,
        },
        overload: raw.overload.iter().map(|word| word.to_ascii_uppercase()).collect(),
        units: units(raw)?,
        functions,
    })
}

fn pattern(text: &str) -> Result<Regex, Fault> {
    let regex = Regex::new(text).map_err(|error| Fault::new("pattern", error.to_string()))?;
    let groups: Vec<&str> = regex.capture_names().flatten().collect();
    for needed in ["value", "unit"] {
        if !groups.contains(&needed) {
            return Err(Fault::new("pattern", format!("has no group `(?<{needed}>...)`")));
        }
    }
    match groups.iter().find(|group| !["sign", "value", "unit", "function"].contains(group)) {
        Some(group) => Err(Fault::new("pattern", format!("group `{group}` has no meaning"))),
        None => Ok(regex),
    }
}

fn units(raw: &RawProfile) -> Result<BTreeMap<String, UnitWord>, Fault> {
    if raw.units.is_empty() {
        return Err(Fault::new("units", "a meter of lines needs at least one unit word"));
    }
    let mut units = BTreeMap::new();
    for (word, unit) in &raw.units {
        let key = format!("units.{word}");
        if !unit.factor.is_finite() || unit.factor <= 0.0 {
            return Err(Fault::new(&key, "`factor` must be above 0"));
        }
        if unit.functions.is_empty() {
            return Err(Fault::new(&key, "`functions` must name at least one"));
        }
        if let Some(other) = unit.functions.iter().find(|f| f.unit() != unit.unit) {
            return Err(Fault::new(&key, format!("{} is not measured in this unit", other.name())));
        }
        let checked =
            UnitWord { unit: unit.unit, functions: unit.functions.clone(), factor: unit.factor };
        units.insert(word.to_ascii_uppercase(), checked);
    }
    Ok(units)
}

fn accuracy(raw: &RawProfile) -> Result<BTreeMap<Function, Vec<Accuracy>>, Fault> {
    let stated = &raw.accuracy;
    let of_volts = |list: &[RawVoltsAccuracy]| list.iter().map(from_volts).collect();
    let of_ohms = |list: &[RawOhmsAccuracy]| list.iter().map(from_ohms).collect();
    let all: [(Function, Vec<Accuracy>); 6] = [
        (Function::VoltageDc, of_volts(&stated.voltage_dc)),
        (Function::VoltageAc, of_volts(&stated.voltage_ac)),
        (Function::Diode, of_volts(&stated.diode)),
        (Function::Resistance, of_ohms(&stated.resistance)),
        (Function::Resistance4w, of_ohms(&stated.resistance_4w)),
        (Function::Continuity, of_ohms(&stated.continuity)),
    ];
    let mut checked = BTreeMap::new();
    for (function, ranges) in all {
        check_ranges(function, &ranges)?;
        if !ranges.is_empty() {
            checked.insert(function, ranges);
        }
    }
    Ok(checked)
}

fn check_ranges(function: Function, ranges: &[Accuracy]) -> Result<(), Fault> {
    let fault = |problem| Err(Fault::new(&format!("accuracy.{}", function.name()), problem));
    let mut below = 0.0;
    for range in ranges {
        let sound = |x: f64| x.is_finite() && x >= 0.0;
        if !sound(range.percent) || !sound(range.floor) || range.percent + range.floor == 0.0 {
            return fault("must have a percentage or a floor, both finite and not negative");
        }
        if range.up_to.is_nan() || range.up_to <= below {
            return fault("ranges must rise");
        }
        below = range.up_to;
    }
    Ok(())
}

fn from_volts(raw: &RawVoltsAccuracy) -> Accuracy {
    Accuracy {
        up_to: raw.up_to_volts.unwrap_or(f64::INFINITY),
        percent: raw.percent,
        floor: raw.floor_volts + raw.counts * raw.count_volts,
    }
}

fn from_ohms(raw: &RawOhmsAccuracy) -> Accuracy {
    Accuracy {
        up_to: raw.up_to_ohms.unwrap_or(f64::INFINITY),
        percent: raw.percent,
        floor: raw.floor_ohms + raw.counts * raw.count_ohms,
    }
}
