//! The database's forms, and the way from each to the next.

use rusqlite::{Connection, TransactionBehavior};

use crate::error::LogProblem;

/// Marks the file as a log of this program ("stpw"); SQLite keeps it in the header.
pub(super) const APPLICATION_ID: i64 = 0x7374_7077;

/// Each step takes the database from form i to form i + 1. Steps are never changed, only added.
const STEPS: [&str; 2] = [FRAMES, BODY_NOISE];

/// The latest form.
pub const FORM: i64 = STEPS.len() as i64;

/// Form 1: outings and their frames.
const FRAMES: &str = "
CREATE TABLE outing (
    id INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    kind TEXT NOT NULL CHECK (kind IN ('field', 'test', 'clip')),
    title TEXT NOT NULL,
    logged_at TEXT NOT NULL,
    program_version TEXT NOT NULL,
    subject TEXT,
    rig TEXT,
    excluded INTEGER NOT NULL DEFAULT 0 CHECK (excluded IN (0, 1)),
    corrected_at TEXT
) STRICT;
CREATE TABLE frame (
    outing_id INTEGER NOT NULL REFERENCES outing (id) ON DELETE CASCADE,
    seq INTEGER NOT NULL,
    path TEXT NOT NULL,
    content_id TEXT NOT NULL,
    taken_at TEXT,
    source TEXT NOT NULL,
    width_px INTEGER NOT NULL,
    height_px INTEGER NOT NULL,
    burst INTEGER NOT NULL,
    marked_f_number REAL,
    working_f_number REAL,
    shutter_s REAL,
    iso INTEGER,
    flash_fired INTEGER,
    focal_mm REAL,
    body TEXT,
    lens TEXT,
    rig TEXT,
    magnification REAL,
    magnification_std_err REAL,
    pixel_pitch_um REAL,
    verdict TEXT NOT NULL,
    causes TEXT NOT NULL,
    cause_share REAL,
    blur_sigma_px REAL,
    blur_sigma_std_err_px REAL,
    blur_allowed_px REAL,
    blur_ratio REAL,
    blur_ratio_std_err REAL,
    detail_bits_px REAL,
    detail_std_err_bits_px REAL,
    noise_sigma_dn REAL,
    noise_sigma_std_err_dn REAL,
    motion_length_px REAL,
    motion_length_std_err_px REAL,
    subject_mean_dn REAL,
    flags TEXT NOT NULL,
    PRIMARY KEY (outing_id, seq)
) STRICT, WITHOUT ROWID;
";

/// Form 2: the noise of bodies.
const BODY_NOISE: &str = "
CREATE TABLE noise (
    id INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    logged_at TEXT NOT NULL,
    body TEXT NOT NULL,
    iso INTEGER,
    source TEXT NOT NULL,
    frames INTEGER NOT NULL,
    method TEXT NOT NULL,
    range_dn REAL,
    gain_dn_per_e REAL,
    gain_std_err REAL,
    read_noise_e REAL,
    read_noise_std_err REAL,
    trusted INTEGER NOT NULL CHECK (trusted IN (0, 1))
) STRICT;
CREATE TABLE noise_sigma (
    noise_id INTEGER NOT NULL REFERENCES noise (id) ON DELETE CASCADE,
    level REAL NOT NULL,
    sigma_dn REAL NOT NULL,
    std_err_dn REAL,
    PRIMARY KEY (noise_id, level)
) STRICT, WITHOUT ROWID;
";

/// The database's form: 0 for an empty one.
pub(super) fn form(connection: &Connection) -> rusqlite::Result<i64> {
    connection.query_row("PRAGMA user_version", [], |row| row.get(0))
}

/// Says whether the file is this program's, before anything is changed in it. One reading of the
/// file: another program may be making its tables at this moment.
pub(super) fn check(connection: &Connection) -> Result<i64, LogProblem> {
    if !connection.is_autocommit() {
        return check_within(connection);
    }
    let reading = connection.unchecked_transaction().map_err(super::problem)?;
    check_within(&reading)
}

/// [`check`] inside a transaction that is already open.
fn check_within(connection: &Connection) -> Result<i64, LogProblem> {
    let found = form(connection).map_err(super::problem)?;
    let id: i64 = connection
        .query_row("PRAGMA application_id", [], |row| row.get(0))
        .map_err(super::problem)?;
    let tables: i64 = connection
        .query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))
        .map_err(super::problem)?;
    let empty = found == 0 && id == 0 && tables == 0;
    if !empty && id != APPLICATION_ID {
        return Err(LogProblem::NotALog);
    }
    if found > FORM {
        return Err(LogProblem::Newer { found, known: FORM });
    }
    Ok(found)
}

/// Brings the database to the latest form, in one transaction: all of it or nothing.
pub(super) fn migrate(connection: &mut Connection) -> Result<(), LogProblem> {
    if check(connection)? == FORM {
        return Ok(());
    }
    let tx = connection
        .transaction_with_behavior(TransactionBehavior::Immediate)
        .map_err(super::problem)?;
    // Another process may have been first.
    let from = check(&tx)?;
    let steps = STEPS.iter().skip(usize::try_from(from).unwrap_or(STEPS.len()));
    for step in steps {
        tx.execute_batch(step).map_err(super::problem)?;
    }
    tx.execute_batch(&format!(
        "PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = {FORM};"
    ))
    .map_err(super::problem)?;
    tx.commit().map_err(super::problem)
}

/// A database of form 1, for the test of the way onwards.
#[cfg(test)]
pub(super) fn form_1(connection: &Connection) -> rusqlite::Result<()> {
    connection.execute_batch(STEPS[0])?;
    connection.execute_batch(&format!(
        "PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = 1;"
    ))
}
