//! What a person decided about frames, kept apart from what was measured, in one SQLite file.
//!
//! Every decision is a row of its own and lasts from the moment it is made: a kill, a crash or a
//! full disk loses none that was confirmed. Taking one back marks its row; nothing is deleted. A
//! decision is found again by the place of its file, or by its name, size and content when the
//! file was moved.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::time::Duration;

use rusqlite::{Connection, OptionalExtension, Row, params};

use super::hash::Content;
use super::sqlite::{self, DatabaseKind, FormStep, Forms, OpenFailure};
use crate::core::verdict::{Cause, Verdict};
use crate::core::{path_text, text_path};
use crate::error::{Error, Result};

/// The database, marked "stpd". Written through to the disk at every decision.
const KIND: DatabaseKind = DatabaseKind {
    application_id: 0x7374_7064,
    forms: Forms::Steps(&STEPS),
    busy_wait: Duration::from_secs(5),
    durable: true,
};

/// Each step takes the database from form i to form i + 1. Steps are never changed, only added.
const STEPS: [FormStep; 2] = [FormStep::Sql(DECISIONS), FormStep::Sql(WORDS_OF_FORM_2)];

/// Form 1.
const DECISIONS: &str = "
CREATE TABLE decision (
    id INTEGER PRIMARY KEY,
    made_at TEXT NOT NULL,
    outing TEXT NOT NULL,
    path TEXT NOT NULL,
    name TEXT NOT NULL,
    bytes INTEGER NOT NULL,
    content_id TEXT NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('call', 'subject')),
    call TEXT CHECK (call IN ('hit', 'near', 'miss', 'cannot say')),
    x REAL CHECK (x BETWEEN 0 AND 1),
    y REAL CHECK (y BETWEEN 0 AND 1),
    tool_call TEXT NOT NULL,
    tool_cause TEXT,
    undone INTEGER NOT NULL DEFAULT 0 CHECK (undone IN (0, 1))
) STRICT;
CREATE INDEX decision_path ON decision (path);
CREATE INDEX decision_name ON decision (name, bytes);
";

/// Form 2: today's words for verdicts, causes and columns. What the checks of form 1 refuse, but damaged
/// bytes can hold, counts for nothing, as it does on reading.
const WORDS_OF_FORM_2: &str = "
CREATE TABLE decision_2 (
    id INTEGER PRIMARY KEY,
    made_at TEXT NOT NULL,
    outing TEXT NOT NULL,
    path TEXT NOT NULL,
    name TEXT NOT NULL,
    bytes INTEGER NOT NULL,
    content_id TEXT NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('verdict', 'subject')),
    verdict TEXT CHECK (verdict IN ('hit', 'near', 'miss', 'unclear')),
    x REAL CHECK (x BETWEEN 0 AND 1),
    y REAL CHECK (y BETWEEN 0 AND 1),
    program_verdict TEXT NOT NULL,
    program_cause TEXT,
    undone INTEGER NOT NULL DEFAULT 0 CHECK (undone IN (0, 1))
) STRICT;
INSERT INTO decision_2
    SELECT id, made_at, outing, path, name, bytes, content_id,
        iif(kind = 'call', 'verdict', kind),
        CASE WHEN call = 'cannot say' THEN 'unclear'
             WHEN call IN ('hit', 'near', 'miss') THEN call END,
        iif(x BETWEEN 0 AND 1, x, NULL), iif(y BETWEEN 0 AND 1, y, NULL),
        iif(tool_call = 'cannot say', 'unclear', tool_call),
        iif(tool_cause = 'plane-off', 'misfocused', tool_cause),
        undone <> 0
    FROM decision WHERE kind IN ('call', 'subject');
DROP TABLE decision;
ALTER TABLE decision_2 RENAME TO decision;
CREATE INDEX decision_path ON decision (path);
CREATE INDEX decision_name ON decision (name, bytes);
";

/// What is decided.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DecisionKind {
    /// The frame's verdict; `None` takes the person's decision back.
    Verdict(Option<Verdict>),
    /// Where the subject is in this frame, as fractions of the upright picture; `None` leaves it
    /// to the program again.
    Subject(Option<(f64, f64)>),
}

