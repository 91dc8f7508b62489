//! Layouts against drawings: which pins are the coil, which pins each pole takes, and with what
//! weight, on footprints small enough to draw every one by hand. How the layouts of a footprint
//! are mixed into a belief is held in `tests/belief_exact.rs`.

use super::super::footprint::Footprint;
use super::super::pair::Pair;
use super::super::partition::{Coil, Pole};
use super::*;
use crate::event::Form;

fn layouts(text: &str, family: Family) -> Vec<(Partition, f64)> {
    let footprint = text.parse::<Footprint>().unwrap();
    footprint.layouts(&[(family, 1.0)])
}

fn has(layouts: &[(Partition, f64)], coil: [usize; 2], poles: &[[usize; 3]]) -> bool {
    layouts.iter().any(|(layout, _)| {
        layout.coils[0].ends() == Pair::new(coil[0], coil[1])
            && poles.iter().all(|&[common, nc, no]| {
                layout.poles.iter().any(|pole| {
                    (&pole.common[..], &pole.nc[..], &pole.no[..]) == (&[common], &[nc], &[no])
                })
            })
    })
}

#[test]
fn two_rows_hold_mirrored_and_turned_poles() {
    let two = layouts("4+4", Family::relay(0, 0, 2));
    assert!(has(&two, [0, 4], &[[2, 1, 3], [6, 5, 7]]), "mirrored, coil at the left");
    assert!(has(&two, [0, 4], &[[1, 2, 3], [7, 6, 5]]), "turned");
    assert!(has(&two, [3, 7], &[[0, 1, 2], [4, 5, 6]]), "coil at the right");
    assert!((two.iter().map(|(_, p)| p).sum::<f64>() - 1.0).abs() < 1e-12);
    let at_an_end = |layout: &Partition| {
        let ends = layout.coils[0].ends();
        ends == Pair::new(0, 4) || ends == Pair::new(3, 7)
    };
    let share: f64 = two.iter().filter(|(layout, _)| at_an_end(layout)).map(|(_, p)| p).sum();
    assert!(share > 0.6, "{share}");
}

#[test]
fn four_poles_repeat_along_two_rows() {
    let four = layouts("7+7", Family::relay(0, 0, 4));
    assert!(has(&four, [0, 7], &[[1, 2, 3], [4, 5, 6], [8, 9, 10], [11, 12, 13]]));
    assert!(four.iter().all(|(layout, _)| layout.family() == Family::relay(0, 0, 4)));
}

#[test]
fn a_ring_holds_poles_either_side_of_its_gap() {
    let two = layouts("8 round", Family::relay(0, 0, 2));
    assert!(has(&two, [1, 6], &[[0, 3, 2], [7, 4, 5]]));
    let three = layouts("11 round", Family::relay(0, 0, 3));
    assert!(!three.is_empty());
}

#[test]
fn staggered_rows_hold_one_pole() {
    let one = layouts("2-1-2", Family::relay(0, 0, 1));
    assert!(has(&one, [0, 3], &[[2, 1, 4]]));
    assert!(one.len() < 60);
}

#[test]
fn doubled_pins_face_each_other() {
    let doubled = Family::new([Group::Coil(1, 1), Group::doubled(Form::C)]);
    let all = layouts("4+4", doubled);
    let facing = |layout: &Partition| {
        layout.coils[0].ends() == Pair::new(0, 4)
            && layout.poles[0].common == [1, 5]
            && layout.poles[0].pins() == [1, 2, 3, 5, 6, 7]
    };
    assert!(all.iter().any(|(layout, _)| facing(layout)));
}

