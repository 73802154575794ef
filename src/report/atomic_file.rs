//! Files that are there whole or not at all: written beside their place, moved there when done.

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::Path;

use tempfile::NamedTempFile;

use crate::error::{Error, Result};

/// What failed, with the path the user asked for.
pub(crate) fn failed(path: &Path, source: io::Error) -> Error {
    Error::Write { path: path.to_owned(), source: without_working_name(source) }
}

/// How names of working files begin and end.
const WORKING: (&str, &str) = (".stopwise-", ".part");
/// How names of working files begin that stand among pictures.
const WORKING_AMONG_PICTURES: &str = ".stopwise-mark-";

/// The folder of a path.
fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// A working file in the folder of `path`, with the rights that any new file gets.
pub(crate) fn temp_file_for(path: &Path) -> io::Result<NamedTempFile> {
    named_beside(path, WORKING.0)
}

fn named_beside(path: &Path, prefix: &str) -> io::Result<NamedTempFile> {
    let folder = folder_of(path);
    let mut builder = tempfile::Builder::new();
    builder.prefix(prefix).suffix(WORKING.1);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // The umask takes its share; the default of temporary files would shut others out.
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    for _ in 0..TRIES {
        let made = builder.tempfile_in(folder)?;
        // Held as long as this program lives: another knows by it whether the file was left over.
        // File systems without locks say so in vain.
        let held = made.as_file().lock().is_err() || is_still(made.as_file(), made.path());
        if held {
            return Ok(made);
        }
    }
    Err(io::Error::other("another program takes working files away"))
}

/// How often a working file is made anew when another program took it for a left one before it
/// was held.
const TRIES: usize = 8;

/// Whether an open file still stands at its path.
fn is_still(file: &File, path: &Path) -> bool {
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt;
        let there = fs::symlink_metadata(path);
        let own = file.metadata().ok().zip(there.ok());
        own.is_some_and(|(a, b)| (a.dev(), a.ino()) == (b.dev(), b.ino()))
    }
    #[cfg(not(unix))]
    {
        let _ = file;
        path.exists()
    }
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
pub(crate) fn keep(whole: BufWriter<NamedTempFile>, path: &Path) -> io::Result<()> {
    let whole = whole.into_inner().map_err(io::IntoInnerError::into_error)?;
    whole.as_file().sync_all()?;
    whole.persist(path).map_err(|e| e.error)?;
    sync_folder(path);
    Ok(())
}

/// Makes a new name last over a loss of power; file systems that cannot do that say so in vain.
fn sync_folder(path: &Path) {
    if cfg!(unix)
        && let Ok(folder) = File::open(folder_of(path))
    {
        let _ = folder.sync_all();
    }
}

/// Gives a working file its name where no file of that name may be.
fn keep_new(whole: NamedTempFile, path: &Path) -> io::Result<()> {
    whole.as_file().sync_all()?;
    if let Err(failed) = whole.persist_noclobber(path) {
        // File systems of memory cards cannot do it in one step.
        if failed.error.kind() == io::ErrorKind::AlreadyExists || path.symlink_metadata().is_ok() {
            return Err(failed.error);
        }
        failed.file.persist(path).map_err(|e| e.error)?;
    }
    sync_folder(path);
    Ok(())
}

/// Exchanges a small file that stands among pictures, or makes it, in one step: whatever ends the
/// program, the file is there whole, old or new. Its rights stay. `before` is what it was read as
/// (`None`: it was not there); a file that says something else by now is left alone.
///
/// # Errors
/// [`Error::Write`] when it is write-protected, has changed since, or the folder or disk does not
/// take it.
pub fn replace(path: &Path, before: Option<&[u8]>, after: &[u8]) -> Result<()> {
    let all = || {
        // A link keeps pointing where it points.
        let real = if path.is_symlink() { fs::canonicalize(path)? } else { path.to_owned() };
        let mut whole = named_beside(&real, WORKING_AMONG_PICTURES)?;
        if before.is_some() {
            let rights = fs::metadata(&real)?.permissions();
            if rights.readonly() {
                let says = "it is write-protected";
                return Err(io::Error::new(io::ErrorKind::PermissionDenied, says));
            }
            whole.as_file().set_permissions(rights)?;
        }
        whole.write_all(after)?;
        let Some(before) = before else { return keep_new(whole, &real) };
        whole.as_file().sync_all()?;
        if fs::read(&real)? != before {
            return Err(io::Error::other("another program has changed it meanwhile"));
        }
        whole.persist(&real).map_err(|e| e.error)?;
        sync_folder(&real);
        Ok(())
    };
    all().map_err(|e| failed(path, e))
}

/// Copies a file to a place where none is, with its time, in one step.
///
/// # Errors
/// [`Error::Read`] or [`Error::Write`], by which side failed.
pub fn copy_atomically(from: &Path, to: &Path) -> Result<()> {
    let unread = |source| Error::Read { path: from.to_owned(), source };
    let mut source = File::open(from).map_err(unread)?;
    let times = source.metadata().map_err(unread)?;
    let mut all = || {
        let mut whole = named_beside(to, WORKING_AMONG_PICTURES)?;
        io::copy(&mut source, whole.as_file_mut())?;
        if let Ok(modified) = times.modified() {
            whole.as_file().set_modified(modified)?;
        }
        keep_new(whole, to)
    };
    all().map_err(|e| failed(to, e))
}

/// Takes away the working files that a run which was killed left in a folder. Those of a program
/// that lives are held by it and stay, and so does everything on file systems without locks.
pub fn remove_temp_files(folder: &Path) {
    let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    let Ok(entries) = fs::read_dir(folder) else { return };
    for entry in entries.flatten() {
        let name = entry.file_name();
        let name = name.to_string_lossy();
        let ours = name.starts_with(WORKING.0) && name.ends_with(WORKING.1);
        // Neither links nor pipes: opening those could lead anywhere.
        if !ours || !entry.file_type().is_ok_and(|t| t.is_file()) {
            continue;
        }
        let Ok(file) = File::options().write(true).open(entry.path()) else { continue };
        if file.try_lock().is_ok() && is_still(&file, &entry.path()) {
            let _ = fs::remove_file(entry.path());
        }
    }
}

/// Writes a file in one step; until then its path holds what it held before.
///
/// # Errors
/// [`Error::Write`] when the folder does not take files, the disk is full, or `write` fails.
pub fn write_atomically(
    path: &Path,
    write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> Result<()> {
    let all = || {
        let mut whole = BufWriter::new(temp_file_for(path)?);
        write(&mut whole)?;
        keep(whole, path)
    };
    all().map_err(|e| failed(path, e))
}

/// Finds out before the work whether a file could be written, and clears up in its folder after
/// runs that were killed.
///
/// # Errors
/// [`Error::Write`] when not.
pub fn can_write(path: &Path) -> Result<()> {
    remove_temp_files(folder_of(path));
    temp_file_for(path).map(drop).map_err(|e| failed(path, e))
}
