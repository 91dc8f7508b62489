//! What a profile file may say, what it may not, and what the message then is. The shipped
//! profiles are read here as a user's file would be. Accuracy figures are checked against worked
//! examples that name their source.

use super::*;

fn problem(text: &str) -> String {
    Profile::parse("meter.toml", text).unwrap_err().to_string()
}

const LINES: &str = "name = \"m\"\nkind = \"lines\"\n\
                     [units.OHM]\nunit = \"ohm\"\nfunctions = [\"resistance\"]\n";

#[test]
fn shipped_profiles_load_under_their_own_names() {
    for name in Profile::shipped() {
        assert_eq!(Profile::load(name).unwrap().name, name);
    }
    assert!(Profile::load("scpi").unwrap().commanded());
    assert!(!Profile::load("ascii-lines").unwrap().commanded());
}

#[test]
fn shipped_profiles_state_an_accuracy_for_all_they_measure() {
    for name in Profile::shipped() {
        let profile = Profile::load(name).unwrap();
        for function in Function::ALL.into_iter().filter(|f| profile.supports(*f)) {
            let u = profile.standard_uncertainty(function, Value::Number(1.0));
            assert!(u.is_some_and(|u| u > 0.0), "{name}: {function}");
        }
    }
}

#[test]
fn a_misspelt_key_is_named_with_its_place_and_a_suggestion() {
    let message = problem("name = \"m\"\nkind = \"scpi\"\nsetle_ms = 5\n");
    assert!(message.contains("meter.toml: line 3, column 1"), "{message}");
    assert!(message.contains("did you mean `settle_ms`?"), "{message}");
    let message = problem("name = \"m\"\nkind = \"spci\"\n");
    assert!(message.contains("line 2") && message.contains("did you mean `scpi`?"), "{message}");
    let message = problem("name = \"m\"\nkind = \"scpi\"\n[functions.resistanse]\n");
    assert!(message.contains("line 3") && message.contains("`resistance`?"), "{message}");
}

#[test]
fn a_profile_that_is_not_there_says_which_there_are() {
    let message = Profile::load("ascii-line").unwrap_err().to_string();
    assert!(message.contains("did you mean `ascii-lines`?"), "{message}");
    let message = Profile::load("/no/such.toml").unwrap_err().to_string();
    assert!(message.contains("/no/such.toml"), "{message}");
}

#[test]
fn keys_of_the_other_kind_are_refused() {
    let message = problem("name = \"m\"\nkind = \"scpi\"\npoll = \"D\"\n");
    assert!(message.contains("line 3: poll: does not belong to kind `scpi`"), "{message}");
    let text = LINES.replace("[units", "error_query = \"SYST:ERR?\"\n[units");
    assert!(problem(&text).contains("line 3: error_query: does not belong"), "{}", problem(&text));
}

#[test]
fn faults_of_meaning_name_their_key() {
    for (line, fault) in [
        ("timeout_ms = 0", "line 3: timeout_ms: must be above 0"),
        ("settle_ms = 999999999", "settle_ms: must be at most"),
        ("lead_ohms = -1.0", "lead_ohms: must be from 0"),
        ("init = [\"A\\nB\"]", "init: must be 1 to 250 printable"),
        ("pattern = \"(?<value>.*)\"", "has no group `(?<unit>...)`"),
        ("pattern = \"(?<value>.*)(?<unit>.)(?<spare>.)\"", "group `spare` has no meaning"),
        ("pattern = \"(\"", "pattern:"),
        ("accuracy.resistance = [{ percent = -1.0 }]", "accuracy.resistance: must have"),
        (
            "accuracy.resistance = [{ up_to_ohms = 5.0, percent = 1.0 }, \
             { up_to_ohms = 4.0, percent = 1.0 }]",
            "ranges must rise",
        ),
    ] {
        let message = problem(&LINES.replace("[units", &format!("{line}\n[units")));
        assert!(message.contains(fault), "{line}: {message}");
    }
    let message = problem(&LINES.replace("\"resistance\"", "\"diode\""));
    assert!(message.contains("diode is not measured in this unit"), "{message}");
}

#[test]
fn uncertainty_is_the_stated_half_width_over_the_root_of_three() {
    // GUM (JCGM 100:2008) 4.3.7: u = a / sqrt(3) for a rectangular distribution.
    let text = LINES.to_owned()
        + "[[accuracy.resistance]]\nup_to_ohms = 600.0\npercent = 1.0\ncounts = 3.0\n\
           count_ohms = 0.1\n[[accuracy.resistance]]\npercent = 2.0\nfloor_ohms = 10.0\n";
    let profile = Profile::parse("m", &text).unwrap();
    let u = |x| profile.standard_uncertainty(Function::Resistance, Value::Number(x)).unwrap();
    assert!((u(-300.0) - 3.3 / 3.0_f64.sqrt()).abs() < 1e-12);
    assert!((u(1000.0) - 30.0 / 3.0_f64.sqrt()).abs() < 1e-12);
    assert_eq!(profile.standard_uncertainty(Function::Resistance, Value::Overload), None);
    assert_eq!(profile.standard_uncertainty(Function::Diode, Value::Number(1.0)), None);
    let leads = text.replace("[units", "lead_ohms = 0.3\n[units");
    let profile = Profile::parse("m", &leads).unwrap();
    let u = profile.standard_uncertainty(Function::Resistance, Value::Number(300.0)).unwrap();
    assert!((u - 3.6 / 3.0_f64.sqrt()).abs() < 1e-12);
}

#[test]
fn the_schema_names_every_key_of_the_shipped_profiles() {
    let schema = Profile::schema().to_value().to_string();
    for (name, text) in SHIPPED {
        let table: toml::Table = text.parse().unwrap();
        for key in table.keys() {
            assert!(schema.contains(&format!("\"{key}\"")), "{name}: {key}");
        }
    }
}
