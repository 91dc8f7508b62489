//! What placements are worth, by hand on a few pins and by a general library's entropies, and by
//! which rule the next one is chosen while much is unknown, then little, then hardly anything. How
//! near whole searches come to the best that is possible is held in `tests/belief_planner.rs`.

use super::super::family::{Family, Group};
use super::super::partition::{Coil, Partition};
use super::super::prior::Prior;
use super::*;
use crate::event::Form;

fn begun() -> (Belief, Posterior) {
    let belief = Belief::new(&Prior::only(5, [(Family::relay(0, 0, 1), 1.0)]));
    let posterior = belief.posterior();
    (belief, posterior)
}

#[test]
fn what_cannot_be_reached_is_never_asked_for() {
    let (belief, posterior) = begun();
    let mut situation = Situation::default();
    for _ in Pair::all(5) {
        let proposal = choose(&belief, &posterior, &situation).unwrap();
        let pair = Pair::new(proposal.red, proposal.black).unwrap();
        assert!(situation.unreachable.insert(pair), "{pair:?} was asked for again");
    }
    assert_eq!(choose(&belief, &posterior, &situation), None);
}

#[test]
fn one_lead_moves_where_placements_tell_the_same() {
    let (belief, posterior) = begun();
    let situation = Situation { leads: Some((3, 1)), ..Situation::default() };
    let proposal = choose(&belief, &posterior, &situation).unwrap();
    let moved = usize::from(proposal.red != 3) + usize::from(proposal.black != 1);
    assert_eq!(moved, 1, "{proposal:?}");
}

#[test]
fn the_driven_pair_itself_is_only_seen_at_rest() {
    let (_, posterior) = begun();
    let coil = Pair::ordered(0, 4);
    let situation = Situation { drive: Some(coil), ..Situation::default() };
    let rated = rate_all(&posterior.pairs, &All::of(&situation), &situation);
    assert!(rated.iter().all(|rated| rated.toggle == (rated.pair != coil)));
}

#[test]
fn a_look_in_both_states_tells_more_than_one_at_rest() {
    let even = [0.2; 5];
    let [rest, both] =
        [false, true].map(|toggle| Given::new(outcomes(toggle, false, Channel::default())));
    assert!(information(&even, &both) > information(&even, &rest) + 0.5);
    assert!(information(&[1.0, 0.0, 0.0, 0.0, 0.0], &both) < 1e-12);
}

/// The values stand in `fixtures/reference/information.csv`, made by SciPy's entropies.
#[test]
fn what_a_touch_tells_is_the_mutual_information_of_a_general_library() {
    let lines = include_str!("../../../fixtures/reference/information.csv").lines().skip(2);
    let mut checked = 0;
    for line in lines {
        let numbers: Vec<f64> = line.split(',').map(|word| word.parse().unwrap()).collect();
        let &[open, broken, make, joined, coil, no_contact, bridge, toggle, bits] =
            numbers.as_slice()
        else {
            panic!("{line}");
        };
        let channel = Channel { no_contact, bridge };
        let given = Given::new(outcomes(toggle > 0.5, false, channel));
        let ours = information(&[open, broken, make, joined, coil], &given);
        crate::checked::absolute("SciPy entropies, information.csv", ours, bits, 1e-12);
        checked += 1;
    }
    assert_eq!(checked, 120);
}

#[test]
fn a_pair_that_read_between_contact_and_coil_is_not_asked_again_for_that() {
    let (_, posterior) = begun();
    let pair = Pair::ordered(0, 4);
    let [clear, unclear] = [BTreeSet::new(), BTreeSet::from([pair])].map(|unclear| {
        let situation = Situation { unclear, ..Situation::default() };
        let rated = rate_all(&posterior.pairs, &All::of(&situation), &situation);
        rated.into_iter().find(|rated| rated.pair == pair).unwrap().information_bits
    });
    assert!(unclear < clear - 0.1, "{unclear} of {clear} bits");
}

