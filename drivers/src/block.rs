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
    values: Values,
}

impl Block {
    /// The readings whose `values`, in order, stand in the fields of `text`.
    pub(crate) fn new(
        text: String,
        values: Values,
        profile: &Arc<Profile>,
        (function, at): (Function, Moment),
    ) -> Self {
        Self { profile: profile.clone(), function, at, text, values }
    }

    /// The values, in volts or ohms.
    #[must_use]
    pub fn values(&self) -> impl ExactSizeIterator<Item = Value> {
        self.values.iter()
    }

    /// The readings. Each has the moment at which the whole answer was there.
    pub fn readings(&self) -> impl Iterator<Item = Reading> {
        self.values.iter().zip(fields(&self.text)).map(|(value, field)| Reading {
            value,
            unit: self.function.unit(),
            function: self.function,
            u: self.profile.standard_uncertainty(self.function, value),
            text: escape(field.as_bytes(), TEXT_AT_MOST),
            at: self.at,
        })
    }
}

/// Values, as numbers: a reading is finite, so that infinity may stand for overload, and what is no
/// number for "not a number". Half the memory of [`Value`]s.
#[derive(Clone, Debug)]
pub(crate) struct Values(Vec<f64>);

impl Values {
    /// None yet, with room for so many.
    pub(crate) fn with_room_for(count: usize) -> Self {
        Self(Vec::with_capacity(count))
    }

    pub(crate) const fn len(&self) -> usize {
        self.0.len()
    }

    pub(crate) fn push(&mut self, value: Value) {
        self.0.push(match value {
            Value::Number(number) => number,
            Value::Overload => f64::INFINITY,
            Value::NotANumber => f64::NAN,
        });
    }

    /// Takes numbers, which are finite.
    pub(crate) fn extend(&mut self, numbers: impl Iterator<Item = f64>) {
        self.0.extend(numbers);
    }

    pub(crate) fn iter(&self) -> impl ExactSizeIterator<Item = Value> {
        self.0.iter().map(|number| match *number {
            number if number.is_finite() => Value::Number(number),
            number if number.is_nan() => Value::NotANumber,
            _ => Value::Overload,
        })
    }
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

    #[test]
    fn readings_are_made_of_what_came() {
        let profile = Arc::new(Profile::load("scpi").unwrap());
        let wanted = [Value::Number(1.0), Value::Overload, Value::NotANumber];
        let mut values = Values::with_room_for(3);
        wanted.into_iter().for_each(|value| values.push(value));
        let at = (Function::Resistance, Moment::START);
        let block = Block::new("+1.0, +9.9E37,9.91E37".into(), values, &profile, at);
        assert_eq!(block.values().collect::<Vec<Value>>(), wanted);
        let readings: Vec<Reading> = block.readings().collect();
        assert_eq!(readings.iter().map(|one| one.value).collect::<Vec<Value>>(), wanted);
        assert_eq!(readings[1].text, " +9.9E37");
        assert_eq!(
            readings[0].u,
            profile.standard_uncertainty(Function::Resistance, readings[0].value)
        );
        assert!(readings[0].u.is_some() && readings[1].u.is_none() && readings[2].u.is_none());
        assert_eq!(readings[2].text, "9.91E37");
    }
}
