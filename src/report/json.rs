//! JSON is the record itself.

use std::io::{self, Write};

use serde::Serialize;

/// Writes a record as indented JSON with a newline at the end.
///
/// # Errors
/// What the writer says, its kind kept: the caller knows the path, and whether a closed pipe
/// matters.
pub fn write(record: &impl Serialize, mut out: impl Write) -> io::Result<()> {
    serde_json::to_writer_pretty(&mut out, record)?;
    out.write_all(b"\n")?;
    out.flush()
}