#[test]
fn costs_that_are_no_numbers_do_not_panic() {
    let (belief, posterior) = begun();
    let costs = HandSeconds { one_lead_s: f64::NAN, two_leads_s: -1.0, drive_s: f64::INFINITY };
    let situation = Situation { costs, confidence: f64::NAN, ..Situation::default() };
    let _ = choose(&belief, &posterior, &situation);
}

fn near(found: f64, expected: f64) {
    assert!((found - expected).abs() < 1e-12, "{found}, by hand {expected}");
}

/// Open, closed and coil are 0, 1 and 2, at rest three times that: a break contact that is driven
/// shows closed, then open, which is outcome 3.
#[test]
fn a_touch_shows_the_status_or_its_slip() {
    let channel = Channel { no_contact: 0.1, bridge: 0.05 };
    let expected = |at: [usize; 5]| {
        at.map(|at| {
            let mut given = [0.0; OUTCOMES];
            given[at] += 0.85;
            given[0] += 0.1;
            given[4] += 0.05;
            given
        })
    };
    for (toggle, unclear, at) in [
        (false, false, [0, 4, 0, 4, 8]),
        (true, false, [0, 3, 1, 4, 8]),
        (false, true, [0, 4, 0, 4, 4]),
        (true, true, [0, 3, 1, 4, 4]),
    ] {
        let found = outcomes(toggle, unclear, channel);
        for (found, expected) in found.iter().flatten().zip(expected(at).iter().flatten()) {
            near(*found, *expected);
        }
    }
}

#[test]
fn entropy_is_counted_in_bits_and_nothing_counts_nothing() {
    near(entropy(&[0.5, 0.25, 0.0, 0.25]), 1.5);
    near(entropy(&[1.0, 0.0]), 0.0);
    near(entropy(&[]), 0.0);
}

#[test]
fn leads_stay_where_they_can() {
    let pair = Pair::ordered(1, 3);
    for (leads, hands_to, moves) in [
        (None, (1, 3), 2),
        (Some((1, 3)), (1, 3), 2),
        (Some((3, 1)), (3, 1), 2),
        (Some((1, 2)), (1, 3), 1),
        (Some((3, 2)), (3, 1), 1),
        (Some((2, 3)), (1, 3), 1),
        (Some((2, 1)), (3, 1), 1),
        (Some((0, 2)), (1, 3), 2),
    ] {
        assert_eq!(hands(pair, leads), hands_to, "{leads:?}");
        assert_eq!(lead_moves(pair, leads), moves, "{leads:?}");
    }
}

const COSTS: HandSeconds = HandSeconds { one_lead_s: 2.0, two_leads_s: 5.0, drive_s: 3.0 };

