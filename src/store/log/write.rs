//! What changes the log. Every change is one transaction.

use rusqlite::{OptionalExtension, Transaction, TransactionBehavior, named_params, params};

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

/// Columns of `frame` after `outing_id` and `seq`, in the order in which they are bound.
pub(super) const FRAME_COLUMNS: &str = "path, content_id, taken_at, source, width_px, height_px, \
     burst, marked_f_number, working_f_number, shutter_s, iso, flash_fired, focal_mm, body, lens, \
     rig, magnification, magnification_std_err, pixel_pitch_um, verdict, causes, cause_share, \
     blur_sigma_px, blur_sigma_std_err_px, blur_allowed_px, blur_ratio, blur_ratio_std_err, \
     detail_bits_px, detail_std_err_bits_px, noise_sigma_dn, noise_sigma_std_err_dn, \
     motion_length_px, motion_length_std_err_px, subject_mean_dn, flags";

impl Log {
    /// Adds an outing, all of it or nothing. Frames that were logged before as the same outing
    /// are measured anew: the earlier measurement goes, what a person corrected stays.
    ///
    /// # Errors
    /// [`crate::Error::Log`]; the log is then as it was.
    pub fn add(&mut self, outing: &NewOuting) -> Result<Added> {
        let now = now();
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
        let now = now();
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
        let now = now();
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

/// Now, UTC, whole milliseconds, so that texts sort as times do.
fn now() -> String {
    jiff::Timestamp::now().strftime("%Y-%m-%dT%H:%M:%S.%3fZ").to_string()
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
    let places: Vec<String> =
        (1..=FRAME_COLUMNS.split(',').count().saturating_add(2)).map(|i| format!("?{i}")).collect();
    let mut insert = tx.prepare(&format!(
        "INSERT INTO frame (outing_id, seq, {FRAME_COLUMNS}) VALUES ({})",
        places.join(", ")
    ))?;
    let value = |v: Option<WithError>| v.map(|v| v.value);
    let error = |v: Option<WithError>| v.and_then(|v| v.std_err);
    for (seq, f) in frames.iter().enumerate() {
        insert.execute(rusqlite::params_from_iter::<[&dyn rusqlite::ToSql; 37]>([
            &outing,
            &(seq as i64).saturating_add(1),
            &f.path,
            &f.content_id,
            &f.taken_at,
            &f.source,
            &f.width_px,
            &f.height_px,
            &f.burst,
            &f.marked_f_number,
            &f.working_f_number,
            &f.shutter_s,
            &f.iso,
            &f.flash_fired,
            &f.focal_mm,
            &f.body,
            &f.lens,
            &f.rig,
            &value(f.magnification),
            &error(f.magnification),
            &f.pixel_pitch_um,
            &f.verdict,
            &f.causes,
            &f.cause_share,
            &value(f.blur_sigma_px),
            &error(f.blur_sigma_px),
            &f.blur_allowed_px,
            &value(f.blur_ratio),
            &error(f.blur_ratio),
            &value(f.detail_bits_px),
            &error(f.detail_bits_px),
            &value(f.noise_sigma_dn),
            &error(f.noise_sigma_dn),
            &value(f.motion_length_px),
            &error(f.motion_length_px),
            &f.subject_mean_dn,
            &f.flags,
        ]))?;
    }
    Ok(())
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