/// A decision to be kept.
#[derive(Debug, Clone, PartialEq)]
pub struct NewDecision<'a> {
    /// The outing in which it is made: the place of its folder or record.
    pub outing: &'a str,
    /// The frame's file.
    pub file: &'a Path,
    /// What is decided.
    pub what: DecisionKind,
    /// The program's verdict at that moment.
    pub program: Verdict,
    /// Its first cause.
    pub cause: Option<Cause>,
}

/// What stands for a frame.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CurrentDecision {
    /// The person's verdict.
    pub verdict: Option<Verdict>,
    /// Where the person put the subject.
    pub subject: Option<(f64, f64)>,
    /// Number of the decision about the subject: of several in a burst the latest counts.
    pub subject_id: i64,
}

/// A person's verdict on a frame beside the program's at that moment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VerdictPair {
    /// The person's verdict.
    pub person: Verdict,
    /// The program's.
    pub program: Verdict,
    /// The program's first cause.
    pub cause: Option<Cause>,
}

/// What was taken back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Undone {
    /// The frame's file.
    pub file: PathBuf,
    /// Whether it was about the subject; else about what the frame is.
    pub subject: bool,
}

/// The decisions.
#[derive(Debug)]
pub struct Decisions {
    connection: Connection,
    path: PathBuf,
    /// What the time is.
    clock: fn() -> jiff::Timestamp,
}

impl Decisions {
    /// Opens the file, makes it with its folder when it is not there, and brings one of an
    /// earlier form up to date.
    ///
    /// # Errors
    /// [`Error::Decisions`] when it cannot be written, is another kind of file, damaged, or of a
    /// later form.
    pub fn open(path: &Path) -> Result<Decisions> {
        Decisions::open_kind(path, &KIND)
    }

    /// As [`open`](Decisions::open), with another time to wait for other processes.
    #[cfg(test)]
    pub(super) fn open_waiting(path: &Path, busy_wait: std::time::Duration) -> Result<Decisions> {
        Decisions::open_kind(path, &DatabaseKind { busy_wait, ..KIND })
    }

    fn open_kind(path: &Path, kind: &DatabaseKind) -> Result<Decisions> {
        let failed = |says: String| Error::Decisions { path: path.to_owned(), says };
        if let Some(folder) = path.parent().filter(|f| !f.as_os_str().is_empty()) {
            std::fs::create_dir_all(folder).map_err(|e| failed(e.to_string()))?;
        }
        let connection = sqlite::open(path, kind).map_err(|e| {
            failed(match e {
                OpenFailure::OtherKind => {
                    "not a stopwise decisions file (another kind of file)".to_owned()
                }
                OpenFailure::Newer { .. } => "a later version of stopwise wrote it".to_owned(),
                OpenFailure::Database(e) => says(&e),
            })
        })?;
        Ok(Decisions { connection, path: path.to_owned(), clock: jiff::Timestamp::now })
    }

    fn failed(&self, error: &rusqlite::Error) -> Error {
        Error::Decisions { path: self.path.clone(), says: says(error) }
    }

