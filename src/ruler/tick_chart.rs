//! The ticks of a ruler: over the picture, and as a profile.

use crate::report::svg::axis::{AxisScale, even_ticks};
use crate::report::svg::drawing::Drawing;
use crate::report::svg::plot::{NAME, PHONE_WIDTH, Plot, PlotArea};
use crate::report::wording;
use crate::ruler::record::{ScaleProfile, TickLine};

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
    const AREA: PlotArea = PlotArea {
        width: PHONE_WIDTH,
        left: 40.0,
        right: PHONE_WIDTH - 14.0,
        top: 30.0,
        bottom: 190.0,
        below: 44.0,
    };
    let (first, last) = (profile.points.first()?.0, profile.points.last()?.0);
    let high = profile.points.iter().map(|p| p.1).reduce(f64::max)?;
    let levels = even_ticks(high);
    let x = AREA.x(AxisScale::Linear, (first, last), (0.0, 0.0))?;
    let y = AREA.y(AxisScale::Linear, (0.0, *levels.last()?))?;
    let says = format!(
        "Brightness across {}",
        wording::count(profile.ticks_px.len() as u32, "tick", "ticks")
    );
    let mut p = Plot::new(AREA, x, y, &says);
    p.levels(&levels, 1, wording::short);
    for at in profile.ticks_px.iter().map(|at| x.at(*at)) {
        p.drawing.line("mark", (at, AREA.top - 12.0), (at, AREA.top - 4.0));
    }
    let every = profile.points.len().div_ceil(MAX_POINTS).max(1);
    p.curve("curve", profile.points.iter().step_by(every).copied());
    p.drawing.line("rule", (AREA.left, AREA.bottom), (AREA.right, AREA.bottom));
    let step = even_ticks(last - first).get(1).copied().unwrap_or(last - first);
    let from = (first / step).ceil();
    let ticks: Vec<f64> =
        (0..).map(|i| (from + f64::from(i)) * step).take_while(|t| *t <= last).collect();
    p.ticks(&ticks, 1, wording::short);
    p.y_name("brightness over its mean; marks: ticks");
    p.x_name(NAME, "px along the ruler from the middle of the frame");
    Some(p.done())
}
