//! The cautions, and their texts word for word: each is shown before the step it belongs to, wants
//! to be acknowledged, and is recorded as it was shown. They defer to local codes, to the manuals
//! and to licensed people, and none of them makes a certificate of anything.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A caution, shown before the step it belongs to.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Caution {
    /// The part is out of its circuit, with nothing connected.
    DeadCircuit,
    /// Driving a coil: supply, kick-back, heat, hands.
    CoilDrive,
    /// What this test does not show.
    NotACertificate,
    /// Working at an alarm panel's terminals.
    PanelTerminals,
    /// What a check of a zone does not show.
    NoProofOfSite,
    /// An energizer's fence terminals; only low-voltage outputs are measured.
    EnergizerHighVoltage,
    /// Working on a live low-voltage output.
    LiveOutput,
    /// The board is out of its circuit, with nothing connected.
    DeadBoard,
    /// What a board's test does not show.
    NoInsulationTest,
    /// Working at a site: equipment, panel and cable.
    SiteWork,
    /// What a handed-over record is, and is not.
    HandOver,
}

impl Caution {
    /// The text that is shown, and recorded as shown.
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::DeadCircuit => DEAD_CIRCUIT,
            Self::CoilDrive => COIL_DRIVE,
            Self::NotACertificate => NOT_A_CERTIFICATE,
            Self::PanelTerminals => PANEL_TERMINALS,
            Self::NoProofOfSite => NO_PROOF_OF_SITE,
            Self::EnergizerHighVoltage => ENERGIZER_HIGH_VOLTAGE,
            Self::LiveOutput => LIVE_OUTPUT,
            Self::DeadBoard => DEAD_BOARD,
            Self::NoInsulationTest => NO_INSULATION_TEST,
            Self::SiteWork => SITE_WORK,
            Self::HandOver => HAND_OVER,
        }
    }
}

const DEAD_CIRCUIT: &str = "\
    Only a part that lies on the bench, out of its circuit, with nothing connected. Ohms on a \
    live circuit read wrong and can destroy the meter. Mains may be inside the equipment it \
    came from: switch off, isolate and discharge before you take it out. Local wiring codes, \
    the equipment's own manual and a licensed person come first.";
const COIL_DRIVE: &str = "\
    Now the coil is driven. Use a supply with a current limit, at the voltage asked and no \
    higher. A coil kicks back when it is switched off: keep fingers off bare pins, and never \
    leave the meter on ohms across the driven pins. If the part gets hot or smells, take the \
    drive off.";
const NOT_A_CERTIFICATE: &str = "\
    This shows which pin is what. It does not show that the contacts may switch mains, and a \
    multimeter cannot prove insulation. Nothing here is a certificate.";
const PANEL_TERMINALS: &str = "\
    Inside an alarm panel: mains may be under the cover, and the battery can deliver tens of \
    amperes into a slipped lead. Keep to the zone's two terminals. Volts only: ohms on a live \
    loop read wrong and can destroy the meter. Put the panel into test first, so that nobody \
    is called out. The equipment that gives the alarm may be an energizer: its fence terminals \
    carry kilovolt pulses and are never touched. Local wiring codes, the manuals and a \
    licensed person come first.";
const NO_PROOF_OF_SITE: &str = "\
    This shows how one loop is read at its terminals today. It does not show that the panel is \
    programmed for it, that the alarm goes out, or that the site is protected. Walk-test it \
    with the panel itself. Nothing here is a certificate.";
const ENERGIZER_HIGH_VOLTAGE: &str = "\
    An electric-fence energizer puts kilovolt pulses on its fence terminals: they kill a meter \
    and can hurt you. Only a low-voltage output, such as the one for a siren, is ever measured \
    here, and never a fence or earth terminal. Switch it off, earth and discharge the fence \
    side before you open anything or connect a lead, and never defeat a cover interlock.";
const LIVE_OUTPUT: &str = "\
    The output is live in alarm, and mains may be inside the equipment: with the cover off, \
    keep to the output's two terminals. Measure volts only: ohms, continuity or current there \
    read wrong and can destroy the meter, and a battery behind it can deliver tens of amperes \
    into a slipped lead. Local wiring codes, the equipment's own manual and a licensed person \
    come first. Nothing here is a certificate.";
const DEAD_BOARD: &str = "\
    Only a board that lies on the bench, with nothing connected to any terminal. Its contacts \
    may have switched mains or an alarm loop: isolate, and take every wire off first. Use a \
    supply with a current limit, and never leave the meter on ohms across the driven input. \
    Local wiring codes, the equipment's own manual and a licensed person come first.";
const NO_INSULATION_TEST: &str = "\
    Open beyond the meter's range is no insulation test: a meter's few volts do not show what \
    mains or a surge would. This test shows that the board meets the limits of its plan on \
    this bench. Nothing here is a certificate.";
const SITE_WORK: &str = "\
    At the site: mains may be inside the equipment and the panel, an energizer's fence \
    terminals carry kilovolt pulses, and a panel's battery can deliver tens of amperes into a \
    slipped tool. Switch off, isolate, discharge and earth before you open anything; never \
    defeat a cover interlock. Put the panel into test, so that nobody is called out. Local \
    wiring codes, the manuals of the equipment and of the panel, and a licensed person come \
    first.";
const HAND_OVER: &str = "\
    The record shows what was measured here, on these days, with this meter. It does not show \
    that the panel is programmed for it, that an alarm reaches anybody, or that the wiring \
    meets the local code. What was skipped or failed stands in it. Take the panel out of test, \
    and walk-test the zone. Nothing here is a certificate.";
