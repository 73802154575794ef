//! The log as JSON and as CSV, written as it is read: a long log takes no more memory than a short
//! one.

use std::io::{self, Write};

use serde::ser::{Error as _, SerializeSeq};
use serde::{Serialize, Serializer};

use super::log::{Log, LoggedFrame, LoggedNoise, Outing};
use super::log_columns::{FRAME_COLUMNS, OUTING_COLUMNS};
use crate::error::Result;
use crate::report::column::{Cell, Column};
use crate::report::header::Header;
use crate::report::{csv, json};

/// Number of the export's form; raised when a field changes its meaning.
const EXPORT_SCHEMA: u32 = 2;

/// The form of the log in which the exported fields came to be what they are.
const FIELDS_SINCE_FORM: i64 = 4;

/// A log about to be exported.
#[derive(Debug)]
pub struct LogExport<'l> {
    log: &'l Log,
    outings: Vec<Outing>,
    noise: Vec<LoggedNoise>,
}

impl<'l> LogExport<'l> {
    /// Reads everything but the frames. What is exported is of one moment as long as
    /// [`Log::moment`] is held.
    ///
    /// # Errors
    /// [`crate::Error::Log`] when the log cannot be read.
    pub fn new(log: &'l Log) -> Result<LogExport<'l>> {
        Ok(LogExport { log, outings: log.outings()?, noise: log.noise()? })
    }

    /// One row per frame.
    ///
    /// # Errors
    /// Those of the writer, their kind kept, and what the log says when it cannot be read.
    pub fn write_csv(&self, out: impl Write) -> io::Result<()> {
        write_rows(&OUTING_COLUMNS, &FRAME_COLUMNS, self, out)
    }

    /// Outings with their frames, then the noise of bodies.
    ///
    /// # Errors
    /// As [`write_csv`](Self::write_csv).
    pub fn write_json(&self, out: impl Write) -> io::Result<()> {
        let exported = ExportedLog {
            header: Header::new(EXPORT_SCHEMA),
            form: FIELDS_SINCE_FORM,
            outings: ExportedOutings(self),
            noise: &self.noise,
        };
        json::write(&exported, out)
    }
}

fn write_rows(
    of_outing: &[Column<Outing>],
    of_frame: &[Column<LoggedFrame>],
    export: &LogExport<'_>,
    out: impl Write,
) -> io::Result<()> {
    let header = [csv::header(of_outing), csv::header(of_frame)].concat();
    let mut table = csv::CellWriter::new(&header, out)?;
    for outing in &export.outings {
        let mut written = Ok(());
        let mut cells = Vec::new();
        put(of_outing, outing, &mut cells);
        let read = export.log.each_frame_of(outing.id, &mut |frame| {
            if written.is_ok() {
                let mut row = Vec::with_capacity(header.len());
                row.extend_from_slice(&cells);
                put(of_frame, &frame, &mut row);
                written = table.row(row);
            }
        });
        written?;
        read.map_err(io::Error::other)?;
    }
    table.finish()
}

/// The cells of a row, an error in a cell of its own.
fn put<R>(columns: &[Column<R>], row: &R, cells: &mut Vec<Cell>) {
    for column in columns {
        match ((column.get)(row), column.error_key) {
            (cell, None) => cells.push(cell),
            (Cell::Measured(value, error), Some(_)) => {
                cells.extend([Cell::Number(value), Cell::number(error)]);
            }
            (cell, Some(_)) => cells.extend([cell, Cell::Missing]),
        }
    }
}

#[derive(Serialize)]
struct ExportedLog<'l> {
    #[serde(flatten)]
    header: Header,
    form: i64,
    outings: ExportedOutings<'l>,
    noise: &'l [LoggedNoise],
}

/// The outings, each with its frames.
struct ExportedOutings<'l>(&'l LogExport<'l>);

impl Serialize for ExportedOutings<'_> {
    fn serialize<S: Serializer>(&self, to: S) -> std::result::Result<S::Ok, S::Error> {
        to.collect_seq(self.0.outings.iter().map(|outing| ExportedOuting {
            outing,
            frames: ExportedFrames { log: self.0.log, outing: outing.id },
        }))
    }
}

#[derive(Serialize)]
struct ExportedOuting<'l> {
    #[serde(flatten)]
    outing: &'l Outing,
    frames: ExportedFrames<'l>,
}

/// The frames of an outing.
struct ExportedFrames<'l> {
    log: &'l Log,
    outing: i64,
}

impl Serialize for ExportedFrames<'_> {
    fn serialize<S: Serializer>(&self, to: S) -> std::result::Result<S::Ok, S::Error> {
        let mut frames = to.serialize_seq(None)?;
        let mut failed = None;
        let read = self.log.each_frame_of(self.outing, &mut |frame| {
            if failed.is_none() {
                failed = frames.serialize_element(&frame).err();
            }
        });
        match failed {
            Some(error) => Err(error),
            None => {
                read.map_err(S::Error::custom)?;
                frames.end()
            }
        }
    }
}
