//! The log: what was measured on every outing that the shooter wanted kept, in one SQLite file.
//!
//! An outing is written in one transaction, so after a crash, a kill or a full disk it is there
//! whole or not at all and earlier ones are untouched. The file is in write-ahead mode: others
//! read while one writes. An outing is known by its kind and its frames' contents: logged again,
//! it takes the place of its earlier measurement and keeps what a person corrected. A frame that
//! is in several outings counts once, by its latest measurement ([`Log::frames`]).

mod merge;
mod read;
mod rows;
mod schema;
#[cfg(test)]
mod tests;
mod write;

use std::path::{Path, PathBuf};

use rusqlite::{Connection, ErrorCode, OpenFlags};

use super::sqlite::{self, DatabaseKind, OpenFailure};
use crate::error::{Error, LogProblem, Result};

pub use merge::Merged;
pub use rows::{
    Correction, LoggedFrame, LoggedNoise, LoggedSigma, NewOuting, Outing, OutingKind, outing_title,
};
pub use schema::FORM;
pub use write::Added;

/// An open log.
#[derive(Debug)]
pub struct Log {
    connection: Connection,
    path: PathBuf,
    /// What the time is.
    clock: fn() -> jiff::Timestamp,
}

impl Log {
    /// Opens a log for reading and writing; makes it, and its folder, when it is not there, and
    /// brings one of an earlier form up to date.
    ///
    /// # Errors
    /// [`Error::Log`] when the place cannot be written, or the file is no log, damaged, or of a
    /// later form.
    pub fn open(path: &Path) -> Result<Log> {
        Log::open_kind(path, &schema::KIND)
    }

    /// As [`open`](Log::open), with another time to wait for other processes.
    #[cfg(test)]
    pub(in crate::store) fn open_waiting(
        path: &Path,
        busy_wait: std::time::Duration,
    ) -> Result<Log> {
        Log::open_kind(path, &DatabaseKind { busy_wait, ..schema::KIND })
    }

    fn open_kind(path: &Path, kind: &DatabaseKind) -> Result<Log> {
        let failed = |problem| Error::Log { path: path.to_owned(), problem };
        if let Some(folder) = path.parent().filter(|f| !f.as_os_str().is_empty()) {
            std::fs::create_dir_all(folder).map_err(|e| failed(of_io(e)))?;
        }
        let connection = sqlite::open(path, kind).map_err(|e| failed(refused(e)))?;
        connection.execute_batch("PRAGMA foreign_keys = ON;").map_err(|e| failed(problem(e)))?;
        Ok(Log { connection, path: path.to_owned(), clock: jiff::Timestamp::now })
    }

    /// Opens a log for reading only; works in a folder that may not be written.
    ///
    /// # Errors
    /// As [`Log::open`], and [`LogProblem::Missing`] when there is none, [`LogProblem::Older`]
    /// when one of an earlier form cannot be brought up to date.
    pub fn open_to_read(path: &Path) -> Result<Log> {
        let failed = |problem| Error::Log { path: path.to_owned(), problem };
        match std::fs::metadata(path) {
            Ok(_) => {}
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
                return Err(failed(LogProblem::Missing));
            }
            Err(e) => return Err(failed(of_io(e))),
        }
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let open = |uri: Option<String>| -> Result<(Connection, i64), LogProblem> {
            let connection = match uri {
                None => Connection::open_with_flags(path, flags),
                Some(uri) => Connection::open_with_flags(uri, flags | OpenFlags::SQLITE_OPEN_URI),
            }
            .map_err(problem)?;
            connection.busy_timeout(schema::KIND.busy_wait).map_err(problem)?;
            let found = sqlite::check(&connection, &schema::KIND).map_err(refused)?;
            Ok((connection, found))
        };
        let opened = match open(None) {
            // Readers of a write-ahead file need a file beside it. Where none can be made nobody
            // writes either, and without a pending write the file itself is all there is.
            Err(LogProblem::ReadOnly | LogProblem::Full) if nothing_pending(path) => {
                open(Some(unchanging(path)))
            }
            other => other,
        };
        let (connection, found) = opened.map_err(failed)?;
        if found == FORM {
            return Ok(Log { connection, path: path.to_owned(), clock: jiff::Timestamp::now });
        }
        drop(connection);
        Log::open(path).map_err(|error| match error {
            Error::Log { problem: LogProblem::ReadOnly, .. } => failed(LogProblem::Older { found }),
            other => other,
        })
    }

    /// The log's file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Checks the whole file; for tests and for doubts.
    ///
    /// # Errors
    /// [`LogProblem::Damaged`] when a page or an index does not hold what it should.
    pub fn check(&self) -> Result<()> {
        let says: String = self
            .connection
            .query_row("PRAGMA integrity_check", [], |row| row.get(0))
            .map_err(|e| self.failed(e))?;
        if says == "ok" { Ok(()) } else { Err(self.error(LogProblem::Damaged)) }
    }

    fn failed(&self, error: rusqlite::Error) -> Error {
        self.error(problem(error))
    }

    fn error(&self, problem: LogProblem) -> Error {
        Error::Log { path: self.path.clone(), problem }
    }
}

