//! The readings of one answer that brings many, taken whole or not at all. The numbers stand as
//! they came, in volts or ohms, beside the text of the answer; each [`Reading`], with its own
//! text and uncertainty, is made of them when it is asked for, because thousands at once are
//! mostly logged or summed.

use crate::clock::Moment;
use crate::error::escape;
use crate::profile::Profile;
use crate::reading::{Function, Reading, Value};
use std::sync::Arc;

/// The longest text of one reading that is kept, in bytes.
const TEXT_AT_MOST: usize = 200;

/// Readings that came in one answer, in their order.
#[derive(Clone, Debug)]
pub struct Block {
    profile: Arc<Profile>,
    function: Function,
    at: Moment,
    text: String,
    values: Vec<Value>,
}

impl Block {
    /// Reads `text` as `count` fields with commas between them, each of which `value` understands;
    /// gives the text back if it is anything else.
    pub(crate) fn parse(
        text: String,
        count: usize,
        value: impl Fn(&str) -> Option<Value>,
        profile: &Arc<Profile>,
        (function, at): (Function, Moment),
    ) -> Result<Self, String> {
        match values(&text, count, value) {
            Some(values) => Ok(Self { profile: profile.clone(), function, at, text, values }),
            None => Err(text),
        }
    }

    /// The values, in volts or ohms.
    #[must_use]
    pub fn values(&self) -> &[Value] {
        &self.values
    }

    /// The readings. Each has the moment at which the whole answer was there.
    pub fn readings(&self) -> impl Iterator<Item = Reading> {
        self.values.iter().zip(fields(&self.text)).map(|(value, field)| Reading {
            value: *value,
            unit: self.function.unit(),
            function: self.function,
            u: self.profile.standard_uncertainty(self.function, *value),
            text: escape(field.as_bytes(), TEXT_AT_MOST),
            at: self.at,
        })
    }
}

/// As many as wanted, or none.
fn values(text: &str, count: usize, value: impl Fn(&str) -> Option<Value>) -> Option<Vec<Value>> {
    let mut values = Vec::with_capacity(count);
    for field in fields(text) {
        if values.len() == count {
            return None;
        }
        values.push(value(field)?);
    }
    (values.len() == count).then_some(values)
}

/// The fields between the commas.
fn fields(text: &str) -> impl Iterator<Item = &str> {
    let ends = memchr::memchr_iter(b',', text.as_bytes()).chain([text.len()]);
    ends.scan(0, |begin, end| {
        let field = text.get(*begin..end)?;
        *begin = end + 1;
        Some(field)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scpi::parse_value;

    #[test]
    fn readings_are_made_of_what_came() {
        let profile = Arc::new(Profile::load("scpi").unwrap());
        let of = |text: &str, count| {
            let at = (Function::Resistance, Moment::START);
            Block::parse(text.into(), count, |field| parse_value(field).ok(), &profile, at)
        };
        let block = of("+1.0, 2.0E+3,+9.9E37", 3).unwrap();
        assert_eq!(block.values(), [Value::Number(1.0), Value::Number(2000.0), Value::Overload]);
        let readings: Vec<Reading> = block.readings().collect();
        assert_eq!(readings[1].text, " 2.0E+3");
        assert_eq!(
            readings[1].u,
            profile.standard_uncertainty(Function::Resistance, readings[1].value)
        );
        assert!(readings[1].u.is_some() && readings[2].u.is_none());
        for bad in ["+1.0,+2.0", "+1.0,+2.0,+3.0,+4.0", "+1.0,,+3.0", "+1.0,2;0,+3.0", ""] {
            assert_eq!(of(bad, 3).unwrap_err(), bad);
        }
    }
}
