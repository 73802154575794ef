//! The chart of detail: working f-number across, ISO up, the finest line as an even colour, with
//! the shooter's frames, lines of equal exposure, best places and the break-even line.

use crate::core::verdict::Verdict;
use crate::limits::record::{ChartRecord, GridCell};
use crate::report::colour_scale;
use crate::report::svg::axis::{AxisScale, PlotAxis, WORKING_STOPS};
use crate::report::svg::drawing::{Anchor, Drawing};
use crate::report::wording;

const WIDTH: f64 = 720.0;
const LEFT: f64 = 84.0;
const RIGHT: f64 = WIDTH - 22.0;
const TOP: f64 = 26.0;
/// Height of a stop of ISO.
const STOP: f64 = 58.0;
/// Half the step of the grid, as a factor of the working f-number and of ISO.
const HALF_N: f64 = 1.090_507_732_665_257_7;
const HALF_ISO: f64 = 1.189_207_115_002_721;

/// Full stops of ISO.
const ISO_TICKS: [f64; 12] = [
    50.0, 100.0, 200.0, 400.0, 800.0, 1600.0, 3200.0, 6400.0, 12_800.0, 25_600.0, 51_200.0,
    102_400.0,
];

/// The range of finest lines, µm, in whole doublings, for the colours. `None` without any.
pub fn finest_range(grid: &[GridCell]) -> Option<(f64, f64)> {
    let all = grid.iter().filter_map(|c| c.finest_um).filter(|um| um.is_finite() && *um > 0.0);
    let low = all.clone().reduce(f64::min)?.log2();
    let high = all.reduce(f64::max)?.log2();
    let low = (2.0 * low).floor() / 2.0;
    let high = (0.5 * (2.0 * high).ceil()).max(low + 1.0);
    Some((low.exp2(), high.exp2()))
}

fn place(um: f64, range: (f64, f64)) -> f64 {
    ((um / range.0).log2() / (range.1 / range.0).log2()).clamp(0.0, 1.0)
}

