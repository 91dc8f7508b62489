//! The shape of a row: how many digits stand ahead of and behind each point, and the bytes behind
//! the value. Rows of a log mostly have the shape of the row before, so that it is known where
//! each digit stands before one is looked at, and eight are read in one step. A row of another
//! shape is left to [`super::fast`], by ending the run; what is read is what that would read.

use super::fast::{POWERS, scaled};
use super::header::Unit;

/// Every byte a `0`.
const ZEROS: u64 = 0x3030_3030_3030_3030;
const SIXES: u64 = 0x0606_0606_0606_0606;
const HIGH_HALVES: u64 = 0xf0f0_f0f0_f0f0_f0f0;
/// A row of any shape ends within this many bytes; as many more as are read at once stand behind.
const ROW_MAX: usize = 64;
const WINDOW: usize = ROW_MAX + 16;
/// More digits could be more than 2^53.
const DIGITS_MAX: usize = 15;
/// The most rows of a run.
const RUN: usize = 256;

/// Digits, and digits behind a point, if there is one.
#[derive(Clone, Copy, Debug)]
struct Number {
    whole: usize,
    /// What follows the whole digits: the point, or what stands behind the number.
    next: u8,
    length: usize,
    /// How many bits the whole digits take, and how many are left free in one word or in two.
    whole_bits: usize,
    free_bits: usize,
    two_words: bool,
    decimals: usize,
}

/// An `E` or `e`, a sign or none, digits.
#[derive(Clone, Copy, Debug)]
struct Exponent {
    signed: bool,
    digits: usize,
}

/// A row of plain numbers: time, value, and bytes that are always the same.
#[derive(Clone, Copy, Debug)]
pub(super) struct RowShape {
    time: Number,
    value: Number,
    exponent: Option<Exponent>,
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

impl Number {
    /// The shape of the number at `at`, and where it ends.
    fn of(bytes: &[u8], at: usize, points: &[u8]) -> Option<(Self, usize)> {
        let digits = |from: usize| {
            let rest = bytes.get(from..).unwrap_or(&[]);
            rest.iter().take_while(|b| b.is_ascii_digit()).count()
        };
        let whole = digits(at);
        let next = *bytes.get(at + whole)?;
        let point = points.contains(&next);
        let decimals = if point { digits(at + whole + 1) } else { 0 };
        let all = whole + decimals;
        if whole == 0 || all > DIGITS_MAX || (decimals > 0) != point {
            return None;
        }
        let length = all + usize::from(point);
        let two_words = all > 8 || whole > 7;
        let (whole_bits, free_bits) = (8 * whole, if two_words { 128 } else { 64 } - 8 * all);
        let number = Self { whole, next, length, whole_bits, free_bits, two_words, decimals };
        Some((number, at + length))
    }

    /// The number at `at` of the window, without its point, and zero if it is of this shape.
    #[inline(always)]
    fn read<const LONG: bool>(&self, window: &[u8; WINDOW], at: usize) -> (u64, u64) {
        let point = u64::from(byte(window, at + self.whole) ^ self.next);
        // The digits behind the point close up to those ahead of it, and all of them go to the
        // end of the word; zeros come in ahead of them.
        if LONG && self.two_words {
            let bytes = word::<16>(window, at);
            let bytes = u128::from_le_bytes(bytes) ^ (u128::from(ZEROS) << 64 | u128::from(ZEROS));
            let ahead = bytes & !(u128::MAX << self.whole_bits);
            let behind = bytes >> 8 & u128::MAX << self.whole_bits;
            let digits = (ahead | behind) << self.free_bits;
            #[expect(clippy::cast_possible_truncation, reason = "the halves, one by one")]
            let (low, high) = (digits as u64, (digits >> 64) as u64);
            let (low, high) = (eight(low), eight(high));
            return (low.0 * 100_000_000 + high.0, low.1 | high.1 | point);
        }
        let ahead = u64::from_le_bytes(word(window, at)) ^ ZEROS;
        let behind = u64::from_le_bytes(word(window, at + 1)) ^ ZEROS;
        let mask = u64::MAX << self.whole_bits;
        let (number, odd) = eight((ahead & !mask | behind & mask) << self.free_bits);
        (number, odd | point)
    }

