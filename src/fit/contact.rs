//! Whether a loop's current keeps a contact clean: the least current that contact materials want,
//! by makers' data. Below it a film that grows on the contact is no longer broken through, and the
//! loop reads open or high now and then. Milliamperes.

/// What a contact is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Material {
    /// Silver alloy, as in relays for power: the usual one.
    Silver,
    /// Silver alloy under 5 micrometres of gold.
    GoldFlashed,
    /// 10 micrometres of gold, until worn through by a larger load.
    Gold,
}

/// All of them, the hungriest first.
pub const MATERIALS: [Material; 3] = [Material::Silver, Material::GoldFlashed, Material::Gold];

impl Material {
    /// The least current that keeps it clean, in milliamperes: AgNi 10 mA at 5 V and AgNi with
    /// 5 um of gold 5 mA at 5 V (a relay's data sheet); 10 um of gold 1 mA (a table of materials).
    #[must_use]
    pub const fn wetting_milliamps(self) -> f64 {
        match self {
            Self::Silver => 10.0,
            Self::GoldFlashed => 5.0,
            Self::Gold => 1.0,
        }
    }

    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Silver => "silver alloy",
            Self::GoldFlashed => "silver alloy with 5 um of gold",
            Self::Gold => "10 um of gold",
        }
    }
}
