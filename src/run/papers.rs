//! What is made from a job folder alone, with no meter: reports, the check of the record, and the
//! schemas of everything that is machine-readable. The same folder gives the same papers, byte
//! for byte.

use super::failure::{Exit, Failure};
use super::station::write_reports;
use super::worked_out::tell;
use crate::event::{Event, LogNews, VERSION, visible};
use crate::journal::{self, JournalError, Verified};
use crate::logbook;
use crate::report::{self, Against, Report};
use std::path::Path;

/// How `report` answers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rendering {
    /// Writes the files into the job folder and names them.
    Files,
    /// Prints the machine-readable report.
    Json,
}

/// A schema that is published.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Schema {
    /// The operator's lines.
    Operator,
    /// One line of a journal.
    Journal,
    /// The machine-readable report.
    Report,
    /// A meter profile.
    Profile,
    /// A relay file of the simulated bench.
    Relay,
    /// A board's test plan.
    Plan,
    /// A panel file.
    Panel,
    /// The result of an output's analysis.
    Output,
    /// A job sheet.
    Job,
}

/// Renders the reports of a job.
///
/// # Errors
/// [`Failure`] with its exit code.
pub fn render_report(job: &Path, rendering: Rendering) -> Result<Exit, Failure> {
    match rendering {
        Rendering::Files => {
            for path in write_reports(job)? {
                println!("{}", path.display());
            }
        }
        Rendering::Json => {
            let past = journal::read(job)?;
            print!("{}", crate::report::render_json(&Report::from_entries(&past.entries)));
        }
    }
    Ok(Exit::Done)
}

/// Puts an older job of the same site beside this one: 0 where nothing changed, 1 where something
/// did.
///
/// # Errors
/// [`Failure`] with its exit code.
pub fn render_against(older: &Path, job: &Path, rendering: Rendering) -> Result<Exit, Failure> {
    let (older, newer) = (journal::read(older)?, journal::read(job)?);
    let against = Against::of(&older.entries, &newer.entries);
    match rendering {
        Rendering::Files => {
            tell(&report::render_against(&against))?;
            let page = report::write_against(job, &report::render_against_page(&against));
            println!("{}", page.map_err(|error| super::station::not_written(&error))?.display());
        }
        Rendering::Json => {
            let object = serde_json::json!({ "v": VERSION, "against": against });
            tell(&format!("{object}\n"))?;
        }
    }
    let same = against.changes().next().is_none();
    Ok(if same { Exit::Done } else { Exit::NotPassed })
}

/// Checks a job's record: 0 whole (a torn last line is repaired and said), 1 changed, cut or
/// reordered.
///
/// # Errors
/// [`Failure`] where there is none (2), or it cannot be read at all.
pub fn verify(job: &Path, signer: Option<&Path>) -> Result<Exit, Failure> {
    let verified = journal::verify(job)?;
    if verified == Verified::NoJournal {
        return Err(JournalError::NoJournal { file: job.join(journal::FILE_NAME) }.into());
    }
    let job_shown = visible(&job.display().to_string());
    println!("{job_shown}: {verified}");
    let mut sound = verified.is_sound();
    if sound {
        let signed = match signer {
            Some(signer) => Some(journal::check_signature(job, signer)?),
            None => None,
        };
        if let Some(signed) = signed {
            println!("{job_shown}: {signed}");
            sound = signed.is_good();
        } else if job.join(journal::SIGNATURE_NAME).exists() {
            println!("{job_shown}: a signature is there; --signer KEY.pub checks it");
        }
    }
    if sound {
        sound = logs_are_whole(job, &job_shown)?;
    }
    Ok(if sound { Exit::Done } else { Exit::NotPassed })
}

/// Checks every log that the record vouches for; says of each what it is.
fn logs_are_whole(job: &Path, job_shown: &str) -> Result<bool, Failure> {
    let mut all = true;
    for entry in &journal::read(job)?.entries {
        let Event::Logged(LogNews::Closed { file, rows, sha256, .. }) = &entry.event else {
            continue;
        };
        let file_shown = visible(file);
        match logbook::digest(job, file) {
            Ok(now) if now.sha256 == *sha256 => {
                println!("{job_shown}: {file_shown}: whole: {rows} rows");
            }
            Ok(now) => {
                all = false;
                println!(
                    "{job_shown}: {file_shown}: changed: {rows} rows were recorded, {} are there",
                    now.rows
                );
            }
            Err(error) => {
                all = false;
                println!("{job_shown}: {file_shown}: missing: {}", super::failure::chain(&error));
            }
        }
    }
    Ok(all)
}

/// Signs a job's record with the secret key in a file.
///
/// # Errors
/// [`Failure`] with its exit code.
pub fn sign(job: &Path, key: &Path) -> Result<Exit, Failure> {
    let lines = journal::sign(job, key)?;
    println!("{}: {lines} lines signed", visible(&job.display().to_string()));
    Ok(Exit::Done)
}

/// Makes a pair of keys: `FILE`, which is to be kept secret, and `FILE.pub`.
///
/// # Errors
/// [`Failure`] with its exit code.
pub fn make_keys(file: &Path) -> Result<Exit, Failure> {
    let mut chance = [0; 32];
    let filled = rustix::rand::getrandom(&mut chance, rustix::rand::GetRandomFlags::empty());
    if filled != Ok(chance.len()) {
        return Err(Failure::new(
            Exit::NotPassed,
            "the system gave no randomness for a key",
            "make the key with another tool: an Ed25519 key in PKCS#8 PEM",
        ));
    }
    let public = journal::make_keys(file, &chance)?;
    println!("secret key: {} (keep it to yourself)", visible(&file.display().to_string()));
    println!("public key: {} (give it to whoever checks)", visible(&public.display().to_string()));
    Ok(Exit::Done)
}

/// Prints a schema.
///
/// # Errors
/// None that is known: the schemas are made from the types.
pub fn show_schema(schema: Schema) -> Result<Exit, Failure> {
    let schema = match schema {
        Schema::Operator => crate::operator::schema(),
        Schema::Journal => journal::schema(),
        Schema::Report => crate::report::schema(),
        Schema::Profile => drivers::Profile::schema(),
        Schema::Relay => crate::bench::Part::schema(),
        Schema::Plan => schemars::schema_for!(crate::event::BoardPlan),
        Schema::Panel => crate::zone::Panel::schema(),
        Schema::Output => super::analyse::schema(),
        Schema::Job => schemars::schema_for!(super::sheet::RawSheet),
    };
    let text = serde_json::to_string_pretty(&schema).map_err(|error| {
        Failure::new(
            Exit::NotPassed,
            format!("schema: {error}"),
            "this is a defect: please report it",
        )
    })?;
    println!("{text}");
    Ok(Exit::Done)
}