/// Three pins without slips. The first pair is a coil or nothing, even odds: one bit, and half a
/// coil's four bits besides. The second is a coil once in a hundred: 0.0808 bits, of which so
/// little points at a coil that its worth is 4 x 0.01 x 0.0808 / 0.25. The third is a make contact.
#[test]
fn a_placement_is_worth_its_bits_and_a_coils_share_per_second_of_hands() {
    let pairs = [[0.5, 0., 0., 0., 0.5], [0.99, 0., 0., 0., 0.01], [0., 0., 1., 0., 0.]];
    let few = -(0.99 * 0.99_f64.log2() + 0.01 * 0.01_f64.log2());
    let channel = Channel { no_contact: 0.0, bridge: 0.0 };
    let at_rest = Situation { leads: Some((0, 1)), costs: COSTS, channel, ..Situation::default() };
    let rate = |situation: &Situation| rate_all(&pairs, &All::of(situation), situation);
    let seen = rate(&at_rest);
    let worth = |rated: &[Rated]| rated.iter().map(|rated| rated.per_second).collect::<Vec<_>>();
    for (rated, (bits, cost_s)) in seen.iter().zip([(1.0, 5.0), (few, 2.0), (0.0, 2.0)]) {
        near(rated.information_bits, bits);
        near(rated.cost_s, cost_s);
        assert!(!rated.toggle);
    }
    let found = worth(&seen);
    near(found[0], (1.0 + 4.0 * 0.5) / 5.0);
    near(found[1], (few + 4.0 * 0.01 * few / 0.25) / 2.0);
    near(found[2], 0.0);
    // Where no coil is going to be driven, finding one is worth what it tells.
    let found = worth(&rate(&Situation { may_drive: false, ..at_rest.clone() }));
    near(found[0], 1.0 / 5.0);
    // A driven coil is found already; each pair but its own costs a drive.
    let driven = Situation { drive: Some(Pair::ordered(0, 1)), ..at_rest };
    let rated = rate(&driven);
    assert_eq!(rated.iter().map(|rated| rated.toggle).collect::<Vec<_>>(), [false, true, true]);
    for (rated, cost_s) in rated.iter().zip([5.0, 5.0, 5.0]) {
        near(rated.cost_s, cost_s);
    }
    near(rated[0].per_second, 1.0 / 5.0);
    near(rated[1].per_second, few / 5.0);
}

/// A coil on one of three pairs, no slips, the leads lifted. The first placement tells
/// H(1/3) = 0.9183 bits. Once in three it was the coil: nothing is left to tell, and the next costs
/// three seconds either way. Else another tells which of two, 1 bit, with one lead moved. In all
/// log2(3) bits in 3 + 1/3 x 3 + 2/3 x 2 seconds.
#[test]
fn looking_ahead_counts_the_placement_that_follows() {
    let belief = Belief::new(&Prior::only(3, [(Family::new([Group::Coil(1, 1)]), 1.0)]));
    let posterior = belief.posterior();
    let costs = HandSeconds { one_lead_s: 2.0, two_leads_s: 3.0, drive_s: 1.0 };
    let situation = Situation { costs, channel: Channel::PERFECT, ..Situation::default() };
    let given = All::of(&situation);
    for first in rate_all(&posterior.pairs, &given, &situation) {
        let found = look_ahead(&belief, &posterior, &given, &situation, &first);
        let expected = 3_f64.log2() / (3.0 + 1.0 + 4.0 / 3.0);
        assert!((found - expected).abs() < 1e-6, "{found}, by hand {expected}");
    }
    // A coil that may not be driven is not: one lead moves on, two seconds.
    let never = Situation { may_drive: false, ..situation };
    let given = All::of(&never);
    let first = &rate_all(&posterior.pairs, &given, &never)[0];
    let found = look_ahead(&belief, &posterior, &given, &never, first);
    let expected = 3_f64.log2() / (3.0 + 2.0);
    assert!((found - expected).abs() < 1e-6, "{found}, by hand {expected}");
}

/// A posterior of a part with the given best, as far as the count of placements looks at it.
fn left_with(best: f64, entropy_bits: f64) -> Posterior {
    Posterior {
        pins: 3,
        pairs: vec![[1.0, 0.0, 0.0, 0.0, 0.0]; 3],
        best: (Partition::default(), best),
        candidates: Vec::new(),
        families: Vec::new(),
        entropy_bits,
    }
}

/// 0.9 bits a placement, and one for each e^4 that doubt has to shrink by.
#[test]
fn placements_that_are_left_follow_from_what_is_unknown() {
    let left = |best, entropy_bits, confidence| {
        let situation = Situation { confidence, ..Situation::default() };
        placements_left(&left_with(best, entropy_bits), &situation)
    };
    // 9 / 0.9 + ln(0.5 / 0.01) / 4.
    near(left(0.5, 9.0, 0.99).unwrap(), 10.0 + 50_f64.ln() / 4.0);
    // 1.8 / 0.9 + ln(0.5 / 0.25) / 4.
    near(left(0.5, 1.8, 0.75).unwrap(), 2.0 + 2_f64.ln() / 4.0);
    // Proved already: what is left to learn alone, and one at least.
    near(left(0.9999, 1.8, 0.99).unwrap(), 2.0);
    near(left(0.9999, 0.09, 0.99).unwrap(), 1.0);
    assert_eq!(left(0.5, 9.0, 1.0), None, "never sure without a doubt");
}