#[test]
fn odd_parts_have_no_layout_and_do_no_harm() {
    assert!(layouts("4+4", Family::relay(0, 0, 1)).is_empty());
    assert!(layouts("4+4", Family::default()).is_empty());
    for text in ["1+1", "2+1", "16 round", "1-1-1", "5+4+3", "8+8", "1+15"] {
        let footprint: Footprint = text.parse().unwrap();
        let families: Vec<(Family, f64)> =
            (0..6).flat_map(|a| (0..6).map(move |c| (Family::relay(a, 1, c), 1.0))).collect();
        let _ = footprint.layouts(&families);
    }
}

/// Poles on these lanes, common, break and make side in any order that is the same on all of
/// them, or backwards where `turned`: six claims.
fn drawn(pins: usize, coil: [usize; 2], lanes: &[[usize; 3]], turned: &[bool]) -> Vec<Partition> {
    let orders = [[0, 1, 2], [0, 2, 1], [1, 0, 2], [1, 2, 0], [2, 0, 1], [2, 1, 0]];
    let claim = |order: [usize; 3]| {
        let pole = |(lane, turned): (&[usize; 3], &bool)| {
            let mut lane = *lane;
            if *turned {
                lane.reverse();
            }
            let [common, nc, no] = order.map(|at| vec![lane[at]]);
            Pole { common, nc, no, form: Form::C }
        };
        let used = |pin: &usize| coil.contains(pin) || lanes.as_flattened().contains(pin);
        Partition {
            coils: vec![Coil { sides: coil.map(|pin| vec![pin]).to_vec() }],
            poles: lanes.iter().zip(turned).map(pole).collect(),
            joined: Vec::new(),
            spares: (0..pins).filter(|pin| !used(pin)).collect(),
        }
        .in_order()
    };
    orders.map(claim).to_vec()
}

/// Each coil with its weight and its layouts, all of these alike.
fn assert_drawn(found: &[(Partition, f64)], coils: &[(f64, Vec<Partition>)]) {
    let total: f64 = coils.iter().map(|(weight, _)| weight).sum();
    let mut expected: BTreeMap<Partition, f64> = BTreeMap::new();
    for (weight, layouts) in coils {
        let distinct: BTreeSet<&Partition> = layouts.iter().collect();
        for &layout in &distinct {
            *expected.entry(layout.clone()).or_default() += weight / total / distinct.len() as f64;
        }
    }
    assert_eq!(found.len(), expected.len());
    for ((layout, p), (drawn, weight)) in found.iter().zip(&expected) {
        assert_eq!(layout, drawn);
        assert!((p - weight).abs() < 1e-12, "{layout:?}: {p}, drawn {weight}");
    }
}

/// ```text
/// 0   1
///   2
/// 3   4
/// ```
/// A coil lies along a side (at an end: 40 times as usual), across, or on a diagonal; the pole
/// takes the other three pins in every order.
#[test]
fn one_pole_between_staggered_rows_as_drawn() {
    let coil = |pair: [usize; 2], weight, lane| (weight, drawn(5, pair, &[lane], &[false]));
    let coils = [
        coil([0, 3], 40.0, [1, 2, 4]),
        coil([1, 4], 40.0, [0, 2, 3]),
        coil([0, 4], 1.0, [1, 2, 3]),
        coil([1, 3], 1.0, [0, 2, 4]),
        coil([0, 1], 1.0, [2, 3, 4]),
        coil([3, 4], 1.0, [0, 1, 2]),
    ];
    assert_drawn(&layouts("2-1-2", Family::relay(0, 0, 1)), &coils);
}

