//! Panel files that ship inside the program, each with the name that it goes by where no file of
//! that name is there. They are generic kinds of input, not makes of panel; a site with another
//! input has a file of its own.

/// Each by its name, and its text.
pub const BUILT_IN: [(&str, &str); 5] = [
    ("series-3k3-12v", include_str!("../../fixtures/panels/series_3k3_12_volt.toml")),
    ("parallel-10k-12v", include_str!("../../fixtures/panels/parallel_10k_12_volt.toml")),
    ("bare-12v", include_str!("../../fixtures/panels/bare_12_volt.toml")),
    ("double-4k7-5v", include_str!("../../fixtures/panels/double_4k7_5_volt.toml")),
    ("triple-1k-5v", include_str!("../../fixtures/panels/triple_1k_5_volt.toml")),
];

#[cfg(test)]
mod tests {
    use super::super::Panel;
    use super::*;

    #[test]
    fn every_panel_that_ships_is_sound() {
        for (name, text) in BUILT_IN {
            assert!(Panel::parse(text, name).is_ok(), "{name}");
        }
    }
}