/// Two candidates with a coil on the first pair, 36 and 9 %, one with nothing there, 16 %. What is
/// left of each status beyond them is rooted as one more: 0.04 open, 0.25 joined and 0.1 coil.
#[test]
fn doubt_is_rooted_candidate_by_candidate() {
    let coil = |second: usize| {
        let spares = (1..3).filter(|&pin| pin != second).collect();
        let sides = vec![vec![0], vec![second]];
        Partition { coils: vec![Coil { sides }], spares, ..Partition::default() }
    };
    let tapped = Coil { sides: vec![vec![0], vec![1], vec![2]] };
    let tapped = Partition { coils: vec![tapped], ..Partition::default() };
    let mut posterior = left_with(0.36, 2.0);
    posterior.candidates = vec![(coil(1), 0.36), (coil(2), 0.16), (tapped, 0.09)];
    posterior.pairs[0] = [0.2, 0.0, 0.0, 0.25, 0.55];
    let found = doubt(&posterior);
    assert_eq!(found.len(), 3);
    let roots = [0.4 + 0.2, 0.0, 0.0, 0.5, 0.6 + 0.3 + 0.1_f64.sqrt()];
    let sum: f64 = roots.iter().sum();
    for (found, root) in found[0].iter().zip(roots) {
        near(*found, root / sum);
    }
}

/// Two outcomes: predicted are 0.72 and 0.28, and of the roots 0.6 x 0.9 + 0.4 x 0.6 = 0.78 and
/// 0.6 x sqrt(0.19) + 0.4 x 0.8 are left.
#[test]
fn what_settles_is_what_shrinks_the_roots() {
    let mut given = [[0.0; OUTCOMES]; 5];
    (given[0][0], given[0][4]) = (0.81, 0.19);
    (given[3][0], given[3][4]) = (0.36, 0.64);
    let found = settled(&[0.8, 0., 0., 0.2, 0.], &[0.6, 0., 0., 0.4, 0.], &given);
    let second = 0.6 * 0.19_f64.sqrt() + 0.32;
    near(found, -(0.72_f64.sqrt() * 0.78 + 0.28_f64.sqrt() * second).ln());
    // Two that are told apart for sure: half of each root is left.
    let sure = outcomes(false, false, Channel { no_contact: 0.0, bridge: 0.0 });
    let even = [0.5, 0., 0., 0.5, 0.];
    near(settled(&even, &even, &sure), 0.5 * 2_f64.ln());
}

/// By which score a pair would be chosen.
#[derive(Debug, PartialEq)]
struct Choices {
    learning: Pair,
    ahead: Pair,
    proving: Pair,
}

fn choices(belief: &Belief, posterior: &Posterior, situation: &Situation) -> Choices {
    let given = All::of(situation);
    let rated = rate_all(&posterior.pairs, &given, situation);
    let best = |score: &dyn Fn(&Rated) -> f64| {
        let scored = rated.iter().map(|rated| (rated.pair, score(rated)));
        // Of equals the first by its pins.
        scored.min_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0))).unwrap().0
    };
    let doubt = doubt(posterior);
    let mut order: Vec<&Rated> = rated.iter().collect();
    order.sort_by(|a, b| b.per_second.total_cmp(&a.per_second));
    let ahead = |rated: &Rated| {
        // Between the two best, if they are nearly as good as each other.
        let among = order[..2].iter().any(|one| one.pair == rated.pair);
        let nearly = rated.per_second >= 0.9 * order[0].per_second;
        let ahead = || look_ahead(belief, posterior, &given, situation, rated);
        if among && nearly { ahead() } else { 0.0 }
    };
    let settles = |rated: &Rated| {
        let index = rated.pair.index();
        let given = &given.on(rated.pair, rated.toggle, situation).outcomes;
        settled(&posterior.pairs[index], &doubt[index], given) / rated.cost_s
    };
    Choices {
        learning: best(&|rated| rated.per_second),
        ahead: best(&ahead),
        proving: best(&settles),
    }
}

