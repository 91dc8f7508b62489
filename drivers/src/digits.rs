//! Numbers eight digits at a time. Neighbouring fields (readings of a block, rows of a log) mostly
//! have the shape of the one before, so that it is known where each digit stands before one is
//! looked at. Whether the bytes have that shape comes with the number, as bits that are zero if
//! they have: whoever reads a whole row asks once. What has another shape is left to the caller's
//! own grammar. Shapes hold only numbers that one rounding makes the nearest double.

/// How many bytes of a row or field may be addressed; as many more as are read at once follow.
const SPAN: usize = 64;

/// The bytes from the beginning of a row or field on. A shape reads only inside of it.
pub type Window = [u8; SPAN + 16];

/// Every byte a `0`.
const ZEROS: u64 = 0x3030_3030_3030_3030;
const SIXES: u64 = 0x0606_0606_0606_0606;
const HIGH_HALVES: u64 = 0xf0f0_f0f0_f0f0_f0f0;
/// More digits could be more than 2^53.
const DIGITS_MAX: usize = 15;

/// Powers of ten that a double holds without error.
pub const POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];

/// The same as whole numbers, as far as two halves of a number need them.
const WHOLE_POWERS: [u64; 16] = {
    let mut powers = [1; 16];
    let mut place = 1;
    while place < powers.len() {
        powers[place] = powers[place - 1] * 10;
        place += 1;
    }
    powers
};

/// What a whole number is multiplied by, or divided by on the way down, so that one rounding gives
/// the nearest double: whole numbers up to 2^53 and powers of ten up to 22 are doubles without
/// error (W. D. Clinger, "How to read floating point numbers accurately", 1990, 3).
#[derive(Clone, Copy, Debug)]
pub struct Scale {
    by: f64,
    down: bool,
}

impl Scale {
    /// Of a number whose last `decimals` digits stand behind the point, times ten to the `power`;
    /// `None` where that takes more than one rounding.
    #[inline(always)]
    #[must_use]
    pub fn of(power: i64, decimals: usize) -> Option<Self> {
        let power = power - i64::try_from(decimals).ok()?;
        let by = *POWERS.get(usize::try_from(power.unsigned_abs()).ok()?)?;
        Some(Self { by, down: power < 0 })
    }

    /// The number whose digits are `whole`.
    #[inline(always)]
    #[must_use]
    pub const fn apply(self, whole: f64) -> f64 {
        if self.down { whole / self.by } else { whole * self.by }
    }
}

/// The same in one step.
#[inline(always)]
#[must_use]
pub fn scaled(whole: f64, power: i64, decimals: usize) -> Option<f64> {
    Some(Scale::of(power, decimals)?.apply(whole))
}

/// Digits, and digits behind a point, if there is one. No sign.
#[derive(Clone, Copy, Debug)]
pub struct NumberShape {
    whole: usize,
    /// What follows the whole digits: the point, or what stands behind the number.
    next: u8,
    length: usize,
    /// How many bits the whole digits take, and how many are left free in one word or in two.
    whole_bits: usize,
    free_bits: usize,
    two_words: bool,
    /// Both words by themselves: neither side of the point has more than eight digits.
    split: bool,
    decimals: usize,
}

impl NumberShape {
    /// The shape of the number at `at`, with one of `points` in it or none, and where it ends;
    /// `None` if there is no number, if it is the last thing in `bytes`, or if it is too long.
    #[must_use]
    pub fn of(bytes: &[u8], at: usize, points: &[u8]) -> Option<(Self, usize)> {
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
        let split = two_words && whole <= 8 && (1..=8).contains(&decimals);
        let (whole_bits, free_bits) = (8 * whole, if two_words { 128 } else { 64 } - 8 * all);
        let number =
            Self { whole, next, length, whole_bits, free_bits, two_words, split, decimals };
        Some((number, at + length))
    }

    /// How many bytes it takes.
    #[inline(always)]
    #[must_use]
    pub const fn length(&self) -> usize {
        self.length
    }

    /// How many of its digits stand behind the point.
    #[inline(always)]
    #[must_use]
    pub const fn decimals(&self) -> usize {
        self.decimals
    }

    /// Whether it has to be read as long.
    #[must_use]
    pub const fn is_long(&self) -> bool {
        self.two_words
    }

