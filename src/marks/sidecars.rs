//! Which sidecar gets which marks.

use std::collections::{BTreeMap, BTreeSet};
use std::ffi::OsString;
use std::fs;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use super::record::{ChangeRow, FileState, MarkRecord, SidecarRow};
use super::sentences;
use super::targets::{MarkTarget, Targets};
use super::xmp::{Keywords, MAX_SIDECAR_BYTES, Marks, marked};
use crate::core::path_text;
use crate::core::verdict::{Cause, Verdict};
use crate::error::{Error, SidecarFault};
use crate::image::named_as_picture;
use crate::report::atomic_file::{remove_temp_files, replace};
use crate::report::parts::SkippedRecord;
use crate::store::record_places::RecordPlaces;

/// What sidecars say for each verdict.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct SidecarRules {
    /// xmp:Rating, -1 to 5; none for the verdicts that are missing here.
    pub ratings: BTreeMap<Verdict, i8>,
    /// xmp:Label; none for the verdicts that are missing here.
    pub labels: BTreeMap<Verdict, String>,
    /// Start of the keywords for verdict and first cause, which take the place of earlier ones
    /// that start so; no keywords when `None`.
    pub prefix: Option<String>,
    /// Whether a rating or label that is set already stays.
    pub only_unset: bool,
    /// Whether sidecars are named after the whole file name (a.jpg.xmp), one per file.
    pub full_names: bool,
}

impl SidecarRules {
    fn marks(&self, target: &MarkTarget) -> Marks {
        let keywords = self.prefix.as_ref().map(|prefix| {
            let cause = target.cause.map(Cause::word);
            let verdict = target.verdict.word().replace(' ', "-");
            let wanted = [Some(verdict.as_str()), cause]
                .into_iter()
                .flatten()
                .map(|w| format!("{prefix}{w}"));
            Keywords { prefix: prefix.clone(), wanted: wanted.collect() }
        });
        Marks {
            rating: self.ratings.get(&target.verdict).copied(),
            label: self.labels.get(&target.verdict).cloned(),
            keywords,
            only_unset: self.only_unset,
        }
    }
}

/// One sidecar to be.
struct Planned<'t> {
    path: PathBuf,
    targets: Vec<&'t MarkTarget>,
    files: BTreeSet<&'t Path>,
    notes: Vec<String>,
}

/// Plans the sidecars of all frames, and writes them when that is asked.
pub fn sidecars(
    targets: &Targets,
    rules: &SidecarRules,
    places: &RecordPlaces,
    write: bool,
    record: &mut MarkRecord,
) {
    let mut planned: Vec<Planned<'_>> = Vec::new();
    let mut by_path: BTreeMap<PathBuf, usize> = BTreeMap::new();
    let mut folders = Folders::default();
    for target in &targets.0 {
        for file in &target.files {
            let (path, note) = sidecar_of(file, rules.full_names, &mut folders);
            let index = *by_path.entry(path.clone()).or_insert_with(|| {
                let notes = note.into_iter().collect();
                planned.push(Planned { path, targets: Vec::new(), files: BTreeSet::new(), notes });
                planned.len() - 1
            });
            let plan = &mut planned[index];
            plan.files.insert(file);
            if !plan.targets.iter().any(|t| std::ptr::eq(*t, target)) {
                plan.targets.push(target);
            }
        }
    }
    if write {
        folders.0.keys().for_each(|folder| remove_temp_files(folder));
    }
    for mut plan in planned {
        let Some(first) = plan.targets.first() else { continue };
        let marks = rules.marks(first);
        if let Some(other) = plan.targets.iter().find(|t| rules.marks(t) != marks) {
            let reason = sentences::shared_sidecar(&first.shown, &other.shown);
            record.skipped.push(SkippedRecord::with_reason(path_text(&plan.path), reason));
            continue;
        }
        plan.notes.extend(shared(&plan, rules.full_names, &mut folders));
        match sidecar(&plan, &marks, places, write) {
            Ok(row) => record.sidecars.push(row),
            Err(reason) => {
                record.skipped.push(SkippedRecord::with_reason(path_text(&plan.path), reason));
            }
        }
    }
}

/// The bytes of a sidecar; `None` when there is none. What is no file is not opened: a pipe would
/// be waited on for ever.
fn bytes_of(path: &Path, places: &RecordPlaces) -> Result<Option<Vec<u8>>, String> {
    let unread = |e: io::Error| format!("cannot be read: {e}");
    match fs::symlink_metadata(path) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(e) => return Err(unread(e)),
        Ok(own) if own.is_symlink() => places.inside(path)?,
        Ok(_) => {}
    }
    let there = fs::metadata(path).map_err(unread)?;
    if !there.is_file() {
        return Err(SidecarFault::NotAFile.to_string());
    }
    let mut bytes = Vec::new();
    let file = fs::File::open(path).map_err(unread)?;
    file.take(MAX_SIDECAR_BYTES + 1).read_to_end(&mut bytes).map_err(unread)?;
    if bytes.len() as u64 > MAX_SIDECAR_BYTES {
        return Err(SidecarFault::TooLarge.to_string());
    }
    Ok(Some(bytes))
}

