//! The usual row, byte by byte: plain numbers for time and value, `V`, `mV` or `kV`, overload 0, no
//! quotes, no blanks. Whatever else it meets it leaves to [`super::row`], by answering
//! nothing; what it does answer is what that would have answered, to the last bit: a number of at
//! most 2^53 times a power of ten up to 22 is rounded once, as by any correct parser.

use super::header::{Field, Layout, Unit};
use super::row::OVERLOAD_FROM;
use super::shape::{RowShape, Run};
use drivers::digits::{POWERS, scaled};

/// Fewer rows of one shape than this were not worth finding it.
const RUN_MIN: usize = 8;
const PUT_OFF_MAX: usize = 1023;

/// Readings of neighbouring rows.
#[derive(Debug, Default)]
pub(super) struct Batch {
    pub(super) t: Vec<f64>,
    pub(super) x: Vec<f64>,
    run: Run,
}

/// Takes rows from `at` on, until the batch holds `most` or a row is not a plain reading: where
/// the next row begins. Times count from `origin`.
pub(super) fn rows(
    bytes: &[u8],
    mut at: usize,
    layout: &Layout,
    origin: f64,
    most: usize,
    batch: &mut Batch,
) -> usize {
    let Batch { t, x, run } = batch;
    let room = most.saturating_sub(t.len());
    t.reserve(room);
    x.reserve(room);
    let usual = layout.usual();
    // Most rows have the shape of the row before them. Where they do not, looking for one costs
    // more than it saves, and is put off ever longer.
    let mut shape: Option<RowShape> = None;
    let (mut put_off, mut left) = (0, 0);
    while t.len() < most {
        if let Some(shape) = &shape {
            at = shape.read(bytes, at, most - t.len(), run);
            t.extend(run.t().iter().map(|t| layout.seconds(*t) - origin));
            x.extend_from_slice(run.x());
            put_off = if run.t().len() < RUN_MIN { (2 * put_off + 1).min(PUT_OFF_MAX) } else { 0 };
            left = put_off;
            if run.is_full() || t.len() == most {
                continue;
            }
        }
        let Some(row) = row(bytes, at, layout) else { break };
        t.push(row.t - origin);
        x.push(row.x);
        shape = None;
        if left > 0 {
            left -= 1;
        } else if usual {
            shape = RowShape::of(bytes, at, row.next, layout.delimiter, row.unit);
        }
        at = row.next;
    }
    at
}

/// A row: its time, its volts and the unit they stand in, and where the next row begins.
struct Row {
    t: f64,
    x: f64,
    unit: Unit,
    next: usize,
}

#[inline]
fn row(bytes: &[u8], mut at: usize, layout: &Layout) -> Option<Row> {
    let (t, x);
    let mut unit = layout.unit;
    let delimiter = layout.delimiter;
    let mut end;
    // The usual order stands here by itself: a jump by what a column holds costs more than the
    // column.
    if layout.usual() {
        (t, at) = number(bytes, at, delimiter)?;
        if *bytes.get(at)? != delimiter {
            return None;
        }
        (x, at) = number(bytes, at + 1, delimiter)?;
        end = *bytes.get(at)?;
        for field in layout.fields.iter().skip(2) {
            if end != delimiter {
                return None;
            }
            at += 1;
            if *field == Field::Unit {
                (unit, at) = volts(bytes, at)?;
            } else {
                at = no_overload(bytes, at)?;
            }
            end = *bytes.get(at)?;
        }
    } else {
        (t, x, unit, at) = any_order(bytes, at, layout)?;
        end = *bytes.get(at)?;
    }
    if end == delimiter {
        at = rest(bytes, at)?;
        end = *bytes.get(at)?;
    }
    let next = match end {
        b'\n' => at + 1,
        b'\r' if bytes.get(at + 1) == Some(&b'\n') => at + 2,
        _ => return None,
    };
    Some(Row { t: layout.seconds(t), x: unit.volts(x), unit, next })
}

/// Columns in any order: time, value, unit, and where the last that matters ends.
fn any_order(bytes: &[u8], mut at: usize, layout: &Layout) -> Option<(f64, f64, Unit, usize)> {
    let (mut t, mut x, mut unit) = (0.0, 0.0, layout.unit);
    for (k, field) in layout.fields.iter().enumerate() {
        if k > 0 {
            if *bytes.get(at)? != layout.delimiter {
                return None;
            }
            at += 1;
        }
        match field {
            Field::Time => (t, at) = number(bytes, at, layout.delimiter)?,
            Field::Value => (x, at) = number(bytes, at, layout.delimiter)?,
            Field::Unit => (unit, at) = volts(bytes, at)?,
            Field::Overload => at = no_overload(bytes, at)?,
            Field::Other => at = other(bytes, at, layout.delimiter)?,
        }
    }
    Some((t, x, unit, at))
}

fn no_overload(bytes: &[u8], at: usize) -> Option<usize> {
    (*bytes.get(at)? == b'0').then_some(at + 1)
}

/// A number and where it ends. A plain loop: where it ends is guessed by the processor, row after
/// row, and waits for nothing; anything cleverer makes the next field wait for this one.
#[inline(always)]
fn number(bytes: &[u8], mut at: usize, delimiter: u8) -> Option<(f64, usize)> {
    let sign = *bytes.get(at)?;
    if sign == b'-' || sign == b'+' {
        at += 1;
    }
    let from = at;
    let (digits, mut b);
    (digits, at, b) = digits_from(bytes, at, 0)?;
    let mut whole = digits;
    let mut length = at - from;
    let mut decimals = 0;
    if b == b'.' || (b == b',' && delimiter != b',') {
        let point = at + 1;
        (whole, at, b) = digits_from(bytes, point, digits)?;
        decimals = at - point;
        if decimals == 0 {
            return None;
        }
        length += decimals;
    }
    if length == 0 || length > 18 || whole > 1 << 53 {
        return None;
    }
    #[expect(clippy::cast_precision_loss, reason = "at most 2^53")]
    let whole = whole as f64;
    let size = if b | 0x20 == b'e' {
        let power;
        (power, at) = exponent(bytes, at + 1)?;
        scaled(whole, power, decimals).filter(|x| *x < OVERLOAD_FROM)?
    } else {
        whole / *POWERS.get(decimals)?
    };
    let negative = u64::from(sign == b'-') << 63;
    Some((f64::from_bits(size.to_bits() | negative), at))
}

/// Goes on with `digits` as long as there are any: the number, where it ends, and the byte there.
#[inline(always)]
fn digits_from(bytes: &[u8], from: usize, mut digits: i64) -> Option<(i64, usize, u8)> {
    for (i, b) in bytes.get(from..)?.iter().enumerate() {
        let digit = b.wrapping_sub(b'0');
        if digit > 9 {
            return Some((digits, from + i, *b));
        }
        digits = digits.wrapping_mul(10).wrapping_add(i64::from(digit));
    }
    None
}

fn exponent(bytes: &[u8], mut at: usize) -> Option<(i64, usize)> {
    let sign = *bytes.get(at)?;
    if sign == b'-' || sign == b'+' {
        at += 1;
    }
    let from = at;
    let mut power = 0;
    while let Some(b) = bytes.get(at).filter(|b| b.is_ascii_digit()) {
        power = power * 10 + i64::from(b - b'0');
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
