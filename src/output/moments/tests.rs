//! The sums against what is computed from the readings themselves in two passes, whichever way the
//! readings come in; lines against small ones worked by hand; what too few readings and
//! neighbours that are alike still say. Seconds and volts.

use super::*;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

/// What the readings themselves say.
struct Plain {
    n: f64,
    centre: (f64, f64),
    sd: f64,
    lag_1: f64,
    noise: f64,
    volts_per_s: f64,
}

/// In two passes; `parted` are the readings that are no neighbours of the one ahead.
fn plain(t: &[f64], x: &[f64], parted: &[usize]) -> Plain {
    let n = x.iter().map(|_| 1.0).sum::<f64>();
    let (mt, mx) = (t.iter().sum::<f64>() / n, x.iter().sum::<f64>() / n);
    let both = || t.iter().zip(x).map(|(t, x)| (t - mt, x - mx));
    let squares: f64 = both().map(|(_, d)| d * d).sum();
    let pairs: Vec<(f64, f64)> =
        (1..x.len()).filter(|i| !parted.contains(i)).map(|i| (x[i - 1] - mx, x[i] - mx)).collect();
    let steps: f64 = pairs.iter().map(|(a, b)| (b - a) * (b - a) / 2.0).sum();
    Plain {
        n,
        centre: (mt, mx),
        sd: (squares / (n - 1.0)).sqrt(),
        lag_1: pairs.iter().map(|(a, b)| a * b).sum::<f64>() / squares,
        noise: (steps / pairs.iter().map(|_| 1.0).sum::<f64>()).sqrt(),
        volts_per_s: both().map(|(e, d)| e * d).sum::<f64>()
            / both().map(|(e, _)| e * e).sum::<f64>(),
    }
}

#[track_caller]
fn close(found: f64, wanted: f64) {
    assert!((found - wanted).abs() < 1e-9 * (1.0 + wanted.abs()), "{found}, truly {wanted}");
}

#[track_caller]
fn same(found: &Moments, wanted: &Plain) {
    close(found.count(), wanted.n);
    let (t, x) = found.centre().unwrap();
    close(t, wanted.centre.0);
    close(x, wanted.centre.1);
    close(found.mean().unwrap(), wanted.centre.1);
    close(found.sd().unwrap(), wanted.sd);
    close(found.noise().unwrap(), wanted.noise);
    close(found.slope().unwrap().volts_per_s, wanted.volts_per_s);
}

fn readings(seed: u64, n: usize) -> (Vec<f64>, Vec<f64>) {
    let mut chance = Pcg64::seed_from_u64(seed);
    let mut t = 3.0;
    let log = (0..n).map(|_| {
        t += chance.random_range(0.01..0.3);
        (t, 12.0 - 0.1 * t + chance.random_range(-0.4..0.4))
    });
    log.unzip()
}

#[test]
fn sums_are_those_of_the_readings_however_they_come() {
    for n in 5..24 {
        let (t, x) = readings(n as u64, n);
        for parts in 1..=n {
            let mut one_by_one = Moments::default();
            let mut in_parts = Moments::default();
            for (t, x) in t.chunks(parts).zip(x.chunks(parts)) {
                in_parts.extend(t, x);
                t.iter().zip(x).for_each(|(t, x)| one_by_one.push(*t, *x));
            }
            for sums in [one_by_one, in_parts] {
                let plain = plain(&t, &x, &[]);
                same(&sums, &plain);
                close(sums.lag_1().unwrap(), plain.lag_1);
            }
        }
    }
}

#[test]
fn parted_readings_are_no_neighbours() {
    let (t, x) = readings(7, 30);
    for at in [1, 6, 11, 29] {
        let mut sums = Moments::default();
        sums.extend(&t[..at], &x[..at]);
        sums.part();
        sums.extend(&t[at..], &x[at..]);
        let plain = plain(&t, &x, &[at]);
        same(&sums, &plain);
        close(sums.lag_1().unwrap(), plain.lag_1);
    }
}

#[test]
fn merged_sums_are_those_of_all_readings_whatever_their_origins() {
    let (t, x) = readings(8, 40);
    // The second part begins at another time and level, at the same time, and at the same level.
    for (dt, dx) in [(0.0, 0.0), (t[20] - t[0], 0.0), (0.0, x[20] - x[0])] {
        let part = |sums: &mut Moments, from: usize, to: usize, dt: f64, dx: f64| {
            (from..to).for_each(|i| sums.push(t[i] - dt, x[i] - dx));
        };
        let (mut merged, mut second) = (Moments::default(), Moments::default());
        part(&mut merged, 0, 20, 0.0, 0.0);
        part(&mut second, 20, 35, dt, dx);
        merged.merge(&second);
        part(&mut merged, 35, 40, dt, dx);
        let late = |i: usize, by: f64| if i < 20 { 0.0 } else { by };
        let times: Vec<f64> = t.iter().enumerate().map(|(i, t)| t - late(i, dt)).collect();
        let volts: Vec<f64> = x.iter().enumerate().map(|(i, x)| x - late(i, dx)).collect();
        let plain = plain(&times, &volts, &[20]);
        same(&merged, &plain);
        close(merged.lag_1().unwrap(), plain.lag_1);
        let mut beside = merged.beside();
        part(&mut beside, 0, 20, 0.0, 0.0);
        beside.merge(&second);
        part(&mut beside, 35, 40, dt, dx);
        same(&beside, &plain);
    }
}

