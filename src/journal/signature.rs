//! An optional signature over a job's record: `journal.sig` holds the 64 bytes of an Ed25519
//! signature (RFC 8032) over the last line's chain, 64 hex digits that vouch for every line
//! before. Keys are files in PKCS#8 and SPKI PEM (RFC 8410), as general-purpose tools make and
//! read them. A record that went on after it was signed is signed up to that line, and said so.

use super::{FILE_NAME, JournalError, check, read_checked};
use crate::event::visible;
use ed25519_dalek::pkcs8::spki::der::pem::LineEnding;
use ed25519_dalek::pkcs8::{DecodePrivateKey, DecodePublicKey, EncodePrivateKey, EncodePublicKey};
use ed25519_dalek::{Signature, Signer, SigningKey, VerifyingKey};
use std::fmt;
use std::fs::{self, OpenOptions};
use std::io::{self, Read, Write};
use std::os::unix::fs::{OpenOptionsExt, PermissionsExt};
use std::path::{Path, PathBuf};

/// The signature's name in a job folder.
pub const SIGNATURE_NAME: &str = "journal.sig";
/// The longest key file that is read, in bytes: far above any Ed25519 key.
const KEY_MAX: u64 = 16 << 10;

/// A signature or a key that cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum SignatureError {
    /// The record itself.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// A file that cannot be read.
    #[error("{}: cannot be read", shown(.file))]
    NotRead {
        /// The file.
        file: PathBuf,
        /// What the system said.
        #[source]
        source: io::Error,
    },
    /// A file that cannot be written.
    #[error("{}: not written", shown(.file))]
    NotWritten {
        /// The file.
        file: PathBuf,
        /// What the system said.
        #[source]
        source: io::Error,
    },
    /// A file that holds no such key.
    #[error("{}: expected {expected}", shown(.file))]
    NoKey {
        /// The file.
        file: PathBuf,
        /// What was expected in it.
        expected: &'static str,
    },
}

impl SignatureError {
    /// What the person can do about it: one line, without the word `hint`.
    #[must_use]
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Journal(error) => error.hint(),
            Self::NotRead { .. } => "name a file that is there and that you may read",
            Self::NotWritten { source, .. } if source.kind() == io::ErrorKind::AlreadyExists => {
                "a key is never overwritten: name another file"
            }
            Self::NotWritten { .. } => "name a file in a folder that you may write to",
            Self::NoKey { .. } => "`coilmark sign --new-key FILE` makes a pair: FILE and FILE.pub",
        }
    }
}

fn shown(path: &Path) -> String {
    visible(&path.display().to_string())
}

/// What a signature is worth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Signed {
    /// There is none.
    Not,
    /// By this key, over every line.
    Whole,
    /// By this key, over the first `lines` lines; the record went on afterwards.
    UpTo {
        /// How many lines it vouches for.
        lines: u64,
    },
    /// Not by this key, or not over any beginning of this record.
    Wrong,
}

impl Signed {
    /// Whether the signature vouches for the record, at least as far as it says.
    #[must_use]
    pub const fn is_good(self) -> bool {
        matches!(self, Self::Whole | Self::UpTo { .. })
    }
}

impl fmt::Display for Signed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Not => f.write_str("not signed"),
            Self::Whole => f.write_str("signed by this key, every line"),
            Self::UpTo { lines } => {
                write!(f, "signed by this key up to line {lines}; the record went on after that")
            }
            Self::Wrong => f.write_str("the signature is not by this key, or not of this record"),
        }
    }
}

/// Makes a key pair from 32 bytes of chance: the secret one in `file` (mode 0600, never
/// overwritten), the public one beside it as `FILE.pub`. Returns the public one's path.
///
/// # Errors
/// [`SignatureError::NotWritten`].
pub fn make_keys(file: &Path, chance: &[u8; 32]) -> Result<PathBuf, SignatureError> {
    let key = SigningKey::from_bytes(chance);
    let unfit = |file: &Path| SignatureError::NotWritten {
        file: file.to_owned(),
        source: io::Error::from(io::ErrorKind::InvalidData),
    };
    let secret = key.to_pkcs8_pem(LineEnding::LF).map_err(|_| unfit(file))?;
    let public = key.verifying_key().to_public_key_pem(LineEnding::LF).map_err(|_| unfit(file))?;
    let mut public_file = file.as_os_str().to_owned();
    public_file.push(".pub");
    let public_file = PathBuf::from(public_file);
    write_new(file, secret.as_bytes(), 0o600)?;
    write_new(&public_file, public.as_bytes(), 0o644)?;
    Ok(public_file)
}

