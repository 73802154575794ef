//! A clip along its time: stretches, blur, movement and noise above one axis.

use crate::clips::record::{ClipFrameRow, ClipRecord, SpanVerdict};
use crate::core::verdict::Verdict;
use crate::report::svg::axis::{AxisScale, even_ticks};
use crate::report::svg::drawing::Anchor;
use crate::report::svg::plot::{Plot, PlotArea};
use crate::report::wording;

/// Widths drawn: a desk and a phone held upright.
pub const WIDTHS: [f64; 2] = [1060.0, 350.0];

/// Points a curve may have for each px of width.
const POINTS_A_PX: f64 = 1.0;
/// Heights of the parts.
const SPANS: f64 = 30.0;
const TRACK: f64 = 84.0;
const GAP: f64 = 34.0;

/// The time line of a clip at a width. `None` for a clip without length.
pub fn time_line(clip: &ClipRecord, width: f64) -> Option<String> {
    let start = clip.spans.first()?.start_s;
    let tracks = tracks(clip);
    let bottom = GAP + SPANS + (tracks.len() as f64) * (TRACK + GAP);
    let (left, right) = (40.0, width - 14.0);
    let area = PlotArea { width, left, right, top: GAP - 8.0, bottom, below: 40.0 };
    let x = area.x(AxisScale::Linear, (start, start + clip.length_s), (0.0, 0.0))?;
    let mut p = Plot::new(area, x, area.y(AxisScale::Linear, (0.0, 1.0))?, &said(clip));
    spans(&mut p, clip);
    let mut top = GAP + SPANS + GAP;
    for t in &tracks {
        p.area = PlotArea { top, bottom: top + TRACK, ..area };
        p.y = p.area.y(t.spread, t.range)?;
        track(&mut p, clip, t);
        top += TRACK + GAP;
    }
    p.area = PlotArea { bottom: bottom + 4.0, ..area };
    p.drawing.line("rule", (left, p.area.bottom), (right, p.area.bottom));
    let every = if width < 500.0 { 2 } else { 1 };
    let ticks = even_ticks(clip.length_s).into_iter().step_by(every);
    let ticks: Vec<f64> = ticks.filter(|t| *t <= clip.length_s).map(|t| start + t).collect();
    p.ticks(&ticks, 1, |t| wording::short(t - start));
    p.drawing.text("soft", (right, p.area.bottom + 34.0), Anchor::End, "seconds");
    Some(p.done())
}

/// The stretches as bars, the higher the sharper.
fn spans(p: &mut Plot, clip: &ClipRecord) {
    let foot = p.area.top + SPANS;
    p.drawing.text("soft", (p.area.left, GAP - 20.0), Anchor::Start, "stretches");
    for s in &clip.spans {
        let (from, to) = (p.x.at(s.start_s), p.x.at(s.end_s));
        let (class, height) = match s.verdict {
            SpanVerdict::InFocus => ("accent", SPANS),
            SpanVerdict::Near => ("near", SPANS * 0.5),
            SpanVerdict::Out => ("bar", 4.0),
            SpanVerdict::Unclear => ("none", 0.0),
        };
        p.drawing.rect(class, (from, foot - height), (to - from - 0.5).max(0.5), height);
        if to - from > 62.0 {
            let (class, y) = match s.verdict {
                SpanVerdict::InFocus => ("on-accent", GAP + 11.0),
                _ => ("soft", foot - height - 5.0),
            };
            p.drawing.text(class, ((from + to) / 2.0, y), Anchor::Middle, s.verdict.word());
        }
    }
}

/// One value over time.
fn track(p: &mut Plot, clip: &ClipRecord, t: &TimelineTrack) {
    let PlotArea { left, right, top, .. } = p.area;
    p.drawing.text("soft", (left, top - 10.0), Anchor::Start, t.heading);
    p.levels(&t.ticks, 1, wording::short);
    for (value, label) in &t.bounds {
        let y = p.y.at(*value);
        p.drawing.line("allowed", (left, y), (right, y));
        p.drawing.text("ink", (right, y - 4.0), Anchor::End, label);
    }
    for part in parts(clip, t.get, ((right - left) * POINTS_A_PX) as usize) {
        match part[..] {
            [one] => p.dot("accent", one, 1.5),
            _ => p.curve("curve", part),
        }
    }
}

