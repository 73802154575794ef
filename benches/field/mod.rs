//! Benches like the field: everything is written as camera files, goes through the same entry as
//! `cull`, and is read back from the record, so that what is scored is what people are told.
//!
//! - `field-cells SEEDS FIRST`: pieces of one surface by blur, rendering and JPEG quality.
//! - `field-bursts SEEDS FIRST`: creatures and hands as in the field, marked and unmarked.
//! - `demo-days FIRST LAST`: the days of `stopwise demo`.
//! - `field-photos SEEDS FIRST [FOLDER]`: real photographs with known optics applied.
//! - `field-stacks FOLDER`: real focus stacks, order found against order taken.
//!
//! Words after the numbers: `--keep FOLDER` keeps the pictures of `field-bursts`, so that judging
//! again is quick (they are those of the build that made them: use a new folder when the simulator
//! has changed), `--out FILE` writes one line of JSON a burst, `-v` prints every frame.

pub mod bars;
pub mod bursts;
pub mod cells;
pub mod days;
pub mod kendall;
pub mod photos;
pub mod reading;
pub mod score;
pub mod stacks;
pub mod truth;

use std::io::Write;
use std::path::{Path, PathBuf};

use stopwise::simulator::surface::Surface;

/// Bars of the median of blur said over true: where hairs and glints stand alone, no single figure
/// is safe.
pub fn median_bar(surface: Surface) -> (f64, f64) {
    match surface {
        Surface::Hairs | Surface::Glints => (0.67, 1.5),
        _ => (0.85, 1.18),
    }
}

/// What is asked for on the command line besides numbers.
#[derive(Debug, Default, Clone)]
pub struct Asked {
    /// Folder in which made pictures are kept.
    pub keep: Option<PathBuf>,
    /// File for one line of JSON a burst.
    pub out: Option<PathBuf>,
    /// Whether every frame is printed.
    pub verbose: bool,
}

impl Asked {
    pub fn of(args: &[String]) -> Asked {
        let after = |word: &str| {
            let at = args.iter().position(|a| a == word)?;
            args.get(at + 1).map(PathBuf::from)
        };
        Asked {
            keep: after("--keep"),
            out: after("--out"),
            verbose: args.iter().any(|a| a == "-v"),
        }
    }

    /// Lines of JSON, when asked for.
    pub fn lines(&self) -> Lines {
        let file = self.out.as_ref().map(|p| {
            let file = std::fs::File::create(p).expect("the file for JSON can be written");
            std::io::BufWriter::new(file)
        });
        Lines(file)
    }
}

/// One line of JSON a burst.
pub struct Lines(Option<std::io::BufWriter<std::fs::File>>);

impl Lines {
    pub fn put(&mut self, value: &serde_json::Value) {
        if let Some(out) = &mut self.0 {
            writeln!(out, "{value}").expect("a line of JSON can be written");
        }
    }
}

/// A folder for one burst's files: kept under a name, or one that goes away.
pub enum Place {
    Kept(PathBuf),
    Passing(tempfile::TempDir),
}

impl Place {
    pub fn new(keep: Option<&Path>, name: &str) -> Place {
        match keep {
            Some(folder) => {
                let dir = folder.join(name);
                std::fs::create_dir_all(&dir).unwrap();
                Place::Kept(dir)
            }
            None => Place::Passing(tempfile::tempdir().unwrap()),
        }
    }

    pub fn path(&self) -> &Path {
        match self {
            Place::Kept(dir) => dir,
            Place::Passing(dir) => dir.path(),
        }
    }
}
