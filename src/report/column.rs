//! The one list of columns. Terminal, CSV, the evidence in HTML and the README's table all read
//! it, so a column has one key, one heading, one unit and one meaning everywhere.

use super::record::FrameRecord;
use super::wording;
use crate::core::Measured;

/// How many digits are shown to people. CSV and JSON carry the number as measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decimals {
    /// As many as the standard error allows; three significant digits without one.
    ByError,
    /// Always that many after the point.
    Fixed(usize),
    /// As many as the number has: values that were set, not measured.
    AsSet,
    /// An f-number as marked: "8", "5.6".
    FNumber,
    /// An exposure time as marked: "1/200".
    Shutter,
}

/// A value on its way into a cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// No value.
    Missing,
    /// Words.
    Text(String),
    /// A file path, relative where possible.
    Path(String),
    /// A count.
    Whole(u64),
    /// A number without error.
    Number(f64),
    /// A number with its error.
    Measured(f64, Option<f64>),
    /// A number with its error, shown by the range that holds it with 68 % probability.
    Range(f64, Option<f64>, f64, f64),
}

impl Cell {
    pub(crate) fn measured(m: Option<Measured>) -> Cell {
        m.map_or(Cell::Missing, |m| Cell::Measured(m.value, m.std_err))
    }

    pub(crate) fn number(n: Option<f64>) -> Cell {
        n.map_or(Cell::Missing, Cell::Number)
    }

    fn whole(n: Option<u32>) -> Cell {
        n.map_or(Cell::Missing, |n| Cell::Whole(u64::from(n)))
    }

    fn text(t: Option<String>) -> Cell {
        t.filter(|t| !t.is_empty()).map_or(Cell::Missing, Cell::Text)
    }

    fn yes_no(b: Option<bool>) -> Cell {
        b.map_or(Cell::Missing, |b| Cell::Text(if b { "yes" } else { "no" }.to_owned()))
    }
}

/// One column.
pub struct Column {
    /// Stable key with the unit in it: the heading in CSV.
    pub key: &'static str,
    /// Key of the standard error's own column in CSV, for columns that have one.
    pub error_key: Option<&'static str>,
    /// Heading for people, without the unit.
    pub heading: &'static str,
    /// Unit as shown; empty for words and counts.
    pub unit: &'static str,
    /// Digits shown.
    pub decimals: Decimals,
    /// What it means, one sentence.
    pub meaning: &'static str,
    /// Where the value is in the record.
    pub get: fn(&FrameRecord) -> Cell,
}

impl Column {
    /// The value as shown to people, without the unit; `None` when there is none.
    pub fn shown(&self, frame: &FrameRecord) -> Option<String> {
        if let Cell::Range(value, _, low, high) = (self.get)(frame)
            && [value, low, high].iter().all(|v| v.is_finite())
        {
            return Some(wording::range(value, low, high));
        }
        let (value, error) = self.shown_parts(frame)?;
        Some(match error {
            Some(error) => format!("{value} ± {error}"),
            None => value,
        })
    }

    /// The value and its error as shown to people; `None` when there is no value.
    pub fn shown_parts(&self, frame: &FrameRecord) -> Option<(String, Option<String>)> {
        match ((self.get)(frame), self.decimals) {
            (Cell::Missing, _) => None,
            (Cell::Text(t) | Cell::Path(t), _) => Some((wording::visible(&t), None)),
            (Cell::Whole(n), _) => Some((n.to_string(), None)),
            (Cell::Range(v, e, _, _), _) => {
                Some(wording::value_and_error(v, e)).filter(|_| v.is_finite())
            }
            (Cell::Number(v) | Cell::Measured(v, _), _) if !v.is_finite() => None,
            (Cell::Number(v), Decimals::ByError) => Some((wording::number(v), None)),
            (Cell::Number(v), Decimals::Fixed(d)) => Some((wording::fixed(v, d), None)),
            (Cell::Number(v) | Cell::Measured(v, _), Decimals::AsSet) => {
                Some((wording::short(v), None))
            }
            (Cell::Number(v) | Cell::Measured(v, _), Decimals::FNumber) => {
                Some((wording::f_number(v).trim_start_matches("f/").to_owned(), None))
            }
            (Cell::Number(v) | Cell::Measured(v, _), Decimals::Shutter) => {
                Some((wording::shutter(v).trim_end_matches(" s").to_owned(), None))
            }
            (Cell::Measured(v, e), Decimals::ByError) => Some(wording::value_and_error(v, e)),
            (Cell::Measured(v, e), Decimals::Fixed(d)) => {
                Some((wording::fixed(v, d), e.map(|e| wording::fixed(e, d))))
            }
        }
    }
}

/// Shorthand for the rows of [`COLUMNS`].
macro_rules! column {
    ($key:literal, $heading:literal, $unit:literal, $decimals:expr, $get:expr, $meaning:literal) => {
        Column {
            key: $key,
            error_key: None,
            heading: $heading,
            unit: $unit,
            decimals: $decimals,
            meaning: $meaning,
            get: $get,
        }
    };
    ($key:literal + $error:literal, $heading:literal, $unit:literal, $decimals:expr, $get:expr,
     $meaning:literal) => {
        Column {
            key: $key,
            error_key: Some($error),
            heading: $heading,
            unit: $unit,
            decimals: $decimals,
            meaning: $meaning,
            get: $get,
        }
    };
}

