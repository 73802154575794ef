//! One line per row, each error in a column of its own.
//!
//! Numbers are written as measured, a missing value as an empty field. A text that a spreadsheet
//! would take for a formula (it starts with `=`, `+`, `-`, `@`, tab or carriage return) is
//! prefixed: a path with `./`, which names the same file, other text with an apostrophe.

use std::borrow::Borrow;
use std::io::{self, Write};

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
pub fn write<R>(
    columns: &[Column<R>],
    rows: impl IntoIterator<Item = impl Borrow<R>>,
    out: impl Write,
) -> io::Result<()> {
    let mut writer = ::csv::Writer::from_writer(out);
    writer.write_record(header(columns)).map_err(io_error)?;
    for row in rows {
        let cells =
            columns.iter().flat_map(|c| fields((c.get)(row.borrow()), c.error_key.is_some()));
        writer.write_record(cells).map_err(io_error)?;
    }
    writer.flush()
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
        Cell::Measured(v, e) | Cell::AtMost(v, e) | Cell::Range(v, e, _, _) => {
            (plain(v), e.map(plain))
        }
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