    /// The number at `at` of the window, without its point, and zero if it is of this shape. Only
    /// with `LONG` are long ones read.
    #[inline(always)]
    #[must_use]
    pub fn read<const LONG: bool>(&self, window: &Window, at: usize) -> (u64, u64) {
        let point = u64::from(byte(window, at + self.whole) ^ self.next);
        if LONG && self.split {
            let ahead = u64::from_le_bytes(word(window, at)) ^ ZEROS;
            let behind = u64::from_le_bytes(word(window, at + self.whole + 1)) ^ ZEROS;
            let (whole, odd) = eight(ahead << (64 - self.whole_bits));
            let (fraction, odd_too) = eight(behind << (64 - 8 * self.decimals));
            let power = WHOLE_POWERS[self.decimals & 15];
            return (whole * power + fraction, odd | odd_too | point);
        }
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
}

/// An `E` or `e`, a sign or none, one to three digits.
#[derive(Clone, Copy, Debug)]
pub struct ExponentShape {
    signed: bool,
    digits: usize,
}

impl ExponentShape {
    /// The shape of the exponent at `at`, if one is there, and where it ends; `None` if one begins
    /// there and is of no shape.
    #[must_use]
    pub fn of(bytes: &[u8], at: usize) -> Option<(Option<Self>, usize)> {
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
    #[must_use]
    pub fn read(self, window: &Window, at: usize) -> (i64, usize, u64) {
        let sign = byte(window, at + 1);
        let signed = sign == b'-' || sign == b'+';
        let from = at + 1 + usize::from(self.signed);
        let word = u64::from_le_bytes(word(window, from)) ^ ZEROS;
        let (size, mut odd) = eight(word << (64 - 8 * self.digits));
        odd |= u64::from((byte(window, at) | 0x20) ^ b'e') | u64::from(signed != self.signed);
        #[expect(clippy::cast_possible_wrap, reason = "three digits")]
        let size = size as i64;
        (if sign == b'-' { -size } else { size }, from + self.digits, odd)
    }
}

/// A byte of the window, whose offset is taken within the span.
#[inline(always)]
#[must_use]
pub fn byte(window: &Window, at: usize) -> u8 {
    window[at & (SPAN - 1)]
}

/// Bytes of the window, at most sixteen, whose offset is taken within the span.
#[inline(always)]
#[must_use]
pub fn word<const N: usize>(window: &Window, at: usize) -> [u8; N] {
    let at = at & (SPAN - 1);
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

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn window(text: &str) -> Window {
        let mut window = [b'#'; SPAN + 16];
        window[..text.len()].copy_from_slice(text.as_bytes());
        window
    }

    proptest! {
        // A number is what the language reads; one wrong byte, and the bits say so.
        #[test]
        fn a_number_of_the_shape_is_read_and_any_other_is_told(
            (whole, decimals) in (1_usize..8, 0_usize..8),
            digits in 0_u64..1_000_000_000_000_000,
            place in 0_usize..16,
            wrong in prop_oneof![Just(b':'), Just(b'/'), Just(b','), any::<u8>()],
        ) {
            let all = format!("{digits:015}");
            let (head, tail) = (&all[..whole], &all[whole..whole + decimals]);
            let text = if decimals > 0 { format!("{head}.{tail},") } else { format!("{head},") };
            let (shape, end) = NumberShape::of(text.as_bytes(), 0, b".").unwrap();
            prop_assert_eq!((end, shape.length()), (text.len() - 1, text.len() - 1));
            let wanted: u64 = format!("{head}{tail}").parse().unwrap();
            let mut bytes = window(&text);
            prop_assert_eq!(shape.read::<true>(&bytes, 0), (wanted, 0));
            if !shape.is_long() {
                prop_assert_eq!(shape.read::<false>(&bytes, 0), (wanted, 0));
            }
            let place = place % shape.length();
            let point = place == whole;
            bytes[place] = wrong;
            let same = if point { wrong == b'.' } else { wrong.is_ascii_digit() };
            prop_assert_eq!(shape.read::<true>(&bytes, 0).1 == 0, same);
        }

        #[test]
        fn an_exponent_of_the_shape_is_read_and_any_other_is_told(
            text in "[Ee][-+]?[0-9]{1,3}",
            place in 0_usize..5,
            wrong in any::<u8>(),
        ) {
            let whole = format!("{text},");
            let (shape, end) = ExponentShape::of(whole.as_bytes(), 0).unwrap();
            let shape = shape.unwrap();
            let wanted: i64 = text[1..].parse().unwrap();
            let mut bytes = window(&whole);
            prop_assert_eq!(shape.read(&bytes, 0), (wanted, end, 0));
            let place = place % text.len();
            bytes[place] = wrong;
            let changed = String::from_utf8(bytes[..text.len()].to_vec());
            let reads = changed.ok().and_then(|text| {
                let number = text.strip_prefix(['E', 'e'])?;
                let digits = number.trim_start_matches(['+', '-']);
                let like = number.len() == text.len() - 1 && digits.len() == shape.digits;
                (like && digits.bytes().all(|b| b.is_ascii_digit())).then(|| number.parse().ok())?
            });
            let (power, _, odd) = shape.read(&bytes, 0);
            prop_assert_eq!((odd == 0).then_some(power), reads);
        }
    }

    #[test]
    fn what_is_no_number_or_too_long_has_no_shape() {
        for text in ["", ".", ".5,", "5.,", "12", "1234567890123456,", "-1,", "a,"] {
            assert!(NumberShape::of(text.as_bytes(), 0, b".").is_none(), "{text}");
        }
        for text in ["", "e", "E+", "e+1234,", "Ex,"] {
            assert!(ExponentShape::of(text.as_bytes(), 0).is_none(), "{text}");
        }
        assert!(matches!(ExponentShape::of(b",", 0), Some((None, 0))));
    }
}