/// Reads, marks and perhaps writes one sidecar.
fn sidecar(
    plan: &Planned<'_>,
    marks: &Marks,
    places: &RecordPlaces,
    write: bool,
) -> Result<SidecarRow, String> {
    let Some(target) = plan.targets.first() else {
        return Err("it belongs to no frame".to_owned());
    };
    let before = bytes_of(&plan.path, places)?;
    let text = match &before {
        Some(bytes) => {
            Some(std::str::from_utf8(bytes).map_err(|_| SidecarFault::Encoding.to_string())?)
        }
        None => None,
    };
    let after = marked(text, marks).map_err(|e| e.to_string())?;
    let state = match (&before, after.changes.is_empty()) {
        (_, true) => FileState::Same,
        (None, false) => FileState::New,
        (Some(_), false) => FileState::Changed,
    };
    if write && state != FileState::Same {
        replace(&plan.path, before.as_deref(), after.text.as_bytes()).map_err(|e| match e {
            Error::Write { source, .. } => format!("cannot be written: {source}"),
            other => other.to_string(),
        })?;
    }
    let changes = after.changes.into_iter().map(|c| ChangeRow {
        property: c.property,
        from: c.from,
        to: c.to,
    });
    Ok(SidecarRow {
        path: path_text(&plan.path),
        frames: plan.files.iter().map(|f| path_text(f)).collect(),
        verdict: target.verdict,
        decided: target.decided,
        state,
        changes: changes.collect(),
        notes: plan.notes.iter().cloned().chain(after.warnings).collect(),
    })
}

/// The names of every folder that holds frames, read once.
#[derive(Default)]
struct Folders(BTreeMap<PathBuf, BTreeSet<OsString>>);

impl Folders {
    fn names(&mut self, folder: &Path) -> &BTreeSet<OsString> {
        self.0.entry(folder.to_owned()).or_insert_with(|| {
            let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
            fs::read_dir(folder).map_or_else(
                |_| BTreeSet::new(),
                |entries| entries.flatten().map(|e| e.file_name()).collect(),
            )
        })
    }
}

/// The sidecar of a file, after XMP part 3: its name with the ending `.xmp`. The other form in use
/// (the whole name, then `.xmp`) is taken when it is there already or asked for.
fn sidecar_of(file: &Path, full: bool, folders: &mut Folders) -> (PathBuf, Option<String>) {
    let folder = file.parent().unwrap_or(Path::new(""));
    let names = folders.names(folder);
    let there = |stem: &std::ffi::OsStr| {
        ["xmp", "XMP", "Xmp"].into_iter().find_map(|ending| {
            let mut name = stem.to_owned();
            name.push(".");
            name.push(ending);
            names.contains(&name).then_some(name)
        })
    };
    let whole = file.file_name().unwrap_or_default();
    let stem = file.file_stem().unwrap_or_default();
    let with_ending = |stem: &std::ffi::OsStr| {
        let mut name = stem.to_owned();
        name.push(".xmp");
        name
    };
    let (name, other) = match (there(stem), there(whole)) {
        (other, Some(name)) if full => (name, other),
        (other, None) if full => (with_ending(whole), other),
        (Some(name), other) => (name, other),
        (None, Some(name)) => (name, None),
        (None, None) => (with_ending(stem), None),
    };
    let note = other.map(|o| format!("{} also exists and is left unchanged", o.to_string_lossy()));
    (folder.join(name), note)
}

/// What a sidecar stands for beside the frame: files of the same name.
fn shared(plan: &Planned<'_>, full: bool, folders: &mut Folders) -> Option<String> {
    let file = plan.files.first()?;
    if full || plan.path.file_stem() != file.file_stem() {
        return None;
    }
    let folder = file.parent().unwrap_or(Path::new(""));
    let stem = file.file_stem();
    let names: Vec<String> = folders
        .names(folder)
        .iter()
        .filter(|n| Path::new(n).file_stem() == stem && named_as_picture(Path::new(n)))
        .map(|n| n.to_string_lossy().into_owned())
        .collect();
    // A raw file and its JPEG are one frame; anything else shares the sidecar by chance.
    let others = names.len() > plan.targets.first().map_or(1, |t| t.files.len());
    others.then(|| format!("one sidecar for {}", names.join(" and ")))
}