struct TimelineTrack {
    heading: &'static str,
    spread: AxisScale,
    range: (f64, f64),
    ticks: Vec<f64>,
    bounds: Vec<(f64, &'static str)>,
    get: fn(&ClipFrameRow) -> Option<f64>,
}

fn tracks(clip: &ClipRecord) -> Vec<TimelineTrack> {
    let most = |get: fn(&ClipFrameRow) -> Option<f64>| {
        clip.frames_table.iter().filter_map(get).filter(|v| v.is_finite()).reduce(f64::max)
    };
    let mut tracks = Vec::new();
    let blur: fn(&ClipFrameRow) -> Option<f64> = |f| f.blur_ratio;
    if let Some(high) = most(blur) {
        let high = high.clamp(2.5, 16.0);
        let ticks = [1.0, 2.0, 4.0, 8.0, 16.0].into_iter().filter(|t| *t <= high).collect();
        tracks.push(TimelineTrack {
            heading: "blur, times that of the best frames",
            spread: AxisScale::Log,
            range: (0.7, high),
            ticks,
            bounds: vec![(1.3, "in focus below")],
            get: blur,
        });
    }
    let mut even = |heading, get: fn(&ClipFrameRow) -> Option<f64>| {
        if let Some(high) = most(get).filter(|h| *h > 0.0) {
            let ticks = even_ticks(high);
            let top = ticks.last().copied().unwrap_or(high);
            let shown = ticks.iter().step_by(ticks.len().div_ceil(4)).copied().collect();
            tracks.push(TimelineTrack {
                heading,
                spread: AxisScale::Linear,
                range: (0.0, top),
                ticks: shown,
                bounds: Vec::new(),
                get,
            });
        }
    };
    even("movement, px from frame to frame", |f| f.motion_px);
    even("noise, DN", |f| f.noise_sigma_dn);
    tracks
}

/// Runs of frames with a value, thinned to the extremes of each step so that no peak is lost.
fn parts(
    clip: &ClipRecord,
    get: fn(&ClipFrameRow) -> Option<f64>,
    points: usize,
) -> Vec<Vec<(f64, f64)>> {
    let mut runs: Vec<Vec<(f64, f64)>> = vec![Vec::new()];
    for f in &clip.frames_table {
        let value = get(f).filter(|v| v.is_finite() && f.verdict != Verdict::Unclear);
        match (value, runs.last_mut()) {
            (Some(v), Some(run)) => run.push((f.t_s, v)),
            (None, Some(run)) if !run.is_empty() => runs.push(Vec::new()),
            _ => {}
        }
    }
    let step = clip.frames_table.len() * 2 / points.max(1);
    runs.retain(|r| !r.is_empty());
    if step < 4 {
        return runs;
    }
    let by_value = |a: &&(f64, f64), b: &&(f64, f64)| a.1.total_cmp(&b.1);
    runs.iter()
        .map(|run| {
            let ends = run.chunks(step).flat_map(|c| {
                let low = c.iter().min_by(by_value);
                let high = c.iter().max_by(by_value);
                let mut two: Vec<(f64, f64)> = low.into_iter().chain(high).copied().collect();
                two.sort_by(|a, b| a.0.total_cmp(&b.0));
                two
            });
            ends.collect()
        })
        .collect()
}

fn said(clip: &ClipRecord) -> String {
    let spans: Vec<String> = clip
        .spans
        .iter()
        .take(40)
        .map(|s| {
            format!(
                "{} from {} to {} s",
                s.verdict.word(),
                wording::fixed(s.start_s, 1),
                wording::fixed(s.end_s, 1)
            )
        })
        .collect();
    format!("Time line: {}", spans.join(", "))
}
