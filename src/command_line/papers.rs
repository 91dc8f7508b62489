//! The words of what is made without a meter: the demonstration, the reports of a job, the check of
//! its record and the signature over it, schemas. Each names a folder, a file, a kind, or nothing.
//! None of them asks a person anything.

use clap::{Args, ValueEnum};
use coilmark::run::Schema;
use std::path::PathBuf;

#[derive(Args)]
pub(super) struct Demo {
    /// Where to keep the record and the report [default: a new temporary folder]
    #[arg(long, value_name = "DIR")]
    pub(super) job: Option<PathBuf>,
    /// Seed of everything that varies on the simulated bench
    #[arg(long, value_name = "N", default_value_t = 7)]
    pub(super) seed: u64,
}

#[derive(Args)]
pub(super) struct Report {
    /// The job folder
    #[arg(value_name = "DIR")]
    pub(super) job: PathBuf,
    /// Print the machine-readable report instead of writing files
    #[arg(long)]
    pub(super) json: bool,
    /// Put this older job beside it: says what changed, and writes against.html into DIR
    #[arg(long, value_name = "OLDDIR")]
    pub(super) against: Option<PathBuf>,
}

#[derive(Args)]
pub(super) struct Verify {
    /// The job folder
    #[arg(value_name = "DIR")]
    pub(super) job: PathBuf,
    /// Check the signature too, by this public key (SPKI PEM)
    #[arg(long, value_name = "KEY.pub")]
    pub(super) signer: Option<PathBuf>,
}

#[derive(Args)]
pub(super) struct Sign {
    /// The job folder
    #[arg(value_name = "DIR", required_unless_present = "new_key")]
    pub(super) job: Option<PathBuf>,
    /// The secret key to sign with (Ed25519, PKCS#8 PEM)
    #[arg(long, value_name = "KEY", required_unless_present = "new_key")]
    pub(super) key: Option<PathBuf>,
    /// Make a new pair of keys instead: KEY, to be kept secret, and KEY.pub
    #[arg(long, value_name = "KEY", conflicts_with_all = ["job", "key"])]
    pub(super) new_key: Option<PathBuf>,
}

#[derive(Args)]
pub(super) struct SchemaWords {
    /// Of what
    #[arg(value_enum)]
    pub(super) name: SchemaWord,
}

#[derive(Clone, Copy, ValueEnum)]
pub(super) enum SchemaWord {
    /// What `--operator json` writes and takes
    Operator,
    /// One line of a job's journal.jsonl
    Journal,
    /// report.json
    Report,
    /// A meter profile
    Profile,
    /// A relay file of the simulated bench
    Relay,
    /// A board's test plan
    Plan,
    /// A panel file
    Panel,
    /// The result of `analyse` and `output`
    Output,
    /// A job sheet
    Job,
}

impl From<SchemaWord> for Schema {
    fn from(word: SchemaWord) -> Self {
        match word {
            SchemaWord::Operator => Self::Operator,
            SchemaWord::Journal => Self::Journal,
            SchemaWord::Report => Self::Report,
            SchemaWord::Profile => Self::Profile,
            SchemaWord::Relay => Self::Relay,
            SchemaWord::Plan => Self::Plan,
            SchemaWord::Panel => Self::Panel,
            SchemaWord::Output => Self::Output,
            SchemaWord::Job => Self::Job,
        }
    }
}
