//! What the program says about a burst, read from its record as JSON: the one place to change
//! when the record gets new fields.

use std::collections::BTreeMap;
use std::path::Path;

use serde_json::Value;
use stopwise::core::progress::NoProgress;
use stopwise::cull::outing::{OutingJob, cull};
use stopwise::store::overrides::UserOverrides;

/// Blur as told, with the ranges that hold the truth in 68 and 95 of 100 cases.
#[derive(Debug, Clone, Copy)]
pub struct Blur {
    pub value_px: f64,
    pub range68_px: Option<(f64, f64)>,
    pub range95_px: Option<(f64, f64)>,
}

/// What is said of one frame.
#[derive(Debug, Clone)]
pub struct Told {
    /// "hit", "near", "miss" or "unclear".
    pub call: String,
    pub blur: Option<Blur>,
    /// Blur over the burst's best.
    pub ratio: Option<f64>,
    /// The ranking energy.
    pub focus: Option<f64>,
    /// First cause, when any is told.
    pub cause: Option<String>,
    /// The subject, fraction of the width and of the height.
    pub at: Option<(f64, f64)>,
    /// Whether it is said that even the best is soft.
    pub best_is_soft: bool,
}

/// What is said of a burst.
#[derive(Debug, Clone)]
pub struct ToldBurst {
    pub frames: Vec<Told>,
    pub best: Option<usize>,
    /// Another frame shown beside the best, for a subject that could be elsewhere.
    pub other: Option<usize>,
    pub confidence: Option<f64>,
    /// Bursts that the program made of it.
    pub parts: usize,
    /// The rows of the record.
    pub rows: Vec<Value>,
    /// The bursts of the record.
    pub bursts: Vec<Value>,
}

/// Judges the files of a folder as `cull` does, with the subject marked in the first frame or
/// without a mark.
pub fn judged(
    dir: &Path,
    names: &[String],
    mark: Option<(f64, f64)>,
    typed: UserOverrides,
) -> ToldBurst {
    let marks: BTreeMap<String, (f64, f64)> =
        mark.and_then(|m| Some((names.first()?.clone(), m))).into_iter().collect();
    let paths = names.iter().map(|n| dir.join(n)).collect();
    let job = OutingJob { paths, marks, typed, ..OutingJob::default() };
    let (record, _) = cull(&job, &NoProgress, &mut |_| Ok(())).unwrap();
    told(&serde_json::to_value(&record).unwrap(), names)
}

/// Reads a record of `cull`.
pub fn told(record: &Value, names: &[String]) -> ToldBurst {
    let list = |key: &str| record[key].as_array().cloned().unwrap_or_default();
    let ends_with = |path: &Value, name: &str| {
        let path = path.as_str().unwrap_or_default();
        path == name || path.ends_with(&format!("/{name}"))
    };
    let rows = list("frames");
    let bursts = list("bursts");
    let rows: Vec<Value> = names
        .iter()
        .map(|n| rows.iter().find(|r| ends_with(&r["path"], n)).cloned().unwrap_or(Value::Null))
        .collect();
    // Where the program made several bursts of one, its longest speaks for it.
    let main = bursts
        .iter()
        .max_by_key(|b| b["frames"].as_array().map_or(0, Vec::len))
        .cloned()
        .unwrap_or(Value::Null);
    let index = |path: &Value| names.iter().position(|n| ends_with(path, n));
    ToldBurst {
        frames: rows.iter().map(frame).collect(),
        best: index(&main["best"]),
        other: index(&main["other"]["best"]).or_else(|| index(&main["second"])),
        confidence: main["subject"]["confidence"].as_f64(),
        parts: bursts.len(),
        rows,
        bursts,
    }
}

fn frame(row: &Value) -> Told {
    let number = |v: &Value| v["value"].as_f64().or_else(|| v.as_f64());
    let flags = row["flags"].as_array();
    let has = |key: &str| flags.is_some_and(|f| f.iter().any(|v| v == key));
    Told {
        call: row["verdict"].as_str().unwrap_or("unclear").to_owned(),
        blur: blur(row),
        ratio: number(&row["blur_ratio"]),
        focus: number(&row["focus"]),
        cause: row["causes"][0]["cause"].as_str().map(str::to_owned),
        at: row["subject"]["x"].as_f64().zip(row["subject"]["y"].as_f64()),
        best_is_soft: has("best-is-soft"),
    }
}

/// A range of 68 % is taken as told; twice as wide in its own measure holds 95 %. While only a
/// standard error is told, one and two of it stand for the ranges.
fn blur(row: &Value) -> Option<Blur> {
    let told = &row["blur_sigma_px"];
    let value_px = told["value"].as_f64()?;
    let end = |key: &str| {
        row[format!("blur_{key}_px")].as_f64().or_else(|| told[key].as_f64()).filter(|v| *v > 0.0)
    };
    if let (Some(low), Some(high)) = (end("low"), end("high")) {
        // Multiplicative: the square of the ratio to the middle.
        let wide = (low * low / value_px, high * high / value_px);
        return Some(Blur {
            value_px,
            range68_px: Some((low, high)),
            range95_px: Some((end("low95").unwrap_or(wide.0), end("high95").unwrap_or(wide.1))),
        });
    }
    let range = |k: f64| told["std_err"].as_f64().map(|e| (value_px - k * e, value_px + k * e));
    Some(Blur { value_px, range68_px: range(1.0), range95_px: range(2.0) })
}

impl ToldBurst {
    /// Whether it is said that nothing here is sharp.
    pub fn nothing_sharp(&self) -> bool {
        let count = |call: &str| self.frames.iter().filter(|f| f.call == call).count();
        let all_miss = count("hit") + count("near") == 0 && 2 * count("miss") > self.frames.len();
        self.frames.iter().any(|f| f.best_is_soft) || all_miss
    }
}
