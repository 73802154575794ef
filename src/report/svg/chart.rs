//! Charts: causes as plain bars, shares over stops, the spectrum, and noise by tone.

use super::axis::{AxisScale, F_STOPS, PlotAxis, WORKING_STOPS, even_ticks, stop_range};
use super::drawing::{Anchor, Drawing};
use super::plot::{
    NAME, PHONE_WIDTH, Plot, PlotArea, decades, label_every, power_of_ten, tick_decimals,
};
use crate::core::Measured;
use crate::report::parts::{BreakdownRow, NoiseAt, Proportion, SpectrumPoint};
use crate::report::wording;

/// Width of the charts of an outing: four side by side on a desk, one on a phone.
const WIDTH: f64 = 304.0;

/// What the stops of a [`share_chart`] are stops of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stops {
    /// Marked f-numbers.
    Aperture,
    /// Exposure times.
    Shutter,
    /// Working f-numbers, which go on where marked ones end.
    Working,
}

impl Stops {
    fn ticks(self) -> &'static [f64] {
        match self {
            Stops::Aperture => &F_STOPS,
            Stops::Working => &WORKING_STOPS,
            Stops::Shutter => &wording::SHUTTER_STOPS,
        }
    }

    fn label(self, value: f64) -> String {
        match self {
            Stops::Aperture | Stops::Working => wording::f_number(value),
            Stops::Shutter => wording::shutter(value).trim_end_matches(" s").to_owned(),
        }
    }
}

/// Counts as plain bars, one row a cause, the count at the bar's end. `None` without rows.
pub fn cause_bars(rows: &[BreakdownRow]) -> Option<String> {
    const ROW: f64 = 26.0;
    const LEFT: f64 = 112.0;
    let most = rows.iter().map(|r| r.share.count).max().filter(|m| *m > 0)?;
    let said: Vec<String> = rows.iter().map(|r| format!("{} {}", r.key, r.share.count)).collect();
    let says = format!("Causes: {}", said.join(", "));
    let mut d = Drawing::new(WIDTH, rows.len() as f64 * ROW, &says);
    let axis = PlotAxis::new(AxisScale::Linear, (0.0, f64::from(most)), (LEFT, WIDTH - 36.0))?;
    for (i, row) in rows.iter().enumerate() {
        let y = i as f64 * ROW;
        d.text("ink", (LEFT - 10.0, y + 16.0), Anchor::End, &row.key);
        let end = axis.at(f64::from(row.share.count));
        d.rect("bar", (LEFT, y + 5.0), end - LEFT, 14.0);
        d.text("ink", (end + 6.0, y + 16.0), Anchor::Start, &row.share.count.to_string());
    }
    d.line("rule", (LEFT, 0.0), (LEFT, rows.len() as f64 * ROW));
    Some(d.done())
}

/// A share and its 95 % interval on a ruler from 0 to 100 %. `None` without an interval.
pub fn share_ruler(share: &Proportion) -> Option<String> {
    let (low, high) = (share.low?, share.high?);
    let axis = PlotAxis::new(AxisScale::Linear, (0.0, 1.0), (14.0, WIDTH - 20.0))?;
    let mut d = Drawing::new(WIDTH, 44.0, &wording::share(share));
    let y = 10.0;
    d.rect("bar", (axis.at(low), y - 3.0), axis.at(high) - axis.at(low), 6.0);
    d.error_level(y, axis.at(low), axis.at(high));
    d.dot("accent", (axis.at(f64::from(share.count) / f64::from(share.of)), y), 6.0);
    d.line("rule", (axis.at(0.0), 22.0), (axis.at(1.0), 22.0));
    for tenth in 0..=10u32 {
        let x = axis.at(f64::from(tenth) / 10.0);
        let long = tenth % 5 == 0;
        d.line("rule", (x, 22.0), (x, if long { 28.0 } else { 25.0 }));
        if long {
            let label = wording::per_cent(f64::from(tenth) / 10.0);
            d.text("soft", (x, 41.0), Anchor::Middle, &label);
        }
    }
    Some(d.done())
}