/// Whether no transaction waits beside the file.
fn nothing_pending(path: &Path) -> bool {
    let mut beside = path.as_os_str().to_owned();
    beside.push("-wal");
    std::fs::metadata(PathBuf::from(beside)).map_or(true, |m| m.len() == 0)
}

/// The file named as one that does not change while it is read.
fn unchanging(path: &Path) -> String {
    let whole = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    let mut uri = String::from("file:");
    for byte in whole.as_os_str().as_encoded_bytes() {
        match byte {
            b'%' | b'?' | b'#' => uri.push_str(&format!("%{byte:02X}")),
            0x21..=0x7e => uri.push(char::from(*byte)),
            _ => uri.push_str(&format!("%{byte:02X}")),
        }
    }
    uri.push_str("?immutable=1");
    uri
}

/// Why a database was not opened, in the words of this program.
fn refused(why: OpenFailure) -> LogProblem {
    match why {
        OpenFailure::OtherKind => LogProblem::NotALog,
        OpenFailure::Newer { found, known } => LogProblem::Newer { found, known },
        OpenFailure::Database(e) => problem(e),
    }
}

/// What the database says, in the words of this program.
fn problem(error: rusqlite::Error) -> LogProblem {
    match error.sqlite_error_code() {
        Some(ErrorCode::NotADatabase) => LogProblem::NotALog,
        Some(ErrorCode::DatabaseCorrupt) => LogProblem::Damaged,
        None if matches!(error, rusqlite::Error::FromSqlConversionFailure(..)) => {
            LogProblem::Damaged
        }
        Some(ErrorCode::DiskFull) => LogProblem::Full,
        Some(ErrorCode::SystemIoFailure) if is_write(&error) => LogProblem::Full,
        Some(ErrorCode::ReadOnly | ErrorCode::CannotOpen | ErrorCode::PermissionDenied) => {
            LogProblem::ReadOnly
        }
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => LogProblem::Busy,
        _ => LogProblem::Database(error),
    }
}

/// Whether writing failed, as it does at a limit on the size of files.
fn is_write(error: &rusqlite::Error) -> bool {
    use rusqlite::ffi;
    let code = error.sqlite_error().map(|e| e.extended_code);
    [
        ffi::SQLITE_IOERR_WRITE,
        ffi::SQLITE_IOERR_FSYNC,
        ffi::SQLITE_IOERR_SHMSIZE,
        ffi::SQLITE_IOERR_SHMOPEN,
        ffi::SQLITE_IOERR_SHMMAP,
        ffi::SQLITE_IOERR_TRUNCATE,
    ]
    .into_iter()
    .any(|write| code == Some(write))
}

fn of_io(error: std::io::Error) -> LogProblem {
    use std::io::ErrorKind;
    match error.kind() {
        ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => LogProblem::ReadOnly,
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => LogProblem::Full,
        _ => LogProblem::Io(error),
    }
}
