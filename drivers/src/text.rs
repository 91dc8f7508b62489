//! Text files that a person names: read whole, but never more of them than makes sense. What a
//! device or a pipe says of its size is not believed, so that a file without an end is refused as
//! any other that is too large; what the text means is for its reader.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

/// The most that a file of settings, a plan, a panel or a relay may have, in bytes.
pub const WORDS_AT_MOST: u64 = 1 << 20;

/// Reads a text file of at most so many bytes.
///
/// # Errors
/// What the system says; [`io::ErrorKind::FileTooLarge`] for more, and
/// [`io::ErrorKind::InvalidData`] for bytes that are no UTF-8.
pub fn read_text(path: &Path, at_most: u64) -> io::Result<String> {
    let mut text = String::new();
    let mut file = File::open(path)?.take(at_most + 1);
    // A file without an end may be no text either: its size is what is wrong with it.
    let outcome = file.read_to_string(&mut text);
    if file.limit() == 0 {
        let problem = format!("more than {at_most} bytes are too many for this kind of file");
        return Err(io::Error::new(io::ErrorKind::FileTooLarge, problem));
    }
    outcome.map(|_| text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_without_an_end_is_too_large_and_one_of_the_size_allowed_is_not() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("words");
        std::fs::write(&path, "ab").unwrap();
        assert_eq!(read_text(&path, 2).unwrap(), "ab");
        assert_eq!(read_text(&path, 1).unwrap_err().kind(), io::ErrorKind::FileTooLarge);
        let endless = read_text(Path::new("/dev/zero"), 1000).unwrap_err();
        assert_eq!(endless.kind(), io::ErrorKind::FileTooLarge);
        std::fs::write(&path, b"\xff\xfe").unwrap();
        assert_eq!(read_text(&path, 9).unwrap_err().kind(), io::ErrorKind::InvalidData);
    }
}
