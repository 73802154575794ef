//! The columns of a clip's frames, as [`crate::report::column`] has those of frames: CSV and the README
//! read this one list.

use super::record::{ClipFrameRow, ClipRecord};
use crate::report::column::Cell;

/// One column.
pub struct ClipColumn {
    /// Stable key with the unit in it.
    pub key: &'static str,
    /// Key of the standard error's own column, for columns that have one.
    pub error_key: Option<&'static str>,
    /// Unit; empty for words and counts.
    pub unit: &'static str,
    /// What it means.
    pub meaning: &'static str,
    /// The value.
    pub get: fn(&ClipRecord, &ClipFrameRow) -> Cell,
}

const fn column(
    key: &'static str,
    unit: &'static str,
    meaning: &'static str,
    get: fn(&ClipRecord, &ClipFrameRow) -> Cell,
) -> ClipColumn {
    ClipColumn { key, error_key: None, unit, meaning, get }
}

/// All columns, in order.
pub const CLIP_COLUMNS: &[ClipColumn] = &[
    column("path", "", "The clip.", |c, _| Cell::Path(c.path.clone())),
    column("frame", "", "Number of the frame, from 0.", |_, f| Cell::Whole(u64::from(f.frame))),
    column("t_s", "s", "Time since the clip's start, by its own clock.", |_, f| {
        Cell::Number(f.t_s)
    }),
    column("frame_type", "", "How it was coded: I on its own, P and B from others.", |_, f| {
        Cell::Text(f.frame_type.to_owned())
    }),
    column(
        "verdict",
        "",
        "hit, near, miss or cannot say: what the frame is at its subject, against the clip's best frames.",
        |_, f| Cell::Text(f.verdict.word().to_owned()),
    ),
    column("cause", "", "What cost the most sharpness.", |_, f| {
        f.cause.map_or(Cell::Missing, |c| Cell::Text(c.word().to_owned()))
    }),
    ClipColumn {
        key: "blur_sigma_px",
        error_key: Some("blur_sigma_std_err_px"),
        unit: "px",
        meaning: "Blur at the subject, from its edges: half the width of the blur.",
        get: |_, f| Cell::measured(f.blur_sigma_px),
    },
    column(
        "blur_ratio",
        "×",
        "Blur from edges and fine contrast together over that of the clip's best frames; the verdict goes by it.",
        |_, f| Cell::number(f.blur_ratio),
    ),
    column(
        "motion_px",
        "px",
        "Movement of the picture at the subject since the frame before.",
        |_, f| Cell::number(f.motion_px),
    ),
    column(
        "motion_um",
        "µm",
        "The same on the subject, when magnification and pixel pitch are known.",
        |_, f| Cell::number(f.motion_um),
    ),
    column(
        "rotation_deg",
        "°",
        "Rotation of the picture since the frame before, counter-clockwise.",
        |_, f| Cell::number(f.rotation_deg),
    ),
    ClipColumn {
        key: "smear_px",
        error_key: Some("smear_std_err_px"),
        unit: "px",
        meaning: "Length of the smear that movement left at the subject, where one is seen.",
        get: |_, f| Cell::measured(f.smear_px),
    },
    column(
        "noise_sigma_dn",
        "DN",
        "Noise in flat places, in 8-bit steps, as the codec left it: compares frames, no figure of the sensor.",
        |_, f| Cell::number(f.noise_sigma_dn),
    ),
    column("mean_dn", "DN", "Mean brightness of the frame, in 8-bit steps.", |_, f| {
        Cell::Number(f.mean_dn)
    }),
    column("subject_x", "0..1", "Where the subject is, from the left edge.", |_, f| {
        Cell::number(f.subject_x)
    }),
    column("subject_y", "0..1", "Where the subject is, from the top edge.", |_, f| {
        Cell::number(f.subject_y)
    }),
    column("flags", "", "What makes the numbers shaky, by key.", |_, f| {
        let keys: Vec<&str> = f.flags.iter().map(|f| f.key()).collect();
        if keys.is_empty() { Cell::Missing } else { Cell::Text(keys.join(" ")) }
    }),
];

/// The columns as the README shows them.
pub fn markdown_table() -> String {
    let mut table = String::from("| key | unit | meaning |\n|---|---|---|\n");
    for c in CLIP_COLUMNS {
        let key = match c.error_key {
            Some(error) => format!("`{}`, `{error}`", c.key),
            None => format!("`{}`", c.key),
        };
        table.push_str(&format!("| {key} | {} | {} |\n", c.unit, c.meaning));
    }
    table
}