/// ```text
/// 0 1 2 3
/// 4 5 6 7
/// ```
/// With a coil from row to row a pole lies in each row, the same way round or turned; with a coil
/// along a row the poles follow each other.
#[test]
fn two_poles_on_two_rows_as_drawn() {
    let coil = |pair: [usize; 2], weight, lanes: [[usize; 3]; 2]| {
        let ways = [[false, false], [false, true]].map(|turned| drawn(8, pair, &lanes, &turned));
        (weight, ways.concat())
    };
    let coils = [
        coil([0, 4], 40.0, [[1, 2, 3], [5, 6, 7]]),
        coil([3, 7], 40.0, [[0, 1, 2], [4, 5, 6]]),
        coil([1, 5], 1.0, [[0, 2, 3], [4, 6, 7]]),
        coil([2, 6], 1.0, [[0, 1, 3], [4, 5, 7]]),
        coil([0, 7], 1.0, [[1, 2, 3], [4, 5, 6]]),
        coil([1, 6], 1.0, [[0, 2, 3], [4, 5, 7]]),
        coil([2, 5], 1.0, [[0, 1, 3], [4, 6, 7]]),
        coil([3, 4], 1.0, [[0, 1, 2], [5, 6, 7]]),
        coil([0, 3], 1.0, [[1, 2, 4], [5, 6, 7]]),
        coil([1, 2], 1.0, [[0, 3, 4], [5, 6, 7]]),
        coil([4, 7], 1.0, [[0, 1, 2], [3, 5, 6]]),
        coil([5, 6], 1.0, [[0, 1, 2], [3, 4, 7]]),
    ];
    assert_drawn(&layouts("4+4", Family::relay(0, 0, 2)), &coils);
}

/// On a ring the coil lies across it, and the poles follow each other round; the second half of
/// them may be turned.
#[test]
fn poles_on_a_ring_as_drawn() {
    let two = |pair: [usize; 2], lanes: [[usize; 3]; 2]| {
        let ways = [[false, false], [false, true]].map(|turned| drawn(8, pair, &lanes, &turned));
        (40.0, ways.concat())
    };
    let coils = [
        two([0, 7], [[1, 2, 3], [4, 5, 6]]),
        two([1, 6], [[0, 2, 3], [4, 5, 7]]),
        two([2, 5], [[0, 1, 3], [4, 6, 7]]),
        two([3, 4], [[0, 1, 2], [5, 6, 7]]),
    ];
    assert_drawn(&layouts("8 round", Family::relay(0, 0, 2)), &coils);
    // Of three poles the last is turned, of four on two rows those of the second row.
    let three = layouts("11 round", Family::relay(0, 0, 3));
    let lanes = [[1, 2, 3], [4, 5, 6], [7, 8, 9]];
    let ways = [[false; 3], [false, false, true]].map(|turned| drawn(11, [0, 10], &lanes, &turned));
    let found = three.iter().filter(|(layout, _)| layout.coils[0].sides == [[0], [10]]);
    let found: BTreeSet<Partition> = found.map(|(layout, _)| layout.clone()).collect();
    assert_eq!(found, ways.concat().into_iter().collect());
    assert_eq!(three.len(), 5 * 12);
    let four = layouts("7+7", Family::relay(0, 0, 4));
    let lanes = [[1, 2, 3], [4, 5, 6], [8, 9, 10], [11, 12, 13]];
    let turned = [[false; 4], [false, false, true, true]];
    let ways = turned.map(|turned| drawn(14, [0, 7], &lanes, &turned));
    let found = four.iter().filter(|(layout, _)| layout.coils[0].sides == [[0], [7]]);
    let found: BTreeSet<Partition> = found.map(|(layout, _)| layout.clone()).collect();
    assert_eq!(found, ways.concat().into_iter().collect());
}

/// Poles of two pins by form; the coils come first.
fn contacts(pins: usize, coils: &[[usize; 2]], poles: &[(Form, [usize; 2])]) -> Partition {
    let coil = |ends: &[usize; 2]| Coil { sides: ends.map(|pin| vec![pin]).to_vec() };
    let pole = |&(form, [a, b]): &(Form, [usize; 2])| {
        let (nc, no) = if form == Form::A { (vec![], vec![b]) } else { (vec![b], vec![]) };
        Pole { form, common: vec![a], nc, no }
    };
    let partition = Partition {
        coils: coils.iter().map(coil).collect(),
        poles: poles.iter().map(pole).collect(),
        ..Partition::default()
    };
    assert_eq!(partition.pins(), pins);
    partition.in_order()
}

