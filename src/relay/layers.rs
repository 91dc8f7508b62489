//! Amounts in layers: one value per set of pins and state, layer after layer in one piece of
//! memory, so that a decision asks for memory a few times and not a hundred. Where each layer ends
//! is laid out once by the lattice; what a value means is the lattice's too.

use super::amount::Amount;
use std::ops::{Index, IndexMut};
use std::sync::Arc;

/// Where each layer ends.
pub(super) type Ends = Arc<[usize]>;

/// The values of all layers.
#[derive(Clone, Debug)]
pub(super) struct Layers<A> {
    values: Vec<A>,
    ends: Ends,
}

/// Layers of these lengths, one after the other.
pub(super) fn ends(lengths: impl Iterator<Item = usize>) -> Ends {
    let sum = |end: &mut usize, length| {
        *end += length;
        Some(*end)
    };
    lengths.scan(0, sum).collect()
}

impl<A: Amount> Layers<A> {
    /// Nothing in every layer.
    pub fn nothing(ends: &Ends) -> Self {
        let values = vec![A::ZERO; ends.last().copied().unwrap_or(0)];
        Self { values, ends: Arc::clone(ends) }
    }

    /// The layers below this one, and it.
    pub fn split(&mut self, layer: usize) -> (Below<'_, A>, &mut [A]) {
        let start = start(&self.ends, layer);
        let (lower, rest) = self.values.split_at_mut(start);
        (Below { values: lower, ends: &self.ends }, &mut rest[..self.ends[layer] - start])
    }
}

/// The layers below one.
pub(super) struct Below<'a, A> {
    values: &'a mut [A],
    ends: &'a [usize],
}

impl<A> Below<'_, A> {
    /// One of them.
    pub fn layer(&mut self, layer: usize) -> &mut [A] {
        &mut self.values[start(self.ends, layer)..self.ends[layer]]
    }
}

impl<A> Index<usize> for Layers<A> {
    type Output = [A];

    fn index(&self, layer: usize) -> &[A] {
        &self.values[start(&self.ends, layer)..self.ends[layer]]
    }
}

impl<A> IndexMut<usize> for Layers<A> {
    fn index_mut(&mut self, layer: usize) -> &mut [A] {
        &mut self.values[start(&self.ends, layer)..self.ends[layer]]
    }
}

fn start(ends: &[usize], layer: usize) -> usize {
    layer.checked_sub(1).map_or(0, |before| ends[before])
}
