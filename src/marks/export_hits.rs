//! The hits for other programs: hard links, copies, or a list of their paths. Nothing is moved.

use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Component, Path, PathBuf};

use super::record::{FilePlacing, FileState, MarkRecord, PlacedRow};
use super::sentences::on_another_disk;
use super::targets::Targets;
use crate::core::verdict::Verdict;
use crate::core::{path_text, text_path};
use crate::report::atomic_file::copy_atomically;
use crate::report::parts::SkippedRecord;
use crate::store::record_places::stays_below;
use crate::store::sentences::link_leads_out;

/// Links or copies the frames of some verdicts into a folder, the file taken with each as well.
/// A file that is in the way stays.
pub fn place(
    targets: &Targets,
    verdicts: &[Verdict],
    (dir, placing): (&Path, FilePlacing),
    follow_links: bool,
    write: bool,
    record: &mut MarkRecord,
) {
    let mut taken = std::collections::BTreeSet::new();
    for target in targets.0.iter().filter(|t| verdicts.contains(&t.verdict)) {
        for file in &target.files {
            let to = dir.join(name_in(dir_of(&target.shown).as_deref(), file));
            let from = path_text(file);
            let outcome = if !(follow_links || stays_below(dir, &to)) {
                Err(link_leads_out(dir))
            } else if taken.insert(to.clone()) {
                put(file, &to, placing, write)
            } else {
                Err(format!("{} already exists from another frame", to.display()))
            };
            match outcome {
                Ok(state) => {
                    record.placed.push(PlacedRow { from, to: path_text(&to), placing, state })
                }
                Err(reason) => record.skipped.push(SkippedRecord::with_reason(from, reason)),
            }
        }
    }
}

/// The folder in which a frame is shown, when that is one below the outing.
fn dir_of(shown: &str) -> Option<PathBuf> {
    let shown = text_path(shown);
    let folder = shown.parent()?;
    folder.components().all(|c| matches!(c, Component::Normal(_))).then(|| folder.to_owned())
}

fn name_in(folder: Option<&Path>, file: &Path) -> PathBuf {
    folder.unwrap_or(Path::new("")).join(file.file_name().unwrap_or_default())
}

fn put(from: &Path, to: &Path, placing: FilePlacing, write: bool) -> Result<FileState, String> {
    let state = match to.symlink_metadata() {
        Ok(_) if is_there(from, to, placing).unwrap_or(false) => FileState::Same,
        Ok(_) => return Err(format!("{} is a different file and is left unchanged", to.display())),
        Err(_) => FileState::New,
    };
    if !write || state == FileState::Same {
        return Ok(state);
    }
    let failed = |e: io::Error| match e.kind() {
        io::ErrorKind::CrossesDevices => on_another_disk(to),
        _ => format!("cannot write {}: {e}", to.display()),
    };
    if let Some(folder) = to.parent() {
        fs::create_dir_all(folder).map_err(failed)?;
    }
    match placing {
        FilePlacing::HardLink => fs::hard_link(from, to).map_err(failed)?,
        FilePlacing::Copy => copy_atomically(from, to).map_err(|e| e.to_string())?,
    }
    Ok(state)
}

/// Whether a place holds the file already.
fn is_there(from: &Path, to: &Path, placing: FilePlacing) -> io::Result<bool> {
    let (a, b) = (fs::metadata(from)?, fs::symlink_metadata(to)?);
    if !b.is_file() {
        return Ok(false);
    }
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt;
        if placing == FilePlacing::HardLink {
            return Ok((a.dev(), a.ino()) == (b.dev(), b.ino()));
        }
    }
    if a.len() != b.len() {
        return Ok(false);
    }
    let (mut one, mut other) = (File::open(from)?, File::open(to)?);
    let (mut a, mut b) = (vec![0; 1 << 16], vec![0; 1 << 16]);
    loop {
        let n = one.read(&mut a)?;
        if n == 0 {
            return Ok(other.read(&mut b)? == 0);
        }
        if other.read_exact(&mut b[..n]).is_err() || a[..n] != b[..n] {
            return Ok(false);
        }
    }
}

/// The paths of the frames of some verdicts, one per line, with the file taken with each. The bytes
/// are those of the names, whether they are text or not; a name that does not fit on a line is
/// added to `skipped`.
pub fn list_paths(
    targets: &Targets,
    verdicts: &[Verdict],
    skipped: &mut Vec<SkippedRecord>,
) -> Vec<u8> {
    let mut lines = Vec::new();
    for file in targets.0.iter().filter(|t| verdicts.contains(&t.verdict)).flat_map(|t| &t.files) {
        let whole = std::path::absolute(file).unwrap_or_else(|_| file.clone());
        let line = whole.as_os_str().as_encoded_bytes();
        if line.iter().any(|b| matches!(b, b'\n' | b'\r')) {
            let reason = "its name does not fit on a line of the list".to_owned();
            skipped.push(SkippedRecord::with_reason(path_text(file), reason));
        } else {
            lines.extend_from_slice(line);
            lines.push(b'\n');
        }
    }
    lines
}
