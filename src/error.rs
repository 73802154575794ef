//! What can go wrong, and every sentence a user can read when it does.
//!
//! Three kinds are kept apart: the run cannot go on ([`Error`]), one frame is unusable
//! ([`SkipReason`], the run goes on), and a number is shaky (a [`crate::base::Flag`]).

use std::io;
use std::path::PathBuf;

/// Shorthand for results that fail with [`Error`].
pub type Result<T, E = Error> = std::result::Result<T, E>;

/// The run cannot go on.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// A file or folder could not be read.
    #[error("cannot read {}: {source}", path.display())]
    Read {
        /// What was to be read.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// A file or folder could not be written.
    #[error("cannot write {}: {source}", path.display())]
    Write {
        /// What was to be written.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// Nothing measurable was found where frames were expected.
    #[error(
        "no picture found in {}: give a folder with raw, JPEG, TIFF, PNG or WebP files",
        paths_listed(paths)
    )]
    NoFrames {
        /// Where was looked.
        paths: Vec<PathBuf>,
    },
    /// A path does not exist.
    #[error("{} does not exist", path.display())]
    Missing {
        /// The path as typed.
        path: PathBuf,
    },
    /// A single frame that was asked for by name cannot be used.
    #[error("{}: {reason}", path.display())]
    Unusable {
        /// The frame.
        path: PathBuf,
        /// Why.
        reason: SkipReason,
    },
    /// A picture made by this program could not be encoded.
    #[error("cannot encode a picture for the report: {0}")]
    Encode(String),
    /// The record could not be turned into JSON or CSV.
    #[error("cannot write the record: {0}")]
    Record(String),
    /// The file of decisions cannot be used.
    #[error("the decisions in {}: {says}", path.display())]
    Decisions {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        says: String,
    },
    /// A file is no record of `cull`.
    #[error("no record of `stopwise cull --json`: {0}")]
    NoCullRecord(String),
    /// The run was stopped by the user; what was measured until then is kept.
    #[error("stopped half way")]
    Stopped,
}

fn paths_listed(paths: &[PathBuf]) -> String {
    paths.iter().map(|p| p.display().to_string()).collect::<Vec<_>>().join(", ")
}

/// Why one frame was passed over. The run goes on without it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SkipReason {
    /// The file holds no bytes.
    #[error("the file is empty")]
    Empty,
    /// The system did not let the file be read.
    #[error("cannot be read: {0}")]
    Unreadable(String),
    /// The bytes are not a picture of a kind that is read.
    #[error("not a JPEG, TIFF, PNG or WebP picture")]
    NotAPicture,
    /// The picture data end early or are broken.
    #[error("damaged picture: {0}")]
    Damaged(String),
    /// The header asks for more pixels than is sensible.
    #[error(
        "the header says {width_px} x {height_px} px: more than is measured, or a damaged file"
    )]
    TooLarge {
        /// Width in the header, px.
        width_px: u64,
        /// Height in the header, px.
        height_px: u64,
    },
    /// Fewer pixels than the smallest tile.
    #[error("only {width_px} x {height_px} px: too small to measure (64 px needed)")]
    TooSmall {
        /// Width, px.
        width_px: u32,
        /// Height, px.
        height_px: u32,
    },
    /// A raw file, and raw decoding is not built in (feature `raw`).
    #[error("raw file: this build of the program reads no raw files")]
    Raw,
    /// A form of a known format that is not read.
    #[error("not supported: {0}")]
    Unsupported(String),
    /// The same bytes as another frame of this outing.
    #[error("the same picture as {0}")]
    Duplicate(String),
}

/// Why a sidecar is left as it is. The run goes on without it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SidecarFault {
    /// Not well-formed XML.
    #[error("not well-formed at line {line}: left as it is")]
    Broken {
        /// Line, from 1.
        line: usize,
    },
    /// Another encoding than UTF-8.
    #[error("not written in UTF-8: left as it is")]
    Encoding,
    /// A document type, which may define anything.
    #[error("has a document type, which XMP does not allow: left as it is")]
    DocumentType,
    /// No RDF in it.
    #[error("holds no rdf:RDF, so it is no XMP: left as it is")]
    NoRdf,
    /// Two packets in one file.
    #[error("holds more than one rdf:RDF: left as it is")]
    SeveralRdf,
    /// A form that XMP does not allow.
    #[error("{property} stands in a form that XMP does not allow: left as it is")]
    Form {
        /// The property.
        property: &'static str,
    },
    /// The edited text did not say what it should.
    #[error("could not be edited without loss: left as it is")]
    Lost,
}
