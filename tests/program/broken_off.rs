//! The run that is broken off and gone on with: an identification of one changeover, which has the
//! coil both ways round, a search, and two contacts to prove. How it is broken off is the test's
//! own matter.

use super::job::Job;
use super::process::Program;

/// The relay that lies on the bench.
pub const RELAY: &str = "changeover_1_pole";
/// How many such runs at once: each mostly waits for its meter.
pub const AT_ONCE: usize = 6;

/// Begins it.
pub fn begin(link: &str, job: &Job) -> Program {
    let dir = job.word();
    let usual = ["identify", "--operator", "json", "--meter", link, "--job", &dir];
    Program::start(&[&usual[..], &["--pins", "5", "--footprint", "2-1-2"]].concat())
}

/// Goes on with it, with these further words.
pub fn resume(link: &str, job: &Job, more: &[&str]) -> Program {
    let dir = job.word();
    Program::start(&[&["resume", &dir, "--operator", "json", "--meter", link], more].concat())
}
