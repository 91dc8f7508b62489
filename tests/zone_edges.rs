//! Zone loops at their edges, worked by hand: every kind of loop with every fault, what the panel
//! then reads, which wiring is ranked before which, what explains a reading, and where the verdict
//! on a measured loop turns. The panels are those that ship; 12 V behind 4.7 kilohm for the
//! classic loop of 3.3 kilohm.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

use coilmark::event::{
    CoilDriven, FaultEffect, LoopKind, ResistorPlace, Verdict, ZoneContact, ZoneDesignFinding,
    ZoneFaultCode as F, ZoneState, ZoneWiring,
};
use coilmark::fit::spread::Spread;
use coilmark::zone::circuit::{Situation as S, Values, ohms};
use coilmark::zone::{
    BUILT_IN, Design, Measured, Panel, Parts, Wanted, explanations, in_words, measured, when,
};

const OPEN: f64 = f64::INFINITY;

const SERIES: ZoneWiring = ZoneWiring {
    kind: LoopKind::Series,
    contact: ZoneContact::NormallyClosed,
    place: ResistorPlace::FarEnd,
    drive: CoilDriven::InAlarm,
    tamper: false,
};

const HELD: ZoneWiring =
    ZoneWiring { contact: ZoneContact::NormallyOpen, drive: CoilDriven::AtRest, ..SERIES };

fn text(name: &str) -> &'static str {
    BUILT_IN.iter().find(|(known, _)| *known == name).unwrap().1
}

fn designed(text: &str, wiring: ZoneWiring) -> Design {
    let parts =
        Parts { cable_ohms: Spread::exact(9.21), contact_ohms: Spread::between(0.0, 0.1, 0.1) };
    Design::new(Panel::parse(text, "panel").unwrap(), wiring, parts, 1000, 1)
}

fn classic() -> Design {
    designed(text("series-3k3-12v"), SERIES)
}

#[track_caller]
fn close(found: f64, by_hand: f64) {
    let near = found == by_hand || (found - by_hand).abs() < 1e-9 * by_hand.abs().max(1.0);
    assert!(near, "{found}, by hand {by_hand}");
}

/// End of line 1000 ohm, alarm 3000, fault 500, cable 10, a closed contact 1.
#[track_caller]
fn loops(wiring: ZoneWiring, cases: &[(S, Option<F>, f64)]) {
    let values = Values {
        eol_ohms: 1000.0,
        alarm_ohms: 3000.0,
        fault_ohms: 500.0,
        cable_ohms: 10.0,
        contact_ohms: 1.0,
        source_volts: 12.0,
        source_ohms: 4700.0,
        threshold_factor: 1.0,
    };
    for &(situation, fault, by_hand) in cases {
        let found = ohms(&wiring, situation, fault, &values);
        let near = found == by_hand || (found - by_hand).abs() < 1e-9;
        assert!(near, "{wiring:?} {situation:?} {fault:?}: {found}, by hand {by_hand}");
    }
}

