//! What changes the log. Every change is one transaction.

use rusqlite::types::ToSqlOutput;
use rusqlite::{
    Connection, OptionalExtension, Transaction, TransactionBehavior, named_params, params,
};

use super::rows::{Correction, LoggedFrame, LoggedNoise, NewOuting};
use super::{Log, problem};
use crate::error::{LogProblem, Result};
use crate::report::value::WithError;

/// What became of an outing that was logged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Added {
    /// Its number.
    pub id: i64,
    /// Frames logged.
    pub frames: usize,
    /// Whether it took the place of an earlier measurement of the same frames.
    pub replaced: bool,
}

/// Columns of `frame` after `outing_id` and `seq`: what queries ask for, then the record, which holds
/// every other field of [`LoggedFrame`]. In the order in which they are bound and read.
pub(super) const FRAME_COLUMNS: [&str; 11] = [
    "path",
    "content_id",
    "taken_at",
    "burst",
    "marked_f_number",
    "working_f_number",
    "shutter_s",
    "iso",
    "rig",
    "verdict",
    "record",
];

impl Log {
    /// Adds an outing, all of it or nothing. Frames that were logged before as the same outing
    /// are measured anew: the earlier measurement goes, what a person corrected stays.
    ///
    /// # Errors
    /// [`crate::Error::Log`]; the log is then as it was.
    pub fn add(&mut self, outing: &NewOuting) -> Result<Added> {
        let now = self.now();
        self.change(|tx| {
            let uid = uid(outing);
            let earlier: Option<i64> = tx
                .query_row("SELECT id FROM outing WHERE uid = ?1", [&uid], |row| row.get(0))
                .optional()?;
            let id = match earlier {
                Some(id) => {
                    tx.execute("DELETE FROM frame WHERE outing_id = ?1", [id])?;
                    tx.execute(
                        "UPDATE outing SET title = ?2, logged_at = ?3, program_version = ?4, \
                         subject = coalesce(?5, subject) WHERE id = ?1",
                        params![id, outing.title, now, outing.program_version, outing.subject],
                    )?;
                    id
                }
                None => {
                    tx.execute(
                        "INSERT INTO outing (uid, kind, title, logged_at, program_version, \
                         subject) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
                        params![
                            uid,
                            outing.kind.word(),
                            outing.title,
                            now,
                            outing.program_version,
                            outing.subject
                        ],
                    )?;
                    tx.last_insert_rowid()
                }
            };
            insert_frames(tx, id, &outing.frames)?;
            Ok(Added { id, frames: outing.frames.len(), replaced: earlier.is_some() })
        })
    }

    /// Adds what was measured of bodies' noise; returns how many rows were new. The same figures
    /// twice are one row.
    ///
    /// # Errors
    /// [`crate::Error::Log`]; the log is then as it was.
    pub fn add_noise(&mut self, rows: &[LoggedNoise]) -> Result<usize> {
        let now = self.now();
        self.change(|tx| {
            let mut added = 0usize;
            for row in rows {
                let dated = LoggedNoise { logged_at: now.clone(), ..row.clone() };
                added = added.saturating_add(usize::from(insert_noise(tx, &dated)?));
            }
            Ok(added)
        })
    }

    /// Changes what a person may say about an outing.
    ///
    /// # Errors
    /// [`LogProblem::NoOuting`], or the file cannot be written.
    pub fn correct(&mut self, id: i64, correction: &Correction) -> Result<()> {
        let now = self.now();
        let text = |t: &Option<String>| t.as_ref().map(|t| t.trim().to_owned());
        let (subject, rig) = (text(&correction.subject), text(&correction.rig));
        let changed = self.change(|tx| {
            // An empty text takes the value away.
            tx.execute(
                "UPDATE outing SET
                   subject = CASE WHEN :subject IS NULL THEN subject ELSE nullif(:subject, '') END,
                   rig = CASE WHEN :rig IS NULL THEN rig ELSE nullif(:rig, '') END,
                   kind = coalesce(:kind, kind),
                   excluded = coalesce(:excluded, excluded),
                   corrected_at = :now
                 WHERE id = :id",
                named_params! {
                    ":subject": subject,
                    ":rig": rig,
                    ":kind": correction.kind.map(super::OutingKind::word),
                    ":excluded": correction.excluded,
                    ":now": now,
                    ":id": id,
                },
            )
        })?;
        if changed == 0 { Err(self.error(LogProblem::NoOuting(id))) } else { Ok(()) }
    }

    /// Takes an outing out of the log, with its frames. The pictures stay where they are.
    ///
    /// # Errors
    /// [`LogProblem::NoOuting`], or the file cannot be written.
    pub fn remove(&mut self, id: i64) -> Result<()> {
        let gone = self.change(|tx| {
            tx.execute("DELETE FROM frame WHERE outing_id = ?1", [id])?;
            tx.execute("DELETE FROM outing WHERE id = ?1", [id])
        })?;
        if gone == 0 { Err(self.error(LogProblem::NoOuting(id))) } else { Ok(()) }
    }

    /// Now, UTC, whole milliseconds, so that texts sort as times do.
    fn now(&self) -> String {
        (self.clock)().strftime("%Y-%m-%dT%H:%M:%S.%3fZ").to_string()
    }

