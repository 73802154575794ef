//! The database's forms, and the way from each to the next.

use std::time::Duration;

use super::super::sqlite::{DatabaseKind, Forms};

/// The database, marked "stpw". An outing that was confirmed is on the disk.
pub(super) const KIND: DatabaseKind = DatabaseKind {
    application_id: 0x7374_7077,
    forms: Forms::Steps(&STEPS),
    busy_wait: Duration::from_secs(10),
    durable: true,
};

/// Each step takes the database from form i to form i + 1. Steps are never changed, only added.
const STEPS: [&str; 2] = [FRAMES, BODY_NOISE];

/// The latest form.
pub const FORM: i64 = KIND.forms.latest();

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

/// A database of form 1, for the test of the way onwards.
#[cfg(test)]
pub(super) fn form_1(connection: &rusqlite::Connection) -> rusqlite::Result<()> {
    connection.execute_batch(STEPS[0])?;
    connection.execute_batch(&format!(
        "PRAGMA application_id = {}; PRAGMA user_version = 1;",
        KIND.application_id
    ))
}