/// ```text
/// 0 1 2
/// 3 4 5
/// ```
/// Poles of different forms stand in either order along rows, or along the path where the coil
/// leaves no whole rows.
#[test]
fn a_make_and_a_break_on_two_rows_as_drawn() {
    let coil = |pair, weight, first, second| {
        let ways = [(Form::A, Form::B), (Form::B, Form::A)];
        (weight, ways.map(|(a, b)| contacts(6, &[pair], &[(a, first), (b, second)])).to_vec())
    };
    let coils = [
        coil([0, 3], 40.0, [1, 2], [4, 5]),
        coil([2, 5], 40.0, [0, 1], [3, 4]),
        coil([1, 4], 1.0, [0, 2], [3, 5]),
        coil([0, 5], 1.0, [1, 2], [3, 4]),
        coil([2, 3], 1.0, [0, 1], [4, 5]),
        coil([0, 2], 1.0, [1, 3], [4, 5]),
        coil([3, 5], 1.0, [0, 1], [2, 4]),
    ];
    assert_drawn(&layouts("3+3", Family::relay(1, 1, 0)), &coils);
}

/// The same six pins with two coils, each pair of pairs that share no pin; the contact takes what
/// is left: a column, a row or the path.
#[test]
fn two_coils_on_two_rows_as_drawn() {
    let family = Family::new([Group::Coil(1, 1), Group::Coil(1, 1), Group::contact(Form::A)]);
    let two = |weight, coils: [[usize; 2]; 2], pole| {
        (weight, vec![contacts(6, &coils, &[(Form::A, pole)])])
    };
    let coils = [
        two(1600.0, [[0, 3], [2, 5]], [1, 4]),
        two(40.0, [[0, 3], [1, 4]], [2, 5]),
        two(40.0, [[2, 5], [1, 4]], [0, 3]),
        two(1.0, [[0, 2], [3, 5]], [1, 4]),
        two(1.0, [[0, 2], [1, 4]], [3, 5]),
        two(1.0, [[3, 5], [1, 4]], [0, 2]),
        two(1.0, [[0, 5], [2, 3]], [1, 4]),
        two(1.0, [[0, 5], [1, 4]], [2, 3]),
        two(1.0, [[2, 3], [1, 4]], [0, 5]),
    ];
    assert_drawn(&layouts("3+3", family), &coils);
}

/// Makes that no row holds whole stand across the rows.
#[test]
fn makes_stand_across_the_rows_where_rows_are_odd() {
    let three = layouts("4+4", Family::relay(3, 0, 0));
    let at = |coil: [usize; 2]| {
        let ends = move |layout: &Partition| layout.coils[0].ends() == Pair::new(coil[0], coil[1]);
        three.iter().filter(move |(layout, _)| ends(layout)).map(|(layout, _)| layout)
    };
    let across = [(Form::A, [1, 5]), (Form::A, [2, 6]), (Form::A, [3, 7])];
    assert_eq!(at([0, 4]).collect::<Vec<_>>(), [&contacts(8, &[[0, 4]], &across)]);
    // With the coil along a row, the others follow the path.
    let along = [(Form::A, [1, 2]), (Form::A, [4, 5]), (Form::A, [6, 7])];
    assert_eq!(at([0, 3]).collect::<Vec<_>>(), [&contacts(8, &[[0, 3]], &along)]);
}