/// One search on simulated touches without slips: at each step the pair that was chosen, with what
/// each rule would have chosen, and the entropy.
fn searched(
    prior: &Prior,
    costs: HandSeconds,
    truth: &Partition,
    most: usize,
) -> Vec<(Pair, Choices, f64)> {
    let mut belief = Belief::new(prior);
    let mut situation = Situation { costs, ..Situation::default() };
    let mut steps = Vec::new();
    while steps.len() < most {
        let posterior = belief.posterior();
        situation.drive = posterior.coil().filter(|(_, p)| *p > 0.95).map(|(pair, _)| pair);
        let Some(proposal) = choose(&belief, &posterior, &situation) else { break };
        let pair = Pair::ordered(proposal.red, proposal.black);
        steps.push((pair, choices(&belief, &posterior, &situation), posterior.entropy_bits));
        let shown = |status: Status| (status.level(false), status.level(proposal.toggle));
        let slip = 0.02_f64.ln();
        let says = |status| if shown(status) == shown(truth.status(pair)) { 0.0 } else { slip };
        belief.observe(pair, &Weights(Status::ALL.map(says)));
        situation.leads = Some((proposal.red, proposal.black));
    }
    steps
}

/// Above 11 bits, on up to 8 pins, the next placement counts too; between 11 and 4 bits it is the
/// most bits a second; below 4 bits what settles most. In these searches the rules differ now and
/// then, or they would show nothing.
#[test]
fn the_rule_of_choice_follows_from_how_much_is_unknown() {
    let pole = |pins: [usize; 3]| (Group::contact(Form::C), pins.to_vec(), vec![1, 0, 2]);
    let coil = |pins: [usize; 2]| (Group::Coil(1, 1), pins.to_vec(), vec![0, 1]);
    let one = Prior::only(5, [(Family::relay(0, 0, 1), 1.0)]);
    let doubled = Family::new([Group::Coil(1, 1), Group::doubled(Form::C)]);
    let two = Prior::only(8, [(Family::relay(0, 0, 2), 5.0), (doubled, 2.0)]);
    let even = HandSeconds { one_lead_s: 2.0, two_leads_s: 2.0, drive_s: 0.0 };
    let mut told = [0; 4];
    for (prior, groups, costs, most) in [
        (&one, vec![coil([1, 4]), pole([0, 2, 3])], COSTS, 12),
        (&two, vec![coil([6, 7]), pole([0, 4, 5]), pole([1, 2, 3])], even, 3),
        (&two, vec![coil([3, 6]), pole([0, 2, 5]), pole([1, 4, 7])], even, 6),
    ] {
        let truth = Partition::from_groups(prior.pins(), &groups);
        for (pair, choices, bits) in searched(prior, costs, &truth, most) {
            let Choices { learning, ahead, proving } = choices;
            let (expected, differ) = match bits {
                ..4.0 => (proving, [proving != learning, false, false, false]),
                4.0..=11.0 => (learning, [false, learning != proving, learning != ahead, false]),
                _ => (ahead, [false, false, false, ahead != learning]),
            };
            assert_eq!(pair, expected, "{bits} bits: {learning:?}, {ahead:?}, {proving:?}");
            told.iter_mut().zip(differ).for_each(|(told, differ)| *told += i32::from(differ));
        }
    }
    assert!(told.iter().all(|told| *told > 0), "{told:?}");
}