    /// What the number is to be divided by.
    fn power(&self) -> f64 {
        POWERS.get(self.decimals).copied().unwrap_or(f64::NAN)
    }
}

impl Exponent {
    /// The shape of the exponent at `at`, if one is there, and where it ends.
    fn of(bytes: &[u8], at: usize) -> Option<(Option<Self>, usize)> {
        if bytes.get(at)? | 0x20 != b'e' {
            return Some((None, at));
        }
        let signed = matches!(bytes.get(at + 1)?, b'-' | b'+');
        let from = at + 1 + usize::from(signed);
        let digits = bytes.get(from..)?.iter().take_while(|b| b.is_ascii_digit()).count();
        (1..=3).contains(&digits).then_some((Some(Self { signed, digits }), from + digits))
    }

    /// The exponent at `at` of the window, where it ends, and zero if it is of this shape.
    #[inline(always)]
    fn read(self, window: &[u8; WINDOW], at: usize) -> (i32, usize, u64) {
        let sign = byte(window, at + 1);
        let signed = sign == b'-' || sign == b'+';
        let from = at + 1 + usize::from(self.signed);
        let word = u64::from_le_bytes(word(window, from)) ^ ZEROS;
        let (size, mut odd) = eight(word << (64 - 8 * self.digits));
        odd |= u64::from((byte(window, at) | 0x20) ^ b'e') | u64::from(signed != self.signed);
        #[expect(clippy::cast_possible_truncation, reason = "three digits")]
        let size = size as i32;
        (if sign == b'-' { -size } else { size }, from + self.digits, odd)
    }
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
        let (time, end) = Number::of(bytes, at, points)?;
        let value = end + 1;
        let signed = matches!(bytes.get(value)?, b'-' | b'+');
        let (value, end) = Number::of(bytes, value + usize::from(signed), points)?;
        let (exponent, end) = Exponent::of(bytes, end)?;
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
        let at = match (self.time.two_words || self.value.two_words, self.exponent) {
            (false, None) => self.rows::<false, false>(bytes, at, most, run),
            (true, None) => self.rows::<true, false>(bytes, at, most, run),
            (false, Some(_)) => self.rows::<false, true>(bytes, at, most, run),
            (true, Some(_)) => self.rows::<true, true>(bytes, at, most, run),
        };
        // What all rows have in common is done to all at once.
        let (t_power, x_power) = (self.time.power(), self.value.power());
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
        let window: &[u8; WINDOW] = bytes.get(at..)?.first_chunk()?;
        let (time, mut odd) = self.time.read::<LONG>(window, 0);
        let end = self.time.length;
        odd |= u64::from(byte(window, end) ^ self.delimiter);
        let sign = byte(window, end + 1);
        let negative = sign == b'-';
        let from = end + 1 + usize::from(negative | (sign == b'+'));
        let (value, odd_too) = self.value.read::<LONG>(window, from);
        odd |= odd_too;
        let mut end = from + self.value.length;
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
            size = scaled(size, power, self.value.decimals)?;
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

/// A byte of the window; offsets inside a row are below [`ROW_MAX`].
#[inline(always)]
fn byte(window: &[u8; WINDOW], at: usize) -> u8 {
    window[at & (ROW_MAX - 1)]
}

/// Bytes of the window.
#[inline(always)]
fn word<const N: usize>(window: &[u8; WINDOW], at: usize) -> [u8; N] {
    let at = at & (ROW_MAX - 1);
    let mut bytes = [0; N];
    bytes.copy_from_slice(&window[at..at + N]);
    bytes
}

/// The number whose digits are these bytes, the first lowest, and zero if they are digits.
#[inline(always)]
fn eight(w: u64) -> (u64, u64) {
    let odd = (w.wrapping_add(SIXES) | w) & HIGH_HALVES;
    // Neighbours are joined: digits to pairs, pairs to fours, fours to eight.
    let pairs = (w & 0x0f0f_0f0f_0f0f_0f0f).wrapping_mul(2561) >> 8;
    let fours = (pairs & 0x00ff_00ff_00ff_00ff).wrapping_mul(6_553_601) >> 16;
    let all = (fours & 0x0000_ffff_0000_ffff).wrapping_mul(42_949_672_960_001) >> 32;
    (all, odd)
}
