//! From the log to what people read.

use std::collections::BTreeMap;

use crate::report::value::WithError;
use crate::report::wording;
use crate::store::log::{LoggedFrame, LoggedNoise, Outing};
use crate::store::log_record::{FrameLine, NoiseLine, OutingLine};

/// An outing as one line.
pub fn outing_line(outing: &Outing) -> OutingLine {
    let when = outing.first_taken_at.as_deref().unwrap_or(&outing.logged_at);
    OutingLine {
        id: outing.id,
        day: wording::day(when).unwrap_or(when).to_owned(),
        title: outing.title.clone(),
        kind: outing.kind.word(),
        subject: outing.subject.clone(),
        rig: outing.rig.clone(),
        frames: outing.frames,
        hits: outing.hits,
        excluded: outing.excluded,
    }
}

/// A frame as one line.
pub fn frame_line(frame: &LoggedFrame) -> FrameLine {
    let pair = |v: Option<WithError>| v.map(|v| (v.value, v.std_err));
    let mut settings = Vec::new();
    settings.extend(frame.marked_f_number.map(wording::f_number));
    settings.extend(frame.working_f_number.map(|n| format!("working {}", wording::f_number(n))));
    settings.extend(frame.shutter_s.map(wording::shutter));
    settings.extend(frame.iso.map(|iso| format!("ISO {iso}")));
    if frame.flash_fired == Some(true) {
        settings.push("flash".to_owned());
    }
    FrameLine {
        name: wording::file_name(&frame.path),
        burst: frame.burst,
        verdict: frame.verdict.clone(),
        cause: frame.causes.split(' ').next().unwrap_or_default().to_owned(),
        blur_sigma_px: pair(frame.blur_sigma_px),
        detail_bits_px: pair(frame.detail_bits_px),
        settings: settings.join(" · "),
    }
}

/// What is known of each body's noise.
pub fn noise_lines(rows: &[LoggedNoise]) -> Vec<NoiseLine> {
    let mut bodies: BTreeMap<&str, Vec<&LoggedNoise>> = BTreeMap::new();
    for row in rows {
        bodies.entry(&row.body).or_default().push(row);
    }
    let lines = bodies.into_iter().map(|(body, rows)| {
        let isos: std::collections::BTreeSet<_> = rows.iter().map(|r| r.iso).collect();
        NoiseLine { body: body.to_owned(), rows: rows.len(), isos: isos.len() }
    });
    lines.collect()
}
