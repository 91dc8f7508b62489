//! The words of fitting a relay to an output. Every number carries its unit in the flag's name; all
//! are optional here, and what cannot be done without is the fit's to ask for. Where a log or a job
//! says something too, the flag is taken.

use super::operate::OperateClass;
use clap::{Args, ValueEnum};
use coilmark::run::{ContactWord, FitTerms};
use std::path::PathBuf;

#[derive(Args)]
pub(super) struct Fit {
    /// A recorded log of the output, as `coilmark analyse` takes it
    #[arg(long, value_name = "LOG.csv")]
    log: Option<PathBuf>,
    /// A job's folder: takes the identified coil and the logged output from its record, and records
    /// this fit in it; a new folder begins a record
    #[arg(long, value_name = "DIR")]
    job: Option<PathBuf>,
    #[command(flatten)]
    output: OutputWords,
    #[command(flatten)]
    coil: CoilWords,
    #[command(flatten)]
    cable: CableWords,
    /// Highest temperature of the air around the relay [default: 40]
    #[arg(long, value_name = "CELSIUS", allow_negative_numbers = true)]
    ambient_celsius: Option<f64>,
    /// Lowest temperature of the air around the relay [default: -10]
    #[arg(long, value_name = "CELSIUS", allow_negative_numbers = true)]
    ambient_celsius_min: Option<f64>,
    /// Highest temperature of the coil's winding [default: 30 above the air]
    #[arg(long, value_name = "CELSIUS", allow_negative_numbers = true)]
    coil_celsius_max: Option<f64>,
    /// Current of the loop through the contact
    #[arg(long, value_name = "MA")]
    loop_milliamps: Option<f64>,
    /// What the contact is made of
    #[arg(long, value_enum)]
    contact: Option<Material>,
    /// A hold-up capacitor that is fitted across the coil behind a diode
    #[arg(long, value_name = "UF")]
    hold_up_microfarads: Option<f64>,
    /// Random draws over everything that is not exactly known [default: 20000]
    #[arg(long, value_name = "N")]
    draws: Option<u32>,
    /// Their seed
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Print one JSON object instead of lines
    #[arg(long)]
    json: bool,
}

#[derive(Args)]
#[command(next_help_heading = "The output")]
struct OutputWords {
    /// Lowest volts of the output while in alarm
    #[arg(long, value_name = "VOLTS")]
    output_volts_min: Option<f64>,
    /// Usual volts of the output while in alarm [default: the lowest]
    #[arg(long, value_name = "VOLTS")]
    output_volts: Option<f64>,
    /// Highest volts of the output on any day [default: a charger's, by the class of supply]
    #[arg(long, value_name = "VOLTS")]
    output_volts_max: Option<f64>,
    /// Volts of the output at rest
    #[arg(long, value_name = "VOLTS")]
    rest_volts: Option<f64>,
    /// How well those volts are known, either way [default: 1]
    #[arg(long, value_name = "PERCENT")]
    output_percent: Option<f64>,
    /// Time from one pulse to the next, where it pulses
    #[arg(long, value_name = "SECONDS")]
    period_s: Option<f64>,
    /// Share of the period that it is on, 0 to 1
    #[arg(long, value_name = "SHARE")]
    duty: Option<f64>,
    /// Resistance of the supply and its switch [default: 0 to 2]
    #[arg(long, value_name = "OHMS")]
    source_ohms: Option<f64>,
    /// What the output may deliver
    #[arg(long, value_name = "AMPS")]
    output_amps_max: Option<f64>,
    /// What the output delivered while its volts were measured [default: 0]
    #[arg(long, value_name = "AMPS")]
    log_amps: Option<f64>,
    /// A siren that will hang at the same output
    #[arg(long, value_name = "AMPS")]
    siren_amps: Option<f64>,
    /// What the battery may fall to
    #[arg(long, value_name = "VOLTS")]
    battery_floor_volts: Option<f64>,
    /// Volts of the battery while the output was measured, in alarm
    #[arg(long, value_name = "VOLTS")]
    battery_volts: Option<f64>,
}

#[derive(Args)]
#[command(next_help_heading = "The coil")]
struct CoilWords {
    /// Resistance of the coil
    #[arg(long, value_name = "OHMS")]
    coil_ohms: Option<f64>,
    /// Tolerance of that resistance, either way [default: 10, or as measured]
    #[arg(long, value_name = "PERCENT")]
    coil_ohms_percent: Option<f64>,
    /// Temperature at which that resistance holds [default: 20]
    #[arg(long, value_name = "CELSIUS", allow_negative_numbers = true)]
    coil_ohms_celsius: Option<f64>,
    /// Rated volts of the coil
    #[arg(long, value_name = "VOLTS")]
    rated_volts: Option<f64>,
    /// Pick-up at 20 degrees
    #[arg(long, value_name = "VOLTS")]
    pick_up_volts: Option<f64>,
    /// Drop-out at 20 degrees
    #[arg(long, value_name = "VOLTS")]
    drop_out_volts: Option<f64>,
    /// Operative range class (IEC 61810-1): it picks up at 80 % of the rated volts (1) or 85 % (2)
    #[arg(long, value_name = "CLASS", conflicts_with = "operate_percent")]
    operate_class: Option<OperateClass>,
    /// Pick-up at most, of the rated volts, where no class says it [default: 80]
    #[arg(long, value_name = "PERCENT")]
    operate_percent: Option<f64>,
    /// Drop-out at least, of the rated volts [default: 5]
    #[arg(long, value_name = "PERCENT")]
    release_percent: Option<f64>,
    /// How well pick-up and drop-out are known, either way [default: 3]
    #[arg(long, value_name = "PERCENT")]
    pick_up_percent: Option<f64>,
    /// The most that the coil stands for good [default: 110 % of rated]
    #[arg(long, value_name = "VOLTS")]
    volts_max: Option<f64>,
    /// Inductance of the coil
    #[arg(long, value_name = "HENRIES")]
    coil_henries: Option<f64>,
}