#[test]
fn every_fault_of_a_loop_with_one_resistor_measures_as_worked_by_hand() {
    let damp = |ohms: f64| ohms * 22_000.0 / (ohms + 22_000.0);
    loops(
        SERIES,
        &[
            (S::Rest, None, 1011.0),
            (S::Alarm, None, OPEN),
            (S::Rest, Some(F::WireCut), OPEN),
            (S::Rest, Some(F::PairShorted), 5.0),
            (S::Alarm, Some(F::PairShorted), 5.0),
            (S::Alarm, Some(F::ContactBridged), 1011.0),
            (S::Alarm, Some(F::SupplyLost), 1011.0),
            (S::Alarm, Some(F::CoilOpen), 1011.0),
            (S::Alarm, Some(F::ContactWelded), 1011.0),
            (S::Rest, Some(F::ContactNeverCloses), OPEN),
            (S::Rest, Some(F::OtherContact), OPEN),
            (S::Alarm, Some(F::OtherContact), 1011.0),
            (S::Rest, Some(F::ResistorMissing), OPEN),
            (S::Rest, Some(F::ResistorJoined), 11.0),
            (S::Alarm, Some(F::ResistorJoined), OPEN),
            (S::Rest, Some(F::ResistorAtPanel), 1011.0),
            (S::Rest, Some(F::Damp), damp(1011.0)),
            (S::Alarm, Some(F::Damp), 22_000.0),
        ],
    );
    let held = [
        (S::Rest, None, 1011.0),
        (S::Alarm, None, OPEN),
        (S::Rest, Some(F::SupplyLost), OPEN),
        (S::Rest, Some(F::CoilOpen), OPEN),
    ];
    loops(HELD, &held);
    let at_panel = ZoneWiring { place: ResistorPlace::PanelEnd, ..SERIES };
    loops(at_panel, &[(S::Rest, None, 1011.0), (S::Rest, Some(F::PairShorted), 1005.0)]);
    let across =
        ZoneWiring { kind: LoopKind::Parallel, contact: ZoneContact::NormallyOpen, ..SERIES };
    let far = [
        (S::Rest, None, 1010.0),
        (S::Alarm, None, 10.0 + 1000.0 / 1001.0),
        (S::Alarm, Some(F::ResistorAtPanel), 11_000.0 / 1011.0),
        (S::Alarm, Some(F::ResistorJoined), 10.0),
    ];
    loops(across, &far);
    let near = [(S::Rest, None, 1000.0), (S::Alarm, None, 11_000.0 / 1011.0)];
    loops(ZoneWiring { place: ResistorPlace::PanelEnd, ..across }, &near);
    let bare = ZoneWiring { kind: LoopKind::Bare, ..SERIES };
    loops(bare, &[(S::Rest, None, 11.0), (S::Alarm, None, OPEN)]);
}

#[test]
fn loops_with_two_and_three_resistors_measure_as_worked_by_hand() {
    let opening = ZoneWiring { kind: LoopKind::Double, tamper: true, ..SERIES };
    loops(
        opening,
        &[
            (S::Rest, None, 1011.0 + 3000.0 / 3001.0),
            (S::Alarm, None, 4011.0),
            (S::TamperOpen, None, OPEN),
            (S::Alarm, Some(F::AlarmResistorMissing), OPEN),
            (S::Rest, Some(F::ResistorsSwapped), 3011.0 + 1000.0 / 1001.0),
            (S::Alarm, Some(F::ResistorsSwapped), 4011.0),
        ],
    );
    // At the panel the cable lies inside: 10 and two contacts of 1 beside 3000.
    let inside = [
        (S::Rest, None, 1000.0 + 36_000.0 / 3012.0),
        (S::Alarm, None, 4000.0),
        (S::TamperOpen, None, 4000.0),
    ];
    loops(ZoneWiring { place: ResistorPlace::PanelEnd, ..opening }, &inside);
    let closing = ZoneWiring { contact: ZoneContact::NormallyOpen, tamper: false, ..opening };
    loops(
        closing,
        &[
            (S::Rest, None, 1010.0),
            (S::Alarm, None, 10.0 + 3_001_000.0 / 4001.0),
            (S::Rest, Some(F::ResistorsSwapped), 3010.0),
            (S::Alarm, Some(F::AlarmResistorMissing), 1010.0),
        ],
    );
    let triple = ZoneWiring { kind: LoopKind::Triple, tamper: false, ..opening };
    let (contact, fault) = (3000.0 / 3001.0, 500.0 / 501.0);
    loops(
        triple,
        &[
            (S::Rest, None, 1010.0 + contact + fault),
            (S::Alarm, None, 4010.0 + fault),
            (S::FaultOpen, None, 1510.0 + contact),
        ],
    );
}

