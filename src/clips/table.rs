//! The stretches of a clip as text cells, for the terminal and the page.

use super::record::{ClipRecord, SpanRecord, SpanVerdict};
use crate::report::wording;

/// One column of the table of stretches.
pub struct SpanColumn {
    /// Heading.
    pub heading: &'static str,
    /// Unit.
    pub unit: &'static str,
    /// Whether numbers stand in it.
    pub number: bool,
    /// How early it is left out where room is short; 0 stays.
    pub drop_priority: u8,
    /// One cell a stretch.
    pub cells: Vec<String>,
}

/// Columns with a value in at least one stretch.
pub fn spans(clip: &ClipRecord) -> Vec<SpanColumn> {
    let column =
        |heading, unit, number, drop_priority, get: &dyn Fn(&SpanRecord) -> Option<String>| {
            let cells: Vec<Option<String>> = clip.spans.iter().map(get).collect();
            let any = cells.iter().any(Option::is_some);
            any.then(|| SpanColumn {
                heading,
                unit,
                number,
                drop_priority,
                cells: cells.into_iter().map(Option::unwrap_or_default).collect(),
            })
        };
    let two = |v: f64| Some(wording::fixed(v, 2));
    [
        column("verdict", "", false, 0, &|s| Some(s.verdict.word().to_owned())),
        column("from", "s", true, 0, &|s| two(s.start_s)),
        column("to", "s", true, 0, &|s| two(s.end_s)),
        column("length", "s", true, 3, &|s| two(s.end_s - s.start_s)),
        column("played", "s", true, 2, &|s| two(s.play_s?)),
        column("cause", "", false, 2, &|s| Some(s.cause?.word().to_owned())),
        column("blur", "px", true, 0, &|s| Some(wording::measured(&s.blur_sigma_px?))),
        column("unsteady", "px rms", true, 1, &|s| Some(wording::number(s.steadiness_px?))),
        column("shake", "±px", true, 4, &|s| Some(wording::measured(&s.shake?.amplitude_px?))),
        column("at", "Hz", true, 4, &|s| Some(wording::measured(&s.shake?.frequency_hz?))),
        column("crop", "up to ×", true, 1, &|s| {
            let shown = matches!(s.verdict, SpanVerdict::InFocus | SpanVerdict::Near);
            Some(wording::measured(&s.crop_max.filter(|_| shown)?))
        }),
        column("best frame", "s", true, 2, &|s| {
            let shown = matches!(s.verdict, SpanVerdict::InFocus | SpanVerdict::Near);
            Some(wording::fixed(s.best_frame_s.filter(|_| shown)?, 3))
        }),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// "1920 x 1080 px · 59.94 fps · 12.3 s · h264, 8 bit · played at 24 fps: 2.5 times slower".
pub fn facts(clip: &ClipRecord) -> Vec<String> {
    let mut parts = vec![
        format!("{} x {} px", clip.width_px, clip.height_px),
        format!(
            "{}{} fps",
            wording::short((clip.fps * 100.0).round() / 100.0),
            if clip.variable_rate { " (uneven)" } else { "" }
        ),
        format!("{} s", wording::fixed(clip.length_s, 1)),
        format!("{}, {} bit", clip.codec, clip.bits),
    ];
    if clip.interlaced {
        parts.push("interlaced".to_owned());
    }
    if let (Some(play), Some(slower)) = (clip.play_fps, clip.slower) {
        let times = wording::short((slower * 100.0).round() / 100.0);
        parts.push(format!("played at {} fps: {times} times slower", wording::short(play)));
    }
    if let Some(camera) = &clip.camera {
        parts.push(wording::visible(camera));
    }
    if let Some(taken) = &clip.taken_at {
        parts.push(wording::visible(taken));
    }
    parts
}

/// "best 2.0 s: 4.10 to 6.10 s, 96 % hits".
pub fn stretch(clip: &ClipRecord) -> Option<String> {
    let s = clip.best_stretch?;
    Some(format!(
        "Best {} s: {} to {} s, {} of it hits.",
        wording::fixed(s.end_s - s.start_s, 1),
        wording::fixed(s.start_s, 2),
        wording::fixed(s.end_s, 2),
        wording::per_cent(s.hit_share)
    ))
}
