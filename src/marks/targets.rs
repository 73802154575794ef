//! The frames to be marked: their files, and the verdict that each is marked with.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use crate::core::verdict::{Cause, Verdict};
use crate::cull::record::{CullRecord, FrameRecord};
use crate::error::Result;
use crate::report::parts::SkippedRecord;
use crate::store::decisions::Decisions;
use crate::store::record_places::RecordPlaces;

/// A frame with its files and its marks.
#[derive(Debug)]
pub struct MarkTarget {
    /// Its name in the record.
    pub shown: String,
    /// The frame, and the file taken with it.
    pub files: Vec<PathBuf>,
    /// Its verdict: a person's, else the program's.
    pub verdict: Verdict,
    /// Number of its burst.
    pub burst: u32,
    /// What cost the most sharpness; `None` where the verdict is a person's other than the
    /// program's.
    pub cause: Option<Cause>,
    /// Whether the verdict is a person's.
    pub decided: bool,
}

/// The frames of a record that are there.
#[derive(Debug)]
pub struct Targets(pub Vec<MarkTarget>);

impl Targets {
    /// Finds the files of every frame; those that are gone or refused are added to `skipped`.
    pub fn find(
        cull: &CullRecord,
        places: &RecordPlaces,
        skipped: &mut Vec<SkippedRecord>,
    ) -> Targets {
        let mut targets = Vec::new();
        for frame in &cull.frames {
            let found = places.files(&frame.path, frame.partner.as_deref());
            skipped.extend(found.refused);
            if !found.files.is_empty() {
                targets.push(target(frame, found.files));
            }
        }
        Targets(targets)
    }

    /// Puts people's decisions in place of the verdicts. Returns the number of bursts in which a
    /// person placed the subject.
    ///
    /// # Errors
    /// [`Error::Decisions`](crate::Error::Decisions) when the decisions cannot be read.
    pub fn apply_decisions(&mut self, decisions: &Decisions) -> Result<u32> {
        let files: Vec<&Path> =
            self.0.iter().filter_map(|t| Some(t.files.first()?.as_path())).collect();
        let standing = decisions.standing(&files)?;
        let mut moved = BTreeSet::new();
        for (target, standing) in self.0.iter_mut().zip(standing) {
            if standing.subject.is_some() {
                moved.insert(target.burst);
            }
            let Some(verdict) = standing.verdict else { continue };
            target.decided = true;
            if verdict != target.verdict {
                // The cause was that of the program's verdict.
                (target.verdict, target.cause) = (verdict, None);
            }
        }
        Ok(moved.len() as u32)
    }
}

fn target(frame: &FrameRecord, files: Vec<PathBuf>) -> MarkTarget {
    MarkTarget {
        shown: frame.path.clone(),
        files,
        verdict: frame.verdict,
        burst: frame.burst,
        cause: frame.causes.first().map(|c| c.cause),
        decided: false,
    }
}