#[test]
fn resistors_side_by_side_halve_where_they_are_alike_and_a_short_stays_one() {
    let values = Values {
        eol_ohms: 4700.0,
        alarm_ohms: 0.0,
        fault_ohms: 0.0,
        cable_ohms: 0.0,
        contact_ohms: 4700.0,
        source_volts: 5.0,
        source_ohms: 2200.0,
        threshold_factor: 1.0,
    };
    let across = ZoneWiring { kind: LoopKind::Parallel, ..SERIES };
    assert_eq!(ohms(&across, S::Rest, None, &values), 2350.0);
    let shorted = Values { eol_ohms: 0.0, contact_ohms: 0.0, ..values };
    assert_eq!(ohms(&across, S::Rest, None, &shorted), 0.0);
}

#[test]
fn the_fault_table_of_the_classic_loop_says_what_stays_silent() {
    let effects = |finding: &ZoneDesignFinding, effect| -> Vec<F> {
        let of = finding.faults.iter().filter(|fault| fault.effect == effect);
        of.map(|fault| fault.code).collect()
    };
    // Silent: read ready (3.3 kilohm) at rest and in alarm. Damp leaves 2.9 kilohm at rest and 22
    // in alarm.
    let finding = classic().finding();
    let silent = [F::ContactBridged, F::SupplyLost, F::CoilOpen, F::ContactWelded];
    assert_eq!(effects(&finding, FaultEffect::Silent), silent);
    assert_eq!(effects(&finding, FaultEffect::Hidden), [F::Damp, F::ResistorAtPanel]);
    let shown = [
        (F::WireCut, ZoneState::Violated, "a wire of the cable is cut"),
        (F::PairShorted, ZoneState::Tamper, "the two wires touch on their way"),
        (F::ContactNeverCloses, ZoneState::Violated, "the contact never closes"),
        (
            F::OtherContact,
            ZoneState::Violated,
            "the other contact was used (NO for NC, or NC for NO)",
        ),
        (F::ResistorMissing, ZoneState::Violated, "end-of-line resistor missing, its place open"),
        (F::ResistorJoined, ZoneState::Tamper, "end-of-line resistor missing, the wires joined"),
    ];
    assert_eq!(effects(&finding, FaultEffect::Shown), shown.map(|(code, ..)| code));
    for (code, at_rest, text) in shown {
        let fault = finding.faults.iter().find(|fault| fault.code == code).unwrap();
        assert_eq!((fault.at_rest, fault.text.as_str()), (at_rest, text));
    }
    // A coil that is held at rest lets go when its supply is lost. At the panel, the resistor has
    // no other place to be in.
    let held = designed(text("series-3k3-12v"), HELD).finding();
    assert_eq!(effects(&held, FaultEffect::Silent), [F::ContactBridged, F::ContactWelded]);
    let at_panel = ZoneWiring { place: ResistorPlace::PanelEnd, ..SERIES };
    let finding = designed(text("series-3k3-12v"), at_panel).finding();
    assert_eq!(effects(&finding, FaultEffect::Hidden), [F::Damp]);
    assert!(effects(&finding, FaultEffect::Silent).contains(&F::PairShorted));
}

#[test]
fn the_wiring_that_hides_least_is_ranked_first_and_one_that_does_not_work_not_at_all() {
    let ranking = classic().finding().ranking;
    let at_panel = ZoneWiring { place: ResistorPlace::PanelEnd, ..SERIES };
    let found: Vec<_> =
        ranking.iter().map(|rank| (rank.wiring, rank.silent, rank.hidden)).collect();
    assert_eq!(found, [(SERIES, 4, 2), (at_panel, 5, 1)]);
    assert_eq!(
        ranking[0].reason,
        "silent: the contact's terminals are bridged; the relay gets no supply; the coil is open; \
         the contact has welded"
    );
    assert_eq!(ranking[0].text, "NC contact (11-12), one resistor in line, at the relay");
    // Without a stated resistor, one across an opening contact works on a bare input as well; a
    // bare loop has no resistor whose place would matter.
    let bare = ZoneWiring { kind: LoopKind::Bare, ..SERIES };
    let finding = designed(text("bare-12v"), bare).finding();
    let kinds = |kind| finding.ranking.iter().filter(move |rank| rank.wiring.kind == kind);
    let places: Vec<_> = kinds(LoopKind::Bare).map(|rank| rank.wiring.place).collect();
    assert_eq!(places, [ResistorPlace::FarEnd]);
    assert_eq!(kinds(LoopKind::Parallel).count(), 2);
    let triple = ZoneWiring { kind: LoopKind::Triple, ..SERIES };
    let finding = designed(text("triple-1k-5v"), triple).finding();
    assert!(finding.ranking.iter().any(|rank| rank.wiring.kind == LoopKind::Triple));
    assert!(finding.ranking.iter().any(|rank| rank.wiring.kind == LoopKind::Double));
}

