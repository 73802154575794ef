//! One way to open a database of this program: a file of another program, or of a later version,
//! is refused before anything is changed in it; the way from an earlier form to the latest is one
//! transaction, all of it or nothing.

use std::path::Path;
use std::time::{Duration, Instant};

use rusqlite::{Connection, ErrorCode, OpenFlags, Transaction, TransactionBehavior};

/// A kind of database.
#[derive(Debug, Clone, Copy)]
pub(super) struct DatabaseKind {
    /// Marks the file; SQLite keeps it in the header.
    pub application_id: i64,
    /// How its tables are made.
    pub forms: Forms,
    /// How long to wait for another process that writes.
    pub busy_wait: Duration,
    /// Whether every change is on the disk when it is confirmed (`synchronous = FULL`). Without it
    /// a loss of power may cost the last changes; the file stays sound.
    pub durable: bool,
}

/// How the tables of a database are made.
#[derive(Debug, Clone, Copy)]
pub(super) enum Forms {
    /// Each step takes it from form i to form i + 1; a later form is refused. Steps are never
    /// changed, only added.
    Steps(&'static [FormStep]),
    /// This makes the only form there is; a file of another form is emptied by it.
    Only(i64, &'static str),
}

/// The way from one form to the next. Both kinds are part of the one transaction in which a database
/// is brought up to date.
#[derive(Debug, Clone, Copy)]
pub(super) enum FormStep {
    /// Statements.
    Sql(&'static str),
    /// What statements cannot do.
    Code(fn(&Transaction<'_>) -> rusqlite::Result<()>),
}

impl FormStep {
    /// Takes the database one form further.
    pub(super) fn take(self, change: &Transaction<'_>) -> rusqlite::Result<()> {
        match self {
            FormStep::Sql(statements) => change.execute_batch(statements),
            FormStep::Code(code) => code(change),
        }
    }
}

impl Forms {
    /// The latest form.
    pub(super) const fn latest(self) -> i64 {
        match self {
            Forms::Steps(steps) => steps.len() as i64,
            Forms::Only(form, _) => form,
        }
    }
}

/// Why a database was not opened.
#[derive(Debug)]
pub(super) enum OpenFailure {
    /// The file is of another kind.
    OtherKind,
    /// A later version of this program wrote it.
    Newer {
        /// Its form.
        found: i64,
        /// The latest form that is known here.
        known: i64,
    },
    /// What the database says.
    Database(rusqlite::Error),
}

impl From<rusqlite::Error> for OpenFailure {
    fn from(error: rusqlite::Error) -> Self {
        OpenFailure::Database(error)
    }
}

/// Opens a database for reading and writing, makes it when it is not there, and brings one of an
/// earlier form up to date. Its folder must be there.
pub(super) fn open(path: &Path, kind: &DatabaseKind) -> Result<Connection, OpenFailure> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE
        | OpenFlags::SQLITE_OPEN_CREATE
        | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let mut connection = Connection::open_with_flags(path, flags)?;
    connection.busy_timeout(kind.busy_wait)?;
    let found = check(&connection, kind)?;
    // Readers are never in the way of a writer. Some file systems cannot: there the rollback
    // journal is as safe, only readers wait.
    patiently(kind.busy_wait, || {
        connection.query_row("PRAGMA journal_mode = WAL", [], |_| Ok(()))
    })?;
    let synchronous = if kind.durable { "FULL" } else { "NORMAL" };
    connection.execute_batch(&format!("PRAGMA synchronous = {synchronous};"))?;
    if found != kind.forms.latest() {
        make(&mut connection, kind)?;
    }
    Ok(connection)
}

/// The form of a database that is of this kind; 0 of an empty one. Nothing is changed. One reading
/// of the file: another program may be making its tables at this moment.
pub(super) fn check(connection: &Connection, kind: &DatabaseKind) -> Result<i64, OpenFailure> {
    let look = "SELECT (SELECT application_id FROM pragma_application_id),
                       (SELECT user_version FROM pragma_user_version),
                       (SELECT count(*) FROM sqlite_schema)";
    let (id, found, tables): (i64, i64, i64) =
        connection.query_row(look, [], |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?)))?;
    if id != kind.application_id && (id, found, tables) != (0, 0, 0) {
        return Err(OpenFailure::OtherKind);
    }
    match kind.forms {
        Forms::Steps(steps) if found > steps.len() as i64 => {
            Err(OpenFailure::Newer { found, known: steps.len() as i64 })
        }
        _ => Ok(found),
    }
}

/// Makes the tables of the latest form out of what is there.
fn make(connection: &mut Connection, kind: &DatabaseKind) -> Result<(), OpenFailure> {
    let change = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    // Another process may have been first.
    let found = check(&change, kind)?;
    match kind.forms {
        Forms::Steps(steps) => {
            for step in steps.iter().skip(usize::try_from(found).unwrap_or(steps.len())) {
                step.take(&change)?;
            }
        }
        Forms::Only(form, tables) if found != form => change.execute_batch(tables)?,
        Forms::Only(..) => {}
    }
    change.execute_batch(&format!(
        "PRAGMA application_id = {}; PRAGMA user_version = {};",
        kind.application_id,
        kind.forms.latest()
    ))?;
    Ok(change.commit()?)
}

/// Some steps are refused at once while another process takes the same, whatever the time to wait.
fn patiently(patience: Duration, step: impl Fn() -> rusqlite::Result<()>) -> rusqlite::Result<()> {
    let start = Instant::now();
    loop {
        match step() {
            Err(e) if is_busy(&e) && start.elapsed() < patience => {
                std::thread::sleep(Duration::from_millis(20));
            }
            other => return other,
        }
    }
}

/// Whether another process holds the database.
pub(super) fn is_busy(error: &rusqlite::Error) -> bool {
    matches!(error.sqlite_error_code(), Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked))
}
