//! The usual row, byte by byte: plain numbers for time and value, `V`, `mV` or `kV`, overload 0 or
//! 1, no quotes, no blanks. Whatever else it meets it leaves to [`super::row`], by answering
//! nothing; what it does answer is what that would have answered, to the last bit: a number of at
//! most 2^53 times a power of ten up to 22 is rounded once, as by any correct parser.

use super::header::{Field, Layout, Unit};
use super::row::{OVERLOAD_FROM, Time};

const POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];

/// The row at `at`: its time, its volts unless it is overload, and where the next row begins.
#[inline]
pub(super) fn row(
    bytes: &[u8],
    mut at: usize,
    layout: &Layout,
) -> Option<(Time, Option<f64>, usize)> {
    let (mut t, mut x) = (0.0, 0.0);
    let mut unit = layout.unit;
    let mut over = false;
    let last = layout.fields.len();
    for (k, field) in layout.fields.iter().enumerate() {
        match field {
            Field::Time => (t, at) = number(bytes, at, layout.delimiter)?,
            Field::Value => (x, at) = number(bytes, at, layout.delimiter)?,
            Field::Unit => (unit, at) = volts(bytes, at)?,
            Field::Overload => {
                over = match bytes.get(at)? {
                    b'0' => false,
                    b'1' => true,
                    _ => return None,
                };
                at += 1;
            }
            Field::Other => at = other(bytes, at, layout.delimiter)?,
        }
        let end = *bytes.get(at)?;
        if k + 1 < last {
            if end != layout.delimiter {
                return None;
            }
            at += 1;
        }
    }
    if bytes.get(at) == Some(&layout.delimiter) {
        at = rest(bytes, at)?;
    }
    at = match bytes.get(at)? {
        b'\n' => at + 1,
        b'\r' if bytes.get(at + 1) == Some(&b'\n') => at + 2,
        _ => return None,
    };
    let value = if over { None } else { Some(unit.volts(x)) };
    Some((Time::Seconds(t / layout.per_second), value, at))
}

/// A number and where it ends.
#[inline]
fn number(bytes: &[u8], mut at: usize, delimiter: u8) -> Option<(f64, usize)> {
    let mut b = *bytes.get(at)?;
    let negative = b == b'-';
    if negative || b == b'+' {
        at += 1;
        b = *bytes.get(at)?;
    }
    let from = at;
    let mut digits: u64 = 0;
    while b.wrapping_sub(b'0') < 10 {
        digits = digits.wrapping_mul(10).wrapping_add(u64::from(b - b'0'));
        at += 1;
        b = *bytes.get(at)?;
    }
    let mut length = at - from;
    let mut decimals = 0;
    if b == b'.' || (b == b',' && delimiter != b',') {
        at += 1;
        let point = at;
        b = *bytes.get(at)?;
        while b.wrapping_sub(b'0') < 10 {
            digits = digits.wrapping_mul(10).wrapping_add(u64::from(b - b'0'));
            at += 1;
            b = *bytes.get(at)?;
        }
        decimals = at - point;
        length += decimals;
    }
    if length == 0 || length > 18 || digits > 1 << 53 {
        return None;
    }
    #[expect(clippy::cast_precision_loss, reason = "at most 2^53")]
    let whole = digits as f64;
    let size = if b == b'e' || b == b'E' {
        let power;
        (power, at) = exponent(bytes, at + 1)?;
        let power = power - i32::try_from(decimals).ok()?;
        let scale = *POWERS.get(usize::try_from(power.unsigned_abs()).ok()?)?;
        if power < 0 { whole / scale } else { whole * scale }
    } else {
        whole / *POWERS.get(decimals)?
    };
    if size >= OVERLOAD_FROM {
        return None;
    }
    Some((if negative { -size } else { size }, at))
}

fn exponent(bytes: &[u8], mut at: usize) -> Option<(i32, usize)> {
    let sign = *bytes.get(at)?;
    if sign == b'-' || sign == b'+' {
        at += 1;
    }
    let from = at;
    let mut power = 0;
    while let Some(b) = bytes.get(at).filter(|b| b.is_ascii_digit()) {
        power = power * 10 + i32::from(b - b'0');
        at += 1;
        if at - from > 3 {
            return None;
        }
    }
    (at > from).then_some((if sign == b'-' { -power } else { power }, at))
}

#[inline]
fn volts(bytes: &[u8], at: usize) -> Option<(Unit, usize)> {
    match bytes.get(at)? {
        b'V' => Some((Unit::Volt, at + 1)),
        b'm' if bytes.get(at + 1) == Some(&b'V') => Some((Unit::Millivolt, at + 2)),
        b'k' if bytes.get(at + 1) == Some(&b'V') => Some((Unit::Kilovolt, at + 2)),
        _ => None,
    }
}

/// A field that does not matter, if it is a plain one.
fn other(bytes: &[u8], mut at: usize, delimiter: u8) -> Option<usize> {
    loop {
        match bytes.get(at)? {
            b'"' => return None,
            b'\n' | b'\r' => return Some(at),
            b if *b == delimiter => return Some(at),
            _ => at += 1,
        }
    }
}

/// Fields behind the last that matters, if they are plain.
fn rest(bytes: &[u8], mut at: usize) -> Option<usize> {
    loop {
        match bytes.get(at)? {
            b'"' => return None,
            b'\n' | b'\r' => return Some(at),
            _ => at += 1,
        }
    }
}