#[test]
fn a_wiring_is_said_in_words() {
    let double = ZoneWiring { kind: LoopKind::Double, tamper: true, ..HELD };
    assert_eq!(
        in_words(&double),
        "NO contact (11-14), end-of-line resistor in line, alarm resistor across it, at the relay, \
         coil held at rest, tamper contact in line"
    );
    let closing = ZoneWiring { contact: ZoneContact::NormallyOpen, tamper: false, ..SERIES };
    let closing = ZoneWiring { kind: LoopKind::Double, place: ResistorPlace::PanelEnd, ..closing };
    assert_eq!(
        in_words(&closing),
        "NO contact (11-14), alarm resistor in line with it, end-of-line across both, at the panel"
    );
    let bare = ZoneWiring { kind: LoopKind::Bare, ..SERIES };
    assert_eq!(in_words(&bare), "NC contact (11-12), no resistor");
}

fn volts(value: f64, u: f64) -> Measured {
    Measured { value, u }
}

/// The codes that explain these volts on the classic loop; `None` is the panel that is off.
fn explained(at_rest: Measured, in_alarm: Option<f64>) -> Vec<Option<F>> {
    let found = explanations(&classic(), at_rest, in_alarm.map(|value| volts(value, at_rest.u)));
    found.into_iter().map(|explanation| explanation.code).collect()
}

#[test]
fn volts_are_explained_by_the_faults_that_would_give_them() {
    // At rest 3309 ohm leave 4.96 V; an open loop has 12 V.
    assert_eq!(explained(volts(4.96, 0.0), Some(12.0)), []);
    assert_eq!(explained(volts(4.96, 0.0), None), []);
    let open = [F::WireCut, F::ContactNeverCloses, F::ResistorMissing].map(Some);
    assert_eq!(explained(volts(12.0, 0.0), Some(12.0)), open);
    let silent = [F::ContactBridged, F::SupplyLost, F::CoilOpen, F::ContactWelded].map(Some);
    assert_eq!(explained(volts(4.96, 0.0), Some(4.96)), silent);
    assert_eq!(explained(volts(12.0, 0.0), Some(4.96)), [Some(F::OtherContact)]);
    assert_eq!(explained(volts(0.0, 0.0), Some(12.0)), [Some(F::ResistorJoined)]);
    assert_eq!(explained(volts(0.0, 0.0), Some(0.0)), [Some(F::PairShorted), None]);
    assert_eq!(explained(volts(0.0, 0.0), None).last(), Some(&None));
    // Off is less than 0.05 V, at rest and in alarm.
    assert_eq!(explained(volts(0.05, 0.0), Some(0.049)), [Some(F::PairShorted)]);
    assert_eq!(explained(volts(0.049, 0.0), Some(0.05)), [Some(F::PairShorted)]);
    assert_eq!(explained(volts(0.049, 0.0), Some(0.049)), [Some(F::PairShorted), None]);
    assert_eq!(explained(volts(8.0, 0.0), None), []);
}

