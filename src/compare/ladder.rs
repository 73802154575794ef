//! Charts of a series: detail over the stops of the aperture or the ISO, and what each change
//! cost.

use crate::compare::record::{
    AttributionRecord, CompareRecord, StepAxis as SeriesAxis, StepRecord, step_name,
};
use crate::report::svg::axis::{AxisScale, F_STOPS, PlotAxis, even_ticks, stop_range};
use crate::report::svg::drawing::Anchor;
use crate::report::svg::plot::{NAME, PHONE_WIDTH, Plot, PlotArea, tick_decimals};
use crate::report::wording;

const LADDER: PlotArea = PlotArea {
    width: PHONE_WIDTH,
    left: 44.0,
    right: PHONE_WIDTH - 16.0,
    top: 26.0,
    bottom: 236.0,
    below: 44.0,
};
/// From the plot's lower edge down to the first axis' name, the second one's labels and its name,
/// px.
const NAMES_OF_TWO: [f64; 3] = [35.0, 53.0, 70.0];
/// Full stops of ISO.
const ISO_STOPS: [f64; 14] = [
    25.0, 50.0, 100.0, 200.0, 400.0, 800.0, 1600.0, 3200.0, 6400.0, 12_800.0, 25_600.0, 51_200.0,
    102_400.0, 204_800.0,
];

/// An axis across in stops, and one below it in other numbers.
struct StopAxis<'a> {
    stops: &'a [f64],
    name: &'static str,
    label: &'a dyn Fn(f64) -> String,
    below: Option<(&'static str, &'a dyn Fn(f64) -> String)>,
}

/// Detail over marked apertures, with working ones below, repeats and the bound of diffraction.
/// `None` for fewer than two apertures.
pub fn aperture_ladder(record: &CompareRecord) -> Option<String> {
    let label = |v: f64| wording::f_number(v).trim_start_matches("f/").to_owned();
    let working = record.steps.iter().find_map(|s| Some(s.working_f_number? / s.f_number));
    let working = working.map(|bellows| move |v: f64| label(v * bellows));
    let axis = StopAxis {
        stops: &F_STOPS,
        name: "marked f-number",
        label: &label,
        below: working.as_ref().map(|f| ("working f-number", f as _)),
    };
    ladder(record, |s| Some(s.f_number), &axis)
}

/// Detail over ISO. `None` for fewer than two settings.
pub fn iso_ladder(record: &CompareRecord) -> Option<String> {
    let axis = StopAxis { stops: &ISO_STOPS, name: "ISO", label: &wording::short, below: None };
    ladder(record, |s| s.iso.map(f64::from), &axis)
}

fn ladder(
    record: &CompareRecord,
    at: impl Fn(&StepRecord) -> Option<f64>,
    axis: &StopAxis<'_>,
) -> Option<String> {
    let mut rows: Vec<(f64, &StepRecord)> = record
        .steps
        .iter()
        .filter_map(|s| Some((at(s)?, s)))
        .filter(|(v, s)| *v > 0.0 && s.detail_bits_px.is_some())
        .collect();
    rows.sort_by(|a, b| a.0.total_cmp(&b.0));
    let values: Vec<f64> = rows.iter().map(|r| r.0).collect();
    if values.first()? * 1.05 > *values.last()? {
        return None;
    }
    let upper = |s: &StepRecord| {
        let m = s.detail_bits_px?;
        Some((m.value + m.std_err.unwrap_or(0.0)).max(s.bound_bits_px.unwrap_or(0.0)))
    };
    let levels = even_ticks(rows.iter().filter_map(|r| upper(r.1)).reduce(f64::max)?);
    let below = if axis.below.is_some() { 78.0 } else { LADDER.below };
    let area = PlotArea { below, ..LADDER };
    let x = area.x(AxisScale::Log, stop_range(&values, axis.stops)?, (16.0, 12.0))?;
    let y = area.y(AxisScale::Linear, (0.0, *levels.last()?))?;
    let said: Vec<String> = rows
        .iter()
        .filter_map(|(v, s)| {
            let detail = s.detail_bits_px.as_ref().map(wording::measured)?;
            Some(format!("{} {}: {detail}", axis.name, (axis.label)(*v)))
        })
        .collect();
    let says = format!("Detail in bits per pixel; {}", said.join("; "));
    let mut p = Plot::new(area, x, y, &says);
    p.levels(&levels, 1, |level| wording::fixed(level, tick_decimals(&levels)));
    p.y_name("detail, bit/px");
    stop_ticks(&mut p, axis);
    steps(&mut p, &rows);
    Some(p.done())
}

fn stop_ticks(p: &mut Plot, axis: &StopAxis<'_>) {
    let [name, labels_below, name_below] = NAMES_OF_TWO;
    for stop in p.x.on(axis.stops) {
        p.ticks(&[stop], 1, axis.label);
        if let Some((_, label)) = axis.below {
            p.below(stop, labels_below, &label(stop));
        }
    }
    p.x_name(name, axis.name);
    if let Some((name, _)) = axis.below {
        p.x_name(name_below, name);
    }
}

