//! The columns of a clip: its frames for CSV and the reference, its stretches for the terminal and
//! the page.

use super::record::{ClipFrameRow, ClipRecord, SpanRecord, SpanVerdict};
use crate::report::column::Decimals::{ByError, Fixed};
use crate::report::column::{Cell, Column};

/// A frame and the clip that it is of.
#[derive(Debug, Clone, Copy)]
pub struct ClipFrameLine<'a> {
    /// The clip.
    pub clip: &'a ClipRecord,
    /// The frame.
    pub frame: &'a ClipFrameRow,
}

/// The frames of all clips, in order.
pub fn frames(clips: &[ClipRecord]) -> impl Iterator<Item = ClipFrameLine<'_>> {
    clips
        .iter()
        .flat_map(|clip| clip.frames_table.iter().map(move |frame| ClipFrameLine { clip, frame }))
}

/// All columns, in order.
#[rustfmt::skip]
pub const fn columns<'a>() -> [Column<ClipFrameLine<'a>>; 17] {
    [
    Column::new("path", "clip", "", ByError,
        |row| Cell::Path(row.clip.path.clone()),
        "The clip."),
    Column::new("frame", "frame", "", ByError,
        |row| Cell::Whole(u64::from(row.frame.frame)),
        "Number of the frame, from 0."),
    Column::new("t_s", "time", "s", ByError,
        |row| Cell::Number(row.frame.t_s),
        "Time since the clip's start, by its own clock."),
    Column::new("frame_type", "coded as", "", ByError,
        |row| Cell::Text(row.frame.frame_type.to_owned()),
        "How it was coded: I on its own, P and B from others."),
    Column::new("verdict", "verdict", "", ByError,
        |row| Cell::Text(row.frame.verdict.word().to_owned()),
        "Verdict at the subject against the clip's best frames: hit, near, miss or unclear."),
    Column::new("cause", "cause", "", ByError,
        |row| row.frame.cause.map_or(Cell::Missing, |c| Cell::Text(c.word().to_owned())),
        "Main cause of blur."),
    Column::with_error("blur_sigma_px", "blur_sigma_std_err_px", "blur", "px", ByError,
        |row| Cell::measured(row.frame.blur_sigma_px),
        "Blur at the subject, from its edges: half the width of the blur."),
    Column::new("blur_ratio", "blur ratio", "×", ByError,
        |row| Cell::number(row.frame.blur_ratio),
        "Blur from edges and fine contrast together over that of the clip's best frames. The verdict is based on it."),
    Column::new("motion_px", "moves", "px", ByError,
        |row| Cell::number(row.frame.motion_px),
        "Movement of the picture at the subject since the frame before."),
    Column::new("motion_um", "moves", "µm", ByError,
        |row| Cell::number(row.frame.motion_um),
        "The same on the subject, when magnification and pixel pitch are known."),
    Column::new("rotation_deg", "turns", "°", ByError,
        |row| Cell::number(row.frame.rotation_deg),
        "Rotation of the picture since the frame before, counter-clockwise."),
    Column::with_error("smear_px", "smear_std_err_px", "smear", "px", ByError,
        |row| Cell::measured(row.frame.smear_px),
        "Length of the smear that movement left at the subject, where one is seen."),
    Column::new("noise_sigma_dn", "noise", "DN", ByError,
        |row| Cell::number(row.frame.noise_sigma_dn),
        "Noise in flat areas after the codec, in 8-bit steps: it compares frames and does not describe the sensor."),
    Column::new("mean_dn", "brightness", "DN", ByError,
        |row| Cell::Number(row.frame.mean_dn),
        "Mean brightness of the frame, in 8-bit steps."),
    Column::new("subject_x", "subject x", "0..1", ByError,
        |row| Cell::number(row.frame.subject_x),
        "Where the subject is, from the left edge."),
    Column::new("subject_y", "subject y", "0..1", ByError,
        |row| Cell::number(row.frame.subject_y),
        "Where the subject is, from the top edge."),
    Column::new("flags", "flags", "", ByError,
        |row| flags(row.frame),
        "Cautions, by key."),
    ]
}

fn flags(frame: &ClipFrameRow) -> Cell {
    let keys: Vec<&str> = frame.flags.iter().map(|f| f.key()).collect();
    Cell::text(Some(keys.join(" ")))
}

/// Columns of the stretches; those of what a stretch is good for say nothing of one that is not.
#[rustfmt::skip]
pub static SPAN_COLUMNS: &[Column<SpanRecord>] = &[
    Column::new("verdict", "verdict", "", ByError,
        |s| Cell::Text(s.verdict.word().to_owned()),
        "Verdict at the subject over the stretch."),
    Column::new("start_s", "from", "s", Fixed(2),
        |s| Cell::Number(s.start_s),
        "Its start, by the clip's own clock."),
    Column::new("end_s", "to", "s", Fixed(2),
        |s| Cell::Number(s.end_s),
        "Its end."),
    Column::new("length_s", "length", "s", Fixed(2),
        |s: &SpanRecord| Cell::Number(s.end_s - s.start_s),
        "Its length.")
        .dropped(3),
    Column::new("play_s", "played", "s", Fixed(2),
        |s: &SpanRecord| Cell::number(s.play_s),
        "Its length as played.")
        .dropped(2),
    Column::new("cause", "cause", "", ByError,
        |s: &SpanRecord| Cell::text(s.cause.map(|c| c.word().to_owned())),
        "Main cause of blur.")
        .dropped(2),
    Column::new("blur_sigma_px", "blur", "px", ByError,
        |s| Cell::measured(s.blur_sigma_px),
        "Blur at the subject."),
    Column::new("steadiness_px", "unsteady", "px rms", ByError,
        |s: &SpanRecord| Cell::number(s.steadiness_px),
        "Movement that is left when the slow drift is taken off, root mean square.")
        .dropped(1),
    Column::new("shake_amplitude_px", "shake", "±px", ByError,
        |s: &SpanRecord| Cell::measured(s.shake.as_ref().and_then(|h| h.amplitude_px)),
        "Amplitude of the strongest rhythm, half its swing.")
        .dropped(4),
    Column::new("shake_frequency_hz", "at", "Hz", ByError,
        |s: &SpanRecord| Cell::measured(s.shake.as_ref().and_then(|h| h.frequency_hz)),
        "Its frequency.")
        .dropped(4),
    Column::new("crop_max", "crop", "up to ×", ByError,
        |s: &SpanRecord| Cell::measured(s.crop_max.filter(|_| usable(s))),
        "How far it can be cropped before the finest detail is coarser than the delivered pixels.")
        .dropped(1),
    Column::new("best_frame_s", "best frame", "s", Fixed(3),
        |s: &SpanRecord| Cell::number(s.best_frame_s.filter(|_| usable(s))),
        "Time of its sharpest frame.")
        .dropped(2),
];

fn usable(span: &SpanRecord) -> bool {
    matches!(span.verdict, SpanVerdict::InFocus | SpanVerdict::Near)
}
