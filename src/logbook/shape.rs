//! The shape of a row: how many digits stand ahead of and behind each point, and the bytes behind
//! the value. Rows of a log mostly have the shape of the row before, so that it is known where
//! each digit stands before one is looked at, and eight are read in one step. A row of another
//! shape is left to [`super::fast`], by answering nothing; what is answered is what that answers.

use super::fast::scaled;
use super::header::Unit;

/// Every byte a `0`.
const ZEROS: u64 = 0x3030_3030_3030_3030;
const SIXES: u64 = 0x0606_0606_0606_0606;
const HIGH_HALVES: u64 = 0xf0f0_f0f0_f0f0_f0f0;
/// A row is looked for in this many bytes.
const WINDOW: usize = 64;
/// More digits could be more than 2^53.
const DIGITS_MAX: usize = 15;

/// Digits, and digits behind a point, if there is one.
#[derive(Clone, Copy, Debug)]
struct Number {
    whole: usize,
    /// What follows the whole digits: the point, or what stands behind the number.
    next: u8,
    decimals: usize,
    /// Ten to the power of `decimals`.
    power: f64,
    ten: u64,
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
    pub(super) unit: Unit,
    /// What stands behind the value, as one word, and which of its bits count.
    tail: u64,
    tail_mask: u64,
    tail_length: usize,
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
        let fits = (1..=8).contains(&whole) && decimals <= 8 && (decimals > 0) == point;
        if !fits || whole + decimals > DIGITS_MAX {
            return None;
        }
        let ten = 10_u64.pow(u32::try_from(decimals).ok()?);
        #[expect(clippy::cast_precision_loss, reason = "at most 10^8")]
        let power = ten as f64;
        let end = at + whole + usize::from(point) + decimals;
        Some((Self { whole, next, decimals, power, ten }, end))
    }

    /// The number at `at` of the window, not yet divided, and where it ends; the third is zero if
    /// it is of this shape.
    #[inline(always)]
    fn read(&self, window: &[u8; WINDOW], at: usize) -> (u64, usize, u64) {
        let (mut digits, mut odd) = eight(window, at, self.whole);
        let mut end = at + self.whole;
        odd |= u64::from(byte(window, end) ^ self.next);
        if self.decimals > 0 {
            let (more, odd_too) = eight(window, end + 1, self.decimals);
            digits = digits * self.ten + more;
            odd |= odd_too;
            end += 1 + self.decimals;
        }
        (digits, end, odd)
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
        let (size, mut odd) = eight(window, from, self.digits);
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

    /// Time, value as it stands, and where the next row begins, if the row at `at` is of this
    /// shape.
    #[inline(always)]
    pub(super) fn read(&self, bytes: &[u8], at: usize) -> Option<(f64, f64, usize)> {
        let window: &[u8; WINDOW] = bytes.get(at..at + WINDOW)?.try_into().ok()?;
        let (t, end, mut odd) = self.time.read(window, 0);
        odd |= u64::from(byte(window, end) ^ self.delimiter);
        let sign = byte(window, end + 1);
        let negative = sign == b'-';
        let from = end + 1 + usize::from(negative | (sign == b'+'));
        let (x, mut end, odd_too) = self.value.read(window, from);
        odd |= odd_too;
        let mut power = 0;
        if let Some(exponent) = self.exponent {
            let odd_too;
            (power, end, odd_too) = exponent.read(window, end);
            odd |= odd_too;
        }
        odd |= (word(window, end) ^ self.tail) & self.tail_mask;
        if odd != 0 {
            return None;
        }
        #[expect(clippy::cast_precision_loss, reason = "at most 15 digits")]
        let (t, x) = (t as f64 / self.time.power, x as f64);
        let x = match self.exponent {
            None => x / self.value.power,
            Some(_) => scaled(x, power, self.value.decimals)?,
        };
        let x = f64::from_bits(x.to_bits() | u64::from(negative) << 63);
        Some((t, x, at + end + self.tail_length))
    }
}

/// A byte of the window; offsets inside a row are far below its length.
#[inline(always)]
fn byte(window: &[u8; WINDOW], at: usize) -> u8 {
    window[at & (WINDOW - 1)]
}

/// Eight bytes of the window, the first lowest. A row of any shape ends before byte 50.
#[inline(always)]
fn word(window: &[u8; WINDOW], at: usize) -> u64 {
    let at = at.min(WINDOW - 8);
    let mut eight = [0; 8];
    eight.copy_from_slice(&window[at..at + 8]);
    u64::from_le_bytes(eight)
}

/// The number in `digits` bytes, 1 to 8, and zero if they are digits.
#[inline(always)]
fn eight(window: &[u8; WINDOW], at: usize, digits: usize) -> (u64, u64) {
    // The digits go to the end of the word; zeros come in ahead of them.
    let w = (word(window, at) ^ ZEROS) << (64 - 8 * digits);
    let odd = (w.wrapping_add(SIXES) | w) & HIGH_HALVES;
    // Neighbours are joined: digits to pairs, pairs to fours, fours to eight.
    let pairs = (w & 0x0f0f_0f0f_0f0f_0f0f).wrapping_mul(2561) >> 8;
    let fours = (pairs & 0x00ff_00ff_00ff_00ff).wrapping_mul(6_553_601) >> 16;
    let all = (fours & 0x0000_ffff_0000_ffff).wrapping_mul(42_949_672_960_001) >> 32;
    (all, odd)
}
