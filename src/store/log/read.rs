//! What is read from the log.

use std::collections::{HashMap, HashSet};

use rusqlite::types::Type;
use rusqlite::{Connection, OptionalExtension, Row};

use super::Log;
use super::rows::{LoggedFrame, LoggedNoise, LoggedSigma, Outing, OutingKind};
use super::write::FRAME_COLUMNS;
use crate::error::{LogProblem, Result};
use crate::report::value::WithError;

const OUTINGS: &str = "SELECT o.id, o.uid, o.kind, o.title, o.logged_at, o.program_version, \
     o.subject, o.rig, o.excluded, o.corrected_at, \
     (SELECT count(*) FROM frame f WHERE f.outing_id = o.id), \
     (SELECT count(*) FROM frame f WHERE f.outing_id = o.id AND f.verdict = 'hit'), \
     (SELECT min(taken_at) FROM frame f WHERE f.outing_id = o.id) \
     FROM outing o";

impl Log {
    /// All outings, the one taken first first.
    ///
    /// # Errors
    /// [`crate::Error::Log`] when the file cannot be read.
    pub fn outings(&self) -> Result<Vec<Outing>> {
        outings(&self.connection).map_err(|e| self.failed(e))
    }

    /// One outing with its frames in order.
    ///
    /// # Errors
    /// [`LogProblem::NoOuting`], or the file cannot be read.
    pub fn outing(&self, id: i64) -> Result<(Outing, Vec<LoggedFrame>)> {
        let found = self
            .connection
            .query_row(&format!("{OUTINGS} WHERE o.id = ?1"), [id], outing)
            .optional()
            .map_err(|e| self.failed(e))?;
        let Some(found) = found else { return Err(self.error(LogProblem::NoOuting(id))) };
        let frames = frames_of(&self.connection, id).map_err(|e| self.failed(e))?;
        Ok((found, frames))
    }

    /// Every frame of the outings that are not excluded, of one kind or of all, each with its
    /// outing, in the order taken of outings. A frame that is in several outings comes once, as
    /// measured last. The outing's own rig, where a person set one, replaces the frame's.
    ///
    /// # Errors
    /// [`crate::Error::Log`] when the file cannot be read.
    pub fn frames(&self, kind: Option<OutingKind>) -> Result<Vec<(i64, LoggedFrame)>> {
        let mut found = Vec::new();
        self.each_frame(kind, &mut |outing, frame| found.push((outing.id, frame)))?;
        Ok(found)
    }

    /// As [`frames`](Self::frames), one after the other, so that a log of any length fits.
    ///
    /// # Errors
    /// [`crate::Error::Log`] when the file cannot be read.
    pub fn each_frame(
        &self,
        kind: Option<OutingKind>,
        visit: &mut dyn FnMut(&Outing, LoggedFrame),
    ) -> Result<()> {
        let mut read = || -> rusqlite::Result<()> {
            let mut wanted: Vec<Outing> = outings(&self.connection)?;
            wanted.retain(|o| !o.excluded && kind.is_none_or(|k| k == o.kind));
            let again = measured_again(&self.connection, &wanted)?;
            for outing in wanted {
                let passed_over = again.get(&outing.id);
                let mut at = 0usize;
                each_of(&self.connection, outing.id, &mut |mut frame| {
                    if passed_over.is_none_or(|p| !p.contains(&at)) {
                        if let Some(rig) = &outing.rig {
                            frame.rig = Some(rig.clone());
                        }
                        visit(&outing, frame);
                    }
                    at = at.saturating_add(1);
                    Ok(())
                })?;
            }
            Ok(())
        };
        // One transaction: nothing changes between its queries.
        let tx = self.connection.unchecked_transaction().map_err(|e| self.failed(e))?;
        let done = read().map_err(|e| self.failed(e));
        drop(tx);
        done
    }

    /// The frames of an outing in order, one after the other.
    ///
    /// # Errors
    /// [`crate::Error::Log`] when the file cannot be read.
    pub fn each_frame_of(&self, id: i64, visit: &mut dyn FnMut(LoggedFrame)) -> Result<()> {
        let done = each_of(&self.connection, id, &mut |frame| {
            visit(frame);
            Ok(())
        });
        done.map_err(|e| self.failed(e))
    }

    /// Everything read while this is kept is of one moment, whatever others write meanwhile.
    ///
    /// # Errors
    /// [`crate::Error::Log`] when the file cannot be read.
    pub fn moment(&self) -> Result<impl Drop + '_> {
        self.connection.unchecked_transaction().map_err(|e| self.failed(e))
    }

    /// All rows of bodies' noise, by body, source, ISO and time.
    ///
    /// # Errors
    /// [`crate::Error::Log`] when the file cannot be read.
    pub fn noise(&self) -> Result<Vec<LoggedNoise>> {
        noise(&self.connection).map_err(|e| self.failed(e))
    }
}

pub(super) fn outings(connection: &Connection) -> rusqlite::Result<Vec<Outing>> {
    // Without a capture time by the time of logging: after the timed ones of the same day.
    let order = "ORDER BY coalesce((SELECT min(taken_at) FROM frame f WHERE f.outing_id = o.id), \
                 o.logged_at), o.id";
    connection.prepare(&format!("{OUTINGS} {order}"))?.query_map([], outing)?.collect()
}