    /// Does something in one transaction: all of it or nothing.
    pub(super) fn change<T>(
        &mut self,
        work: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<T>,
    ) -> Result<T> {
        let path = self.path.clone();
        let failed = |e| crate::Error::Log { path: path.clone(), problem: problem(e) };
        let tx = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(failed)?;
        let done = work(&tx).map_err(failed)?;
        tx.commit().map_err(failed)?;
        Ok(done)
    }
}

/// What an outing is in any log: its kind and its frames' contents, in any order.
fn uid(outing: &NewOuting) -> String {
    let mut ids: Vec<&str> = outing.frames.iter().map(|f| f.content_id.as_str()).collect();
    ids.sort_unstable();
    let mut hasher = blake3::Hasher::new();
    for part in std::iter::once(outing.kind.word()).chain(ids) {
        hasher.update(part.as_bytes());
        hasher.update(b"\n");
    }
    hasher.finalize().to_hex().to_string()
}

pub(super) fn insert_frames(
    tx: &Transaction<'_>,
    outing: i64,
    frames: &[LoggedFrame],
) -> rusqlite::Result<()> {
    let mut insert = tx.prepare(&insertion())?;
    for (seq, f) in frames.iter().enumerate() {
        insert.execute(params![
            outing,
            (seq as i64).saturating_add(1),
            f.path,
            f.content_id,
            f.taken_at,
            f.burst,
            f.marked_f_number,
            f.working_f_number,
            f.shutter_s,
            f.iso,
            f.rig,
            f.verdict,
            record(f)?,
        ])?;
    }
    Ok(())
}

/// Copies the frames of an outing of another log as they are: fields that this version does not know
/// come along.
pub(super) fn copy_frames(
    from: &Connection,
    theirs: i64,
    tx: &Transaction<'_>,
    ours: i64,
) -> rusqlite::Result<()> {
    let columns = FRAME_COLUMNS.join(", ");
    let mut frames = from
        .prepare(&format!("SELECT seq, {columns} FROM frame WHERE outing_id = ?1 ORDER BY seq"))?;
    let mut insert = tx.prepare(&insertion())?;
    let mut rows = frames.query([theirs])?;
    while let Some(row) = rows.next()? {
        insert.raw_bind_parameter(1, ours)?;
        for at in 0..=FRAME_COLUMNS.len() {
            insert.raw_bind_parameter(
                at.saturating_add(2),
                ToSqlOutput::Borrowed(row.get_ref(at)?),
            )?;
        }
        insert.raw_execute()?;
    }
    Ok(())
}

fn insertion() -> String {
    let places = vec!["?"; FRAME_COLUMNS.len().saturating_add(2)].join(", ");
    format!("INSERT INTO frame (outing_id, seq, {}) VALUES ({places})", FRAME_COLUMNS.join(", "))
}

/// What a frame's columns do not hold, as JSON. A missing value has no field.
fn record(frame: &LoggedFrame) -> rusqlite::Result<String> {
    let failed = |e: serde_json::Error| rusqlite::Error::ToSqlConversionFailure(e.into());
    let mut record = serde_json::to_value(frame).map_err(failed)?;
    if let Some(fields) = record.as_object_mut() {
        fields.retain(|key, value| {
            // A value that is no number of JSON's is missing with its error.
            let of_none = value.get("value").is_some_and(serde_json::Value::is_null);
            !FRAME_COLUMNS.contains(&key.as_str()) && !value.is_null() && !of_none
        });
    }
    Ok(record.to_string())
}

/// Inserts a row of noise unless the same figures are there; says whether it was new.
pub(super) fn insert_noise(tx: &Transaction<'_>, n: &LoggedNoise) -> rusqlite::Result<bool> {
    let uid = noise_uid(n);
    let value = |v: Option<WithError>| v.map(|v| v.value);
    let error = |v: Option<WithError>| v.and_then(|v| v.std_err);
    let new = tx.execute(
        "INSERT INTO noise (uid, logged_at, body, iso, source, frames, method, range_dn, \
         gain_dn_per_e, gain_std_err, read_noise_e, read_noise_std_err, trusted) \
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13) \
         ON CONFLICT (uid) DO NOTHING",
        params![
            uid,
            n.logged_at,
            n.body,
            n.iso,
            n.source,
            n.frames,
            n.method,
            n.range_dn,
            value(n.gain_dn_per_e),
            error(n.gain_dn_per_e),
            value(n.read_noise_e),
            error(n.read_noise_e),
            n.trusted
        ],
    )?;
    if new == 0 {
        return Ok(false);
    }
    let id = tx.last_insert_rowid();
    for s in &n.sigma_at {
        tx.execute(
            "INSERT INTO noise_sigma (noise_id, level, sigma_dn, std_err_dn) \
             VALUES (?1, ?2, ?3, ?4)",
            params![id, s.level, s.sigma_dn, s.std_err_dn],
        )?;
    }
    Ok(true)
}

/// What a row of noise is in any log: its figures.
fn noise_uid(n: &LoggedNoise) -> String {
    let same = LoggedNoise { logged_at: String::new(), ..n.clone() };
    blake3::hash(format!("{same:?}").as_bytes()).to_hex().to_string()
}