    /// Keeps a decision; on return it lasts.
    ///
    /// # Errors
    /// [`Error::Decisions`] when it could not be kept, [`Error::Read`] when the frame's file is
    /// gone.
    pub fn add(&mut self, new: &NewDecision<'_>) -> Result<()> {
        let (bytes, content) = identity(new.file)?;
        let (kind, verdict, at) = match new.what {
            DecisionKind::Verdict(verdict) => ("verdict", verdict.map(Verdict::word), None),
            DecisionKind::Subject(at) => ("subject", None, at),
        };
        let made_at = (self.clock)().to_string();
        self.connection
            .execute(
                "INSERT INTO decision (made_at, outing, path, name, bytes, content_id, kind, \
                 verdict,
                 x, y, program_verdict, program_cause) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10,
                 ?11, ?12)",
                params![
                    made_at,
                    new.outing,
                    shown(new.file),
                    name(new.file),
                    bytes,
                    content,
                    kind,
                    verdict,
                    at.map(|a| a.0),
                    at.map(|a| a.1),
                    new.program.word(),
                    new.cause.map(Cause::word)
                ],
            )
            .map_err(|e| self.failed(&e))?;
        Ok(())
    }

    /// Takes back the latest decision of an outing; `None` when none is left.
    ///
    /// # Errors
    /// [`Error::Decisions`] when that could not be kept.
    pub fn undo(&mut self, outing: &str) -> Result<Option<Undone>> {
        self.connection
            .query_row(
                "UPDATE decision SET undone = 1 WHERE id = (SELECT max(id) FROM decision
                 WHERE outing = ?1 AND undone = 0) RETURNING path, kind",
                [outing],
                |row| {
                    let (path, kind): (String, String) = (row.get(0)?, row.get(1)?);
                    Ok(Undone { file: text_path(&path), subject: kind == "subject" })
                },
            )
            .optional()
            .map_err(|e| self.failed(&e))
    }

    /// What stands for some files, in their order.
    ///
    /// # Errors
    /// [`Error::Decisions`] when the file cannot be read.
    pub fn standing(&self, files: &[&Path]) -> Result<Vec<CurrentDecision>> {
        let read = || -> rusqlite::Result<Vec<CurrentDecision>> {
            let mut by_path = self.connection.prepare(&latest("path = ?1"))?;
            let mut by_name = self.connection.prepare(&latest("name = ?1 AND bytes = ?2"))?;
            let none: i64 = self.connection.query_row(
                "SELECT count(*) FROM decision WHERE undone = 0",
                [],
                |r| r.get(0),
            )?;
            if none == 0 {
                return Ok(vec![CurrentDecision::default(); files.len()]);
            }
            files
                .iter()
                .map(|file| {
                    let rows = by_path.query_map([shown(file)], said)?;
                    let mut rows = rows.collect::<rusqlite::Result<Vec<_>>>()?;
                    if rows.is_empty() {
                        let Ok(meta) = file.metadata() else {
                            return Ok(CurrentDecision::default());
                        };
                        let size = i64::try_from(meta.len()).unwrap_or(i64::MAX);
                        let moved = by_name.query_map(params![name(file), size], said)?;
                        rows = moved.collect::<rusqlite::Result<Vec<_>>>()?;
                        // The same name and size elsewhere: the content decides.
                        if !rows.is_empty() {
                            let own = identity(file).map(|i| i.1).ok();
                            rows.retain(|row| own.as_ref() == Some(&row.content));
                        }
                    }
                    Ok(standing(rows))
                })
                .collect()
        };
        read().map_err(|e| self.failed(&e))
    }

    /// Every frame that a person has said something of, once, with what the program had said.
    ///
    /// # Errors
    /// [`Error::Decisions`] when the file cannot be read.
    pub fn judgements(&self) -> Result<Vec<VerdictPair>> {
        let read = || -> rusqlite::Result<Vec<VerdictPair>> {
            let mut rows = self.connection.prepare(
                "SELECT verdict, program_verdict, program_cause FROM decision WHERE id IN (SELECT
                 max(id) FROM decision WHERE kind = 'verdict' AND undone = 0 GROUP BY content_id)
                 AND verdict IS NOT NULL ORDER BY id",
            )?;
            let pairs = rows.query_map([], |row| {
                let (person, program) = (word(row, 0)?, word(row, 1)?);
                let cause = word(row, 2)?;
                let pair = |(person, program)| VerdictPair { person, program, cause };
                Ok(person.zip(program).map(pair))
            })?;
            pairs.filter_map(rusqlite::Result::transpose).collect()
        };
        read().map_err(|e| self.failed(&e))
    }

    /// People's verdicts, by the content of the frames' files (BLAKE3, as the log keeps it).
    ///
    /// # Errors
    /// [`Error::Decisions`] when the file cannot be read.
    pub fn verdicts(&self) -> Result<BTreeMap<String, Verdict>> {
        let read = || -> rusqlite::Result<BTreeMap<String, Verdict>> {
            let mut rows = self.connection.prepare(
                "SELECT content_id, verdict FROM decision WHERE id IN (SELECT max(id) FROM decision
                 WHERE kind = 'verdict' AND undone = 0 GROUP BY content_id) AND verdict IS NOT NULL",
            )?;
            let decided = rows.query_map([], |row| {
                let (content, verdict): (String, _) = (row.get(0)?, word(row, 1)?);
                Ok(verdict.map(|v| (content, v)))
            })?;
            decided.filter_map(rusqlite::Result::transpose).collect()
        };
        read().map_err(|e| self.failed(&e))
    }

    /// Number of frames in which a person's word on where the subject is stands.
    ///
    /// # Errors
    /// [`Error::Decisions`] when the file cannot be read.
    pub fn subjects_placed(&self) -> Result<u32> {
        self.connection
            .query_row(
                "SELECT count(*) FROM decision WHERE id IN (SELECT max(id) FROM decision WHERE
                 kind = 'subject' AND undone = 0 GROUP BY content_id) AND x IS NOT NULL",
                [],
                |row| row.get(0),
            )
            .map_err(|e| self.failed(&e))
    }
}