#[test]
fn what_is_explained_ends_where_all_ranges_and_the_meter_end() {
    // By hand, with the meter's 2 x 0.05 V and a hundredth of 12 V, 0.22 V, beyond the ranges. The
    // loop at rest at its least: 3144.21 ohm with 11.76 V behind 4747 ohm; below it only damp
    // explains a reading.
    let least = 11.76 * 3144.21 / (3144.21 + 4747.0) - 0.22;
    assert_eq!(explained(volts(least + 1e-6, 0.05), None), []);
    assert_eq!(explained(volts(least - 1e-6, 0.05), None), [Some(F::Damp)]);
    // Joined wires at their most: 9.31 ohm with 12.24 V behind 4653 ohm.
    let most = 12.24 * 9.31 / (9.31 + 4653.0) + 0.22;
    assert_eq!(explained(volts(most - 1e-6, 0.05), None), [Some(F::ResistorJoined)]);
    assert_eq!(explained(volts(most + 1e-6, 0.05), None), []);
}

#[test]
fn a_measured_loop_is_judged_with_everything_at_its_worst() {
    let at = |situation, state, value| {
        let wanted = Wanted { situation, state };
        measured(&classic(), wanted, when(situation), Some(volts(value, 0.005)))
    };
    // 4.95 V are 3300 ohm. The upper threshold at its lowest, 5225 ohm with 11.76 V behind 4747,
    // is nearer than the lower one at its highest.
    let rest = at(S::Rest, ZoneState::Ready, 4.95);
    assert_eq!((rest.verdict, rest.reads), (Verdict::Pass, Some(ZoneState::Ready)));
    close(rest.ohms.unwrap(), 3300.0);
    close(rest.design_volts, 12.0 * 3309.31 / 8009.31);
    close(rest.margin_volts.unwrap(), 11.76 * 5225.0 / 9972.0 - 4.96);
    // 12.5 V are more than the source should have: what is beyond it counts as volts all the same.
    let alarm = at(S::Alarm, ZoneState::Violated, 12.5);
    assert_eq!(
        (alarm.verdict, alarm.reads, alarm.ohms),
        (Verdict::Pass, Some(ZoneState::Violated), None)
    );
    close(alarm.margin_volts.unwrap(), 12.49 - 12.24 * 5775.0 / 10_428.0);
    let wrong = at(S::Rest, ZoneState::Ready, 12.5);
    assert_eq!(wrong.verdict, Verdict::Fail);
    close(wrong.margin_volts.unwrap(), 11.76 * 5225.0 / 9972.0 - 12.51);
    let never = at(S::FaultOpen, ZoneState::Fault, 4.95);
    assert_eq!((never.verdict, never.margin_volts), (Verdict::Fail, None));
    let wanted = Wanted { situation: S::Rest, state: ZoneState::Ready };
    let unmeasured = measured(&classic(), wanted, when(S::Rest), None);
    assert_eq!((unmeasured.verdict, unmeasured.volts), (Verdict::Undecided, None));
    let whens = [S::Rest, S::Alarm, S::TamperOpen, S::FaultOpen].map(when);
    assert_eq!(whens, ["at rest", "in alarm", "tamper contact open", "fault contact open"]);
}