/// Shares with their 95 % intervals over an axis in stops; the counts stand above each mark.
/// `None` when no row has a place on the axis.
pub fn share_chart(rows: &[BreakdownRow], stops: Stops) -> Option<String> {
    const AREA: PlotArea = PlotArea {
        width: WIDTH,
        left: 46.0,
        right: WIDTH - 14.0,
        top: 30.0,
        bottom: 190.0,
        below: 24.0,
    };
    let placed: Vec<(f64, &BreakdownRow)> =
        rows.iter().filter_map(|r| Some((r.at?, r))).filter(|(at, _)| *at > 0.0).collect();
    let values: Vec<f64> = placed.iter().map(|(at, _)| *at).collect();
    let said: Vec<String> =
        rows.iter().map(|r| format!("{}: {}", r.key, wording::share(&r.share))).collect();
    let range = stop_range(&values, stops.ticks())?;
    let x = AREA.x(AxisScale::Log, range, (14.0, 14.0))?;
    let y = AREA.y(AxisScale::Linear, (0.0, 1.0))?;
    let mut p = Plot::new(AREA, x, y, &said.join("; "));
    p.levels(&[0.0, 0.25, 0.5, 0.75, 1.0], 2, wording::per_cent);
    let ticks: Vec<f64> = x.on(stops.ticks()).collect();
    let every = label_every(ticks.len(), AREA.right - AREA.left, 40.0);
    p.ticks(&ticks, every, |stop| stops.label(stop));
    let mut free_from = f64::NEG_INFINITY;
    for (at, row) in placed {
        let (Some(low), Some(high)) = (row.share.low, row.share.high) else { continue };
        p.error(at, low, high);
        p.dot("accent", (at, f64::from(row.share.count) / f64::from(row.share.of)), 5.0);
        // A count that would run into its neighbour goes one line up.
        let label = format!("{}/{}", row.share.count, row.share.of);
        let (centre, half) = (x.at(at), label.len() as f64 * 3.2);
        let raised = centre - half < free_from;
        let line = if raised { AREA.top - 20.0 } else { AREA.top - 7.0 };
        free_from = if raised { f64::NEG_INFINITY } else { centre + half + 3.0 };
        p.drawing.text("ink", (centre, line), Anchor::Middle, &label);
    }
    Some(p.done())
}

/// Power of picture and noise over frequency, both axes logarithmic, with the highest frequency
/// still above noise. `None` with fewer than two sound points.
pub fn spectrum_chart(points: &[SpectrumPoint], resolved: Option<Measured>) -> Option<String> {
    const AREA: PlotArea = PlotArea {
        width: PHONE_WIDTH,
        left: 40.0,
        right: PHONE_WIDTH - 62.0,
        top: 26.0,
        bottom: 230.0,
        below: 44.0,
    };
    let sound = |v: f64| v.is_finite() && v > 0.0;
    let kept: Vec<&SpectrumPoint> =
        points.iter().filter(|p| sound(p.cy_px) && sound(p.power)).collect();
    let (first, last) = (kept.first()?.cy_px, kept.last()?.cy_px);
    let powers = kept.iter().flat_map(|p| [p.power, p.noise]).filter(|v| sound(*v));
    let decades = decades(powers)?;
    let y = AREA.y(AxisScale::Log, (*decades.first()?, *decades.last()?))?;
    let x = AREA.x(AxisScale::Log, (first, last), (0.0, 0.0))?;
    let resolved = resolved.filter(|m| sound(m.value));
    let says = match resolved {
        Some(m) => format!(
            "Power spectrum at the subject: above noise up to {} cycles per pixel",
            wording::measured(&m)
        ),
        None => "Power spectrum at the subject, picture and noise".to_owned(),
    };
    let mut p = Plot::new(AREA, x, y, &says);
    p.levels(&decades, if decades.len() > 7 { 2 } else { 1 }, power_of_ten);
    let ticks: Vec<f64> = x.on(&[0.01, 0.02, 0.05, 0.1, 0.2, 0.5]).collect();
    p.ticks(&ticks, 1, wording::short);
    p.x_name(NAME, "cycles per pixel");
    if let Some(m) = resolved {
        resolved_mark(&mut p, m, first);
    }
    let line = |get: fn(&SpectrumPoint) -> f64| -> Vec<(f64, f64)> {
        kept.iter().filter(|p| sound(get(p))).map(|p| (p.cy_px, get(p))).collect()
    };
    let (picture, noise) = (line(|p| p.power), line(|p| p.noise));
    p.curve("curve-soft", noise.iter().copied());
    p.curve("curve", picture.iter().copied());
    // Direct labels at the right ends, kept a line apart.
    let end = |line: &[(f64, f64)]| line.last().map(|(_, v)| y.at(*v));
    if let Some(at) = end(&picture) {
        let below = end(&noise).unwrap_or(f64::INFINITY);
        p.right_label("ink", at.min(below - 15.0).max(AREA.top + 4.0), "picture");
    }
    if let Some(at) = end(&noise) {
        p.right_label("soft", at + 6.0, "noise");
    }
    Some(p.done())
}

