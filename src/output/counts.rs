//! Exact medians in fixed memory: readings are counted on the meter's own decimal grid. Readings
//! near the first settle in a dense table, others in a small sparse one; if even that fills, two
//! neighbouring grid steps become one, and [`Counts::exact`] says so. Values in volts; the grid is
//! the coarsest power of ten that holds every reading, down to a nanovolt.

use std::collections::BTreeMap;

/// Adding this rounds a double to whole numbers and leaves the number in its low bits.
const ROUNDER: f64 = 6_755_399_441_055_744.0;
const DENSE_MAX: usize = 1 << 18;
const SPARSE_MAX: usize = 4096;
const DECIMALS_MAX: i32 = 9;

/// How often each value was read.
#[derive(Clone, Debug, Default)]
pub struct Counts {
    decimals: i32,
    /// How often neighbours were joined.
    joined: u32,
    base: i64,
    dense: Vec<u32>,
    sparse: BTreeMap<i64, u64>,
    n: u64,
}

fn whole(x: f64, scale: f64) -> (i64, f64) {
    let shifted = x * scale + ROUNDER;
    let rounded = shifted - ROUNDER;
    (shifted.to_bits().wrapping_sub(ROUNDER.to_bits()).cast_signed(), rounded)
}

impl Counts {
    /// Counts one reading.
    pub fn push(&mut self, value: f64) {
        self.extend(&[value]);
    }

    /// Counts readings.
    pub fn extend(&mut self, values: &[f64]) {
        let mut scale = self.scale();
        let mut at = 0;
        while let Some(value) = values.get(at) {
            if self.joined == 0 && self.decimals < DECIMALS_MAX {
                let (_, rounded) = whole(*value, scale);
                if (value * scale - rounded).abs() > self.off_grid() {
                    self.refine();
                    scale = self.scale();
                    continue;
                }
            }
            let taken = self.take_run(values.get(at..).unwrap_or(&[]), scale);
            at += taken;
            if taken == 0 {
                self.take_far(*value, scale);
                at += 1;
            }
        }
    }

    /// Counts from the start of `values` as long as they lie on the grid and in the table.
    fn take_run(&mut self, values: &[f64], scale: f64) -> usize {
        let (base, joined) = (self.base, self.joined);
        let check = joined == 0 && self.decimals < DECIMALS_MAX;
        let off_grid = self.off_grid();
        let mut taken = 0;
        for value in values {
            let (step, rounded) = whole(*value, scale);
            if check && (value * scale - rounded).abs() > off_grid {
                break;
            }
            let index = (step >> joined).wrapping_sub(base).cast_unsigned();
            let Some(bin) = usize::try_from(index).ok().and_then(|i| self.dense.get_mut(i)) else {
                break;
            };
            if *bin == u32::MAX {
                break;
            }
            *bin += 1;
            taken += 1;
        }
        self.n += taken as u64;
        taken
    }

    fn take_far(&mut self, value: f64, scale: f64) {
        let step = whole(value, scale).0 >> self.joined;
        self.n += 1;
        self.place(step, 1);
        while self.sparse.len() > SPARSE_MAX {
            self.join();
        }
    }

    fn place(&mut self, step: i64, times: u64) {
        if self.dense.is_empty() {
            self.base = step.saturating_sub(512);
            self.dense = vec![0; 1024];
        }
        self.grow_towards(step);
        let index = usize::try_from(step.saturating_sub(self.base)).ok();
        let near = index.and_then(|i| self.dense.get_mut(i));
        match (near, u32::try_from(times)) {
            (Some(bin), Ok(few)) if bin.checked_add(few).is_some() => *bin += few,
            _ => *self.sparse.entry(step).or_default() += times,
        }
    }

