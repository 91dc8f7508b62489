//! A link that spoils what passes through it, from a seed: bits flip, bytes vanish or come
//! twice, reads are cut short, noise appears, the line hangs up. It is itself a link, so that it
//! can go round a real port as well as round a simulated one. The same seed, the same faults.

use super::{Flow, Link, Received, lost};
use crate::error::DriverError;
use std::time::Duration;

/// How often each fault strikes, in events per thousand (per byte, or per read where said).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Faults {
    /// A received byte has one bit flipped.
    pub flip_permille: u16,
    /// A received byte is lost.
    pub lose_permille: u16,
    /// A received byte comes twice.
    pub repeat_permille: u16,
    /// A byte of 0x80 or above appears before a received byte.
    pub noise_permille: u16,
    /// A read gives one byte only.
    pub trickle_permille: u16,
    /// A read finds the line hung up, for good.
    pub hangup_permille: u16,
}

/// A link with faults.
pub struct FaultyLink {
    inner: Box<dyn Link>,
    faults: Faults,
    state: u64,
    hung_up: bool,
    spoiled: u64,
}

impl FaultyLink {
    /// Puts faults round a link.
    #[must_use]
    pub fn new(inner: Box<dyn Link>, faults: Faults, seed: u64) -> Self {
        Self { inner, faults, state: seed, hung_up: false, spoiled: 0 }
    }

    /// How many faults have struck.
    #[must_use]
    pub const fn spoiled(&self) -> u64 {
        self.spoiled
    }

    fn strikes(&mut self, permille: u16) -> bool {
        let struck = next_random(&mut self.state) % 1000 < u64::from(permille);
        self.spoiled += u64::from(struck);
        struck
    }

    fn spoil(&mut self, received: &[u8], most: usize) -> Vec<u8> {
        let mut spoiled = Vec::with_capacity(most);
        for byte in received {
            let mut byte = *byte;
            if self.strikes(self.faults.noise_permille) {
                spoiled.push(0x80 | (next_random(&mut self.state) >> 57) as u8);
            }
            if self.strikes(self.faults.flip_permille) {
                byte ^= 1 << (next_random(&mut self.state) % 8);
            }
            if self.strikes(self.faults.lose_permille) {
                continue;
            }
            spoiled.push(byte);
            if self.strikes(self.faults.repeat_permille) {
                spoiled.push(byte);
            }
        }
        spoiled.truncate(most);
        spoiled
    }
}

impl Link for FaultyLink {
    fn write(&mut self, bytes: &[u8], within: Duration) -> Result<(), DriverError> {
        if self.hung_up {
            return Err(lost(self.name(), "sending", None));
        }
        self.inner.write(bytes, within)
    }

    fn read_some(&mut self, into: &mut [u8], wait: Duration) -> Result<Received, DriverError> {
        if self.hung_up || self.strikes(self.faults.hangup_permille) {
            self.hung_up = true;
            return Err(lost(self.name(), "reading", None));
        }
        // Half of the room is left for bytes that come twice.
        let room = if self.strikes(self.faults.trickle_permille) { 1 } else { into.len() / 2 };
        let mut received = vec![0; room.max(1)];
        let count = match self.inner.read_some(&mut received, wait)? {
            Received::Bytes(count) => count,
            Received::Nothing => return Ok(Received::Nothing),
        };
        let spoiled = self.spoil(received.get(..count).unwrap_or_default(), into.len());
        match into.get_mut(..spoiled.len()) {
            Some(part) if !spoiled.is_empty() => {
                part.copy_from_slice(&spoiled);
                Ok(Received::Bytes(spoiled.len()))
            }
            _ => Ok(Received::Nothing),
        }
    }

    fn clear_input(&mut self) -> Result<(), DriverError> {
        self.inner.clear_input()
    }

    fn name(&self) -> &str {
        self.inner.name()
    }

    fn flow(&self) -> Flow {
        self.inner.flow()
    }
}

/// SplitMix64 (S. Vigna, public domain): one step of the generator.
pub(super) const fn next_random(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

#[cfg(test)]
mod tests {
    use super::super::{ScriptedLink, Step};
    use super::*;
    use crate::clock::HandClock;
    use std::sync::Arc;

    fn read_all(faults: Faults, seed: u64) -> (Vec<u8>, u64) {
        let script = vec![Step::Send(vec![b'5'; 2000])];
        let inner = Box::new(ScriptedLink::new(script, Arc::new(HandClock::new())));
        let mut link = FaultyLink::new(inner, faults, seed);
        let mut all = Vec::new();
        let mut buffer = [0; 64];
        while let Ok(received) = link.read_some(&mut buffer, Duration::ZERO) {
            if let Received::Bytes(count) = received {
                all.extend_from_slice(&buffer[..count]);
            }
        }
        (all, link.spoiled())
    }

    #[test]
    fn the_same_seed_gives_the_same_faults() {
        let faults = Faults { flip_permille: 50, lose_permille: 20, ..Faults::default() };
        assert_eq!(read_all(faults, 7), read_all(faults, 7));
        assert_ne!(read_all(faults, 7), read_all(faults, 8));
        assert_eq!(read_all(Faults::default(), 7), (vec![b'5'; 2000], 0));
    }

    #[test]
    fn faults_strike_about_as_often_as_told() {
        let (all, spoiled) = read_all(Faults { lose_permille: 100, ..Faults::default() }, 1);
        assert!((120..280).contains(&spoiled), "{spoiled} of 2000 bytes lost");
        assert_eq!(all.len() as u64 + spoiled, 2000);
    }
}
