//! One line per row, each error in a column of its own.
//!
//! Numbers are written as measured, a missing value as an empty field. A text that a spreadsheet
//! would take for a formula (it starts with `=`, `+`, `-`, `@`, tab or carriage return) is
//! prefixed: a path with `./`, which names the same file, other text with an apostrophe.

use std::io::{self, Write};

use crate::clips::column::CLIP_COLUMNS;
use crate::clips::record::ClipRecord;
use crate::compare::record::StepRecord;
use crate::compare::table;
use crate::limits::record::ChartRecord;
use crate::report::column::{Cell, Column};

/// The keys of columns, each followed by that of its error.
pub fn header<R>(columns: &[Column<R>]) -> Vec<&'static str> {
    columns.iter().flat_map(|c| std::iter::once(c.key).chain(c.error_key)).collect()
}

/// Writes a header and one line per row.
///
/// # Errors
/// Those of the writer, their kind kept: the caller knows the path, and whether a closed pipe
/// matters.
pub fn write<'r, R: 'r>(
    columns: &[Column<R>],
    rows: impl IntoIterator<Item = &'r R>,
    out: impl Write,
) -> io::Result<()> {
    let mut writer = ::csv::Writer::from_writer(out);
    writer.write_record(header(columns)).map_err(io_error)?;
    for row in rows {
        let cells = columns.iter().flat_map(|c| fields((c.get)(row), c.error_key.is_some()));
        writer.write_record(cells).map_err(io_error)?;
    }
    writer.flush()
}

/// Writes a heading and one row a frame of each clip; see [`CLIP_COLUMNS`].
///
/// # Errors
/// As [`write()`].
pub fn write_clips(clips: &[ClipRecord], out: impl Write) -> io::Result<()> {
    let mut writer = ::csv::Writer::from_writer(out);
    let head = CLIP_COLUMNS.iter().flat_map(|c| std::iter::once(c.key).chain(c.error_key));
    writer.write_record(head).map_err(io_error)?;
    for clip in clips {
        for frame in &clip.frames_table {
            let cells = CLIP_COLUMNS.iter();
            let cells = cells.flat_map(|c| fields((c.get)(clip, frame), c.error_key.is_some()));
            writer.write_record(cells).map_err(io_error)?;
        }
    }
    writer.flush()
}

/// Writes a heading and rows of one cell a heading each.
///
/// # Errors
/// As [`write()`].
pub fn write_cells(
    header: &[&str],
    rows: impl IntoIterator<Item = Vec<Cell>>,
    out: impl Write,
) -> io::Result<()> {
    let mut writer = CellWriter::new(header, out)?;
    for row in rows {
        writer.row(row)?;
    }
    writer.finish()
}

/// Writes a table row by row.
#[derive(Debug)]
pub struct CellWriter<W: Write>(::csv::Writer<W>);

impl<W: Write> CellWriter<W> {
    /// Writes the header.
    ///
    /// # Errors
    /// What the writer says.
    pub fn new(header: &[&str], out: W) -> io::Result<Self> {
        let mut writer = ::csv::Writer::from_writer(out);
        writer.write_record(header).map_err(io_error)?;
        Ok(CellWriter(writer))
    }

    /// Writes a row.
    ///
    /// # Errors
    /// What the writer says.
    pub fn row(&mut self, cells: Vec<Cell>) -> io::Result<()> {
        self.0.write_record(cells.into_iter().map(|c| field(c).0)).map_err(io_error)
    }

    /// Writes what is left.
    ///
    /// # Errors
    /// What the writer says.
    pub fn finish(mut self) -> io::Result<()> {
        self.0.flush()
    }
}

/// Writes the places of a chart, one row each.
///
/// # Errors
/// As [`write()`].
pub fn write_chart(record: &ChartRecord, out: impl Write) -> io::Result<()> {
    let mut writer = ::csv::Writer::from_writer(out);
    writer
        .write_record([
            "working_f_number",
            "iso",
            "finest_um",
            "finest_std_err_um",
            "detail_bits_px",
            "std_err",
        ])
        .map_err(io_error)?;
    let maybe = |v: Option<f64>| v.map_or(String::new(), plain);
    for c in &record.grid {
        let row = [
            plain(c.working_f_number),
            plain(c.iso),
            maybe(c.finest_um),
            maybe(c.finest_std_err_um),
            plain(c.detail_bits_px),
            plain(c.std_err),
        ];
        writer.write_record(row).map_err(io_error)?;
    }
    writer.flush()
}

/// Writes a heading and one row a step of a series.
///
/// # Errors
/// As [`write()`].
pub fn write_steps(steps: &[StepRecord], out: impl Write) -> io::Result<()> {
    let mut writer = ::csv::Writer::from_writer(out);
    let keys = table::COLUMNS.iter().map(|c| c.key);
    let errors = table::COLUMNS.iter().filter_map(|c| c.error_key);
    writer.write_record(keys.chain(errors)).map_err(io_error)?;
    for step in steps {
        let cells: Vec<(Option<f64>, Option<f64>)> =
            table::COLUMNS.iter().map(|c| (c.get)(step)).collect();
        let shown = |v: Option<f64>| v.map_or_else(String::new, plain);
        let values = cells.iter().map(|c| shown(c.0));
        let with_error = table::COLUMNS.iter().zip(&cells).filter(|(c, _)| c.error_key.is_some());
        let errors = with_error.map(|(_, c)| shown(c.1));
        writer.write_record(values.chain(errors)).map_err(io_error)?;
    }
    writer.flush()
}

/// The writer's own error out of the CSV layer's (whose conversion would hide its kind).
fn io_error(error: ::csv::Error) -> io::Error {
    match error.into_kind() {
        ::csv::ErrorKind::Io(error) => error,
        other => io::Error::other(format!("{other:?}")),
    }
}

/// A value, and its error where its column has one.
fn fields(cell: Cell, with_error: bool) -> Vec<String> {
    let (value, error) = field(cell);
    let error = with_error.then(|| error.unwrap_or_default());
    std::iter::once(value).chain(error).collect()
}

/// A cell and its error as written.
fn field(cell: Cell) -> (String, Option<String>) {
    match cell {
        Cell::Missing => (String::new(), None),
        Cell::Text(text) => (defused(text, "'"), None),
        Cell::Path(path) => (defused(path, "./"), None),
        Cell::Whole(n) => (n.to_string(), None),
        Cell::Number(v) => (plain(v), None),
        Cell::Measured(v, e) | Cell::Range(v, e, _, _) => (plain(v), e.map(plain)),
    }
}

fn plain(value: f64) -> String {
    if value.is_finite() { value.to_string() } else { String::new() }
}

fn defused(text: String, prefix: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        format!("{prefix}{text}")
    } else {
        text
    }
}
