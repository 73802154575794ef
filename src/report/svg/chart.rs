//! Charts: causes as plain bars, shares over stops, the spectrum, and noise by tone.

use super::axis::{AxisScale, F_STOPS, PlotAxis, WORKING_STOPS, even_ticks, stop_range};
use super::drawing::{Anchor, Drawing};
use crate::core::Measured;
use crate::report::parts::{BreakdownRow, NoiseAt, Proportion, SpectrumPoint};
use crate::report::wording;

/// Width of the charts of an outing: four side by side on a desk, one on a phone.
const WIDTH: f64 = 304.0;

/// Width of the charts of one frame: a phone held upright; the page draws them larger on a desk.
const DEEP: f64 = 358.0;

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
    let (left, right, top, bottom) = (46.0, WIDTH - 14.0, 30.0, 190.0);
    let placed: Vec<(f64, &BreakdownRow)> =
        rows.iter().filter_map(|r| Some((r.at?, r))).filter(|(at, _)| *at > 0.0).collect();
    let values: Vec<f64> = placed.iter().map(|(at, _)| *at).collect();
    let said: Vec<String> =
        rows.iter().map(|r| format!("{}: {}", r.key, wording::share(&r.share))).collect();
    let mut d = Drawing::new(WIDTH, bottom + 24.0, &said.join("; "));
    let range = stop_range(&values, stops.ticks())?;
    let x = PlotAxis::new(AxisScale::Log, range, (left + 14.0, right - 14.0))?;
    let y = PlotAxis::new(AxisScale::Linear, (0.0, 1.0), (bottom, top))?;

    for (share, labelled) in [(0.0, true), (0.25, false), (0.5, true), (0.75, false), (1.0, true)] {
        d.line("grid", (left, y.at(share)), (right, y.at(share)));
        if labelled {
            let label = wording::per_cent(share);
            d.text("soft", (left - 6.0, y.at(share) + 4.0), Anchor::End, &label);
        }
    }
    let ticks: Vec<f64> = x.on(stops.ticks()).collect();
    let every = label_every(ticks.len(), right - left, 40.0);
    for (i, stop) in ticks.iter().enumerate() {
        d.line("rule", (x.at(*stop), bottom), (x.at(*stop), bottom + 5.0));
        if i % every == 0 {
            let label = stops.label(*stop);
            d.text("soft", (x.at(*stop), bottom + 19.0), Anchor::Middle, &label);
        }
    }
    let mut free_from = f64::NEG_INFINITY;
    for (at, row) in placed {
        let (Some(low), Some(high)) = (row.share.low, row.share.high) else { continue };
        let centre = x.at(at);
        d.error_upright(centre, y.at(low), y.at(high));
        let share = f64::from(row.share.count) / f64::from(row.share.of);
        d.dot("accent", (centre, y.at(share)), 5.0);
        // A count that would run into its neighbour goes one line up.
        let label = format!("{}/{}", row.share.count, row.share.of);
        let half = label.len() as f64 * 3.2;
        let raised = centre - half < free_from;
        let line = if raised { top - 20.0 } else { top - 7.0 };
        free_from = if raised { f64::NEG_INFINITY } else { centre + half + 3.0 };
        d.text("ink", (centre, line), Anchor::Middle, &label);
    }
    Some(d.done())
}

/// Every how manieth tick gets a label when each label needs `room` px.
fn label_every(ticks: usize, length: f64, room: f64) -> usize {
    ((ticks as f64 * room / length).ceil() as usize).max(1)
}