/// The chart. `None` when there is nothing to draw.
pub fn field_chart(record: &ChartRecord) -> Option<String> {
    let ns = || {
        let cells = record.grid.iter().map(|c| c.working_f_number);
        cells.chain(record.dots.iter().map(|d| d.working_f_number))
    };
    let isos = || record.grid.iter().map(|c| c.iso).chain(record.dots.iter().map(|d| d.iso));
    let edges = |values: &mut dyn Iterator<Item = f64>, half: f64| {
        let (low, high) = values.fold((f64::INFINITY, 0.0f64), |(l, h), v| (l.min(v), h.max(v)));
        (low < f64::INFINITY).then(|| (low / half / 1.04, high * half * 1.04))
    };
    let n_range = edges(&mut ns(), HALF_N)?;
    let iso_range = edges(&mut isos(), HALF_ISO)?;
    let bottom = TOP + STOP * (iso_range.1 / iso_range.0).log2().clamp(3.0, 10.0);
    let x = PlotAxis::new(AxisScale::Log, n_range, (LEFT, RIGHT))?;
    let y = PlotAxis::new(AxisScale::Log, iso_range, (bottom, TOP))?;
    let says = format!(
        "Finest line by working f-number and ISO: {} places drawn, {} of your frames; the numbers \
         are in the table",
        record.grid.len(),
        record.dots.len()
    );
    let mut d = Drawing::new(WIDTH, bottom + 92.0, &says);
    let range = finest_range(&record.grid);

    for cell in &record.grid {
        let (Some(um), Some(range)) = (cell.finest_um, range) else { continue };
        let (n, iso) = (cell.working_f_number, cell.iso);
        let (x0, x1) = (x.at(n / HALF_N), x.at(n * HALF_N));
        let (y0, y1) = (y.at(iso * HALF_ISO), y.at(iso / HALF_ISO));
        let error = cell.finest_std_err_um.map_or(String::new(), |e| {
            let (um, e) = wording::value_and_error(um, Some(e));
            e.map_or(um.clone(), |e| format!("{um} ± {e}"))
        });
        let title = format!(
            "working {}, ISO {}: {error} µm, {} bit/px",
            wording::f_number(n),
            wording::fixed(iso, 0),
            wording::plus_minus(cell.detail_bits_px, Some(cell.std_err))
        );
        d.cell(
            (x0, y0),
            (x1 - x0, y1 - y0),
            &colour_scale::hex(colour_scale::colour_at(place(um, range))),
            &title,
        );
        // Uncertain places are shaded: the worse known, the more of it is bare.
        let rel = cell.finest_std_err_um.map_or(0.0, |e| e / um);
        if rel > 0.03 {
            let bare = (rel / 0.15).min(0.8);
            let (w, h) = ((x1 - x0) * bare, (y1 - y0) * bare);
            d.rect("bare", (0.5 * (x0 + x1 - w), 0.5 * (y0 + y1 - h)), w, h);
        }
    }
    // Lines of equal exposure: a stop closed for a stop of ISO.
    for best in &record.best {
        let exposure = best.exposure_stops;
        let at = |n: f64| 100.0 * (2.0 * n.log2() - exposure).exp2();
        let on: Vec<&GridCell> = record
            .grid
            .iter()
            .filter(|c| ((at(c.working_f_number) / c.iso).log2()).abs() < 0.1)
            .collect();
        let ends = on.iter().map(|c| c.working_f_number);
        let (low, high) = (ends.clone().fold(f64::INFINITY, f64::min), ends.fold(0.0, f64::max));
        if low < high {
            d.path("walk", &[(x.at(low), y.at(at(low))), (x.at(high), y.at(at(high)))]);
        }
    }
    for iso in ISO_TICKS.iter().filter(|t| (iso_range.0..=iso_range.1).contains(*t)) {
        d.line("rule", (LEFT - 5.0, y.at(*iso)), (LEFT, y.at(*iso)));
        let label = wording::fixed(*iso, 0);
        d.text("soft", (LEFT - 9.0, y.at(*iso) + 4.0), Anchor::End, &label);
    }
    for n in x.on(&WORKING_STOPS) {
        d.line("rule", (x.at(n), bottom), (x.at(n), bottom + 5.0));
        d.text(
            "soft",
            (x.at(n), bottom + 19.0),
            Anchor::Middle,
            wording::f_number(n).trim_start_matches("f/"),
        );
        if let Some(pair) =
            record.marked_axis.iter().find(|p| p.working_f_number.total_cmp(&n).is_eq())
        {
            let marked = wording::f_number(pair.marked_f_number).replacen("f/", "", 1);
            d.text("soft", (x.at(n), bottom + 35.0), Anchor::Middle, &marked);
        }
    }
    d.text("soft", (LEFT - 9.0, bottom + 19.0), Anchor::End, "working f/");
    if !record.marked_axis.is_empty() {
        d.text("soft", (LEFT - 9.0, bottom + 35.0), Anchor::End, "marked f/");
    }
    d.text("soft", (LEFT - 9.0, TOP - 8.0), Anchor::End, "ISO");

    for dot in &record.dots {
        let at = (x.at(dot.working_f_number), y.at(dot.iso));
        // Frames at one setting would hide one another: shifted by their number of dots' detail.
        let shift = (dot.detail_bits_px * 97.0).fract() - 0.5;
        let lift = (dot.detail_bits_px * 61.0).fract() - 0.5;
        let at = (at.0 + 16.0 * shift, at.1 + 16.0 * lift);
        let title = format!(
            "{} · working {} · ISO {} · {} bit/px{}",
            dot.verdict,
            wording::f_number(dot.working_f_number),
            wording::fixed(dot.iso, 0),
            wording::number(dot.detail_bits_px),
            if dot.field { "" } else { " · test" }
        );
        match (dot.verdict, dot.field) {
            (Verdict::Hit, true) => d.titled_dot("dot hit", at, 3.2, &title),
            (Verdict::Hit, false) => d.titled_box("dot hit", at, 5.6, &title),
            (_, true) => d.titled_dot("dot short", at, 2.6, &title),
            (_, false) => d.titled_box("dot short", at, 4.6, &title),
        }
    }
    let line: Vec<(f64, f64)> =
        record.break_even.iter().map(|b| (x.at(b.working_f_number), y.at(b.iso))).collect();
    if line.len() > 1 {
        d.path("even-halo", &line);
        d.path("even", &line);
    }
    for b in &record.break_even {
        let by = 2f64.powf(0.5 * b.std_err_stops);
        let (low, high) = (x.at(b.working_f_number / by), x.at(b.working_f_number * by));
        d.error_level(y.at(b.iso), low, high);
    }
    if let Some(top) = line.last() {
        let anchor = if top.0 > 0.6 * WIDTH { Anchor::End } else { Anchor::Start };
        d.text("ink label", (top.0, TOP - 8.0), anchor, "break-even of a stop and its ISO");
    }
    for best in record.best.iter() {
        let at = (x.at(best.working_f_number), y.at(best.iso));
        d.text("ink best", (at.0, at.1 + 5.0), Anchor::Middle, if best.at_end { "▹" } else { "✕" });
    }
    legend(&mut d, range, bottom + 52.0);
    Some(d.done())
}

