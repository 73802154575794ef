//! What the page is told. Numbers come as they are shown, so that the page does no rounding.

use crate::core::Flag;
use crate::core::verdict::Verdict;
use crate::cull::columns::{COLUMNS, by_key};
use crate::cull::record::{BurstRecord, FrameRecord};
use crate::cull::wording::first_cause;
use crate::report::sentences::Medium;
use crate::report::wording;
use serde::Serialize;

/// An answer.
pub struct HttpAnswer {
    /// Status of HTTP.
    pub status: u16,
    /// Media type.
    pub kind: &'static str,
    /// Content.
    pub body: Vec<u8>,
}

impl HttpAnswer {
    /// A refusal, with its reason.
    pub fn refused(status: u16, says: &str) -> HttpAnswer {
        HttpAnswer {
            status,
            kind: "text/plain; charset=utf-8",
            body: format!("{says}\n").into_bytes(),
        }
    }

    /// Something found.
    pub fn of(kind: &'static str, body: impl Into<Vec<u8>>) -> HttpAnswer {
        HttpAnswer { status: 200, kind, body: body.into() }
    }

    /// A value as JSON.
    pub fn json(value: &impl Serialize) -> HttpAnswer {
        match serde_json::to_vec(value) {
            Ok(body) => HttpAnswer::of("application/json", body),
            Err(_) => HttpAnswer::refused(500, "the answer could not be written"),
        }
    }
}

/// The outing.
#[derive(Serialize)]
pub struct OutingAnswer {
    pub title: String,
    pub facts: String,
    pub decided: usize,
    pub frames: usize,
    pub bursts: Vec<BurstLine>,
}

/// A line in the list of bursts.
#[derive(Serialize)]
pub struct BurstLine {
    pub id: u32,
    /// Number of its first frame in the outing.
    pub first: usize,
    pub frames: usize,
    pub clock: Option<String>,
    pub hits: usize,
    pub decided: usize,
    /// Number of the frame to begin with: the best, else the first.
    pub start: usize,
}

/// A burst.
#[derive(Serialize)]
pub struct BurstAnswer {
    pub id: u32,
    pub facts: String,
    pub tally: String,
    pub subject: &'static str,
    pub findings: Vec<String>,
    pub best: Option<usize>,
    pub frames: Vec<FrameAnswer>,
    /// How long judging it again took, when it was.
    pub took_ms: Option<u64>,
}

/// A frame.
#[derive(Serialize)]
pub struct FrameAnswer {
    /// Its number in the outing.
    pub n: usize,
    pub name: String,
    pub path: String,
    pub width: u32,
    pub height: u32,
    pub subject: Option<[f64; 2]>,
    pub sure: Option<String>,
    pub verdict: &'static str,
    pub cause: Option<&'static str>,
    pub blur: Option<String>,
    pub ratio: Option<String>,
    /// Blur, its error and what the settings allow, for drawing to scale.
    pub blur_px: Option<f64>,
    pub err_px: Option<f64>,
    pub allowed_px: Option<f64>,
    pub because: String,
    pub settings: String,
    pub cautions: Vec<&'static str>,
    pub evidence: Vec<[String; 2]>,
    /// What the person said.
    pub decided: Option<Verdict>,
    /// Whether its file is there.
    pub there: bool,
}

/// The facts of a burst: "8 frames · 15:02:00, 3.1 s · f/11 · 1/160 s · ISO 200".
pub fn burst_facts(burst: &BurstRecord, rows: &[FrameRecord]) -> String {
    let mut parts = vec![wording::count(rows.len() as u32, "frame", "frames")];
    let clock = rows.iter().find_map(|f| wording::clock(f.exposure.taken_at.as_deref()?));
    let lasts = burst.duration_s.filter(|_| rows.len() > 1);
    match (clock, lasts.map(|s| format!("{} s", wording::fixed(s, 1)))) {
        (Some(clock), Some(lasts)) => parts.push(format!("{clock}, {lasts}")),
        (Some(clock), None) => parts.push(clock.to_owned()),
        (None, Some(lasts)) => parts.push(lasts),
        (None, None) => {}
    }
    parts.join(" · ")
}

impl FrameAnswer {
    /// Everything the page shows of a frame.
    pub fn new(n: usize, row: &FrameRecord, decided: Option<Verdict>, there: bool) -> FrameAnswer {
        let shown = |key: &str| {
            let column = by_key(key)?;
            Some((column.shown(row)?, column.unit))
        };
        let said = |key: &str| matches!(key, "because" | "flags" | "path");
        let evidence = COLUMNS.iter().filter(|c| !said(c.key)).filter_map(|c| {
            let unit = if c.unit == "0..1" { "" } else { c.unit };
            let value = c.shown(row)?;
            Some([c.heading.to_owned(), format!("{value} {unit}").trim_end().to_owned()])
        });
        let sound = |v: Option<f64>| v.filter(|v| v.is_finite());
        FrameAnswer {
            n,
            name: wording::file_name(&row.path),
            path: wording::visible(&row.path),
            width: row.width_px,
            height: row.height_px,
            subject: row.subject.map(|s| [s.x, s.y]),
            sure: row.subject.map(|s| wording::fixed(s.confidence, 2)),
            verdict: row.verdict.word(),
            cause: first_cause(row),
            blur: shown("blur_sigma_px").map(|(v, unit)| format!("{v} {unit}")),
            ratio: shown("blur_ratio").map(|(v, unit)| format!("{v} {unit} best")),
            blur_px: sound(row.blur_sigma_px.map(|m| m.value)),
            err_px: sound(row.blur_sigma_px.and_then(|m| m.std_err)),
            allowed_px: sound(row.attainable_blur_px),
            because: wording::visible(&row.because.sentence(Medium::ReviewPage)),
            settings: wording::settings(&row.exposure),
            cautions: row.flags.iter().map(Flag::says).collect(),
            evidence: evidence.collect(),
            decided,
            there,
        }
    }
}

/// A line of the list for a burst.
pub fn burst_line(
    burst: &BurstRecord,
    first: usize,
    rows: &[FrameRecord],
    decided: usize,
) -> BurstLine {
    let best = burst.best.as_deref().and_then(|b| rows.iter().position(|r| r.path == b));
    BurstLine {
        id: burst.id,
        first,
        frames: rows.len(),
        clock: rows
            .iter()
            .find_map(|f| wording::clock(f.exposure.taken_at.as_deref()?))
            .map(str::to_owned),
        hits: rows.iter().filter(|r| r.verdict == Verdict::Hit).count(),
        decided,
        start: first + best.unwrap_or(0),
    }
}
