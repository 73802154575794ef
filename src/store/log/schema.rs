//! The database's forms, and the way from each to the next.

use std::time::Duration;

use rusqlite::types::ValueRef;
use rusqlite::{Row, Transaction};
use serde_json::{Map, Value as Json};

use super::super::sqlite::{DatabaseKind, FormStep, Forms};

/// The database, marked "stpw". An outing that was confirmed is on the disk.
pub(super) const KIND: DatabaseKind = DatabaseKind {
    application_id: 0x7374_7077,
    forms: Forms::Steps(&STEPS),
    busy_wait: Duration::from_secs(10),
    durable: true,
};

/// Each step takes the database from form i to form i + 1. Steps are never changed, only added.
const STEPS: [FormStep; 4] = [
    FormStep::Sql(FRAMES),
    FormStep::Sql(BODY_NOISE),
    FormStep::Code(frames_as_records),
    FormStep::Sql(WORDS_OF_FORM_4),
];

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

/// Form 3: what was measured of a frame is one record, as JSON, beside what is asked for in queries.
/// A new quantity needs no new form. The index holds what is read of every outing, so that records
/// are not passed through for it.
const FRAME_RECORDS: &str = "
CREATE TABLE frame_record (
    outing_id INTEGER NOT NULL REFERENCES outing (id) ON DELETE CASCADE,
    seq INTEGER NOT NULL,
    path TEXT NOT NULL,
    content_id TEXT NOT NULL,
    taken_at TEXT,
    burst INTEGER NOT NULL,
    marked_f_number REAL,
    working_f_number REAL,
    shutter_s REAL,
    iso INTEGER,
    rig TEXT,
    verdict TEXT NOT NULL,
    record TEXT NOT NULL,
    PRIMARY KEY (outing_id, seq)
) STRICT, WITHOUT ROWID;
";

/// Form 4: today's words for verdicts, causes and the key of the attainable blur. Records change as
/// texts: so numbers keep every bit. A quote within a value is escaped, so that these are keys.
const WORDS_OF_FORM_4: &str = r#"
UPDATE frame SET verdict = 'unclear' WHERE verdict = 'cannot say';
UPDATE frame SET record = replace(record, '"blur_allowed_px":', '"attainable_blur_px":')
    WHERE instr(record, '"blur_allowed_px":') > 0;
UPDATE frame SET record = replace(record,
        '"causes":"' || json_extract(record, '$.causes') || '"',
        '"causes":"' || replace(json_extract(record, '$.causes'), 'plane-off', 'misfocused') || '"')
    WHERE CASE WHEN json_valid(record) THEN json_extract(record, '$.causes') LIKE '%plane-off%' END;
"#;

/// Columns of form 2 that became fields of the record as they are.
const FIELDS_OF_FORM_2: [&str; 11] = [
    "source",
    "width_px",
    "height_px",
    "focal_mm",
    "body",
    "lens",
    "pixel_pitch_um",
    "causes",
    "cause_share",
    "blur_allowed_px",
    "subject_mean_dn",
];

/// Pairs of columns of form 2 that became a value with its standard error.
const MEASURED_OF_FORM_2: [(&str, &str); 6] = [
    ("magnification", "magnification_std_err"),
    ("blur_sigma_px", "blur_sigma_std_err_px"),
    ("blur_ratio", "blur_ratio_std_err"),
    ("detail_bits_px", "detail_std_err_bits_px"),
    ("noise_sigma_dn", "noise_sigma_std_err_dn"),
    ("motion_length_px", "motion_length_std_err_px"),
];

/// From form 2 to form 3: numbers keep every bit, which SQLite's own JSON would not.
fn frames_as_records(change: &Transaction<'_>) -> rusqlite::Result<()> {
    change.execute_batch(FRAME_RECORDS)?;
    {
        let mut old = change.prepare("SELECT * FROM frame ORDER BY outing_id, seq")?;
        let mut insert = change.prepare(
            "INSERT INTO frame_record SELECT outing_id, seq, path, content_id, taken_at, burst,
             marked_f_number, working_f_number, shutter_s, iso, rig, verdict, ?3
             FROM frame WHERE outing_id = ?1 AND seq = ?2",
        )?;
        let mut rows = old.query([])?;
        while let Some(row) = rows.next()? {
            let place: (i64, i64) = (row.get("outing_id")?, row.get("seq")?);
            insert.execute((place.0, place.1, record_of_form_2(row)?))?;
        }
    }
    change.execute_batch(
        "DROP TABLE frame;
         ALTER TABLE frame_record RENAME TO frame;
         CREATE INDEX frame_found ON frame (outing_id, seq, verdict, taken_at, content_id);",
    )
}

/// The record of a row of form 2; what is missing there has no field.
fn record_of_form_2(row: &Row<'_>) -> rusqlite::Result<String> {
    let mut record = Map::new();
    for key in FIELDS_OF_FORM_2 {
        record.extend(json(row, key)?.map(|value| (key.to_owned(), value)));
    }
    for (key, error_key) in MEASURED_OF_FORM_2 {
        let Some(value) = json(row, key)? else { continue };
        let mut measured = Map::new();
        measured.insert("value".to_owned(), value);
        measured.extend(json(row, error_key)?.map(|error| ("std_err".to_owned(), error)));
        record.insert(key.to_owned(), Json::Object(measured));
    }
    if let Some(fired) = row.get::<_, Option<bool>>("flash_fired")? {
        record.insert("flash_fired".to_owned(), Json::Bool(fired));
    }
    record.extend(json(row, "flags")?.map(|flags| ("flags".to_owned(), flags)));
    Ok(Json::Object(record).to_string())
}

/// A cell as JSON; `None` when it is empty, or a number that JSON cannot hold.
fn json(row: &Row<'_>, column: &str) -> rusqlite::Result<Option<Json>> {
    Ok(match row.get_ref(column)? {
        ValueRef::Integer(whole) => Some(Json::from(whole)),
        ValueRef::Real(number) => serde_json::Number::from_f64(number).map(Json::Number),
        ValueRef::Text(_) => Some(Json::String(row.get(column)?)),
        ValueRef::Null | ValueRef::Blob(_) => None,
    })
}

/// A database of form 1, for the test of the way onwards.
#[cfg(test)]
pub(super) fn form_1(connection: &rusqlite::Connection) -> rusqlite::Result<()> {
    connection.execute_batch(FRAMES)?;
    connection.execute_batch(&format!(
        "PRAGMA application_id = {}; PRAGMA user_version = 1;",
        KIND.application_id
    ))
}
