//! From the log to what people read, and to the cells of its export.

use std::collections::BTreeMap;

use crate::report::column::Cell;
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

/// Headings of the export's rows: of the outing, then of the frame.
pub const EXPORT_HEADER: [&str; 43] = [
    "outing",
    "outing_uid",
    "outing_kind",
    "outing_title",
    "outing_subject",
    "outing_rig",
    "outing_excluded",
    "logged_at",
    "path",
    "content_id",
    "taken_at",
    "source",
    "width_px",
    "height_px",
    "burst",
    "marked_f_number",
    "working_f_number",
    "shutter_s",
    "iso",
    "flash_fired",
    "focal_mm",
    "body",
    "lens",
    "rig",
    "magnification",
    "magnification_std_err",
    "pixel_pitch_um",
    "verdict",
    "causes",
    "cause_share",
    "blur_sigma_px",
    "blur_sigma_std_err_px",
    "blur_allowed_px",
    "blur_ratio",
    "blur_ratio_std_err",
    "detail_bits_px",
    "detail_std_err_bits_px",
    "noise_sigma_dn",
    "noise_sigma_std_err_dn",
    "motion_length_px",
    "motion_length_std_err_px",
    "subject_mean_dn",
    "flags",
];

/// A frame of an outing as a row of the export, one cell a heading.
pub fn export_row(o: &Outing, f: &LoggedFrame) -> Vec<Cell> {
    let text = |t: &str| {
        if t.is_empty() { Cell::Missing } else { Cell::Text(t.to_owned()) }
    };
    let maybe = |t: &Option<String>| t.as_deref().map_or(Cell::Missing, text);
    let number = |v: Option<f64>| v.map_or(Cell::Missing, Cell::Number);
    let whole = |v: Option<u32>| v.map_or(Cell::Missing, |v| Cell::Whole(u64::from(v)));
    let yes = |b: bool| Cell::Text(if b { "yes" } else { "no" }.to_owned());
    let pair =
        |v: Option<WithError>| [number(v.map(|v| v.value)), number(v.and_then(|v| v.std_err))];
    let mut row = vec![
        Cell::Whole(u64::try_from(o.id).unwrap_or_default()),
        text(&o.uid),
        text(o.kind.word()),
        text(&o.title),
        maybe(&o.subject),
        maybe(&o.rig),
        yes(o.excluded),
        text(&o.logged_at),
        Cell::Path(f.path.clone()),
        text(&f.content_id),
        maybe(&f.taken_at),
        text(&f.source),
        whole(Some(f.width_px)),
        whole(Some(f.height_px)),
        whole(Some(f.burst)),
        number(f.marked_f_number),
        number(f.working_f_number),
        number(f.shutter_s),
        whole(f.iso),
        f.flash_fired.map_or(Cell::Missing, yes),
        number(f.focal_mm),
        maybe(&f.body),
        maybe(&f.lens),
        maybe(&f.rig),
    ];
    row.extend(pair(f.magnification));
    row.extend([
        number(f.pixel_pitch_um),
        text(&f.verdict),
        text(&f.causes),
        number(f.cause_share),
    ]);
    row.extend(pair(f.blur_sigma_px));
    row.push(number(f.blur_allowed_px));
    row.extend(pair(f.blur_ratio));
    row.extend(pair(f.detail_bits_px));
    row.extend(pair(f.noise_sigma_dn));
    row.extend(pair(f.motion_length_px));
    row.extend([number(f.subject_mean_dn), text(&f.flags)]);
    row
}