/// What the database says, in words that help.
fn says(error: &rusqlite::Error) -> String {
    if sqlite::is_busy(error) {
        let wait_s = KIND.busy_wait.as_secs();
        format!(
            "another program has been writing to them for {wait_s} s: try again when it is done"
        )
    } else {
        error.to_string()
    }
}

/// Decisions that stand, latest first.
fn latest(which: &str) -> String {
    format!(
        "SELECT id, kind, verdict, x, y, content_id FROM decision WHERE {which} AND undone = 0 \
         ORDER \
         BY id DESC"
    )
}

struct DecisionRow {
    id: i64,
    kind: String,
    verdict: Option<Verdict>,
    at: Option<(f64, f64)>,
    content: String,
}

fn said(row: &Row<'_>) -> rusqlite::Result<DecisionRow> {
    let (x, y): (Option<f64>, Option<f64>) = (row.get(3)?, row.get(4)?);
    // What the table refuses can still be in a file whose bytes were damaged.
    let inside = |(x, y): &(f64, f64)| (0.0..=1.0).contains(x) && (0.0..=1.0).contains(y);
    Ok(DecisionRow {
        id: row.get(0)?,
        kind: row.get(1)?,
        verdict: word(row, 2)?,
        at: x.zip(y).filter(inside),
        content: row.get(5)?,
    })
}

/// A verdict's or a cause's word. What the table refuses can still be in a file whose bytes were
/// damaged: such a word is none.
fn word<T: FromStr>(row: &Row<'_>, column: usize) -> rusqlite::Result<Option<T>> {
    let word: Option<String> = row.get(column)?;
    Ok(word.and_then(|w| w.parse().ok()))
}

/// The latest word on each matter.
fn standing(rows: Vec<DecisionRow>) -> CurrentDecision {
    let mut latest: BTreeMap<String, DecisionRow> = BTreeMap::new();
    for row in rows {
        latest.entry(row.kind.clone()).or_insert(row);
    }
    let subject = latest.get("subject");
    CurrentDecision {
        subject: subject.and_then(|s| s.at),
        subject_id: subject.map_or(0, |s| s.id),
        verdict: latest.get("verdict").and_then(|c| c.verdict),
    }
}

fn shown(file: &Path) -> String {
    path_text(file)
}

fn name(file: &Path) -> String {
    path_text(Path::new(file.file_name().unwrap_or_default()))
}

/// Size and hash of a file.
fn identity(file: &Path) -> Result<(i64, String)> {
    let (content, bytes) =
        Content::of_file(file).map_err(|source| Error::Read { path: file.to_owned(), source })?;
    Ok((i64::try_from(bytes).unwrap_or(i64::MAX), content.hex()))
}

#[cfg(test)]
mod tests;
