//! What can go wrong, and every sentence a user can read when it does.
//!
//! Three kinds are kept apart: the run cannot go on ([`Error`]), one frame is unusable
//! ([`SkipReason`], the run goes on), and a number is shaky (a [`crate::core::Flag`]).

use std::fmt;
use std::io;
use std::path::PathBuf;

use serde::{Deserialize, Serialize};

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
    /// The programs that decode clips cannot be started.
    #[error(
        "cannot start {} ({source}). Clips need ffmpeg. Install it: apt install ffmpeg (Debian, \
         Ubuntu), dnf install ffmpeg-free (Fedora), pacman -S \
         ffmpeg (Arch), brew install ffmpeg (macOS). STOPWISE_FFMPEG and STOPWISE_FFPROBE may \
         name other places. Everything else works without it",
        program.display()
    )]
    NoFfmpeg {
        /// What was to be started.
        program: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// Nothing was found where clips were expected.
    #[error(
        "no clip found in {}: give files, or a folder with MOV, MP4, MKV, AVI or MTS clips",
        paths_listed(paths)
    )]
    NoClips {
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
    /// The log of outings cannot be used.
    #[error("the log {}: {problem}", path.display())]
    Log {
        /// The log's file.
        path: PathBuf,
        /// What is wrong with it.
        problem: LogProblem,
    },
    /// The file that describes the equipment cannot be used.
    #[error("the rigs in {}: {problem}", path.display())]
    Rigs {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        problem: RigProblem,
    },
    /// The system names no home folder, so there is no place for what is kept between runs.
    #[error("no home folder is known for the {0}")]
    NoHome(KeptFile),
    /// The frames make no series that can be compared.
    #[error("{0}")]
    Series(NotASeries),
    /// The file of decisions cannot be used.
    #[error("the decisions in {}: {says}", path.display())]
    Decisions {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        says: String,
    },
    /// A file is no record of `cull`.
    #[error("not a stopwise cull record: {0}")]
    NoCullRecord(String),
    /// The run was stopped by the user; what was measured until then is kept.
    #[error("interrupted")]
    Stopped,
}

/// A file that is kept between runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum KeptFile {
    /// The log of outings.
    Log,
    /// The description of the equipment.
    Rigs,
    /// What people decided.
    Decisions,
}

impl fmt::Display for KeptFile {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            KeptFile::Log => "log",
            KeptFile::Rigs => "rigs",
            KeptFile::Decisions => "decisions",
        })
    }
}

/// What a user can do about an error. The program knows the option for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hint {
    /// Name a file.
    NameFile(KeptFile),
    /// Give the f-numbers.
    GiveFNumbers,
    /// Give another region.
    GiveRegion {
        /// Least side, px.
        least_px: usize,
    },
    /// Log an outing first.
    LogOuting,
    /// Allow more memory.
    AllowMemory,
}

impl Error {
    /// What to do about it, where an option helps.
    pub fn hint(&self) -> Option<Hint> {
        match self {
            Error::NoHome(file) => Some(Hint::NameFile(*file)),
            Error::Series(NotASeries::NoFNumbers { .. }) => Some(Hint::GiveFNumbers),
            Error::Series(NotASeries::NothingThere { least_px }) => {
                Some(Hint::GiveRegion { least_px: *least_px })
            }
            Error::Log { problem: LogProblem::Missing, .. } => Some(Hint::LogOuting),
            Error::Unusable { reason, .. } => reason.hint(),
            _ => None,
        }
    }
}

/// Why frames make no series.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotASeries {
    /// Fewer than two settings.
    #[error(
        "all {frames} frames have the same settings: a comparison needs at least two steps of \
         aperture, ISO or shutter"
    )]
    OneStep {
        /// Frames looked at.
        frames: usize,
    },
    /// F-numbers are not in the files.
    #[error("{missing} of {frames} frames lack an f-number")]
    NoFNumbers {
        /// Frames without.
        missing: usize,
        /// Frames looked at.
        frames: usize,
    },
    /// The list of f-numbers does not go with the frames.
    #[error(
        "{given} f-numbers given for {frames} frames: give one per frame, or one per step if all \
         steps have the same number of frames"
    )]
    ApertureCount {
        /// F-numbers given.
        given: usize,
        /// Frames there are.
        frames: usize,
    },
    /// Frames of different sizes.
    #[error(
        "frames of different sizes ({first} and {other}): compare frames of one body at one size"
    )]
    Sizes {
        /// Size of the first.
        first: String,
        /// Another size.
        other: String,
    },
    /// Frames of different bodies.
    #[error("frames of different cameras ({first} and {other}): compare one body with itself")]
    Cameras {
        /// The first.
        first: String,
        /// Another.
        other: String,
    },
    /// Raw and rendered frames together.
    #[error("raw and rendered frames together: compare one kind at a time")]
    Kinds,
    /// What is left after frames were passed over is no series.
    #[error(
        "only {left} of {frames} frames show the same subject ({example} differs from the \
         others): compare frames of one still subject"
    )]
    Subjects {
        /// Frames that go together.
        left: usize,
        /// Frames looked at.
        frames: usize,
        /// One that does not.
        example: String,
    },
    /// The region holds nothing to measure.
    #[error("nothing to measure in that region")]
    NothingThere {
        /// Least side, px.
        least_px: usize,
    },
}

fn paths_listed(paths: &[PathBuf]) -> String {
    paths.iter().map(|p| p.display().to_string()).collect::<Vec<_>>().join(", ")
}

