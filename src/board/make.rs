//! Plans that nobody has to write: from an identified relay's finding, with the limits that
//! catalogues usually state, and the built-in ones for common boards. A plan made here is a
//! beginning: who knows the part's own data sheet puts its numbers in. Volts, ohms.

use crate::event::{
    BoardPlan, Form, IdentifyFinding, Latching, Outcome, Pin, Pins, PlanContact, PlanDecision,
    PlanLeads, PlanStep, PlanSupply, PoleFound,
};
use crate::relay::coil::MUST_OPERATE;

/// The built-in plans: a name, and the text of the file.
pub const BUILT_IN: [(&str, &str); 2] = [
    ("changeover-12v", include_str!("../../fixtures/boards/changeover-12v.toml")),
    ("make-24v", include_str!("../../fixtures/boards/make-24v.toml")),
];

/// Must have let go at 10 % of rated volts, coil within 15 %: what catalogues state after
/// JIS C 4530 and JIS C 5442.
const RELEASE_SHARE: f64 = 0.1;
const COIL_SHARE: f64 = 0.15;
/// A usual figure for a small relay's contact is 0.1 ohm, and a hand-held meter with two leads
/// cannot tell much less than this: common practice, no source.
const CONTACT_OHMS: f64 = 0.25;
/// With its leads a closed contact stays well below, an open one well above: common practice,
/// no source.
const CLOSED_OHMS: f64 = 2.0;
const OPEN_OHMS: f64 = 1e6;

/// A plan for relays like the one that was identified.
///
/// # Errors
/// Why there can be none, in words: undecided, latching, no coil, no contact.
pub fn from_identified(finding: &IdentifyFinding, pins: &Pins) -> Result<BoardPlan, String> {
    if finding.result != Outcome::Identified {
        return Err("the part is undecided".into());
    }
    if finding.latching != Latching::No {
        return Err("a latching relay holds its state, which no plan has steps for".into());
    }
    let coil = finding.coils.first().ok_or("the part has no coil")?;
    let ohms = coil.ohms.ok_or("its coil was not measured")?;
    let volts = coil.rated_volts.first().ok_or("its rated volts are not known")?.volts;
    let contact: Vec<PlanContact> = finding.poles.iter().filter_map(contact).collect();
    let first = contact.first().ok_or("the part has no contact")?;
    let terminal = first.common.clone();
    let reversed = (coil.polarised == Some(true)).then_some(0.0);
    let mut between: Vec<[Pin; 2]> = Vec::new();
    for (i, one) in contact.iter().enumerate() {
        between.push([coil.plus.clone(), one.common.clone()]);
        contact[i + 1..].iter().for_each(|other| {
            between.push([one.common.clone(), other.common.clone()]);
        });
    }
    let (closed_ohms_max, open_ohms_min) = (CLOSED_OHMS, OPEN_OHMS);
    Ok(BoardPlan {
        name: format!("{} relay, {volts} V, as identified", finding.family),
        revision: "1".into(),
        terminals: pins.clone(),
        supply: PlanSupply {
            plus: coil.plus.clone(),
            minus: coil.minus.clone(),
            volts,
            must_operate_volts: Some(tenths(MUST_OPERATE * volts)),
            drop_out_volts: Some(tenths(RELEASE_SHARE * volts)),
            watts_max: PlanSupply::WATTS_MAX,
        },
        decision: PlanDecision::default(),
        leads: PlanLeads::usual(terminal),
        contact,
        step: vec![
            PlanStep::InputResistance {
                ohms_min: tenths((1.0 - COIL_SHARE) * ohms),
                ohms_max: tenths((1.0 + COIL_SHARE) * ohms),
                reversed_ohms_min: reversed,
                reversed_ohms_max: None,
                copper: true,
            },
            PlanStep::Rest { closed_ohms_max, open_ohms_min },
            PlanStep::MustOperate { closed_ohms_max, open_ohms_min },
            PlanStep::Changeover { closed_ohms_max, open_ohms_min },
            PlanStep::DropOut { closed_ohms_max, open_ohms_min },
            PlanStep::ContactOhms { ohms_max: CONTACT_OHMS, four_wire: false },
            PlanStep::Isolation { between, open_ohms_min },
        ],
    })
}

fn contact(pole: &PoleFound) -> Option<PlanContact> {
    let common = pole.common.first()?.clone();
    let (nc, no) = (pole.nc.first().cloned(), pole.no.first().cloned());
    let (nc, no) = match pole.form {
        Form::A => (None, no),
        Form::B => (nc, None),
        Form::C => (nc, no),
    };
    (nc.is_some() || no.is_some()).then_some(PlanContact { common, nc, no })
}

fn tenths(x: f64) -> f64 {
    (10.0 * x).round() / 10.0
}
