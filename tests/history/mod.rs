//! Invented boards with their verdicts, from a seed, and journals that hold them: lines chained as
//! the program chains them, written at once and without syncing each, so that a hundred thousand
//! boards are made in seconds. Serial numbers run; days follow each other.

#![allow(dead_code, reason = "each test program uses its own part of this")]

use coilmark::archive::Record;
use coilmark::event::{
    BoardFinding, BoardStart, BudgetLine, CheckFound, DriveState, Event, Finding, Pin, RunStart,
    RunTerms, Verdict,
};
use drivers::Function;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use sha2::{Digest, Sha256};
use std::fmt::Write as _;
use std::path::Path;

/// Checks of a board.
const CHECKS: usize = 12;

/// One board's verdict, as if it came from a journal.
pub struct Made {
    pub chain: String,
    pub at_s: i64,
    pub day: String,
    pub finding: BoardFinding,
}

impl Made {
    /// As it goes into the archive.
    pub fn record(&self) -> Record<'_> {
        Record {
            chain: &self.chain,
            job: "j",
            at_s: self.at_s,
            day: &self.day,
            by: None,
            finding: &self.finding,
        }
    }
}

/// So many boards, forty a day.
pub fn boards(seed: u64, count: usize) -> Vec<Made> {
    let mut chance = Pcg64::seed_from_u64(seed);
    (0..count).map(|n| made(&mut chance, seed, n)).collect()
}

fn made(chance: &mut Pcg64, seed: u64, n: usize) -> Made {
    let at_s = 1_760_000_000 + i64::try_from(n).unwrap_or(0) * 2160;
    let day = jiff::Timestamp::from_second(at_s).map_or_else(|_| String::new(), |t| t.to_string());
    let checks: Vec<CheckFound> = (0..CHECKS).map(|k| check(chance, k)).collect();
    let result = Verdict::of_all(checks.iter().map(|c| c.verdict));
    Made {
        chain: format!("{seed:032x}{n:032x}"),
        at_s,
        day: day.chars().take(10).collect(),
        finding: BoardFinding {
            result,
            reason: (result != Verdict::Pass).then(|| "failed: something".into()),
            simulated: true,
            serial: format!("S{seed}-{n:06}"),
            repeats: u32::from(chance.random_range(0..10) == 0),
            plan: "invented plan".into(),
            revision: "1".into(),
            rule: "guard band of the expanded uncertainty U".into(),
            coverage: 0.95,
            checks,
            remarks: vec![],
            placements: 6,
            lead_moves: 8,
            drive_changes: 8,
        },
    }
}

fn check(chance: &mut Pcg64, k: usize) -> CheckFound {
    let value = 300.0 + 10.0 * k as f64 + 12.0 * chance.random::<f64>();
    let open = k == 3 || k == 5;
    let fails = chance.random_range(0..200) < k;
    let line = |name: &str, part: f64| BudgetLine {
        component: name.into(),
        shape: "rectangular".into(),
        u: 0.3,
        sensitivity: 1.0,
        freedom: None,
        contribution: 0.3,
        part,
    };
    CheckFound {
        check: format!("check {k:02} COM-NC"),
        verdict: if fails { Verdict::Fail } else { Verdict::Pass },
        red: Pin::new("COM"),
        black: Pin::new("NC"),
        function: Function::Resistance,
        drive: DriveState::Rest,
        value: (!open).then_some(value),
        unit: "ohm".into(),
        open,
        lower: Some(290.0),
        upper: Some(450.0),
        u: (!open).then_some(0.5),
        freedom: None,
        coverage_factor: Some(1.96),
        expanded: Some(0.98),
        margin: Some(1.0),
        probability: Some(0.99),
        note: None,
        capture: Some(7),
        budget: if open {
            vec![]
        } else {
            ["meter's accuracy", "scatter of the readings", "last digit", "leads, as measured"]
                .map(|name| line(name, 0.25))
                .to_vec()
        },
    }
}

/// Writes a job folder with these boards.
pub fn job(folder: &Path, start: &BoardStart, made: &[Made]) {
    std::fs::create_dir_all(folder).unwrap_or_else(|e| panic!("{e}"));
    let mut text = String::new();
    let mut chain = "0".repeat(64);
    let begun = Event::RunStarted(RunStart {
        version: "0".into(),
        simulated: true,
        resumed: false,
        torn_bytes: 0,
        meter: "sim:".into(),
        profile: "scpi".into(),
        terms: RunTerms::Board(Box::new(start.clone())),
    });
    let results = made
        .iter()
        .map(|m| (m.at_s, Event::ResultReached(Finding::Board(Box::new(m.finding.clone())))));
    let begun = (made.first().map_or(0, |m| m.at_s), begun);
    for (seq, (at_s, event)) in (1_u64..).zip(std::iter::once(begun).chain(results)) {
        let at =
            jiff::Timestamp::from_second(at_s).map_or_else(|_| String::new(), |t| t.to_string());
        let at = at.replace('Z', ".000+00:00");
        let event = serde_json::to_string(&event).unwrap_or_else(|e| panic!("{e}"));
        let body = format!(
            "{{\"v\":1,\"seq\":{seq},\"at\":\"{at}\",\"elapsed_s\":1.0,{}",
            &event[1..event.len() - 1]
        );
        let digest =
            Sha256::new().chain_update(chain.as_bytes()).chain_update(body.as_bytes()).finalize();
        chain = digest.iter().fold(String::new(), |mut hex, byte| {
            let _ = write!(hex, "{byte:02x}");
            hex
        });
        let _ = writeln!(text, "{body},\"chain\":\"{chain}\"}}");
    }
    std::fs::write(folder.join("journal.jsonl"), text).unwrap_or_else(|e| panic!("{e}"));
}
