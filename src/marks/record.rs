//! The record of `mark`: what sidecars say now and will say, and which files were handed over.

use serde::Serialize;

use crate::core::verdict::Verdict;

use crate::report::header::Header;
use crate::report::parts::SkippedRecord;

/// Number of the record's form; raised when a field changes its meaning.
pub const MARK_SCHEMA: u32 = 3;

/// The record of `mark`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MarkRecord {
    /// Number of the form ([`MARK_SCHEMA`]), program and version.
    #[serde(flatten)]
    pub header: Header,
    /// Whether anything was written; else this is what would be.
    pub written: bool,
    /// Frames that marks were made from.
    pub frames: u32,
    /// Sidecars, in the order of their frames.
    pub sidecars: Vec<SidecarRow>,
    /// Links and copies, in the order of their frames.
    pub placed: Vec<PlacedRow>,
    /// What was passed over.
    pub skipped: Vec<SkippedRecord>,
}

/// How a file stands to what it should be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum FileState {
    /// It was not there.
    New,
    /// It was there and said something else.
    Changed,
    /// It was there as it should be.
    Same,
}

/// One sidecar.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SidecarRow {
    /// Its path.
    pub path: String,
    /// The files that it stands for.
    pub frames: Vec<String>,
    /// What the frame is.
    pub verdict: Verdict,
    /// Whether a person said so.
    pub decided: bool,
    /// How it stood before.
    pub state: FileState,
    /// What is different.
    pub changes: Vec<ChangeRow>,
    /// What a person should know about it.
    pub notes: Vec<String>,
}

/// One property that changes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ChangeRow {
    /// Its name in the XMP standard.
    pub property: &'static str,
    /// What it said.
    pub from: Option<String>,
    /// What it will say.
    pub to: Option<String>,
}

/// How a file was handed over.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum FilePlacing {
    /// A second name for the same bytes.
    HardLink,
    /// The bytes again.
    Copy,
}

/// A link or a copy.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlacedRow {
    /// The file.
    pub from: String,
    /// Its other place.
    pub to: String,
    /// How.
    pub placing: FilePlacing,
    /// How the other place stood before.
    pub state: FileState,
}
