//! Charts of a series: detail over the stops of the aperture or the ISO, and what each change
//! cost.

use crate::compare::record::{
    AttributionRecord, CompareRecord, StepAxis as SeriesAxis, StepRecord, step_name,
};
use crate::report::svg::axis::{AxisScale, F_STOPS, PlotAxis, even_ticks, stop_range};
use crate::report::svg::drawing::{Anchor, Drawing};
use crate::report::wording;

/// Width of the charts: a phone held upright; the page draws them larger on a desk.
const WIDTH: f64 = 358.0;
/// Full stops of ISO.
const ISO_STOPS: [f64; 14] = [
    25.0, 50.0, 100.0, 200.0, 400.0, 800.0, 1600.0, 3200.0, 6400.0, 12_800.0, 25_600.0, 51_200.0,
    102_400.0, 204_800.0,
];

/// Detail over marked apertures, with working ones below, repeats and the bound of diffraction.
/// `None` for fewer than two apertures.
pub fn aperture_ladder(record: &CompareRecord) -> Option<String> {
    let at = |s: &StepRecord| Some(s.f_number);
    let label = |v: f64| wording::f_number(v).trim_start_matches("f/").to_owned();
    let working = record.steps.iter().find_map(|s| Some(s.working_f_number? / s.f_number));
    let working = working.map(|bellows| {
        move |v: f64| wording::f_number(v * bellows).trim_start_matches("f/").to_owned()
    });
    let below: Option<&dyn Fn(f64) -> String> = working.as_ref().map(|f| f as _);
    ladder(record, &at, &F_STOPS, &label, ("marked f-number", "working f-number"), below)
}

/// Detail over ISO. `None` for fewer than two settings.
pub fn iso_ladder(record: &CompareRecord) -> Option<String> {
    let at = |s: &StepRecord| s.iso.map(f64::from);
    ladder(record, &at, &ISO_STOPS, &|v| wording::short(v), ("ISO", ""), None)
}

fn ladder(
    record: &CompareRecord,
    at: &dyn Fn(&StepRecord) -> Option<f64>,
    stops: &[f64],
    label: &dyn Fn(f64) -> String,
    names: (&str, &str),
    below: Option<&dyn Fn(f64) -> String>,
) -> Option<String> {
    let (left, right, top, bottom) = (44.0, WIDTH - 16.0, 26.0, 236.0);
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
    let high = rows.iter().filter_map(|r| upper(r.1)).reduce(f64::max)?;
    let ticks = even_ticks(high);
    let range = stop_range(&values, stops)?;
    let x = PlotAxis::new(AxisScale::Log, range, (left + 16.0, right - 12.0))?;
    let y = PlotAxis::new(AxisScale::Linear, (0.0, *ticks.last()?), (bottom, top))?;
    let said: Vec<String> = rows
        .iter()
        .filter_map(|(v, s)| {
            let detail = s.detail_bits_px.as_ref().map(wording::measured)?;
            Some(format!("{} {}: {detail}", names.0, label(*v)))
        })
        .collect();
    let says = format!("Detail in bits per pixel; {}", said.join("; "));
    let height = bottom + if below.is_some() { 78.0 } else { 44.0 };
    let mut d = Drawing::new(WIDTH, height, &says);
    let decimals = if ticks.get(1).is_some_and(|s| *s < 1.0) { 1 } else { 0 };
    for tick in &ticks {
        d.line("grid", (left, y.at(*tick)), (right, y.at(*tick)));
        let text = wording::fixed(*tick, decimals);
        d.text("soft", (left - 6.0, y.at(*tick) + 4.0), Anchor::End, &text);
    }
    d.text("soft", (left, 11.0), Anchor::Start, "detail, bit/px");
    for stop in x.on(stops) {
        let px = x.at(stop);
        d.line("rule", (px, bottom), (px, bottom + 5.0));
        d.text("soft", (px, bottom + 19.0), Anchor::Middle, &label(stop));
        if let Some(below) = below {
            d.text("soft", (px, bottom + 53.0), Anchor::Middle, &below(stop));
        }
    }
    let middle = (left + right) / 2.0;
    d.text("soft", (middle, bottom + 35.0), Anchor::Middle, names.0);
    if below.is_some() {
        d.text("soft", (middle, bottom + 70.0), Anchor::Middle, names.1);
    }
    let bound: Vec<(f64, f64)> =
        rows.iter().filter_map(|(v, s)| Some((x.at(*v), y.at(s.bound_bits_px?)))).collect();
    let one_a_stop = rows.windows(2).all(|w| w[0].0 * 1.05 < w[1].0);
    if bound.len() > 1 && one_a_stop {
        d.path("bound", &bound);
        let (bx, by) = bound[0];
        d.text(
            "soft",
            (bx + 6.0, (by - 8.0).max(22.0)),
            Anchor::Start,
            "a faultless lens in focus",
        );
    }
    if one_a_stop {
        let line: Vec<(f64, f64)> = rows
            .iter()
            .filter_map(|(v, s)| Some((x.at(*v), y.at(s.detail_bits_px?.value))))
            .collect();
        d.path("curve", &line);
    }
    for (value, step) in &rows {
        let Some(m) = step.detail_bits_px else { continue };
        let px = x.at(*value);
        for repeat in &step.repeats_bits_px {
            d.line("mark", (px - 7.0, y.at(*repeat)), (px - 3.0, y.at(*repeat)));
        }
        if let Some(e) = m.std_err {
            d.error_upright(px, y.at(m.value - e), y.at(m.value + e));
        }
        d.dot("accent", (px, y.at(m.value)), 4.0);
    }
    Some(d.done())
}