#[test]
fn what_came_in_since_is_told_apart() {
    let (t, x) = readings(9, 50);
    let mut sums = Moments::default();
    sums.extend(&t[..17], &x[..17]);
    let before = sums;
    sums.part();
    sums.extend(&t[17..], &x[17..]);
    same(&sums.since(&before), &plain(&t[17..], &x[17..], &[]));
}

#[test]
fn too_few_readings_say_nothing() {
    let mut sums = Moments::default();
    assert_eq!((sums.mean(), sums.centre(), sums.sd(), sums.noise()), (None, None, None, None));
    assert_eq!((sums.lag_1(), sums.slope()), (None, None));
    sums.push(1.0, 5.0);
    assert_eq!((sums.mean(), sums.centre()), (Some(5.0), Some((1.0, 5.0))));
    assert_eq!((sums.sd(), sums.noise(), sums.lag_1()), (None, None, None));
    sums.push(2.0, 5.0);
    assert_eq!((sums.sd(), sums.noise()), (Some(0.0), Some(0.0)));
    assert_eq!(sums.lag_1(), None, "nothing varies");
    sums.push(3.0, 5.0);
    assert_eq!(sums.slope(), None);
    sums.push(4.0, 5.0);
    assert_eq!(sums.slope(), Some(Slope { volts_per_s: 0.0, volts_per_s_u: 0.0 }));
    let mut still = Moments::default();
    still.extend(&[2.0; 6], &[1.0, 2.0, 1.0, 2.0, 1.0, 2.0]);
    assert_eq!(still.slope(), None, "no time goes by");
    let empty = still.beside();
    assert_eq!((empty.mean(), empty.centre()), (None, None));
}

#[test]
fn a_line_is_less_sure_where_neighbours_are_alike() {
    let line = |x: &[f64]| {
        let mut sums = Moments::default();
        (0..).zip(x).for_each(|(i, x)| sums.push(f64::from(i), *x));
        sums.slope().unwrap()
    };
    // About the mean 1/3 the squares add up to 4/3, less none by a line; four degrees of freedom
    // leave a variance of 1/3. From reading to reading it is (1 + 1) / 5 / 2 = 1/5, so that
    // neighbours are alike by 1 - 3/5 = 0.4 and the uncertainty's square grows by 1.4 / 0.6 = 7/3.
    // Times scatter by 17.5 about their mean: sqrt(1/3 * 7/3 / 17.5) = sqrt(2/45).
    let bump = line(&[0.0, 0.0, 1.0, 1.0, 0.0, 0.0]);
    close(bump.volts_per_s, 0.0);
    close(bump.volts_per_s_u, (2.0_f64 / 45.0).sqrt());
    // A parabola, alike by 1 - 2.5 / (14/3), would widen it by 2.73; half the readings is the most:
    // sqrt(14/3 * 2.5 / 10).
    let parabola = line(&[4.0, 1.0, 0.0, 1.0, 4.0]);
    close(parabola.volts_per_s_u, (14.0_f64 / 3.0 * 2.5 / 10.0).sqrt());
    // Neighbours that differ more than chance would have it widen nothing: 0, 0, 1, 1 has the
    // slope 0.4 and a variance of 0.2 / 2 left, less than the 1/6 from reading to reading.
    let step = line(&[0.0, 0.0, 1.0, 1.0]);
    close(step.volts_per_s, 0.4);
    close(step.volts_per_s_u, (0.1_f64 / 5.0).sqrt());
}

#[test]
fn alike_neighbours_widen_a_line_no_more_than_two_thousandfold() {
    // A slow bend, 5,001 readings: neighbours are alike to more than 0.999, which is where it ends,
    // at 1.999 / 0.001 times the square. The sums of squares and fourth powers of -k..=k are
    // k (k+1) (2k+1) / 3, and that times (3 k^2 + 3 k - 1) / 5.
    let k = 2500.0_f64;
    let mut sums = Moments::default();
    (-2500..=2500).map(f64::from).for_each(|i| sums.push(i, (i / k) * (i / k)));
    let n = 2.0 * k + 1.0;
    let squares = k * (k + 1.0) * n / 3.0;
    let fourths = squares * (3.0 * k * k + 3.0 * k - 1.0) / 5.0;
    let variance = (fourths - squares * squares / n) / k.powi(4) / (n - 2.0);
    let u = (variance * 1999.0 / squares).sqrt();
    let slope = sums.slope().unwrap();
    assert!((slope.volts_per_s_u / u - 1.0).abs() < 1e-9, "{slope:?} {u}");
}