/// A pole whose pins are doubled lies over both rows, its pins facing each other: six ways. Along
/// one path its six pins can be dealt in 6! / (2! 2! 2!) = 90 ways.
#[test]
fn a_doubled_pole_lies_over_both_rows() {
    let all = layouts("4+4", Family::new([Group::Coil(1, 1), Group::doubled(Form::C)]));
    let at = |coil: [usize; 2]| -> Vec<&(Partition, f64)> {
        let ends = |layout: &Partition| layout.coils[0].ends() == Pair::new(coil[0], coil[1]);
        all.iter().filter(|(layout, _)| ends(layout)).collect()
    };
    for (coil, ways, weight) in
        [([0, 4], 6, 40.0), ([1, 5], 6, 1.0), ([0, 7], 6, 1.0), ([0, 3], 90, 1.0)]
    {
        let found = at(coil);
        assert_eq!(found.len(), ways, "{coil:?}");
        for (layout, p) in found {
            assert!((p - weight / 90.0 / ways as f64).abs() < 1e-12, "{layout:?}: {p}");
        }
    }
    for (layout, _) in at([0, 4]) {
        let pole = &layout.poles[0];
        assert!([&pole.common, &pole.nc, &pole.no].iter().all(|side| side[1] == side[0] + 4));
    }
}

#[test]
fn every_row_has_its_mirror_image() {
    // One column, where both ends of every row are at an edge.
    let footprint: Footprint = "1+1+1+1".parse().unwrap();
    let at_the_end = |pair: [usize; 2]| (pair, AT_THE_END);
    assert_eq!(mirrored(footprint.places(), false), [[0, 3], [1, 2]].map(at_the_end));
    // Two columns: down, half round and across.
    let footprint: Footprint = "2+2+2+2".parse().unwrap();
    let found = mirrored(footprint.places(), false);
    let ends = [[0, 6], [1, 7], [2, 4], [3, 5]];
    let others = [[0, 7], [1, 6], [2, 5], [3, 4], [0, 1], [2, 3], [4, 5], [6, 7]];
    assert_eq!(found.len(), 12);
    assert!(ends.iter().all(|pair| found.contains(&(*pair, AT_THE_END))), "{found:?}");
    assert!(others.iter().all(|pair| found.contains(&(*pair, 1.0))), "{found:?}");
}

/// Only the common is doubled, so that no half of the pole is a pole.
#[test]
fn a_pole_that_is_doubled_in_part_follows_the_path() {
    let pole = Group::Contact { form: Form::C, common: 2, nc: 1, no: 1 };
    let family = Family::new([Group::Coil(1, 1), pole]);
    for text in ["3+3", "4+2", "6 round"] {
        let all = layouts(text, family.clone());
        assert!(!all.is_empty());
        assert!(all.iter().all(|(layout, _)| layout.family() == family), "{text}");
    }
}

#[test]
fn families_share_a_footprint_by_their_weights() {
    let footprint: Footprint = "4+4".parse().unwrap();
    let (two, makes) = (Family::relay(0, 0, 2), Family::relay(3, 0, 0));
    let all = footprint.layouts(&[(two.clone(), 3.0), (makes.clone(), 0.5)]);
    for (family, expected) in [(two, 3.0), (makes, 0.5)] {
        let of = all.iter().filter(|(layout, _)| layout.family() == family);
        let found: f64 = of.map(|(_, p)| p).sum();
        assert!((found - expected).abs() < 1e-12, "{family}: {found}");
    }
}

#[test]
fn only_coils_with_poles_have_layouts() {
    let [coil, make] = [Group::Coil(1, 1), Group::contact(Form::A)];
    for (text, groups) in [
        ("1+1", vec![coil]),
        ("1+1", vec![make]),
        ("2+2", vec![coil, coil]),
        ("2+2", vec![coil, Group::Joined(2)]),
        ("3+3", vec![coil, make, Group::Joined(2)]),
        ("4+4", vec![coil, coil, coil, make]),
        ("2+2", vec![make, make]),
        // Runs of two pins and of three do not repeat along a path.
        ("10 round", vec![coil, make, Group::contact(Form::C), Group::contact(Form::C)]),
    ] {
        assert!(layouts(text, Family::new(groups.clone())).is_empty(), "{text} {groups:?}");
    }
}
