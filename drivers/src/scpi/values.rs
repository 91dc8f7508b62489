//! The values of one answer, between commas: as many as were asked for, or none at all. Each is a
//! number by [`parse_value`] or one of the meter's words for overload. Neighbours mostly have the
//! same shape, and runs of them are read by it; what is read is what [`parse_value`] would read.

use super::number::{OVERLOAD, parse_value};
use crate::block::Values;
use crate::digits::{ExponentShape, NumberShape, Scale, Window, byte, word};
use crate::reading::Value;

/// Reads `text` as `count` fields; `None` if it is anything else. `words` mean overload.
pub(super) fn parse_values(text: &str, count: usize, words: &[String]) -> Option<Values> {
    // A word for overload may look like a number.
    let numeric = words.iter().any(|word| parse_value(word).is_ok());
    let value = |field: &str| match parse_value(field) {
        Ok(value) if !numeric => Some(value),
        _ if is_overload(field, words) => Some(Value::Overload),
        parsed => parsed.ok(),
    };
    let mut values = Values::with_room_for(count);
    let mut rest = text;
    loop {
        let end = memchr::memchr(b',', rest.as_bytes());
        let (field, behind) = rest.split_at_checked(end.unwrap_or(rest.len()))?;
        if values.len() == count {
            return None;
        }
        values.push(value(field)?);
        let Some(mut behind) = behind.get(1..) else { break };
        if let Some(shape) = FieldShape::of(rest).filter(|_| !numeric) {
            behind = shape.read(behind, count, &mut values);
        }
        rest = behind;
    }
    (values.len() == count).then_some(values)
}

/// Whether a field is one of the words for overload, with or without a sign.
fn is_overload(field: &str, words: &[String]) -> bool {
    let field = field.trim().trim_start_matches(['+', '-']);
    words.iter().any(|word| word.eq_ignore_ascii_case(field))
}

/// A field that is a sign or none, a number, an exponent or none, and a comma.
#[derive(Clone, Copy, Debug)]
struct FieldShape {
    signed: bool,
    number: NumberShape,
    exponent: Option<ExponentShape>,
}

impl FieldShape {
    /// The shape of the first field of `text`.
    fn of(text: &str) -> Option<Self> {
        let bytes = text.as_bytes();
        let signed = matches!(bytes.first()?, b'+' | b'-');
        let (number, end) = NumberShape::of(bytes, usize::from(signed), b".")?;
        let (exponent, end) = ExponentShape::of(bytes, end)?;
        (bytes.get(end) == Some(&b',')).then_some(Self { signed, number, exponent })
    }

    /// Reads fields of this shape, until `values` holds `count` or one has another shape: what
    /// follows them.
    fn read<'a>(&self, text: &'a str, count: usize, values: &mut Values) -> &'a str {
        let run = if self.number.is_long() { Self::run::<true> } else { Self::run::<false> };
        text.get(run(self, text.as_bytes(), count, values)..).unwrap_or_default()
    }

    #[inline(never)]
    fn run<const LONG: bool>(&self, bytes: &[u8], count: usize, values: &mut Values) -> usize {
        let shape = *self;
        let (mut at, mut last) = (0, None);
        let room = count.saturating_sub(values.len());
        let fields = std::iter::from_fn(|| {
            let number;
            (number, at) = shape.field::<LONG>(bytes, at, &mut last)?;
            Some(number)
        });
        values.extend(fields.take(room));
        at
    }

    /// The number at `at`, if it is of this shape, and where the next field begins.
    #[inline(always)]
    fn field<const LONG: bool>(
        &self,
        bytes: &[u8],
        at: usize,
        last: &mut Option<End>,
    ) -> Option<(f64, usize)> {
        let window: &Window = bytes.get(at..)?.first_chunk()?;
        let sign = byte(window, 0);
        let negative = sign == b'-';
        let from = usize::from(self.signed);
        let (digits, mut odd) = self.number.read::<LONG>(window, from);
        odd |= u64::from((negative | (sign == b'+')) != self.signed);
        if odd != 0 {
            return None;
        }
        let from = from + self.number.length();
        let bytes = u64::from_le_bytes(word(window, from));
        let end = match *last {
            Some(end) if bytes & end.mask == end.bytes => end,
            _ => *last.insert(End::read(self, window, from)?),
        };
        #[expect(clippy::cast_precision_loss, reason = "at most 15 digits")]
        let digits = digits as f64;
        let size = end.scale.apply(digits);
        let number = f64::from_bits(size.to_bits() | u64::from(negative) << 63);
        (size < OVERLOAD).then_some((number, at + from + end.length))
    }
}

