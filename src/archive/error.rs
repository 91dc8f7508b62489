//! What can go wrong with the archive, with the place, the step and the database's own words. The
//! boards are safe whatever it is: they are in their job folders, and the archive is made of those.
//! One hint says what to do. A server's URL, which may hold a password, is never shown.

use std::path::Path;

/// The archive could not be read or written.
#[derive(Debug, thiserror::Error)]
#[error("history{}: {step}", .place.as_ref().map(|p| format!(" {p}")).unwrap_or_default())]
pub struct ArchiveError {
    place: Option<String>,
    step: String,
    #[source]
    source: Option<StoreError>,
    is_server: bool,
}

/// What the database says.
#[derive(Debug, thiserror::Error)]
pub(super) enum StoreError {
    #[error(transparent)]
    Sqlite(#[from] rusqlite::Error),
    #[cfg(feature = "postgres")]
    #[error(transparent)]
    Postgres(#[from] postgres::Error),
    #[error("column {column} of an answer is not {wanted}")]
    Odd { column: usize, wanted: &'static str },
}

fn shown(file: &Path) -> String {
    crate::event::visible(&file.display().to_string())
}

impl ArchiveError {
    pub(super) fn new(file: &Path, step: &str, source: rusqlite::Error) -> Self {
        let source = Some(source.into());
        Self { place: Some(shown(file)), step: step.into(), source, is_server: false }
    }

    #[cfg(feature = "postgres")]
    pub(super) fn server(database: &str, step: &str, source: postgres::Error) -> Self {
        let place = Some(format!("server {}", crate::event::visible(database)).trim_end().into());
        Self { place, step: step.into(), source: Some(source.into()), is_server: true }
    }

    #[cfg(not(feature = "postgres"))]
    pub(super) fn no_server() -> Self {
        let step = "this program was built without the feature postgres".to_owned();
        Self { place: Some("server".into()), step, source: None, is_server: true }
    }

    pub(super) fn unnamed(step: &str, source: StoreError) -> Self {
        #[cfg(feature = "postgres")]
        let is_server = matches!(source, StoreError::Postgres(_));
        #[cfg(not(feature = "postgres"))]
        let is_server = false;
        Self { place: None, step: step.into(), source: Some(source), is_server }
    }

    pub(super) fn other_format(file: Option<&Path>, found: i64) -> Self {
        let step = format!("format {found} is not known to this program");
        Self { place: file.map(shown), step, source: None, is_server: file.is_none() }
    }

    /// What to do about it, in one line.
    #[must_use]
    pub const fn hint(&self) -> &'static str {
        if self.is_server {
            return "every board is safe in its job folder; see to the server and to the URL in \
                    --archive or COILMARK_ARCHIVE (it wants a build with --features postgres), \
                    then `coilmark history rebuild DIR...` puts in what is missing";
        }
        "every board is safe in its job folder; `coilmark history rebuild DIR...` makes the history \
         again, with COILMARK_DATA in another folder if this one cannot be used"
    }
}