/// The bound of diffraction, the line through the steps, and each with its repeats and error.
fn steps(p: &mut Plot, rows: &[(f64, &StepRecord)]) {
    let bound: Vec<(f64, f64)> =
        rows.iter().filter_map(|(v, s)| Some((*v, s.bound_bits_px?))).collect();
    let one_a_stop = rows.windows(2).all(|w| w[0].0 * 1.05 < w[1].0);
    if bound.len() > 1 && one_a_stop {
        p.curve("bound", bound.iter().copied());
        let (x, y) = p.at(bound[0].0, bound[0].1);
        let at = (x + 6.0, (y - 8.0).max(22.0));
        p.drawing.text("soft", at, Anchor::Start, "a faultless lens in focus");
    }
    if one_a_stop {
        p.curve("curve", rows.iter().filter_map(|(v, s)| Some((*v, s.detail_bits_px?.value))));
    }
    for (value, step) in rows {
        let Some(m) = step.detail_bits_px else { continue };
        for repeat in &step.repeats_bits_px {
            let (x, y) = p.at(*value, *repeat);
            p.drawing.line("mark", (x - 7.0, y), (x - 3.0, y));
        }
        if let Some(e) = m.std_err {
            p.error(*value, m.value - e, m.value + e);
        }
        p.dot("accent", (*value, m.value), 4.0);
    }
}

/// What each change cost: the aperture's part and the noise's, with the 90 % interval. `None`
/// when nothing was told apart.
pub fn cost_bars(record: &CompareRecord, rows: &[&AttributionRecord]) -> Option<String> {
    const ROW: f64 = 64.0;
    const BAR: f64 = 12.0;
    if rows.is_empty() {
        return None;
    }
    let name = |i: usize| record.steps.get(i).map(|s| step_name(s, record.axis));
    let ends = rows.iter().flat_map(|a| {
        let half = 0.5 * (a.high - a.low);
        [a.low, a.high, a.noise - half, a.noise + half]
    });
    // Losses run to the right.
    let most = ends.clone().map(|v| -v).fold(0.0, f64::max);
    let least = ends.map(|v| -v).fold(0.0, f64::min);
    let ticks = even_ticks(most.max(1e-3));
    let high = *ticks.last()?;
    let low = if least < -0.02 * most { least } else { 0.0 };
    let bottom = rows.len() as f64 * ROW + 18.0;
    let (left, right, width) = (16.0, PHONE_WIDTH - 62.0, PHONE_WIDTH);
    let area = PlotArea { width, left, right, top: 18.0, bottom, below: 44.0 };
    let x = area.x(AxisScale::Linear, (low, high), (0.0, 0.0))?;
    // Rows from the top down, each from its heading on.
    let last = (rows.len() - 1) as f64;
    let down =
        PlotAxis::new(AxisScale::Linear, (0.0, last + 1.0), (4.0, 4.0 + ROW * (last + 1.0)))?;
    let said: Vec<&str> = rows.iter().map(|a| a.message.as_str()).collect();
    let mut p = Plot::new(area, x, down, &said.join(" "));
    let decimals = if high < 1.0 { 2 } else { 1 };
    p.uprights(&ticks, |tick| wording::fixed(tick, decimals));
    p.x_name(NAME, "detail lost, bit/px");
    for (i, a) in rows.iter().enumerate() {
        let y = p.y.at(i as f64);
        let title = format!("{} to {}", name(a.from)?, name(a.to)?);
        p.drawing.text("ink", (area.left, y + 11.0), Anchor::Start, &title);
        let half = 0.5 * (a.high - a.low);
        let parts = [(a.optics, "accent", "aperture"), (a.noise, "bar", "noise")];
        for (k, (part, class, word)) in parts.into_iter().enumerate() {
            let top = y + 18.0 + k as f64 * (BAR + 5.0);
            let (zero, end) = (x.at(0.0), x.at(-part));
            p.drawing.rect(class, (zero.min(end), top), (end - zero).abs(), BAR);
            let (a, b) = (x.at(-part - half), x.at(-part + half));
            p.drawing.error_level(top + BAR / 2.0, a, b);
            let at = (end.max(b) + 6.0, top + BAR - 2.0);
            p.drawing.text("soft", at, Anchor::Start, word);
        }
    }
    p.drawing.line("rule", (x.at(0.0), area.top), (x.at(0.0), area.bottom));
    Some(p.done())
}

/// Whether the ISO ladder says something that the aperture ladder does not.
pub fn wants_iso_ladder(record: &CompareRecord) -> bool {
    matches!(record.axis, SeriesAxis::Iso | SeriesAxis::FourCorners | SeriesAxis::Mixed)
}
