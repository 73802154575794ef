//! The response of a series' straight edge: modulation over frequency, one curve a step.

use crate::compare::record::{CompareRecord, EdgeRecord, StepRecord, step_name};
use crate::report::svg::axis::{AxisScale, PlotAxis};
use crate::report::svg::drawing::{Anchor, Drawing};
use crate::report::wording;

/// Width of the chart: a phone held upright; the page draws it larger on a desk.
const WIDTH: f64 = 358.0;
/// Room for one label.
const LINE: f64 = 14.0;
/// Highest frequency that is drawn, cycles per pixel: beyond it the pixels show nothing true.
const TOP_CY_PX: f64 = 0.5;
/// Highest modulation that is drawn: sharpening lifts it above 1.
const TOP_MODULATION: f64 = 1.4;

/// Modulation over frequency. `None` when no step has a curve.
pub fn edge_chart(record: &CompareRecord) -> Option<String> {
    let (left, right, top, bottom) = (40.0, WIDTH - 100.0, 24.0, 236.0);
    let steps: Vec<(&StepRecord, &EdgeRecord)> = record
        .steps
        .iter()
        .filter_map(|s| Some((s, s.edge.as_ref()?)))
        .filter(|(_, e)| e.curve.len() > 1)
        .collect();
    let drawn = |e: &EdgeRecord| -> Vec<(f64, f64)> {
        let within = e.curve.iter().filter(|p| p.cy_px <= TOP_CY_PX && p.modulation.is_finite());
        within.map(|p| (p.cy_px, p.modulation.clamp(0.0, TOP_MODULATION))).collect()
    };
    let high = steps.iter().flat_map(|(_, e)| drawn(e)).map(|p| p.1).fold(1.0, f64::max);
    steps.first()?;
    let x = PlotAxis::new(AxisScale::Linear, (0.0, TOP_CY_PX), (left, right))?;
    let y = PlotAxis::new(AxisScale::Linear, (0.0, high), (bottom, top))?;
    let said: Vec<String> = steps
        .iter()
        .filter_map(|(s, e)| {
            let half = wording::measured(&e.mtf50_cy_px?);
            Some(format!("{} half at {half} cycles per pixel", step_name(s, record.axis)))
        })
        .collect();
    let says = format!("Modulation over frequency across the edge: {}", said.join(", "));
    let mut d = Drawing::new(WIDTH, bottom + 44.0, &says);
    for level in [0.0, 0.1, 0.5, 1.0] {
        d.line("grid", (left, y.at(level)), (right, y.at(level)));
        d.text("soft", (left - 6.0, y.at(level) + 4.0), Anchor::End, &wording::short(level));
    }
    for cy_px in [0.0, 0.1, 0.2, 0.3, 0.4, 0.5] {
        d.line("rule", (x.at(cy_px), bottom), (x.at(cy_px), bottom + 5.0));
        let label = wording::short(cy_px);
        d.text("soft", (x.at(cy_px), bottom + 19.0), Anchor::Middle, &label);
    }
    d.text("soft", (left, 11.0), Anchor::Start, "modulation");
    d.text("soft", ((left + right) / 2.0, bottom + 38.0), Anchor::Middle, "cycles per pixel");
    let mut labels: Vec<(f64, String, bool)> = Vec::new();
    for (i, (step, edge)) in steps.iter().enumerate() {
        let line: Vec<(f64, f64)> =
            drawn(edge).into_iter().map(|(f, m)| (x.at(f), y.at(m))).collect();
        let best = record.steps.get(record.best_step.unwrap_or(usize::MAX));
        let strong = best.map_or(i == 0, |b| std::ptr::eq(b, *step));
        d.path(if strong { "curve" } else { "curve-soft" }, &line);
        if let Some(m) = edge.mtf50_cy_px.filter(|m| m.value <= TOP_CY_PX) {
            d.dot("accent", (x.at(m.value), y.at(0.5)), 2.5);
        }
        // Where curves still lie apart.
        let at = edge.curve.iter().find(|p| p.cy_px >= 0.4 * TOP_CY_PX);
        labels.push((at.map_or(0.0, |p| p.modulation), step_name(step, record.axis), strong));
    }
    // In the order of the curves from the top down, beside the plot.
    labels.sort_by(|a, b| b.0.total_cmp(&a.0));
    for (i, (_, label, strong)) in labels.iter().enumerate() {
        let at = top + 4.0 + LINE * i as f64;
        d.text(if *strong { "ink" } else { "soft" }, (right + 8.0, at), Anchor::Start, label);
    }
    Some(d.done())
}