/// The highest frequency above noise with its error.
fn resolved_mark(p: &mut Plot, m: Measured, first: f64) {
    let PlotArea { width, top, bottom, .. } = p.area;
    if let Some(err) = m.std_err.filter(|e| e.is_finite() && *e > 0.0) {
        let (from, to) = (p.x.at((m.value - err).max(first)), p.x.at(m.value + err));
        p.drawing.rect("band", (from, top), to - from, bottom - top);
    }
    let at = p.x.at(m.value);
    p.drawing.line("allowed", (at, top), (at, bottom));
    let label = format!("above noise up to {}", wording::measured(&m));
    // Above the plot, as near to its line as the edges let it.
    const HALF_LABEL: f64 = 88.0;
    let middle = at.clamp(HALF_LABEL, width - HALF_LABEL);
    p.drawing.text("ink", (middle, top - 9.0), Anchor::Middle, &label);
}

/// Noise over brightness with its errors. `None` without sound points.
pub fn noise_chart(noise: &[NoiseAt]) -> Option<String> {
    const AREA: PlotArea = PlotArea {
        width: PHONE_WIDTH,
        left: 40.0,
        right: PHONE_WIDTH - 14.0,
        top: 24.0,
        bottom: 230.0,
        below: 44.0,
    };
    let sound = |n: &&NoiseAt| n.level_dn.is_finite() && n.sigma_dn.value.is_finite();
    let kept: Vec<&NoiseAt> = noise.iter().filter(sound).collect();
    let upper = |n: &&NoiseAt| n.sigma_dn.value + n.sigma_dn.std_err.unwrap_or(0.0);
    let ticks = even_ticks(kept.iter().map(upper).reduce(f64::max)?);
    let x = AREA.x(AxisScale::Linear, (0.0, 255.0), (0.0, 0.0))?;
    let y = AREA.y(AxisScale::Linear, (0.0, *ticks.last()?))?;
    let said: Vec<String> = kept
        .iter()
        .map(|n| format!("{} at {}", wording::measured(&n.sigma_dn), wording::fixed(n.level_dn, 0)))
        .collect();
    let says = format!("Noise by brightness, 8-bit steps: {}", said.join(", "));
    let mut p = Plot::new(AREA, x, y, &says);
    p.levels(&ticks, 1, |tick| wording::fixed(tick, tick_decimals(&ticks)));
    p.y_name("noise, DN");
    p.ticks(&[0.0, 64.0, 128.0, 192.0, 255.0], 1, |level| wording::fixed(level, 0));
    p.x_name(NAME, "brightness, DN");
    for n in kept {
        let value = n.sigma_dn.value;
        if let Some(err) = n.sigma_dn.std_err.filter(|e| e.is_finite()) {
            p.error(n.level_dn, value - err, value + err);
        }
        p.dot("accent", (n.level_dn, value), 4.0);
    }
    Some(p.done())
}