use Decimals::{AsSet, ByError, FNumber, Fixed, Shutter};

/// Every column, in the order in which they are written.
#[rustfmt::skip]
pub static COLUMNS: &[Column] = &[
    column!("path", "frame", "", ByError, |f| Cell::Path(f.path.clone()),
        "The file."),
    column!("partner_path", "partner", "", ByError,
        |f| f.partner.clone().map_or(Cell::Missing, Cell::Path),
        "The raw file or JPEG taken with it."),
    column!("burst", "burst", "", ByError, |f| Cell::Whole(u64::from(f.burst)),
        "Number of the burst, from 1."),
    column!("verdict", "verdict", "", ByError, |f| Cell::Text(f.verdict.word().to_owned()),
        "hit, near, miss or cannot say: what the frame is at its subject."),
    column!("cause", "cause", "", ByError,
        |f| Cell::text(wording::first_cause(f).map(str::to_owned)),
        "What cost the most sharpness."),
    column!("cause_share", "share of the loss", "0..1", Fixed(2),
        |f| Cell::number(f.causes.first().and_then(|c| c.share)),
        "How much of the loss the first cause explains, as variance of blur."),
    column!("blur_sigma_px" + "blur_sigma_std_err_px", "blur", "px", ByError,
        |f| match (f.blur_sigma_px, f.blur_low_px, f.blur_high_px) {
            (Some(m), Some(low), Some(high)) => Cell::Range(m.value, m.std_err, low, high),
            (m, _, _) => Cell::measured(m),
        },
        "Blur at the subject: 0.187 over the frequency (cycles per pixel) at which lens, focus, pixel and movement together pass half the contrast, before the camera's sharpening."),
    column!("blur_low_px", "blur at least", "px", ByError, |f| Cell::number(f.blur_low_px),
        "Lower end of the range that holds the blur with 68 % probability."),
    column!("blur_high_px", "blur at most", "px", ByError, |f| Cell::number(f.blur_high_px),
        "Upper end of that range."),
    column!("blur_by", "blur read from", "", ByError,
        |f| Cell::text(f.blur_by.map(|b| b.word().to_owned())),
        "burst (ratio to its sharpest frame), pattern or texture (its spectrum), or edges."),
    column!("blur_allowed_px", "blur allowed", "px", ByError, |f| Cell::number(f.blur_allowed_px),
        "Blur that these settings can give at best."),
    column!("blur_ratio" + "blur_ratio_std_err", "to best", "×", ByError,
        |f| Cell::measured(f.blur_ratio),
        "Blur over that of the burst's sharpest frame; over what the settings allow where nothing is sharp or the frame is alone. The verdict is based on it."),
    column!("motion_length_px" + "motion_length_std_err_px", "motion", "px", ByError,
        |f| f.motion.map_or(Cell::Missing, |m| Cell::Measured(m.length_px, m.length_std_err_px)),
        "Length of the smear that movement left at the subject."),
    column!("motion_direction_deg", "direction", "°", Fixed(0),
        |f| Cell::number(f.motion.map(|m| m.direction_deg)),
        "Direction of the smear, counter-clockwise from the horizontal."),
    column!("noise_sigma_dn" + "noise_sigma_std_err_dn", "noise", "DN", ByError,
        |f| Cell::measured(f.noise_sigma_dn),
        "Noise in the middle tones: standard deviation in 8-bit steps."),
    column!("detail_bits_px" + "detail_std_err_bits_px", "detail", "bit/px", ByError,
        |f| Cell::measured(f.detail_bits_px),
        "Detail above noise at the subject."),
    column!("focus" + "focus_std_err", "focus", "", ByError, |f| Cell::measured(f.focus),
        "Fine contrast at the subject with noise taken off: ranks frames of one burst, means nothing across bursts."),
    column!("sharp_area", "sharp area", "0..1", Fixed(2), |f| Cell::number(f.sharp_area),
        "Share of the frame's judged tiles that are as sharp as a hit."),
    column!("subject_x", "subject from left", "0..1", Fixed(3),
        |f| Cell::number(f.subject.map(|s| s.x)),
        "Where the subject is, from the left edge, over the width."),
    column!("subject_y", "subject from top", "0..1", Fixed(3),
        |f| Cell::number(f.subject.map(|s| s.y)),
        "Where the subject is, from the top edge, over the height."),
    column!("subject_confidence", "subject confidence", "0..1", Fixed(2),
        |f| Cell::number(f.subject.map(|s| s.confidence)),
        "How sure it is that this is the same spot as in the rest of the burst."),
    column!("sharpest_x", "sharpest from left", "0..1", Fixed(3),
        |f| Cell::number(f.sharpest.map(|s| s.x)),
        "The sharpest place of the frame, from the left edge, over the width."),
    column!("sharpest_y", "sharpest from top", "0..1", Fixed(3),
        |f| Cell::number(f.sharpest.map(|s| s.y)),
        "The sharpest place of the frame, from the top edge, over the height."),
    column!("sharpest_blur_sigma_px" + "sharpest_blur_sigma_std_err_px", "blur there", "px", ByError,
        |f| Cell::measured(f.sharpest.map(|s| s.blur_sigma_px)),
        "Blur at the sharpest place."),
    column!("subject_mean_dn", "brightness", "DN", Fixed(0), |f| Cell::number(f.subject_mean_dn),
        "Mean brightness at the subject, in 8-bit steps."),
    column!("whole_frame_lap_var", "plain Laplacian", "DN²", ByError,
        |f| Cell::number(f.whole_frame_lap_var),
        "Variance of the plain Laplacian over the whole frame, for comparison only: noise raises it."),
    column!("output_width_px", "output width", "px", ByError,
        |f| Cell::whole(f.at_output.map(|a| a.output_width_px)),
        "Width at which the picture will be used."),
    column!("output_verdict", "verdict at output", "", ByError,
        |f| Cell::text(f.at_output.map(|a| a.verdict.word().to_owned())),
        "The verdict at that width."),
    column!("output_blur_sigma_px" + "output_blur_sigma_std_err_px", "blur at output", "px", ByError,
        |f| Cell::measured(f.at_output.and_then(|a| a.blur_sigma_px)),
        "Blur at the subject in pixels of that width."),
    column!("marked_f_number", "f-number", "", FNumber, |f| Cell::number(f.exposure.f_number),
        "Aperture as marked on the lens; close up the working f-number is higher."),
    column!("shutter_s", "shutter", "s", Shutter, |f| Cell::number(f.exposure.shutter_s),
        "Exposure time."),
    column!("iso", "ISO", "", ByError, |f| Cell::whole(f.exposure.iso),
        "Sensitivity as set."),
    column!("flash_fired", "flash", "", ByError, |f| Cell::yes_no(f.exposure.flash_fired),
        "Whether the camera saw a flash fire; one that it does not know may have fired anyway."),
    column!("focal_mm", "focal length", "mm", AsSet, |f| Cell::number(f.exposure.focal_mm),
        "Focal length as recorded."),
    column!("exposure_bias_ev", "bias", "Ev", AsSet,
        |f| Cell::number(f.exposure.exposure_bias_ev),
        "Exposure compensation."),
    column!("taken_at", "taken at", "", ByError, |f| Cell::text(f.exposure.taken_at.clone()),
        "Capture time, local."),
    column!("body", "body", "", ByError, |f| Cell::text(f.exposure.body.clone()),
        "Camera body as recorded."),
    column!("lens", "lens", "", ByError, |f| Cell::text(f.exposure.lens.clone()),
        "Lens as recorded."),
    column!("pixel_pitch_um", "pixel pitch", "µm", Fixed(2),
        |f| Cell::number(f.exposure.pixel_pitch_um),
        "Distance between pixels on the sensor."),
    column!("rig", "rig", "", ByError, |f| Cell::text(f.exposure.rig.clone()),
        "Equipment as described with `rig`."),
    column!("magnification" + "magnification_std_err", "magnification", "×", ByError,
        |f| Cell::measured(f.exposure.magnification),
        "Size on the sensor over size of the subject."),
    column!("working_f_number" + "working_f_number_std_err", "working f-number", "", ByError,
        |f| Cell::measured(f.exposure.working_f_number),
        "Aperture that light and diffraction go by at this magnification."),
    column!("object_um_per_px" + "object_std_err_um_per_px", "on subject", "µm/px", ByError,
        |f| Cell::measured(f.exposure.object_um_per_px),
        "Size of a pixel on the subject."),
    column!("width_px", "width", "px", ByError, |f| Cell::Whole(u64::from(f.width_px)),
        "Width of the upright picture."),
    column!("height_px", "height", "px", ByError, |f| Cell::Whole(u64::from(f.height_px)),
        "Height of the upright picture."),
    column!("flags", "cautions", "", ByError,
        |f| Cell::text(Some(f.flags.iter().map(|x| x.key()).collect::<Vec<_>>().join(" "))),
        "What makes the numbers shaky, by key."),
    column!("because", "because", "", ByError, |f| Cell::text(Some(f.because.clone())),
        "Why this verdict, and what to do."),
];

/// The column with that key.
pub fn by_key(key: &str) -> Option<&'static Column> {
    COLUMNS.iter().find(|c| c.key == key)
}

/// The list as a Markdown table, for the README.
pub fn markdown_table() -> String {
    let mut table = String::from("| key | heading | unit | meaning |\n|---|---|---|---|\n");
    for column in COLUMNS {
        let key = match column.error_key {
            Some(error) => format!("`{}`, `{error}`", column.key),
            None => format!("`{}`", column.key),
        };
        let line =
            format!("| {key} | {} | {} | {} |\n", column.heading, column.unit, column.meaning);
        table.push_str(&line);
    }
    table
}
