//! Files that are there whole or not at all: written beside their place, moved there when done.

use std::io::{self, BufWriter, Write};
use std::path::Path;

use tempfile::NamedTempFile;

use crate::error::{Error, Result};

/// What failed, with the path the user asked for.
pub(super) fn failed(path: &Path, source: io::Error) -> Error {
    Error::Write { path: path.to_owned(), source }
}

/// A working file in the folder of `path`, with the rights that any new file gets.
pub(super) fn beside(path: &Path) -> io::Result<NamedTempFile> {
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let mut builder = tempfile::Builder::new();
    builder.prefix(".stopwise-").suffix(".part");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // The umask takes its share; the default of temporary files would shut others out.
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    builder.tempfile_in(folder).map_err(without_working_name)
}

/// What the system said, without the name of the working file that follows it.
fn without_working_name(error: io::Error) -> io::Error {
    let says = error.to_string();
    match says.split_once(" at path ") {
        Some((says, _)) => io::Error::new(error.kind(), says.to_owned()),
        None => error,
    }
}

/// Moves a finished working file to its place.
pub(super) fn keep(whole: BufWriter<NamedTempFile>, path: &Path) -> io::Result<()> {
    let whole = whole.into_inner().map_err(io::IntoInnerError::into_error)?;
    whole.as_file().sync_all()?;
    whole.persist(path).map_err(|e| e.error)?;
    Ok(())
}

/// Writes a file in one step; until then its path holds what it held before.
///
/// # Errors
/// [`Error::Write`] when the folder does not take files, the disk is full, or `write` fails.
pub fn write_whole(
    path: &Path,
    write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> Result<()> {
    let all = || {
        let mut whole = BufWriter::new(beside(path)?);
        write(&mut whole)?;
        keep(whole, path)
    };
    all().map_err(|e| failed(path, e))
}

/// Finds out before the work whether a file could be written.
///
/// # Errors
/// [`Error::Write`] when not.
pub fn can_write(path: &Path) -> Result<()> {
    beside(path).map(drop).map_err(|e| failed(path, e))
}
