//! `mark`: verdicts and decisions into sidecars, and hits into links, copies or a list.

pub mod export_hits;
pub mod record;
mod sentences;
pub mod sidecars;
pub mod targets;
pub mod terminal;
#[cfg(test)]
mod tests;
pub mod xmp;

use std::path::PathBuf;

use crate::core::verdict::Verdict;
use crate::cull::record::CullRecord;
use crate::error::Result;
use crate::report::header::Header;
use crate::store::decisions::Decisions;
use crate::store::record_places::RecordPlaces;
use record::{FilePlacing, MARK_SCHEMA, MarkRecord};
use sidecars::SidecarRules;
use targets::Targets;

/// What is to be marked, and how.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct MarkJob {
    /// What sidecars get; they are left alone when `None`.
    pub sidecars: Option<SidecarRules>,
    /// Folders into which frames are linked or copied.
    pub folders: Vec<(PathBuf, FilePlacing)>,
    /// Whether paths are listed.
    pub list: bool,
    /// Verdicts of the frames that are linked, copied or listed.
    pub exported: Vec<Verdict>,
    /// Whether links may lead out of the folders into which frames are linked or copied.
    pub follow_links: bool,
    /// Whether anything is written; else only the changes are worked out.
    pub write: bool,
}

/// What was marked, or would be.
#[derive(Debug, Clone, PartialEq)]
pub struct MarkOutcome {
    /// The record.
    pub record: MarkRecord,
    /// The listed paths, one per line; empty unless a list is wanted.
    pub list: Vec<u8>,
    /// Bursts in which a person placed the subject.
    pub subjects_placed: u32,
}

/// Marks the frames of a record, or works out what that would change.
///
/// # Errors
/// [`Error::Decisions`](crate::Error::Decisions) when the decisions cannot be read. A frame or
/// sidecar that is of no use is skipped, and the record names it.
pub fn mark(
    job: &MarkJob,
    cull: &CullRecord,
    places: &RecordPlaces,
    decisions: Option<&Decisions>,
) -> Result<MarkOutcome> {
    let mut record = MarkRecord {
        header: Header::new(MARK_SCHEMA),
        written: job.write,
        frames: cull.frames.len() as u32,
        sidecars: Vec::new(),
        placed: Vec::new(),
        skipped: Vec::new(),
    };
    let mut targets = Targets::find(cull, places, &mut record.skipped);
    let subjects_placed = match decisions {
        Some(decisions) => targets.apply_decisions(decisions)?,
        None => 0,
    };
    if let Some(rules) = &job.sidecars {
        sidecars::sidecars(&targets, rules, places, job.write, &mut record);
    }
    for (folder, placing) in &job.folders {
        let to = (folder.as_path(), *placing);
        export_hits::place(&targets, &job.exported, to, job.follow_links, job.write, &mut record);
    }
    let list = match job.list {
        true => export_hits::list_paths(&targets, &job.exported, &mut record.skipped),
        false => Vec::new(),
    };
    Ok(MarkOutcome { record, list, subjects_placed })
}
