//! The numbers of a scale as text: one layout for the terminal and the page.

use super::record::ScaleRecord;
use crate::core::ValueSource;
use crate::report::value::WithError;
use crate::report::wording;

/// Heading and value with its unit, in the order of reading.
pub fn numbers(record: &ScaleRecord) -> Vec<(&'static str, String)> {
    let mut rows = Vec::new();
    let mut row = |heading, value: Option<WithError>, unit: &str| {
        if let Some(v) = value {
            rows.push((heading, format!("{} {unit}", wording::plus_minus(v.value, v.std_err))));
        }
    };
    row("a pixel on the subject", record.object_um_per_px, "µm");
    row("magnification", record.magnification, "×");
    row("field width", record.field_width_mm, "mm");
    row("field height", record.field_height_mm, "mm");
    row("ticks apart, by place", record.period_px, "px");
    if let Some(period) = record.period_by_spectrum_px {
        let decimals = record.period_px.and_then(|p| p.std_err).map_or(2, wording::decimals_for);
        let text = format!("{} px (no error of its own)", wording::fixed(period, decimals));
        rows.push(("ticks apart, by spectrum", text));
    }
    if let Some(ticks) = record.ticks {
        let mm = wording::short(record.ticks_mm.value);
        let from = from(record.ticks_mm.from);
        rows.push(("ticks", format!("{ticks}, {mm} mm apart ({from})")));
    }
    if let Some(angle) = record.angle_deg {
        rows.push(("ruler's direction", format!("{}°", wording::fixed(angle, 1))));
    }
    if let Some(pitch) = &record.pixel_pitch_um {
        let text = format!("{} µm ({})", wording::number(pitch.value), from(pitch.from));
        rows.push(("pixel pitch", text));
    }
    for (heading, change) in [
        ("scale changes along", record.change_along),
        ("scale changes across", record.change_across),
    ] {
        if let Some(change) = change {
            let text = format!("{} % over the frame", wording::fixed(100.0 * change, 2));
            rows.push((heading, text));
        }
    }
    rows
}

/// Where a value came from, in words.
fn from(source: ValueSource) -> &'static str {
    match source {
        ValueSource::File => "from the file",
        ValueSource::Typed => "as typed",
        ValueSource::Rig => "from the rig",
        ValueSource::Assumed => "assumed",
    }
}

/// What stands above the table of depths: both tolerances.
pub fn depth_heading(record: &ScaleRecord) -> Option<String> {
    let disc = record.blur_disc_um?;
    Some(format!(
        "Depth on the subject within a blur disc of {} µm on the sensor (1/1442 of the diagonal, \
         common practice, no source) and within a quarter wave of green light; pupil ratio {} \
         ({}). Without error: worked out for an ideal lens.",
        wording::number(disc),
        wording::short(record.pupil_ratio.value),
        from(record.pupil_ratio.from),
    ))
}
