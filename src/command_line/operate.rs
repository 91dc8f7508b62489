//! The operative range classes of IEC 61810-1, 5.2 (from memory), as words of the command line: how
//! much of the rated volts a relay may want before it picks up. Both classes reach to 110 %. They
//! become the percentage of the flag that says the same without a class.

use clap::ValueEnum;

/// A class.
#[derive(Clone, Copy, ValueEnum)]
pub(super) enum OperateClass {
    /// 80 to 110 % of the rated volts
    #[value(name = "1")]
    One,
    /// 85 to 110 % of the rated volts
    #[value(name = "2")]
    Two,
}

impl OperateClass {
    /// Pick-up at most, in per cent of the rated volts.
    pub(super) const fn percent(self) -> f64 {
        match self {
            Self::One => 80.0,
            Self::Two => 85.0,
        }
    }
}