fn write_new(file: &Path, bytes: &[u8], mode: u32) -> Result<(), SignatureError> {
    let written = OpenOptions::new().write(true).create_new(true).mode(mode).open(file);
    written
        .and_then(|mut out| out.write_all(bytes).and_then(|()| out.sync_all()))
        .map_err(|source| SignatureError::NotWritten { file: file.to_owned(), source })
}

/// Signs the record in `dir` with the secret key in `key`; an older signature is replaced.
/// Returns how many lines it vouches for.
///
/// # Errors
/// A record that is not whole, a key that is none, a signature that cannot be written.
pub fn sign(dir: &Path, key: &Path) -> Result<u64, SignatureError> {
    let expected = "an Ed25519 secret key in PKCS#8 PEM";
    let key = SigningKey::from_pkcs8_pem(&pem(key)?)
        .map_err(|_| SignatureError::NoKey { file: key.to_owned(), expected })?;
    let checked = whole(dir)?;
    let signature = key.sign(checked.last_chain.as_bytes()).to_bytes();
    let file = dir.join(SIGNATURE_NAME);
    let not_written = |source| SignatureError::NotWritten { file: file.clone(), source };
    // As readable as the record that it is about.
    let readable = fs::Permissions::from_mode(0o644);
    let out = tempfile::Builder::new().permissions(readable).tempfile_in(dir);
    let mut out = out.map_err(not_written)?;
    out.write_all(&signature).and_then(|()| out.as_file().sync_all()).map_err(not_written)?;
    out.persist(&file).map_err(|e| not_written(e.error))?;
    Ok(checked.entries.len() as u64)
}

/// What the signature in `dir` is worth by the public key in `signer`.
///
/// # Errors
/// A record that is not whole, or a key or a signature file that cannot be read.
pub fn check_signature(dir: &Path, signer: &Path) -> Result<Signed, SignatureError> {
    let expected = "an Ed25519 public key in SPKI PEM";
    let signer = VerifyingKey::from_public_key_pem(&pem(signer)?)
        .map_err(|_| SignatureError::NoKey { file: signer.to_owned(), expected })?;
    let file = dir.join(SIGNATURE_NAME);
    let mut bytes = Vec::new();
    let opened = fs::File::open(&file);
    match opened.and_then(|file| file.take(KEY_MAX).read_to_end(&mut bytes)) {
        Ok(_) => {}
        Err(source) if source.kind() == io::ErrorKind::NotFound => return Ok(Signed::Not),
        Err(source) => return Err(SignatureError::NotRead { file, source }),
    };
    let Ok(signature) = Signature::from_slice(&bytes) else { return Ok(Signed::Wrong) };
    let vouches = |chain: &str| signer.verify_strict(chain.as_bytes(), &signature).is_ok();
    let checked = whole(dir)?;
    if vouches(&checked.last_chain) {
        return Ok(Signed::Whole);
    }
    let place = checked.chains.iter().rposition(|chain| vouches(chain));
    Ok(place.map_or(Signed::Wrong, |place| Signed::UpTo { lines: place as u64 + 1 }))
}

fn whole(dir: &Path) -> Result<check::Checked, SignatureError> {
    let path = dir.join(FILE_NAME);
    let checked = read_checked(&path)?;
    match checked.stop {
        Some(stop) => Err(JournalError::stopped(&path, stop).into()),
        None => Ok(checked),
    }
}

fn pem(file: &Path) -> Result<String, SignatureError> {
    let not_read = |source| SignatureError::NotRead { file: file.to_owned(), source };
    let mut text = String::new();
    let opened = fs::File::open(file).map_err(not_read)?;
    opened.take(KEY_MAX).read_to_string(&mut text).map_err(not_read)?;
    Ok(text)
}