    /// Doubles the table towards a step just outside it, as long as it stays small.
    fn grow_towards(&mut self, step: i64) {
        let size = self.dense.len();
        let width = i64::try_from(size).unwrap_or(i64::MAX);
        let below = step < self.base && step >= self.base.saturating_sub(width);
        let ends = self.base.saturating_add(width);
        let above = step >= ends && step < ends.saturating_add(width);
        if size >= DENSE_MAX || !(below || above) {
            return;
        }
        let mut wider = vec![0; size * 2];
        let from = if below { size } else { 0 };
        if let Some(place) = wider.get_mut(from..from + size) {
            place.copy_from_slice(&self.dense);
        }
        self.base = self.base.saturating_sub(if below { width } else { 0 });
        self.dense = wider;
        let (low, high) = (self.base, self.base.saturating_add(2 * width));
        let back: Vec<(i64, u64)> = self.sparse.range(low..high).map(|(k, v)| (*k, *v)).collect();
        for (step, times) in back {
            self.sparse.remove(&step);
            self.place(step, times);
        }
    }

    /// One more decimal. What no grid holds, a reading of more volts than there are, stays at its
    /// end.
    fn refine(&mut self) {
        let old = std::mem::take(self);
        self.decimals = old.decimals + 1;
        self.n = old.n;
        for (step, times) in old.steps() {
            self.place(step.saturating_mul(10) >> self.joined, times);
            while self.sparse.len() > SPARSE_MAX {
                self.join();
            }
        }
    }

    /// Two neighbouring steps become one.
    fn join(&mut self) {
        let old = std::mem::take(self);
        self.decimals = old.decimals;
        self.joined = old.joined + 1;
        self.n = old.n;
        for (step, times) in old.steps() {
            self.place(step >> 1, times);
        }
    }

    fn steps(&self) -> Vec<(i64, u64)> {
        let dense = self.dense.iter().enumerate().filter(|(_, times)| **times > 0);
        let dense = dense.map(|(i, times)| {
            (self.base.saturating_add(i64::try_from(i).unwrap_or(i64::MAX)), u64::from(*times))
        });
        let mut steps: Vec<(i64, u64)> = dense.collect();
        steps.extend(self.sparse.iter().map(|(step, times)| (*step, *times)));
        steps.sort_unstable();
        steps
    }

    /// Off the grid by more than this part of a step: the grid is too coarse. On a fine grid the
    /// rounding of doubles of some hundred volts has to pass.
    fn off_grid(&self) -> f64 {
        1e-6_f64.max(1e-3 * 10_f64.powi(self.decimals - DECIMALS_MAX))
    }

    fn scale(&self) -> f64 {
        10_f64.powi(self.decimals)
    }

    /// How many readings.
    #[must_use]
    pub const fn count(&self) -> u64 {
        self.n
    }

    /// Whether no grid steps had to be joined.
    #[must_use]
    pub const fn exact(&self) -> bool {
        self.joined == 0
    }

    /// The median, in volts; of an even number, the mean of the two in the middle.
    #[must_use]
    pub fn median(&self) -> Option<f64> {
        let steps = self.steps();
        let low = self.ranked(&steps, self.n.checked_sub(1)? / 2)?;
        let high = self.ranked(&steps, self.n / 2)?;
        Some(f64::midpoint(low, high))
    }

    fn ranked(&self, steps: &[(i64, u64)], rank: u64) -> Option<f64> {
        let mut before = 0;
        let (step, _) = steps.iter().find(|(_, times)| {
            before += times;
            before > rank
        })?;
        let wide = 1_i64 << self.joined.min(40);
        #[expect(clippy::cast_precision_loss, reason = "steps come from doubles below 2^51")]
        let middle = step.saturating_mul(wide) as f64 + (wide - 1) as f64 / 2.0;
        Some(middle / self.scale())
    }

