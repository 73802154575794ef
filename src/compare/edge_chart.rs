//! The response of a series' straight edge: modulation over frequency, one curve a step.

use crate::compare::record::{CompareRecord, EdgeRecord, StepRecord, step_name};
use crate::report::svg::axis::AxisScale;
use crate::report::svg::plot::{NAME, PHONE_WIDTH, Plot, PlotArea};
use crate::report::wording;

const AREA: PlotArea = PlotArea {
    width: PHONE_WIDTH,
    left: 40.0,
    right: PHONE_WIDTH - 100.0,
    top: 24.0,
    bottom: 236.0,
    below: 44.0,
};
/// Room for one label.
const LINE: f64 = 14.0;
/// Highest frequency that is drawn, cycles per pixel: beyond it the pixels show nothing true.
const TOP_CY_PX: f64 = 0.5;
/// Highest modulation that is drawn: sharpening lifts it above 1.
const TOP_MODULATION: f64 = 1.4;

/// Modulation over frequency. `None` when no step has a curve.
pub fn edge_chart(record: &CompareRecord) -> Option<String> {
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
    let x = AREA.x(AxisScale::Linear, (0.0, TOP_CY_PX), (0.0, 0.0))?;
    let y = AREA.y(AxisScale::Linear, (0.0, high))?;
    let said: Vec<String> = steps
        .iter()
        .filter_map(|(s, e)| {
            let half = wording::measured(&e.mtf50_cy_px?);
            Some(format!("{} half at {half} cycles per pixel", step_name(s, record.axis)))
        })
        .collect();
    let says = format!("Modulation over frequency across the edge: {}", said.join(", "));
    let mut p = Plot::new(AREA, x, y, &says);
    p.levels(&[0.0, 0.1, 0.5, 1.0], 1, wording::short);
    p.ticks(&[0.0, 0.1, 0.2, 0.3, 0.4, 0.5], 1, wording::short);
    p.y_name("modulation");
    p.x_name(NAME, "cycles per pixel");
    let mut labels: Vec<(f64, String, bool)> = Vec::new();
    for (i, (step, edge)) in steps.iter().enumerate() {
        let best = record.steps.get(record.best_step.unwrap_or(usize::MAX));
        let strong = best.map_or(i == 0, |b| std::ptr::eq(b, *step));
        p.curve(if strong { "curve" } else { "curve-soft" }, drawn(edge));
        if let Some(m) = edge.mtf50_cy_px.filter(|m| m.value <= TOP_CY_PX) {
            p.dot("accent", (m.value, 0.5), 2.5);
        }
        // Where curves still lie apart.
        let at = edge.curve.iter().find(|p| p.cy_px >= 0.4 * TOP_CY_PX);
        labels.push((at.map_or(0.0, |p| p.modulation), step_name(step, record.axis), strong));
    }
    // In the order of the curves from the top down, beside the plot.
    labels.sort_by(|a, b| b.0.total_cmp(&a.0));
    for (i, (_, label, strong)) in labels.iter().enumerate() {
        let at = AREA.top + 4.0 + LINE * i as f64;
        p.right_label(if *strong { "ink" } else { "soft" }, at, label);
    }
    Some(p.done())
}