#[derive(Args)]
#[command(next_help_heading = "The cable")]
struct CableWords {
    /// Length of the cable, one way
    #[arg(long, value_name = "METRES")]
    cable_length_m: Option<f64>,
    /// Cross-section of a conductor: 0.14 0.22 0.25 0.34 0.5 0.75 1 1.5 2.5 4 6
    #[arg(long, value_name = "MM2", conflicts_with = "cable_awg")]
    cable_mm2: Option<f64>,
    /// Fine strands (IEC 60228 class 5) instead of class 1 or 2
    #[arg(long, requires = "cable_mm2")]
    cable_flexible: bool,
    /// Tinned conductors
    #[arg(long, requires = "cable_mm2")]
    cable_tinned: bool,
    /// Wire gauge of a conductor, 0 to 40
    #[arg(long, value_name = "AWG")]
    cable_awg: Option<u8>,
    /// Both conductors as measured, joined at the far end, instead of a size
    #[arg(long, value_name = "OHMS")]
    cable_ohms: Option<f64>,
    /// Highest temperature of the cable [default: that of the air]
    #[arg(long, value_name = "CELSIUS", allow_negative_numbers = true)]
    cable_celsius: Option<f64>,
}

#[derive(Clone, Copy, ValueEnum)]
pub(super) enum Material {
    /// Silver alloy, as in relays for power
    Silver,
    /// Silver alloy under 5 micrometres of gold
    GoldFlashed,
    /// 10 micrometres of gold
    Gold,
}

impl From<Material> for ContactWord {
    fn from(word: Material) -> Self {
        match word {
            Material::Silver => Self::Silver,
            Material::GoldFlashed => Self::GoldFlashed,
            Material::Gold => Self::Gold,
        }
    }
}

impl From<Fit> for FitTerms {
    fn from(w: Fit) -> Self {
        let mut terms = Self { log: w.log, job: w.job, json: w.json, ..Self::default() };
        let said = &mut terms.said;
        let (o, c, k) = (w.output, w.coil, w.cable);
        said.output.volts_min = o.output_volts_min;
        said.output.volts = o.output_volts;
        said.output.volts_max = o.output_volts_max;
        said.output.rest_volts = o.rest_volts;
        said.output.percent = o.output_percent;
        said.output.period_s = o.period_s;
        said.output.duty = o.duty;
        said.output.source_ohms = o.source_ohms;
        said.output.amps_max = o.output_amps_max;
        said.output.log_amps = o.log_amps;
        said.output.siren_amps = o.siren_amps;
        said.output.battery_floor_volts = o.battery_floor_volts;
        said.output.battery_volts = o.battery_volts;
        said.coil.ohms = c.coil_ohms;
        said.coil.ohms_percent = c.coil_ohms_percent;
        said.coil.ohms_celsius = c.coil_ohms_celsius;
        said.coil.rated_volts = c.rated_volts;
        said.coil.pick_up_volts = c.pick_up_volts;
        said.coil.drop_out_volts = c.drop_out_volts;
        said.coil.operate_percent =
            c.operate_class.map(OperateClass::percent).or(c.operate_percent);
        said.coil.release_percent = c.release_percent;
        said.coil.pick_up_percent = c.pick_up_percent;
        said.coil.volts_max = c.volts_max;
        said.coil.henries = c.coil_henries;
        said.cable.length_m = k.cable_length_m;
        said.cable.mm2 = k.cable_mm2;
        said.cable.flexible = k.cable_flexible;
        said.cable.tinned = k.cable_tinned;
        said.cable.awg = k.cable_awg;
        said.cable.ohms = k.cable_ohms;
        said.cable.celsius = k.cable_celsius;
        said.air.ambient_celsius = w.ambient_celsius;
        said.air.ambient_celsius_min = w.ambient_celsius_min;
        said.air.coil_celsius_max = w.coil_celsius_max;
        said.contact.loop_milliamps = w.loop_milliamps;
        said.contact.material = w.contact.map(ContactWord::from);
        said.hold_up_microfarads = w.hold_up_microfarads;
        said.draws = w.draws;
        said.seed = w.seed;
        terms
    }
}
