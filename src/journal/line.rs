//! One line of the journal: an [`Entry`] in, one JSON object and a newline out, and back.
//! The last field is `chain`: SHA-256, in hex, over the previous line's chain (64 hex digits; 64
//! zeros before the first line) followed by this line's bytes up to, and without, `,"chain":`.
//! So each line vouches for all before it. The order and the counting are for `check.rs`.

use super::time::{LocalTime, Stamp};
use crate::event::{Event, VERSION};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// One event of a job, with its place and time.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Entry {
    /// Its number in the journal, from 1, without gaps.
    pub seq: u64,
    /// Wall time.
    pub at: LocalTime,
    /// Seconds since the run that wrote it began, by the monotonic clock.
    pub elapsed_s: f64,
    /// What happened.
    #[serde(flatten)]
    pub event: Event,
}

/// A line as it stands on disk; only its schema is used, so that it is published as one object.
#[derive(JsonSchema)]
#[schemars(title = "coilmark journal line")]
#[expect(dead_code, reason = "read by the schema generator alone")]
pub(super) struct WireLine {
    /// Version of the journal's format.
    #[schemars(range(min = 1, max = 1))]
    v: u32,
    #[serde(flatten)]
    entry: Entry,
    /// SHA-256, in hex, over the previous line's chain (64 zeros before the first line) and this
    /// line's bytes before `,"chain":`.
    #[schemars(regex(pattern = "^[0-9a-f]{64}$"))]
    chain: String,
}

#[derive(Serialize)]
struct Body<'a> {
    v: u32,
    #[serde(flatten)]
    entry: &'a Entry,
}

/// The chain before the first line.
pub(super) const FIRST_CHAIN: &str =
    "0000000000000000000000000000000000000000000000000000000000000000";
/// The longest line that is written or read, in bytes.
pub(super) const LINE_MAX: usize = 1 << 20;

const CHAIN_KEY: &str = r#","chain":""#;
const CHAIN_DIGITS: usize = 64;

impl Entry {
    pub(super) fn new(seq: u64, stamp: Stamp, event: &Event) -> Self {
        let elapsed_s = (stamp.elapsed.as_secs_f64() * 1e3).round() / 1e3;
        Self { seq, at: stamp.at, elapsed_s, event: event.clone() }
    }

    /// The line with its newline, and its chain.
    pub(super) fn render(&self, before: &str) -> Result<(String, String), serde_json::Error> {
        let body = serde_json::to_string(&Body { v: VERSION, entry: self })?;
        let body = body.strip_suffix('}').unwrap_or(&body);
        let chain = chain(before, body.as_bytes());
        Ok((format!("{body}{CHAIN_KEY}{chain}\"}}\n"), chain))
    }
}

/// A line taken apart, before anything in it is believed.
pub(super) struct Parts<'a> {
    body: &'a [u8],
    pub(super) chain: &'a str,
}

impl<'a> Parts<'a> {
    /// Splits a line (without its newline) into what is vouched for and the chain.
    pub(super) fn split(line: &'a [u8]) -> Option<Self> {
        let line = line.strip_suffix(b"\"}")?;
        let (head, digits) = line.split_at_checked(line.len().checked_sub(CHAIN_DIGITS)?)?;
        let body = head.strip_suffix(CHAIN_KEY.as_bytes())?;
        let hex = digits.iter().all(|d| matches!(d, b'0'..=b'9' | b'a'..=b'f'));
        let chain = std::str::from_utf8(digits).ok()?;
        hex.then_some(Self { body, chain })
    }

    /// Whether this line follows a line with the chain `before`.
    pub(super) fn follows(&self, before: &str) -> bool {
        chain(before, self.body) == self.chain
    }
}

/// The version a line claims, if it claims one.
pub(super) fn version(line: &[u8]) -> Option<u64> {
    serde_json::from_slice::<serde_json::Value>(line).ok()?.get("v")?.as_u64()
}

/// The number a line claims, if it claims one.
pub(super) fn seq(line: &[u8]) -> Option<u64> {
    serde_json::from_slice::<serde_json::Value>(line).ok()?.get("seq")?.as_u64()
}

fn chain(before: &str, body: &[u8]) -> String {
    use std::fmt::Write as _;
    let digest = Sha256::new().chain_update(before.as_bytes()).chain_update(body).finalize();
    digest.iter().fold(String::with_capacity(CHAIN_DIGITS), |mut hex, byte| {
        // Writing to a `String` cannot fail.
        let _ = write!(hex, "{byte:02x}");
        hex
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_chain_is_sha_256_in_hex() {
        // FIPS 180-4's example message "abc", as published in NIST's SHA-256 example values.
        assert_eq!(
            chain("", b"abc"),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
        assert_eq!(chain("a", b"bc"), chain("ab", b"c"));
    }

    #[test]
    fn a_line_without_a_proper_chain_is_not_split() {
        let good = format!(r#"{{"v":1{CHAIN_KEY}{FIRST_CHAIN}"}}"#);
        assert!(Parts::split(good.as_bytes()).is_some());
        for bad in ["", "}", "\"}", &good[1..good.len() - 1], &good.replace('0', "G")] {
            assert!(Parts::split(bad.as_bytes()).is_none(), "{bad}");
        }
    }
}
