//! The ticks of a ruler: over the picture, and as a profile.

use crate::report::svg::axis::{AxisScale, PlotAxis, even_ticks};
use crate::report::svg::drawing::{Anchor, Drawing};
use crate::report::wording;
use crate::ruler::record::{ScaleProfile, TickLine};

/// Width of the chart: a phone held upright; the page draws it larger on a desk.
const WIDTH: f64 = 358.0;
/// More points than this cannot be seen apart.
const MAX_POINTS: usize = 700;

/// The found ticks as lines to be laid over the picture, in its own proportions.
pub fn tick_overlay(lines: &[TickLine], width_px: u32, height_px: u32) -> String {
    const ACROSS: f64 = 1000.0;
    let high = ACROSS * f64::from(height_px) / f64::from(width_px.max(1));
    let says = format!("{} found", wording::count(lines.len() as u32, "tick", "ticks"));
    let mut d = Drawing::new(ACROSS, high, &says);
    for line in lines {
        let at = |(x, y): (f64, f64)| (x * ACROSS, y * high);
        d.line("tick-under", at(line.from), at(line.to));
        d.line("tick-line", at(line.from), at(line.to));
    }
    d.done()
}

/// Brightness across the ticks with a mark at each. `None` without ticks.
pub fn profile_chart(profile: &ScaleProfile) -> Option<String> {
    let (left, right, top, bottom) = (40.0, WIDTH - 14.0, 30.0, 190.0);
    let first = profile.points.first()?.0;
    let last = profile.points.last()?.0;
    let high = profile.points.iter().map(|p| p.1).reduce(f64::max)?;
    let ticks = even_ticks(high);
    let x = PlotAxis::new(AxisScale::Linear, (first, last), (left, right))?;
    let y = PlotAxis::new(AxisScale::Linear, (0.0, *ticks.last()?), (bottom, top))?;
    let says = format!(
        "Brightness across {}",
        wording::count(profile.ticks_px.len() as u32, "tick", "ticks")
    );
    let mut d = Drawing::new(WIDTH, bottom + 40.0, &says);
    for tick in &ticks {
        d.line("grid", (left, y.at(*tick)), (right, y.at(*tick)));
        d.text("soft", (left - 6.0, y.at(*tick) + 4.0), Anchor::End, &wording::short(*tick));
    }
    for at in &profile.ticks_px {
        d.line("mark", (x.at(*at), top - 12.0), (x.at(*at), top - 4.0));
    }
    let every = profile.points.len().div_ceil(MAX_POINTS).max(1);
    let line: Vec<(f64, f64)> =
        profile.points.iter().step_by(every).map(|(u, v)| (x.at(*u), y.at(*v))).collect();
    d.path("curve", &line);
    d.line("rule", (left, bottom), (right, bottom));
    let step = even_ticks(last - first).get(1).copied().unwrap_or(last - first);
    let mut at = (first / step).ceil() * step;
    while at <= last {
        d.line("rule", (x.at(at), bottom), (x.at(at), bottom + 5.0));
        d.text("soft", (x.at(at), bottom + 18.0), Anchor::Middle, &wording::short(at));
        at += step;
    }
    d.text("soft", (left, 11.0), Anchor::Start, "brightness over its mean; marks: ticks");
    let across = "px along the ruler from the middle of the frame";
    d.text("soft", ((left + right) / 2.0, bottom + 35.0), Anchor::Middle, across);
    Some(d.done())
}