/// Power of picture and noise over frequency, both axes logarithmic, with the highest frequency
/// still above noise. `None` with fewer than two sound points.
pub fn spectrum_chart(points: &[SpectrumPoint], resolved: Option<Measured>) -> Option<String> {
    let (width, left, right, top, bottom) = (DEEP, 40.0, DEEP - 62.0, 26.0, 230.0);
    let sound = |v: f64| v.is_finite() && v > 0.0;
    let kept: Vec<&SpectrumPoint> =
        points.iter().filter(|p| sound(p.cy_px) && sound(p.power)).collect();
    let first = kept.first()?.cy_px;
    let last = kept.last()?.cy_px;
    let powers = kept.iter().flat_map(|p| [p.power, p.noise]).filter(|v| sound(*v));
    let low = powers.clone().reduce(f64::min)?.log10().floor();
    let high = powers.reduce(f64::max)?.log10().ceil();
    let x = PlotAxis::new(AxisScale::Log, (first, last), (left, right))?;
    let y = PlotAxis::new(AxisScale::Log, (10f64.powf(low), 10f64.powf(high)), (bottom, top))?;
    let says = match resolved {
        Some(m) => format!(
            "Power spectrum at the subject: above noise up to {} cycles per pixel",
            wording::measured(&m)
        ),
        None => "Power spectrum at the subject, picture and noise".to_owned(),
    };
    let mut d = Drawing::new(width, bottom + 44.0, &says);

    let decades = (high - low) as i32;
    for k in 0..=decades {
        let exponent = low as i32 + k;
        let at = y.at(10f64.powi(exponent));
        d.line("grid", (left, at), (right, at));
        if decades <= 6 || k % 2 == 0 {
            d.text("soft", (left - 6.0, at + 4.0), Anchor::End, &power_of_ten(exponent));
        }
    }
    for cy_px in x.on(&[0.01, 0.02, 0.05, 0.1, 0.2, 0.5]) {
        d.line("rule", (x.at(cy_px), bottom), (x.at(cy_px), bottom + 5.0));
        let label = wording::short(cy_px);
        d.text("soft", (x.at(cy_px), bottom + 19.0), Anchor::Middle, &label);
    }
    d.text("soft", ((left + right) / 2.0, bottom + 38.0), Anchor::Middle, "cycles per pixel");

    if let Some(m) = resolved.filter(|m| sound(m.value)) {
        if let Some(err) = m.std_err.filter(|e| sound(*e)) {
            let (from, to) = (x.at((m.value - err).max(first)), x.at(m.value + err));
            d.rect("band", (from, top), to - from, bottom - top);
        }
        let at = x.at(m.value);
        d.line("allowed", (at, top), (at, bottom));
        let label = format!("above noise up to {}", wording::measured(&m));
        // Above the plot, as near to its line as the edges let it.
        const HALF_LABEL: f64 = 88.0;
        let middle = at.clamp(HALF_LABEL, width - HALF_LABEL);
        d.text("ink", (middle, top - 9.0), Anchor::Middle, &label);
    }
    let line = |get: fn(&SpectrumPoint) -> f64| -> Vec<(f64, f64)> {
        let on = kept.iter().filter(|p| sound(get(p)));
        on.map(|p| (x.at(p.cy_px), y.at(get(p)))).collect()
    };
    let (picture, noise) = (line(|p| p.power), line(|p| p.noise));
    d.path("curve-soft", &noise);
    d.path("curve", &picture);
    // Direct labels at the right ends, kept a line apart.
    if let Some((end, at)) = picture.last() {
        let below = noise.last().map_or(f64::INFINITY, |(_, y)| *y);
        let at = (*at).min(below - 15.0).max(top + 4.0);
        d.text("ink", (end + 8.0, at), Anchor::Start, "picture");
    }
    if let Some((end, at)) = noise.last() {
        d.text("soft", (end + 8.0, at + 6.0), Anchor::Start, "noise");
    }
    Some(d.done())
}

/// Noise over brightness with its errors. `None` without sound points.
pub fn noise_chart(noise: &[NoiseAt]) -> Option<String> {
    let (width, left, right, top, bottom) = (DEEP, 40.0, DEEP - 14.0, 24.0, 230.0);
    let sound = |n: &&NoiseAt| n.level_dn.is_finite() && n.sigma_dn.value.is_finite();
    let kept: Vec<&NoiseAt> = noise.iter().filter(sound).collect();
    let upper = |n: &&NoiseAt| n.sigma_dn.value + n.sigma_dn.std_err.unwrap_or(0.0);
    let ticks = even_ticks(kept.iter().map(upper).reduce(f64::max)?);
    let x = PlotAxis::new(AxisScale::Linear, (0.0, 255.0), (left, right))?;
    let y = PlotAxis::new(AxisScale::Linear, (0.0, *ticks.last()?), (bottom, top))?;
    let said: Vec<String> = kept
        .iter()
        .map(|n| format!("{} at {}", wording::measured(&n.sigma_dn), wording::fixed(n.level_dn, 0)))
        .collect();
    let says = format!("Noise by brightness, 8-bit steps: {}", said.join(", "));
    let mut d = Drawing::new(width, bottom + 44.0, &says);

    let decimals = if ticks.get(1).is_some_and(|step| *step < 1.0) { 1 } else { 0 };
    for tick in &ticks {
        d.line("grid", (left, y.at(*tick)), (right, y.at(*tick)));
        let label = wording::fixed(*tick, decimals);
        d.text("soft", (left - 6.0, y.at(*tick) + 4.0), Anchor::End, &label);
    }
    d.text("soft", (left, 11.0), Anchor::Start, "noise, DN");
    for level in [0.0, 64.0, 128.0, 192.0, 255.0] {
        d.line("rule", (x.at(level), bottom), (x.at(level), bottom + 5.0));
        let label = wording::fixed(level, 0);
        d.text("soft", (x.at(level), bottom + 19.0), Anchor::Middle, &label);
    }
    d.text("soft", ((left + right) / 2.0, bottom + 38.0), Anchor::Middle, "brightness, DN");
    for n in kept {
        let (value, at) = (n.sigma_dn.value, x.at(n.level_dn));
        if let Some(err) = n.sigma_dn.std_err.filter(|e| e.is_finite()) {
            d.error_upright(at, y.at(value - err), y.at(value + err));
        }
        d.dot("accent", (at, y.at(value)), 4.0);
    }
    Some(d.done())
}

/// "10⁻²"; "1" and "10" in plain digits.
pub(crate) fn power_of_ten(exponent: i32) -> String {
    const RAISED: [char; 10] = ['⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹'];
    match exponent {
        0 => "1".to_owned(),
        1 => "10".to_owned(),
        _ => {
            let digits = exponent.unsigned_abs().to_string();
            let raised = digits.bytes().map(|b| RAISED[usize::from(b - b'0')]);
            let sign = if exponent < 0 { "⁻" } else { "" };
            format!("10{sign}{}", raised.collect::<String>())
        }
    }
}