fn outing(row: &Row<'_>) -> rusqlite::Result<Outing> {
    let kind: String = row.get(2)?;
    Ok(Outing {
        id: row.get(0)?,
        uid: row.get(1)?,
        // The table's check lets no other word in.
        kind: OutingKind::from_word(&kind).unwrap_or(OutingKind::Field),
        title: row.get(3)?,
        logged_at: row.get(4)?,
        program_version: row.get(5)?,
        subject: row.get(6)?,
        rig: row.get(7)?,
        excluded: row.get(8)?,
        corrected_at: row.get(9)?,
        frames: row.get(10)?,
        hits: row.get(11)?,
        first_taken_at: row.get(12)?,
    })
}

fn frames_of(connection: &Connection, outing: i64) -> rusqlite::Result<Vec<LoggedFrame>> {
    let mut frames = Vec::new();
    each_of(connection, outing, &mut |frame| {
        frames.push(frame);
        Ok(())
    })?;
    Ok(frames)
}

fn each_of(
    connection: &Connection,
    outing: i64,
    visit: &mut dyn FnMut(LoggedFrame) -> rusqlite::Result<()>,
) -> rusqlite::Result<()> {
    let columns = FRAME_COLUMNS.join(", ");
    let sql = format!("SELECT {columns} FROM frame WHERE outing_id = ?1 ORDER BY seq");
    let mut query = connection.prepare(&sql)?;
    let mut rows = query.query([outing])?;
    while let Some(row) = rows.next()? {
        visit(frame(row)?)?;
    }
    Ok(())
}

/// Frames that were measured again in an outing logged later, by outing and place in its order.
fn measured_again(
    connection: &Connection,
    outings: &[Outing],
) -> rusqlite::Result<HashMap<i64, HashSet<usize>>> {
    let mut latest_first: Vec<&Outing> = outings.iter().collect();
    latest_first.sort_by(|a, b| b.logged_at.cmp(&a.logged_at).then(b.id.cmp(&a.id)));
    let mut ids =
        connection.prepare("SELECT content_id FROM frame WHERE outing_id = ?1 ORDER BY seq")?;
    let mut seen = HashSet::new();
    let mut again: HashMap<i64, HashSet<usize>> = HashMap::new();
    for outing in latest_first {
        let mut rows = ids.query([outing.id])?;
        let mut at = 0usize;
        while let Some(row) = rows.next()? {
            let id = row.get_ref(0)?.as_str().map_err(rusqlite::Error::from)?;
            if !seen.insert(short_id(id)) {
                again.entry(outing.id).or_default().insert(at);
            }
            at = at.saturating_add(1);
        }
    }
    Ok(again)
}

/// The two halves of a content's hash over each other: 16 bytes tell contents apart as surely as
/// needed, in an eighth of the room that the text takes. What is no such hash is hashed.
fn short_id(content_id: &str) -> u128 {
    let half = |from: usize| {
        let digits = content_id.get(from..)?.get(..32).filter(|_| content_id.len() == 64)?;
        u128::from_str_radix(digits, 16).ok()
    };
    match (half(0), half(32)) {
        (Some(a), Some(b)) => a ^ b,
        _ => {
            let hash = blake3::hash(content_id.as_bytes());
            let (bytes, _) = hash.as_bytes().split_first_chunk().unwrap_or((&[0; 16], &[]));
            u128::from_be_bytes(*bytes)
        }
    }
}

fn frame(row: &Row<'_>) -> rusqlite::Result<LoggedFrame> {
    let at = FRAME_COLUMNS.len().saturating_sub(1);
    let record = serde_json::from_str(row.get_ref(at)?.as_str()?)
        .map_err(|e| rusqlite::Error::FromSqlConversionFailure(at, Type::Text, e.into()))?;
    Ok(LoggedFrame {
        path: row.get(0)?,
        content_id: row.get(1)?,
        taken_at: row.get(2)?,
        burst: row.get(3)?,
        marked_f_number: row.get(4)?,
        working_f_number: row.get(5)?,
        shutter_s: row.get(6)?,
        iso: row.get(7)?,
        rig: row.get(8)?,
        verdict: row.get(9)?,
        ..record
    })
}

pub(super) fn noise(connection: &Connection) -> rusqlite::Result<Vec<LoggedNoise>> {
    let mut sigmas = connection.prepare(
        "SELECT level, sigma_dn, std_err_dn FROM noise_sigma WHERE noise_id = ?1 ORDER BY level",
    )?;
    let mut rows = connection.prepare(
        "SELECT id, logged_at, body, iso, source, frames, method, range_dn, gain_dn_per_e, \
         gain_std_err, read_noise_e, read_noise_std_err, trusted FROM noise \
         ORDER BY body, source, iso, logged_at, id",
    )?;
    let found = rows.query_map([], |row| {
        let value = |at: usize| -> rusqlite::Result<Option<WithError>> {
            let std_err = row.get(at.saturating_add(1))?;
            Ok(row.get::<_, Option<f64>>(at)?.map(|value| WithError { value, std_err }))
        };
        let id: i64 = row.get(0)?;
        let noise = LoggedNoise {
            logged_at: row.get(1)?,
            body: row.get(2)?,
            iso: row.get(3)?,
            source: row.get(4)?,
            frames: row.get(5)?,
            method: row.get(6)?,
            range_dn: row.get(7)?,
            gain_dn_per_e: value(8)?,
            read_noise_e: value(10)?,
            sigma_at: Vec::new(),
            trusted: row.get(12)?,
        };
        Ok((id, noise))
    })?;
    let mut all = Vec::new();
    for row in found {
        let (id, mut noise) = row?;
        noise.sigma_at = sigmas
            .query_map([id], |s| {
                Ok(LoggedSigma { level: s.get(0)?, sigma_dn: s.get(1)?, std_err_dn: s.get(2)? })
            })?
            .collect::<rusqlite::Result<_>>()?;
        all.push(noise);
    }
    Ok(all)
}