    /// Forgets every reading and keeps the grid.
    pub fn clear(&mut self) {
        *self = Self { decimals: self.decimals, ..Self::default() };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_pcg::Pcg64;

    fn counted(values: &[f64]) -> Counts {
        let mut counts = Counts::default();
        counts.extend(values);
        counts
    }

    /// The median by sorting.
    fn middle(values: &[f64]) -> f64 {
        let mut sorted = values.to_vec();
        sorted.sort_by(f64::total_cmp);
        f64::midpoint(sorted[(sorted.len() - 1) / 2], sorted[sorted.len() / 2])
    }

    #[track_caller]
    fn close(found: Option<f64>, wanted: f64) {
        assert!((found.unwrap() - wanted).abs() < 1e-9, "{found:?}, truly {wanted}");
    }

    #[test]
    fn the_grid_is_the_coarsest_that_holds_every_reading() {
        let hundredths: Vec<f64> = (0..30_000).step_by(7).map(|k| f64::from(k) / 1e2).collect();
        let finest: Vec<f64> = (0..500).map(|k| 299.0 + f64::from(k * 3_701) / 1e8).collect();
        let logs: [(&[f64], i32); 9] = [
            (&[1.0, 250.0, -3.0], 0),
            (&[12.5], 1),
            (&[1.0, 2.0, 1.5, 2.0], 1),
            (&[0.29, 1.1, 4.35], 2),
            (&[0.5, 0.0, 0.000_002], 6),
            (&[1.0 / 3.0], DECIMALS_MAX),
            // A millionth of a step off the grid is on it.
            (&[1.000_001, 0.000_001], 0),
            (&hundredths, 2),
            (&finest, 8),
        ];
        for (log, decimals) in logs {
            let counts = counted(log);
            let mut one_by_one = Counts::default();
            log.iter().for_each(|x| one_by_one.push(*x));
            assert_eq!((counts.decimals, one_by_one.decimals), (decimals, decimals), "{log:?}");
            assert!(counts.exact() && counts.steps() == one_by_one.steps());
        }
    }

    #[test]
    fn the_median_is_that_of_sorting_in_whatever_parts_readings_come() {
        for seed in 0..60 {
            let mut chance = Pcg64::seed_from_u64(seed);
            let decimals = chance.random_range(0..6);
            let about = chance.random_range(-300_000..300_000);
            let wide = 10_i32.pow(chance.random_range(0..5));
            let mut value = || {
                let step = about + chance.random_range(-wide..=wide);
                f64::from(step) / 10_f64.powi(decimals)
            };
            let values: Vec<f64> = (0..20 + 10 * seed).map(|_| value()).collect();
            let mut counts = Counts::default();
            for part in values.chunks(1 + usize::try_from(seed).unwrap() % 9) {
                counts.extend(part);
            }
            assert!(counts.exact() && counts.count() == 20 + 10 * seed);
            close(counts.median(), middle(&values));
        }
    }

    #[test]
    fn the_table_doubles_only_towards_a_step_just_outside_it() {
        let cases = [
            (-512, 1024, -512),
            (511, 1024, -512),
            (512, 2048, -512),
            (1535, 2048, -512),
            (1536, 1024, -512),
            (-513, 2048, -1536),
            (-1536, 2048, -1536),
            (-1537, 1024, -512),
        ];
        for (step, size, base) in cases {
            let mut counts = Counts::default();
            counts.place(0, 3);
            counts.place(step, 2);
            assert_eq!((counts.dense.len(), counts.base), (size, base), "{step}");
            let mut both = vec![(0, 3), (step, 2)];
            both.sort_unstable();
            assert_eq!(counts.steps(), both);
        }
    }

    #[test]
    fn the_table_takes_in_what_lay_outside_as_it_grows_and_ends_at_its_most() {
        for way in [1, -1] {
            let mut counts = Counts::default();
            [0, 5000, 1000, 1600].iter().for_each(|step| counts.place(way * step, 1));
            assert_eq!(counts.sparse.len(), 1);
            counts.place(way * 3600, 1);
            assert!(counts.sparse.is_empty(), "{:?}", counts.sparse);
            for k in 0..12 {
                counts.place(way * (3 << k) * 1024, 1);
            }
            assert_eq!(counts.dense.len(), DENSE_MAX);
            assert_eq!(counts.steps().len(), 5 + 12);
        }
    }

    #[test]
    fn as_many_far_readings_as_there_is_room_for_stay_exact() {
        let far: Vec<f64> = (0..=4096).map(|i| f64::from(i) * 1e7).collect();
        let mut counts = counted(&far);
        assert!(counts.exact());
        counts.push(0.1);
        assert!(counts.exact() && counts.decimals == 1, "a finer reading is no further one");
        close(counts.median(), 2047.5 * 1e7);
        counts.push(4097e7);
        assert!(!counts.exact());
    }

    #[test]
    fn joined_steps_read_as_the_middle_of_theirs_and_are_never_refined() {
        let far = (1..=2049).flat_map(|i| [f64::from(i) * 1e7, f64::from(i) * 1e7 + 1.0]);
        let once = counted(&far.chain([0.0]).collect::<Vec<_>>());
        assert_eq!((once.joined, once.decimals), (1, 0));
        // Steps 10 and 11 are one now, and so are -4 and -3.
        for (reading, shown) in [(10.0, 10.5), (11.0, 10.5), (-3.0, -3.5), (10.25, 10.5)] {
            let mut counts = once.clone();
            counts.extend(&[reading; 5000]);
            assert_eq!((counts.decimals, counts.count()), (0, 9099));
            close(counts.median(), shown);
        }
        let mut twice = once;
        twice.join();
        twice.extend(&[10.0; 5000]);
        close(twice.median(), 9.5);
        twice.clear();
        assert!(twice.exact() && twice.median().is_none() && twice.count() == 0);
    }

    #[test]
    fn a_finer_reading_in_a_wide_log_doubles_no_median() {
        // Steps of a millivolt that all lie in the table, but no longer when they are ten times
        // as many: some are joined while the table is made anew.
        let to_there = (0..9).map(|k| f64::from(512 << k) / 1e3);
        let there = (0..5000).map(|k| 100.0 + f64::from(k) / 1e3);
        let mut values: Vec<f64> = to_there.chain(there).chain([104.9; 9000]).collect();
        assert!(counted(&values).exact());
        values.push(104.900_1);
        let counts = counted(&values);
        assert!(!counts.exact() && counts.decimals == 4);
        let found = counts.median().unwrap();
        assert!((found - 104.9).abs() < 0.001, "{found}");
    }

    #[test]
    fn more_equal_readings_than_a_bin_holds_are_all_counted() {
        let mut counts = counted(&[12.5, 12.5]);
        let place = counts.dense.iter().position(|n| *n == 2).unwrap();
        counts.dense[place] = u32::MAX - 1;
        counts.n = u64::from(u32::MAX) - 1;
        counts.extend(&[12.5; 3]);
        counts.extend(&[11.0; 2]);
        assert_eq!(counts.count(), u64::from(u32::MAX) + 4);
        assert_eq!(counts.dense[place], u32::MAX);
        assert_eq!(counts.steps(), [(110, 2), (125, 2), (125, u64::from(u32::MAX))]);
        counts.push(12.55);
        close(counts.median(), 12.5);
        let all: u64 = counts.steps().iter().map(|(_, n)| n).sum();
        assert_eq!((counts.decimals, all), (2, counts.count()));
    }

    #[test]
    fn as_many_different_readings_as_a_table_holds_stay_exact_on_a_finer_grid() {
        let mut counts = counted(&(0..10_000).map(|k| f64::from(k) / 1e3).collect::<Vec<_>>());
        counts.push(0.000_1);
        assert!(counts.exact() && counts.sparse.is_empty());
        close(counts.median(), 4.999);
    }

    #[test]
    fn forgotten_readings_leave_their_grid() {
        let mut counts = counted(&[1.25, 2.0]);
        counts.clear();
        assert_eq!((counts.count(), counts.decimals, counts.median()), (0, 2, None));
    }

    #[test]
    fn a_reading_beyond_all_reason_does_no_harm_to_the_others() {
        for wild in [1e30, -1e30, 9.8e37, f64::MAX, f64::MIN] {
            let mut counts = Counts::default();
            for value in [12.5, 12.5, wild, 12.55, 12.555, 12.555_5, 12.5, 12.5] {
                counts.push(value);
            }
            assert_eq!(counts.count(), 8);
            let median = counts.median().unwrap();
            assert!((12.5..12.6).contains(&median), "{wild}: {median}");
        }
    }
}
