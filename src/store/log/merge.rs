//! Two logs into one.

use rusqlite::{OptionalExtension, params};

use super::{Log, read, write};
use crate::error::Result;

/// What came over from another log.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Merged {
    /// Outings that were new here.
    pub added: usize,
    /// Outings whose measurement or correction there was later than here.
    pub updated: usize,
    /// Outings that were here already, as new as there.
    pub same: usize,
    /// Rows of noise that were new here.
    pub noise_added: usize,
}

impl Log {
    /// Takes over everything from another log, all of it or nothing. Of an outing that is in
    /// both, the later measurement and the later correction stay; so merging twice changes
    /// nothing more.
    ///
    /// # Errors
    /// [`crate::Error::Log`] when the other cannot be read or this one not be written; this one
    /// is then as it was.
    pub fn merge(&mut self, other: &Log) -> Result<Merged> {
        let theirs = other.connection.unchecked_transaction().map_err(|e| other.failed(e))?;
        let outings = read::outings(&theirs).map_err(|e| other.failed(e))?;
        let noise = read::noise(&theirs).map_err(|e| other.failed(e))?;
        self.change(|tx| {
            let mut merged = Merged::default();
            for o in &outings {
                let ours: Option<(i64, String, Option<String>)> = tx
                    .query_row(
                        "SELECT id, logged_at, corrected_at FROM outing WHERE uid = ?1",
                        [&o.uid],
                        |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
                    )
                    .optional()?;
                let Some((id, logged_at, corrected_at)) = ours else {
                    tx.execute(
                        "INSERT INTO outing (uid, kind, title, logged_at, program_version, \
                         subject, rig, excluded, corrected_at) \
                         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
                        params![
                            o.uid,
                            o.kind.word(),
                            o.title,
                            o.logged_at,
                            o.program_version,
                            o.subject,
                            o.rig,
                            o.excluded,
                            o.corrected_at
                        ],
                    )?;
                    write::copy_frames(&theirs, o.id, tx, tx.last_insert_rowid())?;
                    merged.added = merged.added.saturating_add(1);
                    continue;
                };
                let measured_later = o.logged_at > logged_at;
                let corrected_later = o.corrected_at > corrected_at;
                if measured_later {
                    tx.execute("DELETE FROM frame WHERE outing_id = ?1", [id])?;
                    write::copy_frames(&theirs, o.id, tx, id)?;
                    tx.execute(
                        "UPDATE outing SET title = ?2, logged_at = ?3, program_version = ?4 \
                         WHERE id = ?1",
                        params![id, o.title, o.logged_at, o.program_version],
                    )?;
                }
                if corrected_later {
                    tx.execute(
                        "UPDATE outing SET kind = ?2, subject = ?3, rig = ?4, excluded = ?5, \
                         corrected_at = ?6 WHERE id = ?1",
                        params![id, o.kind.word(), o.subject, o.rig, o.excluded, o.corrected_at],
                    )?;
                }
                if measured_later || corrected_later {
                    merged.updated = merged.updated.saturating_add(1);
                } else {
                    merged.same = merged.same.saturating_add(1);
                }
            }
            for row in &noise {
                let added = usize::from(write::insert_noise(tx, row)?);
                merged.noise_added = merged.noise_added.saturating_add(added);
            }
            Ok(merged)
        })
    }
}