/// What stands behind the digits of a field up to the comma, which is mostly what stood behind
/// those of the field before, and what it does to them.
#[derive(Clone, Copy, Debug)]
struct End {
    bytes: u64,
    /// Which bits of a word count.
    mask: u64,
    length: usize,
    scale: Scale,
}

impl End {
    #[cold]
    fn read(shape: &FieldShape, window: &Window, from: usize) -> Option<Self> {
        let (power, comma, odd) = match shape.exponent {
            Some(exponent) => exponent.read(window, from),
            None => (0, from, 0),
        };
        if odd != 0 || byte(window, comma) != b',' {
            return None;
        }
        let scale = Scale::of(power, shape.number.decimals())?;
        let length = comma + 1 - from;
        let mask = u64::MAX >> (64 - 8 * length);
        let bytes = u64::from_le_bytes(word(window, from)) & mask;
        Some(Self { bytes, mask, length, scale })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn parsed(text: &str, count: usize, words: &[String]) -> Option<Vec<Value>> {
        Some(parse_values(text, count, words)?.iter().collect())
    }

    fn singly(text: &str) -> Option<Vec<Value>> {
        text.split(',').map(|field| parse_value(field).ok()).collect()
    }

    #[test]
    fn as_many_as_wanted_or_none() {
        let of = |text: &str, count| parsed(text, count, &[]);
        let three = vec![Value::Number(1.0), Value::Number(2000.0), Value::Overload];
        assert_eq!(of("+1.0, 2.0E+3,+9.9E37", 3), Some(three));
        for bad in ["+1.0,+2.0", "+1.0,+2.0,+3.0,+4.0", "+1.0,,+3.0", "+1.0,2;0,+3.0", "", "1,2,"] {
            assert_eq!(of(bad, 3), None, "{bad}");
        }
        let many = vec!["+1.23456789E+00"; 1000].join(",");
        for (count, there) in [(999, false), (1000, true), (1001, false)] {
            assert_eq!(of(&many, count).is_some(), there, "{count}");
        }
    }

    #[test]
    fn a_word_for_overload_is_known_in_any_row() {
        let words = ["OL".to_owned(), "9.9E+5".to_owned()];
        let mut fields = vec!["+1.0E+0"; 100];
        fields[50] = "-ol";
        fields[70] = "9.9E+5";
        let values = parsed(&fields.join(","), 100, &words).unwrap();
        let overloads: Vec<usize> =
            (0..100).filter(|place| values[*place] == Value::Overload).collect();
        assert_eq!(overloads, [50, 70]);
    }

    proptest! {
        // Runs of one shape with others among them: the same values, to the last bit.
        #[test]
        fn what_is_read_by_shape_is_what_each_field_says(
            fields in proptest::collection::vec(
                (1_usize..20, prop_oneof![
                    "[-+][0-9]\\.[0-9]{8}E[-+][0-9]{2}",
                    "[0-9]{1,3}\\.[0-9]{0,4}",
                    "[-+]?[0-9]{1,16}(\\.[0-9]{1,12})?(e[-+]?[0-9]{1,2})?",
                    Just("+9.91E+37".to_owned()),
                    Just(" 1.0".to_owned()),
                    Just("-9.9E37".to_owned()),
                ]), 1..12),
            garbled in proptest::option::of((any::<prop::sample::Index>(), "[ -~]")),
        ) {
            let fields = fields.into_iter().flat_map(|(count, field)| vec![field; count]);
            let mut text = fields.collect::<Vec<String>>().join(",");
            if let Some((place, with)) = garbled {
                let place = place.index(text.len());
                text.replace_range(place..place + 1, &with);
            }
            let wanted = singly(&text);
            let count = text.split(',').count();
            let same = match (&parsed(&text, count, &[]), &wanted) {
                (Some(got), Some(wanted)) => format!("{got:?}") == format!("{wanted:?}"),
                (got, wanted) => got.is_none() && wanted.is_none(),
            };
            prop_assert!(same, "{text}");
        }
    }
}
