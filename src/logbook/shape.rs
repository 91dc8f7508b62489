//! The shape of a row: those of its numbers, and the bytes behind the value. Rows of a log mostly
//! have the shape of the row before, so that it is known where each digit stands before one is
//! looked at. A row of another shape is left to [`super::fast`], by ending the run; what is read is
//! what that would read.

use super::header::Unit;
use super::row::OVERLOAD_FROM;
use drivers::digits::{ExponentShape, NumberShape, POWERS, Window, byte, scaled, word};

/// The most rows of a run.
const RUN: usize = 256;

/// A row of plain numbers: time, value, and bytes that are always the same.
#[derive(Clone, Copy, Debug)]
pub(super) struct RowShape {
    time: NumberShape,
    value: NumberShape,
    exponent: Option<ExponentShape>,
    delimiter: u8,
    unit: Unit,
    /// What stands behind the value, as one word, and which of its bits count.
    tail: u64,
    tail_mask: u64,
    tail_length: usize,
}

/// Neighbouring rows of one shape: times and values.
#[derive(Debug)]
pub(super) struct Run {
    t: [f64; RUN],
    x: [f64; RUN],
    n: usize,
}

impl RowShape {
    /// The shape of the row from `at` to `next`, which [`super::fast`] has read in this unit;
    /// `None` if it has none.
    pub(super) fn of(
        bytes: &[u8],
        at: usize,
        next: usize,
        delimiter: u8,
        unit: Unit,
    ) -> Option<Self> {
        let points: &[u8] = if delimiter == b',' { b"." } else { b".," };
        let (time, end) = NumberShape::of(bytes, at, points)?;
        let value = end + 1;
        let signed = matches!(bytes.get(value)?, b'-' | b'+');
        let (value, end) = NumberShape::of(bytes, value + usize::from(signed), points)?;
        let (exponent, end) = ExponentShape::of(bytes, end)?;
        let tail = bytes.get(end..next).filter(|tail| tail.len() <= 8)?;
        let mut word = [0; 8];
        word.get_mut(..tail.len())?.copy_from_slice(tail);
        let tail_mask = u64::MAX >> (64 - 8 * tail.len());
        let tail_length = tail.len();
        let tail = u64::from_le_bytes(word);
        Some(Self { time, value, exponent, delimiter, unit, tail, tail_mask, tail_length })
    }

    /// Reads rows of this shape from `at` on, `most` at most: where the next row begins.
    pub(super) fn read(&self, bytes: &[u8], at: usize, most: usize, run: &mut Run) -> usize {
        let at = match (self.time.is_long() || self.value.is_long(), self.exponent) {
            (false, None) => self.rows::<false, false>(bytes, at, most, run),
            (true, None) => self.rows::<true, false>(bytes, at, most, run),
            (false, Some(_)) => self.rows::<false, true>(bytes, at, most, run),
            (true, Some(_)) => self.rows::<true, true>(bytes, at, most, run),
        };
        // What all rows have in common is done to all at once.
        let (t_power, x_power) = (power(&self.time), power(&self.value));
        let (t, x) = (run.t.iter_mut().take(run.n), run.x.iter_mut().take(run.n));
        t.for_each(|t| *t /= t_power);
        if self.exponent.is_none() {
            x.for_each(|x| *x = self.unit.volts(*x / x_power));
        } else {
            x.for_each(|x| *x = self.unit.volts(*x));
        }
        at
    }

    /// What [`Self::read`] does in its loop, for long numbers or not, with an exponent or not.
    #[inline(never)]
    fn rows<const LONG: bool, const EXPONENT: bool>(
        &self,
        bytes: &[u8],
        mut at: usize,
        most: usize,
        run: &mut Run,
    ) -> usize {
        let shape = *self;
        let mut n = 0;
        for (t, x) in run.t.iter_mut().zip(&mut run.x).take(most) {
            let Some(next) = shape.row::<LONG, EXPONENT>(bytes, at, t, x) else { break };
            n += 1;
            at = next;
        }
        run.n = n;
        at
    }

    /// The row at `at`, if it is of this shape: where the next one begins.
    #[inline(always)]
    fn row<const LONG: bool, const EXPONENT: bool>(
        &self,
        bytes: &[u8],
        at: usize,
        t: &mut f64,
        x: &mut f64,
    ) -> Option<usize> {
        let window: &Window = bytes.get(at..)?.first_chunk()?;
        let (time, mut odd) = self.time.read::<LONG>(window, 0);
        let end = self.time.length();
        odd |= u64::from(byte(window, end) ^ self.delimiter);
        let sign = byte(window, end + 1);
        let negative = sign == b'-';
        let from = end + 1 + usize::from(negative | (sign == b'+'));
        let (value, odd_too) = self.value.read::<LONG>(window, from);
        odd |= odd_too;
        let mut end = from + self.value.length();
        let mut power = 0;
        if let (true, Some(exponent)) = (EXPONENT, self.exponent) {
            let odd_too;
            (power, end, odd_too) = exponent.read(window, end);
            odd |= odd_too;
        }
        odd |= (u64::from_le_bytes(word(window, end)) ^ self.tail) & self.tail_mask;
        if odd != 0 {
            return None;
        }
        #[expect(clippy::cast_precision_loss, reason = "at most 15 digits")]
        let (time, mut size) = (time as f64, value as f64);
        if EXPONENT {
            size = scaled(size, power, self.value.decimals()).filter(|x| *x < OVERLOAD_FROM)?;
        }
        *t = time;
        *x = f64::from_bits(size.to_bits() | u64::from(negative) << 63);
        Some(at + end + self.tail_length)
    }
}

impl Default for Run {
    fn default() -> Self {
        Self { t: [0.0; RUN], x: [0.0; RUN], n: 0 }
    }
}

impl Run {
    /// The times as they stand in the rows.
    pub(super) fn t(&self) -> &[f64] {
        self.t.get(..self.n).unwrap_or(&self.t)
    }

    /// The volts.
    pub(super) fn x(&self) -> &[f64] {
        self.x.get(..self.n).unwrap_or(&self.x)
    }

    /// Whether it ended because it was full, not at a row of another shape.
    pub(super) const fn is_full(&self) -> bool {
        self.n == RUN
    }
}

/// What a number read without its point is to be divided by.
fn power(number: &NumberShape) -> f64 {
    POWERS.get(number.decimals()).copied().unwrap_or(f64::NAN)
}
