//! The program as people and scripts run it: on small files made here.

mod cache;
mod chart;
mod confined;
mod contract;
#[cfg(feature = "raw")]
mod documented;
mod ends;
#[cfg(all(feature = "raw", unix))]
mod full_disk;
mod guessed;
#[cfg(feature = "raw")]
mod hostile;
mod hostile_page;
mod installed;
mod log;
mod log_forms;
mod mark;
mod names;
mod odd_files;
mod one_factor;
mod outputs;
mod plan;
mod review;
#[cfg(unix)]
mod review_kills;
mod rigs;

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use assert_cmd::Command;
use exif::{Field, Tag, Value};
use jpeg_encoder::{ColorType, Encoder};
use serde_json::Value as Json;
use stopwise::core::Plane;
use stopwise::simulator::patch::{PatchKind, patch};

use crate::exposure::{field, rational, segment, text};

/// Side of the drawing that pictures are cut from, px.
const DRAWING_PX: usize = 640;
/// Sides of the pictures, px.
pub const SIZE: (usize, usize) = (384, 256);

/// A folder that goes away with the test, in which the program is run.
pub struct Place(tempfile::TempDir);

impl Place {
    pub fn new() -> Place {
        Place(tempfile::tempdir().unwrap())
    }

    pub fn path(&self) -> &Path {
        self.0.path()
    }

    pub fn put(&self, name: &str, bytes: &[u8]) -> PathBuf {
        let path = self.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, bytes).unwrap();
        path
    }

    /// An outing in `day`: bursts of the given numbers of frames.
    pub fn outing(&self, bursts: &[usize]) -> usize {
        let mut number = 0;
        for (burst, frames) in bursts.iter().enumerate() {
            for frame in 0..*frames {
                number += 1;
                let picture =
                    drawing(0.7 + 0.5 * frame as f64).cut(8 * burst, 4 * frame, SIZE.0, SIZE.1);
                let bytes = jpeg(&picture, &exposed(burst, frame));
                self.put(&format!("day/f{number:03}.jpg"), &bytes);
            }
        }
        number
    }

    /// Runs the program here and returns exit code, output and what it said beside it.
    pub fn run(&self, args: &[&str]) -> Ran {
        let out = self.command(args).output().unwrap();
        let utf8 = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
        Ran { code: out.status.code(), stdout: utf8(out.stdout), stderr: utf8(out.stderr) }
    }

    pub fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(PROGRAM);
        command
            .current_dir(self.path())
            .args(args)
            .envs(OWN)
            .env("STOPWISE_DECISIONS", self.path().join("kept/decisions"))
            .timeout(HANGS);
        command
    }

    /// The record of `cull --json -`, with the exit code.
    pub fn culled(&self, args: &[&str]) -> (Json, Option<i32>) {
        let ran = self.run(&[&["cull", "--json", "-", "--no-report"], args].concat());
        let record = serde_json::from_str(&ran.stdout)
            .unwrap_or_else(|e| panic!("{e} in {:?}; it said {}", ran.stdout, ran.stderr));
        (record, ran.code)
    }
}

/// A program that takes longer hangs: no bar of its speed.
pub const HANGS: std::time::Duration = std::time::Duration::from_secs(600);

/// Names the folder of the cache.
pub const CACHE: &str = "STOPWISE_CACHE";

/// Where the program keeps things while it is tested: never in the user's own folders.
pub const OWN: [(&str, &str); 3] =
    [("STOPWISE_LOG", "own/log.sqlite"), ("STOPWISE_RIGS", "own/rigs.toml"), (CACHE, "off")];

pub const PROGRAM: &str = env!("CARGO_BIN_EXE_stopwise");

/// How a run ended.
pub struct Ran {
    pub code: Option<i32>,
    pub stdout: String,
    pub stderr: String,
}

/// Overlapping shapes with a Gaussian blur of that sigma (tenths of a px); made once for each.
pub fn drawing(sigma_px: f64) -> &'static Plane {
    static MADE: [OnceLock<Plane>; 64] = [const { OnceLock::new() }; 64];
    let index = (sigma_px * 10.0).round() as usize;
    MADE[index].get_or_init(|| patch(PatchKind::DeadLeaves, sigma_px, 1.5, 11, DRAWING_PX))
}

/// A picture from the drawing.
pub fn picture(sigma_px: f64) -> Plane {
    drawing(sigma_px).cut(32, 32, SIZE.0, SIZE.1)
}

/// A plane as JPEG, with Exif when fields are given.
pub fn jpeg(plane: &Plane, fields: &[Field]) -> Vec<u8> {
    jpeg_with(&plane.to_luma(), (plane.width_px, plane.height_px), &segment_of(fields))
}

fn segment_of(fields: &[Field]) -> Vec<u8> {
    if fields.is_empty() { Vec::new() } else { segment(fields) }
}

/// Grey values as JPEG with an Exif block, which may be nonsense.
pub fn jpeg_with(grey: &[u8], size: (usize, usize), block: &[u8]) -> Vec<u8> {
    let mut out = Vec::new();
    let mut encoder = Encoder::new(&mut out, 95);
    if !block.is_empty() {
        encoder.add_exif_metadata(block).unwrap();
    }
    encoder.encode(grey, size.0 as u16, size.1 as u16, ColorType::Luma).unwrap();
    out
}

/// What a camera writes about frame `frame` of burst `burst`: bursts are a minute apart, frames
/// a third of a second.
pub fn exposed(burst: usize, frame: usize) -> Vec<Field> {
    let ms = 300 * frame;
    let time = format!("2031:06:14 {:02}:{:02}:{:02}", 9 + burst / 60, burst % 60, ms / 1000);
    vec![
        field(Tag::Make, text("Velmarrow")),
        field(Tag::Model, text("Velmarrow VM-7")),
        field(Tag::FNumber, rational(8, 1)),
        field(Tag::ExposureTime, rational(1, 200)),
        field(Tag::PhotographicSensitivity, Value::Short(vec![400])),
        field(Tag::Flash, Value::Short(vec![0x10])),
        field(Tag::FocalLength, rational(90, 1)),
        field(Tag::DateTimeOriginal, text(&time)),
        field(Tag::SubSecTimeOriginal, text(&format!("{:03}", ms % 1000))),
    ]
}

/// The reason why a file was skipped.
pub fn skipped<'a>(record: &'a Json, name: &str) -> &'a str {
    let rows = record["skipped"].as_array().unwrap();
    let row = rows.iter().find(|r| r["path"].as_str().unwrap().ends_with(name));
    row.unwrap_or_else(|| panic!("{name} is not among {rows:?}"))["reason"].as_str().unwrap()
}
