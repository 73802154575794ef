//! What later commands need of a record that `cull` wrote.

use serde::Deserialize;

use crate::core::verdict::Verdict;
use crate::error::{Error, Result};
use crate::report::record::{BurstRecord, CauseShare, CullRecord, FrameRecord, SCHEMA};

/// The part of a cull record that marks are made from.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct WrittenCull {
    /// Number of the record's form.
    schema: u32,
    /// Name of the program that wrote it.
    program: String,
    /// What the program was given.
    pub outing: WrittenOuting,
    /// Frames in order of time.
    pub frames: Vec<WrittenFrame>,
}

/// What `cull` was given.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct WrittenOuting {
    /// Files and folders, as typed.
    pub paths: Vec<String>,
}

/// A frame of a written record.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct WrittenFrame {
    /// Its path: below the one folder that was given, else as found.
    pub path: String,
    /// The raw file or JPEG taken with it, as found.
    pub partner: Option<String>,
    /// Number of its burst.
    pub burst: u32,
    /// The verdict.
    pub verdict: Verdict,
    /// What cost the sharpness, largest first.
    pub causes: Vec<CauseShare>,
}

impl WrittenCull {
    /// Reads a record.
    ///
    /// # Errors
    /// [`Error::NoCullRecord`] when the text is none, or one of a newer program.
    pub fn read(text: &str) -> Result<WrittenCull> {
        let record: WrittenCull =
            serde_json::from_str(text).map_err(|e| Error::NoCullRecord(e.to_string()))?;
        if record.program != "stopwise" {
            return Err(Error::NoCullRecord("another program wrote it".to_owned()));
        }
        // Earlier forms lack fields that are optional since.
        if !(1..=SCHEMA).contains(&record.schema) {
            let says = format!("its form is number {}, this program reads {SCHEMA}", record.schema);
            return Err(Error::NoCullRecord(says));
        }
        Ok(record)
    }
}

impl From<&CullRecord> for WrittenCull {
    fn from(record: &CullRecord) -> WrittenCull {
        let frames = record.frames.iter().map(|f| WrittenFrame {
            path: f.path.clone(),
            partner: f.partner.clone(),
            burst: f.burst,
            verdict: f.verdict,
            causes: f.causes.clone(),
        });
        WrittenCull {
            schema: record.schema,
            program: record.program.to_owned(),
            outing: WrittenOuting { paths: record.outing.paths.clone() },
            frames: frames.collect(),
        }
    }
}

/// A cull record as a whole, as far as frames and bursts go.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct FullCull {
    schema: u32,
    program: String,
    /// What the program was given.
    pub outing: WrittenOuting,
    /// Bursts in order of time.
    pub bursts: Vec<BurstRecord>,
    /// Frames in order of time.
    pub frames: Vec<FrameRecord>,
}

impl FullCull {
    /// Reads a record.
    ///
    /// # Errors
    /// As [`WrittenCull::read`].
    pub fn read(text: &str) -> Result<FullCull> {
        // What kind of file this is, and of which form, is told first.
        WrittenCull::read(text)?;
        serde_json::from_str(text).map_err(|e| Error::NoCullRecord(e.to_string()))
    }
}

impl From<CullRecord> for FullCull {
    fn from(record: CullRecord) -> FullCull {
        FullCull {
            schema: record.schema,
            program: record.program.to_owned(),
            outing: WrittenOuting { paths: record.outing.paths },
            bursts: record.bursts,
            frames: record.frames,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_written_record_is_read_and_nothing_else_is() {
        let text = r#"{"schema":1,"program":"stopwise","outing":{"paths":["day"],"frames":1},
            "frames":[{"path":"a.jpg","partner":null,"burst":1,"verdict":"cannot say",
            "causes":[{"cause":"no-texture","share":null}],"more":[1,2]}]}"#;
        let read = WrittenCull::read(text).unwrap();
        assert_eq!(read.frames[0].verdict, Verdict::Unclear);
        for (from, to) in [("stopwise", "other"), (":1,", ":9,"), ("cannot say", "maybe")] {
            assert!(WrittenCull::read(&text.replacen(from, to, 1)).is_err(), "{to}");
        }
        assert!(WrittenCull::read("[]").is_err());
    }
}