/// The colours with their µm.
fn legend(d: &mut Drawing, range: Option<(f64, f64)>, top: f64) {
    let Some(range) = range else { return };
    const LONG: f64 = 256.0;
    d.text("soft", (LEFT, top + 10.0), Anchor::Start, "finest line, µm");
    let left = LEFT + 110.0;
    d.scale((left, top), LONG, 12.0);
    let mut um = range.0;
    while um <= range.1 * 1.001 {
        let at = left + place(um, range) * LONG;
        d.line("rule", (at, top + 12.0), (at, top + 17.0));
        d.text("soft", (at, top + 29.0), Anchor::Middle, &wording::number(um));
        um *= std::f64::consts::SQRT_2;
    }
}

/// Detail along one line of the field: at one ISO over the working f-number, or at one level of
/// light. Points are (working f-number, detail, error, label).
pub fn section(points: &[(f64, f64, f64, String)], says: &str) -> Option<String> {
    const W: f64 = 358.0;
    let (left, right, top, bottom) = (46.0, W - 16.0, 14.0, 190.0);
    if points.len() < 2 {
        return None;
    }
    let ns: Vec<f64> = points.iter().map(|p| p.0).collect();
    let range = (ns[0] / 1.06, ns[ns.len() - 1] * 1.06);
    let x = PlotAxis::new(AxisScale::Log, range, (left, right))?;
    let most = points.iter().map(|p| p.1 + p.2).fold(0.0, f64::max);
    let ticks = crate::report::svg::axis::even_ticks(most);
    let y = PlotAxis::new(AxisScale::Linear, (0.0, *ticks.last()?), (bottom, top))?;
    let mut d = Drawing::new(W, bottom + 42.0, says);
    for t in &ticks {
        d.line("grid", (left, y.at(*t)), (right, y.at(*t)));
        d.text("soft", (left - 6.0, y.at(*t) + 4.0), Anchor::End, &wording::short(*t));
    }
    for n in x.on(&WORKING_STOPS) {
        d.line("rule", (x.at(n), bottom), (x.at(n), bottom + 5.0));
        d.text("soft", (x.at(n), bottom + 19.0), Anchor::Middle, &wording::f_number(n));
    }
    let band: Vec<(f64, f64)> = points
        .iter()
        .map(|p| (x.at(p.0), y.at(p.1 + p.2)))
        .chain(points.iter().rev().map(|p| (x.at(p.0), y.at((p.1 - p.2).max(0.0)))))
        .collect();
    d.area("band", &band);
    let line: Vec<(f64, f64)> = points.iter().map(|p| (x.at(p.0), y.at(p.1))).collect();
    d.path("curve", &line);
    for (p, at) in points.iter().zip(&line) {
        d.titled_dot("accent", *at, 3.0, &p.3);
    }
    d.text("soft", (left, bottom + 38.0), Anchor::Start, "working f-number; detail in bit/px");
    Some(d.done())
}
