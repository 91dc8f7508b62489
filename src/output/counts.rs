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
        if size * 2 > DENSE_MAX || !(below || above) {
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
            self.place(step.saturating_mul(10), times);
            while self.sparse.len() > SPARSE_MAX {
                self.join();
            }
        }
        // What follows is counted near where the readings were.
        self.joined += old.joined;
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
