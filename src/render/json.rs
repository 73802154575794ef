//! JSON is the record itself.

use std::io::Write;

use serde::Serialize;

use crate::error::{Error, Result};

/// Writes a record as indented JSON with a newline at the end.
///
/// # Errors
/// [`Error::Record`] when the writer fails or a value cannot be told in JSON.
pub fn write(record: &impl Serialize, mut out: impl Write) -> Result<()> {
    serde_json::to_writer_pretty(&mut out, record).map_err(|e| Error::Record(e.to_string()))?;
    out.write_all(b"\n").and_then(|()| out.flush()).map_err(|e| Error::Record(e.to_string()))
}