#[test]
fn a_design_says_its_states_by_chance_and_in_words() {
    let finding = classic().finding();
    let rest = &finding.states[0].ohms;
    let [low, p001, nominal, p999, high] =
        [rest.low, rest.p001, rest.nominal, rest.p999, rest.high].map(Option::unwrap);
    assert!(low <= p001 && p001 < nominal && nominal < p999 && p999 <= high, "{rest:?}");
    // Of 1000 even draws the second from either end is close to it.
    assert!(p001 - low < 0.02 * (high - low) && high - p999 < 0.02 * (high - low), "{rest:?}");
    let texts = |finding: &ZoneDesignFinding| -> Vec<String> {
        finding.states.iter().map(|state| state.text.clone()).collect()
    };
    assert_eq!(texts(&finding), ["at rest, contact closed", "in alarm, contact open"]);
    let across =
        ZoneWiring { kind: LoopKind::Parallel, contact: ZoneContact::NormallyOpen, ..SERIES };
    let finding = designed(text("parallel-10k-12v"), across).finding();
    assert_eq!(texts(&finding), ["at rest, contact open", "in alarm, contact closed"]);
    // 3 V of 12 V behind 10 kilohm are a third of it.
    close(finding.bands[0].up_to_ohms.unwrap(), 10_000.0 / 3.0);
    assert_eq!(finding.bands[0].up_to_volts, Some(3.0));
    let triple = ZoneWiring { kind: LoopKind::Triple, tamper: true, ..SERIES };
    let finding = designed(text("triple-1k-5v"), triple).finding();
    assert_eq!(texts(&finding)[2..], ["tamper contact open", "fault contact open"]);
    let roles: Vec<_> = finding.resistors.iter().map(|r| (r.role.as_str(), r.ohms)).collect();
    assert_eq!(roles, [("end of line", 1000.0), ("alarm", 1000.0), ("fault", 3300.0)]);
}

#[test]
fn a_loop_that_is_not_read_rightly_says_which_state_is_not() {
    let with = |old: &str, new: &str| {
        designed(&text("series-3k3-12v").replacen(old, new, 1), SERIES).finding()
    };
    let finding = classic().finding();
    let sure = "every state is read as it should be, over the whole range of the values";
    assert_eq!((finding.result, finding.reason.as_str()), (Verdict::Pass, sure));
    close(finding.bands[0].up_to_volts.unwrap(), 12.0 * 1500.0 / 6200.0);
    // 330 ohm are a short to this panel.
    let finding = with("eol_ohms = 3300", "eol_ohms = 330");
    let never = "never read as it should be: ready (at rest, contact closed)";
    assert_eq!((finding.result, finding.reason.as_str()), (Verdict::Fail, never));
    assert_eq!((finding.states[0].reads, finding.states[0].probability), (ZoneState::Tamper, 0.0));
    // 1.5 kilohm lie at the end of the band itself.
    let finding = with("eol_ohms = 3300", "eol_ohms = 1500");
    let unsure = "not surely read as it should be: ready (at rest, contact closed)";
    assert_eq!((finding.result, finding.reason.as_str()), (Verdict::Undecided, unsure));
    let share = finding.states[0].probability;
    assert!(share > 0.2 && share < 0.8, "{share}");
}

#[test]
fn a_resistor_that_is_left_open_is_the_one_with_the_greatest_margins() {
    // 3 kilohm leave 4.684 V, 1.78 V from either end of the band (2.903 V and 6.471 V); with 2.7 or
    // 3.3 kilohm the nearer end is 1.5 V off.
    let left_open = text("series-3k3-12v").replacen("eol_ohms = 3300", "", 1);
    let finding = designed(&left_open, SERIES).finding();
    assert_eq!(finding.resistors[0].ohms, 3000.0);
    let chosen = "The panel leaves the end-of-line resistor open; it was chosen here.";
    assert!(finding.assumptions.iter().any(|line| line == chosen));
    let bare = ZoneWiring { kind: LoopKind::Bare, ..SERIES };
    for finding in [designed(text("bare-12v"), bare).finding(), classic().finding()] {
        assert!(!finding.assumptions.iter().any(|line| line == chosen));
    }
}

#[test]
fn a_resistor_that_no_drawer_holds_is_said_and_the_nearest_worked_with() {
    let with = |eol: &str| {
        let text = text("series-3k3-12v").replacen("eol_ohms = 3300", eol, 1);
        designed(&text, SERIES).finding().assumptions
    };
    let said = "3320 ohm is no value of E24; worked with 3300 ohm.";
    assert!(with("eol_ohms = 3320").iter().any(|line| line == said));
    for as_good_as in ["eol_ohms = 3300", "eol_ohms = 3300.0000001"] {
        assert!(!with(as_good_as).iter().any(|line| line.contains("is no value")), "{as_good_as}");
    }
}
