//! Blur drawn to scale, and the legend of the maps.

use super::drawing::{Anchor, Drawing};
use crate::core::Measured;
use crate::report::colour_scale;
use crate::report::wording;

/// CSS px drawn for one px of the picture.
pub const PX_PER_PX: f64 = 14.0;

/// Length of the ruler, px of the picture. A wider blur runs off its end and says so.
pub const RULER_PX: u32 = 20;

/// Room left of 0 and right of the end, so that end labels are not cut.
const MARGIN: f64 = 6.0;

/// The numbers of a blur bar.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BlurBar {
    /// Blur at the subject, px.
    pub blur: Measured,
    /// The range that holds the blur with 68 % probability, px.
    pub range_px: Option<(f64, f64)>,
    /// Blur that the settings can give at best, px.
    pub allowed_px: Option<f64>,
    /// Pixel pitch, µm, for the length of the ruler on the sensor.
    pub pixel_pitch_um: Option<f64>,
}

/// The blur of a frame as a bar as long as the blur is wide (2σ), above a ruler of pixels, with
/// a mark over its range (or its standard error) and a tick where the settings' own blur ends.
pub fn blur_bar(bar: &BlurBar) -> String {
    let blur = bar.blur;
    let wide_px = 2.0 * blur.value;
    let end_px = f64::from(RULER_PX);
    let at = |px: f64| MARGIN + px.clamp(0.0, end_px) * PX_PER_PX;
    let shown = match bar.range_px {
        Some((low, high)) => wording::range(blur.value, low, high),
        None => wording::measured(&blur),
    };
    let says = format!("blur {shown} px: a bar {} px long", number(wide_px));
    let mut d = Drawing::new(end_px * PX_PER_PX + 2.0 * MARGIN, 46.0, &says);

    d.rect("accent", (at(0.0), 6.0), at(wide_px) - at(0.0), 12.0);
    if wide_px > end_px {
        // A gap across the bar: it goes on beyond the ruler.
        d.path("gap", &[(at(end_px) - 22.0, 20.0), (at(end_px) - 16.0, 4.0)]);
    }
    let error = || blur.std_err.map(|err| (blur.value - err, blur.value + err));
    let ends = bar.range_px.or_else(error);
    if let Some((low, high)) = ends.filter(|(low, high)| wide_px <= end_px && low < high) {
        d.error_level(12.0, at(2.0 * low), at(2.0 * high));
    }
    if let Some(allowed) = bar.allowed_px.filter(|a| a.is_finite() && 2.0 * a <= end_px) {
        d.line("allowed", (at(2.0 * allowed), 1.0), (at(2.0 * allowed), 25.0));
    }
    let length = |px: u32| if px.is_multiple_of(5) { 6.0 } else { 3.0 };
    let ticks: Vec<(f64, f64)> = (0..=RULER_PX).map(|px| (at(f64::from(px)), length(px))).collect();
    d.ruler(25.0, &ticks);
    let last = match bar.pixel_pitch_um.filter(|p| p.is_finite()) {
        Some(pitch) => format!("{RULER_PX} px = {} µm", wording::fixed(end_px * pitch, 0)),
        None => format!("{RULER_PX} px"),
    };
    for (px, label) in [(0.0, "0"), (5.0, "5"), (10.0, "10")] {
        d.text("soft", (at(px), 43.0), Anchor::Middle, label);
    }
    d.text("soft", (at(end_px) + MARGIN, 43.0), Anchor::End, &last);
    d.done()
}

fn number(value: f64) -> String {
    wording::fixed(value, 1)
}

/// The scale of the maps with its ticks in px and, when the pitch is known, µm on the sensor.
pub fn map_legend(pixel_pitch_um: Option<f64>) -> String {
    const WIDTH: f64 = 256.0;
    let left = 14.0;
    let says = "Colour scale: blur from 0.5 px, light, to 8 px, dark; equal steps are doublings";
    let height = if pixel_pitch_um.is_some() { 48.0 } else { 34.0 };
    let mut d = Drawing::new(WIDTH + 64.0, height, says);
    d.scale((left, 0.0), WIDTH, 12.0);
    for sigma_px in colour_scale::TICKS_SIGMA_PX {
        let x = left + colour_scale::place(sigma_px) * WIDTH;
        d.line("rule", (x, 12.0), (x, 17.0));
        d.text("soft", (x, 29.0), Anchor::Middle, &wording::short(sigma_px));
        if let Some(pitch) = pixel_pitch_um {
            d.text("soft", (x, 44.0), Anchor::Middle, &wording::fixed(sigma_px * pitch, 1));
        }
    }
    d.text("soft", (left + WIDTH + 20.0, 29.0), Anchor::Start, "px");
    if pixel_pitch_um.is_some() {
        d.text("soft", (left + WIDTH + 20.0, 44.0), Anchor::Start, "µm");
    }
    d.done()
}

/// The blur scale as a gradient, to be placed once a page before any legend. Twenty stops follow
/// the curve through sRGB to within one step of 255 or two.
pub fn scale_gradient() -> String {
    const STOPS: u32 = 20;
    let stop = |i: u32| {
        let place = f64::from(i) / f64::from(STOPS);
        let colour = colour_scale::hex(colour_scale::colour_at(place));
        format!(r#"<stop offset="{place}" stop-color="{colour}"/>"#)
    };
    let stops: String = (0..=STOPS).map(stop).collect();
    format!(
        r#"<svg class="defs" aria-hidden="true" width="0" height="0"><defs><linearGradient id="blur-scale">{stops}</linearGradient></defs></svg>"#
    )
}
