//! Where the files of a record are by now, and which of them a record may name.
//!
//! A record is a file like any other: whoever hands one over must not decide where sidecars are
//! written, what is linked or copied, or what the page shows. What it names is taken only when it
//! is a picture below the folder that the record belongs to, or below one typed by the user.

use std::path::{Component, Path, PathBuf};

use super::sentences;
use crate::core::text_path;
use crate::image::named_as_picture;
use crate::report::parts::SkippedRecord;

/// What a record belongs to.
#[derive(Debug, Clone, Copy)]
pub enum RecordOrigin<'a> {
    /// A folder typed by the user, judged just now.
    Folder(&'a Path),
    /// A file in this folder.
    FileIn(&'a Path),
    /// The input: it belongs to the folder that the program runs in.
    Input,
}

/// Where to look for the files of a record.
#[derive(Debug)]
pub struct RecordPlaces {
    bases: Vec<PathBuf>,
    /// The folder that nothing leads out of, as typed and with every link followed.
    root: PathBuf,
    real_root: Option<PathBuf>,
    moved: bool,
    follow_links: bool,
}

/// The files of one frame.
#[derive(Debug, Default)]
pub struct FrameFiles {
    /// Its own, and the one taken with it; none when its own is gone or refused.
    pub files: Vec<PathBuf>,
    /// What was not taken, and why.
    pub refused: Vec<SkippedRecord>,
}

/// A path that was looked at.
enum Looked {
    Taken(PathBuf),
    Refused(String),
    NotThere,
}

impl RecordPlaces {
    /// Below `moved` when it is given; else below the folder that was given to `cull`, as named
    /// then, and below the folder that the record belongs to. Nothing outside that folder is
    /// taken; links that lead out of it only with `follow_links`.
    pub fn new(
        asked: &[String],
        moved: Option<&Path>,
        origin: RecordOrigin<'_>,
        follow_links: bool,
    ) -> RecordPlaces {
        let here = Path::new(".");
        let own = match origin {
            RecordOrigin::Folder(folder) | RecordOrigin::FileIn(folder)
                if folder.as_os_str() != "" =>
            {
                folder
            }
            _ => here,
        };
        let root = moved.unwrap_or(own).to_owned();
        let bases = match moved {
            Some(folder) => vec![folder.to_owned()],
            None => {
                let mut bases = Vec::new();
                if let [one] = asked {
                    bases.extend([text_path(one), own.join(text_path(one))]);
                }
                bases.extend([PathBuf::new(), own.to_owned()]);
                bases
            }
        };
        let real_root = root.canonicalize().ok();
        RecordPlaces { bases, real_root, root, moved: moved.is_some(), follow_links }
    }

    /// The files of a frame.
    pub fn files(&self, path: &str, partner: Option<&str>) -> FrameFiles {
        let mut found = FrameFiles::default();
        let refused = |path: &str, reason| SkippedRecord::with_reason(path.to_owned(), reason);
        let own = match self.find(&text_path(path)) {
            Looked::Taken(own) => own,
            Looked::Refused(reason) => {
                found.refused.push(refused(path, reason));
                return found;
            }
            Looked::NotThere => {
                let reason = sentences::not_found();
                found.refused.push(refused(path, reason));
                return found;
            }
        };
        found.files.push(own.clone());
        let Some(partner) = partner else { return found };
        // The two files of one exposure are in one folder.
        let written = text_path(partner);
        let beside = written.file_name().map(|name| own.with_file_name(name));
        let looked = match beside.map(|b| self.look(&b)) {
            Some(Looked::NotThere) | None => self.find(&written),
            Some(other) => other,
        };
        match looked {
            Looked::Taken(file) => found.files.push(file),
            Looked::Refused(reason) => found.refused.push(refused(partner, reason)),
            Looked::NotThere => {}
        }
        found
    }

    /// The file of a path in the record.
    fn find(&self, path: &Path) -> Looked {
        let upwards = path.components().any(|c| c == Component::ParentDir);
        let mut reason = None;
        let below = self.bases.iter().filter(|_| !(self.moved && path.is_absolute()));
        for candidate in below.map(|base| base.join(path)) {
            match self.look(&candidate) {
                Looked::Taken(_) if upwards => {
                    reason.get_or_insert_with(|| "refused: its path leads upwards (..)".to_owned());
                }
                Looked::Taken(file) => return Looked::Taken(file),
                Looked::Refused(says) => {
                    reason.get_or_insert(says);
                }
                Looked::NotThere => {}
            }
        }
        // Files that were put elsewhere, all in one folder.
        if let (true, Some(name)) = (self.moved, path.file_name()) {
            match self.look(&self.root.join(name)) {
                Looked::Refused(says) => {
                    reason.get_or_insert(says);
                }
                Looked::Taken(file) => return Looked::Taken(file),
                Looked::NotThere => {}
            }
        }
        reason.map_or(Looked::NotThere, Looked::Refused)
    }

    /// Whether a file is there and may be taken.
    fn look(&self, path: &Path) -> Looked {
        let Ok(real) = path.canonicalize() else { return Looked::NotThere };
        if let Err(says) = self.real_inside(path, &real) {
            return Looked::Refused(says);
        }
        if !named_as_picture(path) {
            return Looked::Refused("refused: not named as a picture".to_owned());
        }
        match real.is_file() {
            true => Looked::Taken(path.to_owned()),
            false => Looked::Refused("refused: not a file".to_owned()),
        }
    }

    /// Whether a path that is there leads to a place in the folder.
    ///
    /// # Errors
    /// Why it is refused.
    pub fn inside(&self, path: &Path) -> Result<(), String> {
        match path.canonicalize() {
            Ok(real) => self.real_inside(path, &real),
            Err(_) => Err("refused: a link that leads nowhere".to_owned()),
        }
    }

    fn real_inside(&self, path: &Path, real: &Path) -> Result<(), String> {
        if self.real_root.as_ref().is_some_and(|root| real.starts_with(root)) {
            return Ok(());
        }
        match lexically_below(path, &self.root) {
            true if self.follow_links => Ok(()),
            true => Err(sentences::link_leads_out(&self.root)),
            false => Err(sentences::outside(&self.root, self.moved)),
        }
    }
}

/// Whether a path, taken as it is written, is below a folder.
fn lexically_below(path: &Path, folder: &Path) -> bool {
    let absolute = |p: &Path| std::path::absolute(p).ok();
    let Some((path, folder)) = absolute(path).zip(absolute(folder)) else { return false };
    let below = path.strip_prefix(folder);
    below.is_ok_and(|rest| !rest.components().any(|c| c == Component::ParentDir))
}

/// Whether a file may be put at a path without leaving a folder through a link, however much of
/// the way there is made only then.
pub fn stays_below(folder: &Path, path: &Path) -> bool {
    if !lexically_below(path, folder) {
        return false;
    }
    let Ok(real) = folder.canonicalize() else { return true };
    let mut there = path.ancestors().skip(1).filter_map(|p| p.canonicalize().ok());
    there.next().is_some_and(|p| p.starts_with(&real) || real.starts_with(&p))
}