/// Why the log cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum LogProblem {
    /// No outing was ever logged there.
    #[error("nothing has been logged yet")]
    Missing,
    /// Another kind of file.
    #[error("not a stopwise log (another kind of file)")]
    NotALog,
    /// The file is broken.
    #[error("the file is damaged; restore a backup, or move it aside to start a new one")]
    Damaged,
    /// Written by a later version of the program.
    #[error(
        "it was written by a later version of stopwise (schema {found}; this version reads up \
             to {known})"
    )]
    Newer {
        /// Its form.
        found: i64,
        /// The latest form that is known here.
        known: i64,
    },
    /// Of an earlier form, in a place where it cannot be brought up to date.
    #[error(
        "its schema version {found} must be upgraded, but it cannot be written here; copy it to a \
         folder that can be written"
    )]
    Older {
        /// Its form.
        found: i64,
    },
    /// No space left.
    #[error("no space left on the disk; nothing was added, and earlier outings are unchanged")]
    Full,
    /// May not be written.
    #[error("it cannot be written here; nothing was added")]
    ReadOnly,
    /// Another process holds it.
    #[error("another process is writing to it; try again when that is done")]
    Busy,
    /// No outing of that number.
    #[error("no outing has the number {0}; log list shows them")]
    NoOuting(i64),
    /// A file could not be read or written beside the database.
    #[error("{0}")]
    Io(#[source] io::Error),
    /// Anything else that the database says.
    #[error("{0}")]
    Database(#[source] rusqlite::Error),
}

/// Why the description of the equipment cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum RigProblem {
    /// The file is no TOML, or holds what no rig has.
    #[error("line {line}: {says}")]
    Form {
        /// Line, from 1.
        line: usize,
        /// What the parser says.
        says: String,
    },
    /// A value that cannot be.
    #[error("{rig}: {what}")]
    Value {
        /// Name of the rig.
        rig: String,
        /// What is wrong.
        what: &'static str,
    },
    /// No rig of that name.
    #[error("no rig named {name}{}", known_listed(known))]
    NoRig {
        /// The name asked for.
        name: String,
        /// Names there are.
        known: Vec<String>,
    },
    /// A rig of that name is there already.
    #[error("{0} already exists; remove it first, or edit the file")]
    Exists(String),
}

fn known_listed(known: &[String]) -> String {
    if known.is_empty() {
        "; no rigs yet: add one with rig add".to_owned()
    } else {
        format!("; there are: {}", known.join(", "))
    }
}

/// Why one frame was passed over. The run goes on without it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, thiserror::Error)]
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
    #[error("{width_px} × {height_px} px in the header: too large, or the file is damaged")]
    TooLarge {
        /// Width in the header, px.
        width_px: u64,
        /// Height in the header, px.
        height_px: u64,
    },
    /// Decoding takes more memory than all decoders together may have.
    #[error("decoding needs about {needed_mb} MB; the limit for all decoders is {budget_mb} MB")]
    NeedsMemory {
        /// Estimate, MB.
        needed_mb: u64,
        /// Budget, MB.
        budget_mb: u64,
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
    #[error("raw file: this build of stopwise does not read raw files")]
    Raw,
    /// A form of a known format that is not read.
    #[error("not supported: {0}")]
    Unsupported(String),
    /// Not a clip, or one that ffmpeg cannot read.
    #[error("not a clip that ffmpeg can read: {0}")]
    NotAClip(String),
    /// A clip with sound only.
    #[error("contains no video stream")]
    NoPicture,
    /// A clip of which no frame could be decoded.
    #[error("no frame could be decoded: {0}")]
    NoClipFrames(String),
    /// It does not show what the other frames of the series show.
    #[error("does not show the same subject as {0}")]
    OtherSubject(String),
    /// The region has left the frame.
    #[error("moved or turned so far that the region cannot be registered")]
    MovedAway,
    /// The same bytes as another frame of this outing.
    #[error("the same picture as {0}")]
    Duplicate(String),
}

impl SkipReason {
    /// What to do about it, where an option helps.
    pub fn hint(&self) -> Option<Hint> {
        matches!(self, SkipReason::NeedsMemory { .. }).then_some(Hint::AllowMemory)
    }
}

/// Why a sidecar is left as it is. The run goes on without it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SidecarFault {
    /// More bytes than sidecars have.
    #[error("larger than 8 MB, too large for a sidecar: left unchanged")]
    TooLarge,
    /// A folder, a pipe or a device where the sidecar would be.
    #[error("not a file but a folder, a pipe or a device: left unchanged")]
    NotAFile,
    /// Not well-formed XML.
    #[error("not well-formed XML at line {line}: left unchanged")]
    Broken {
        /// Line, from 1.
        line: usize,
    },
    /// Another encoding than UTF-8.
    #[error("not UTF-8: left unchanged")]
    Encoding,
    /// A document type, which may define anything.
    #[error("has a document type declaration, which XMP does not allow: left unchanged")]
    DocumentType,
    /// No RDF in it.
    #[error("not XMP (no rdf:RDF element): left unchanged")]
    NoRdf,
    /// Two packets in one file.
    #[error("more than one rdf:RDF element: left unchanged")]
    SeveralRdf,
    /// A form that XMP does not allow.
    #[error("{property} is not valid XMP: left unchanged")]
    Form {
        /// The property.
        property: &'static str,
    },
    /// The edited text did not say what it should.
    #[error("could not be edited without loss: left unchanged")]
    Lost,
}