/// What each change cost: the aperture's part and the noise's, with the 90 % interval. `None`
/// when nothing was told apart.
pub fn cost_bars(record: &CompareRecord, rows: &[&AttributionRecord]) -> Option<String> {
    const ROW: f64 = 64.0;
    const BAR: f64 = 12.0;
    let name = |i: usize| record.steps.get(i).map(|s| step_name(s, record.axis));
    let ends = rows.iter().flat_map(|a| {
        let half = 0.5 * (a.high - a.low);
        [a.low, a.high, a.noise - half, a.noise + half]
    });
    // Losses run to the right.
    let most = ends.clone().map(|v| -v).fold(0.0, f64::max);
    let least = ends.map(|v| -v).fold(0.0, f64::min);
    let ticks = even_ticks(most.max(1e-3));
    let (left, right) = (if least < -0.02 * most { 60.0 } else { 16.0 }, WIDTH - 62.0);
    let high = *ticks.last()?;
    let low = if left > 50.0 { least } else { 0.0 };
    let x = PlotAxis::new(AxisScale::Linear, (low, high), (16.0, right))?;
    let said: Vec<&str> = rows.iter().map(|a| a.message.as_str()).collect();
    if rows.is_empty() {
        return None;
    }
    let bottom = rows.len() as f64 * ROW + 18.0;
    let mut d = Drawing::new(WIDTH, bottom + 40.0, &said.join(" "));
    for tick in &ticks {
        d.line("grid", (x.at(*tick), 18.0), (x.at(*tick), bottom));
        let decimals = if high < 1.0 { 2 } else { 1 };
        let text = wording::fixed(*tick, decimals);
        d.text("soft", (x.at(*tick), bottom + 16.0), Anchor::Middle, &text);
    }
    d.text("soft", ((16.0 + right) / 2.0, bottom + 34.0), Anchor::Middle, "detail lost, bit/px");
    for (i, a) in rows.iter().enumerate() {
        let y = i as f64 * ROW + 4.0;
        let title = format!("{} to {}", name(a.from)?, name(a.to)?);
        d.text("ink", (16.0, y + 11.0), Anchor::Start, &title);
        let half = 0.5 * (a.high - a.low);
        for (k, (part, class, word)) in
            [(a.optics, "accent", "aperture"), (a.noise, "bar", "noise")].into_iter().enumerate()
        {
            let top = y + 18.0 + k as f64 * (BAR + 5.0);
            let (zero, end) = (x.at(0.0), x.at(-part));
            d.rect(class, (zero.min(end), top), (end - zero).abs(), BAR);
            let (a, b) = (x.at(-part - half), x.at(-part + half));
            d.error_level(top + BAR / 2.0, a, b);
            d.text("soft", (end.max(b) + 6.0, top + BAR - 2.0), Anchor::Start, word);
        }
    }
    d.line("rule", (x.at(0.0), 18.0), (x.at(0.0), bottom));
    Some(d.done())
}

/// Whether the ISO ladder says something that the aperture ladder does not.
pub fn wants_iso_ladder(record: &CompareRecord) -> bool {
    matches!(record.axis, SeriesAxis::Iso | SeriesAxis::FourCorners | SeriesAxis::Mixed)
}
