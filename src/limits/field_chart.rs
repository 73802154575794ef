//! The chart of detail: working f-number across, ISO up, the finest line as an even colour, with
//! the shooter's frames, lines of equal exposure, best places and the break-even line.

use crate::core::verdict::Verdict;
use crate::error::{Error, Result};
use crate::limits::record::{ChartRecord, Dot, GridCell};
use crate::limits::sections::GridSection;
use crate::report::colour_scale;
use crate::report::html::colours::style_sheet;
use crate::report::svg;
use crate::report::svg::axis::{AxisScale, WORKING_STOPS, even_ticks};
use crate::report::svg::drawing::Anchor;
use crate::report::svg::plot::{LABEL, NAME, PHONE_WIDTH, Plot, PlotArea};
use crate::report::wording;

const WIDTH: f64 = 720.0;
/// Upper edge of the plot.
const TOP: f64 = 26.0;
/// Height of a stop of ISO.
const STOP: f64 = 58.0;
/// From the plot's lower edge down to the labels of marked f-numbers and the colours, px.
const MARKED: f64 = 35.0;
const LEGEND: f64 = 52.0;
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
    let (grid, dots) = (&record.grid, &record.dots);
    let ns = grid.iter().map(|c| c.working_f_number);
    let n_range = edges(ns.chain(dots.iter().map(|d| d.working_f_number)), HALF_N)?;
    let iso_range = edges(grid.iter().map(|c| c.iso).chain(dots.iter().map(|d| d.iso)), HALF_ISO)?;
    let bottom = TOP + STOP * (iso_range.1 / iso_range.0).log2().clamp(3.0, 10.0);
    let (left, right) = (84.0, WIDTH - 22.0);
    let area = PlotArea { width: WIDTH, left, right, top: TOP, bottom, below: 92.0 };
    let x = area.x(AxisScale::Log, n_range, (0.0, 0.0))?;
    let y = area.y(AxisScale::Log, iso_range)?;
    let says = format!(
        "Finest line by working f-number and ISO: {} places drawn, {} of your frames; the numbers \
         are in the table",
        grid.len(),
        dots.len()
    );
    let mut p = Plot::new(area, x, y, &says);
    let range = finest_range(grid);
    if let Some(range) = range {
        cells(&mut p, grid, range);
    }
    equal_exposures(&mut p, record);
    axes(&mut p, record, iso_range);
    for dot in dots {
        frame_dot(&mut p, dot);
    }
    break_even(&mut p, record);
    for best in &record.best {
        let (x, y) = p.at(best.working_f_number, best.iso);
        let sign = if best.at_end { "▹" } else { "✕" };
        p.drawing.text("ink best", (x, y + 5.0), Anchor::Middle, sign);
    }
    if let Some(range) = range {
        legend(&mut p, range);
    }
    Some(p.done())
}

/// The range of an axis about some places, half a step of the grid and a hair beyond them.
fn edges(values: impl Iterator<Item = f64>, half: f64) -> Option<(f64, f64)> {
    let (low, high) = values.fold((f64::INFINITY, 0.0f64), |(l, h), v| (l.min(v), h.max(v)));
    (low < f64::INFINITY).then(|| (low / half / 1.04, high * half * 1.04))
}

/// The finest line at every place of the grid as a colour.
fn cells(p: &mut Plot, grid: &[GridCell], range: (f64, f64)) {
    for cell in grid {
        let Some(um) = cell.finest_um else { continue };
        let (n, iso) = (cell.working_f_number, cell.iso);
        let (x0, y0) = p.at(n / HALF_N, iso * HALF_ISO);
        let (x1, y1) = p.at(n * HALF_N, iso / HALF_ISO);
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
        let colour = colour_scale::hex(colour_scale::colour_at(place(um, range)));
        p.drawing.cell((x0, y0), (x1 - x0, y1 - y0), &colour, &title);
        // Uncertain places are shaded: the worse known, the more of it is bare.
        let rel = cell.finest_std_err_um.map_or(0.0, |e| e / um);
        if rel > 0.03 {
            let bare = (rel / 0.15).min(0.8);
            let (w, h) = ((x1 - x0) * bare, (y1 - y0) * bare);
            p.drawing.rect("bare", (0.5 * (x0 + x1 - w), 0.5 * (y0 + y1 - h)), w, h);
        }
    }
}

/// Lines of equal exposure through the best places: a stop closed for a stop of ISO.
fn equal_exposures(p: &mut Plot, record: &ChartRecord) {
    for best in &record.best {
        let at = |n: f64| 100.0 * (2.0 * n.log2() - best.exposure_stops).exp2();
        let on = record.grid.iter().map(|c| (c.working_f_number, c.iso));
        let ends = on.filter(|(n, iso)| (at(*n) / iso).log2().abs() < 0.1).map(|(n, _)| n);
        let (low, high) = ends.fold((f64::INFINITY, 0.0f64), |(l, h), n| (l.min(n), h.max(n)));
        if low < high {
            p.curve("walk", [(low, at(low)), (high, at(high))]);
        }
    }
}

/// ISO up; working f-numbers across, with marked ones below where they are known.
fn axes(p: &mut Plot, record: &ChartRecord, isos: (f64, f64)) {
    let on: Vec<f64> = ISO_TICKS.into_iter().filter(|t| (isos.0..=isos.1).contains(t)).collect();
    p.side_ticks(&on, |iso| wording::fixed(iso, 0));
    let bare = |n: f64| wording::f_number(n).trim_start_matches("f/").to_owned();
    for n in p.x.on(&WORKING_STOPS) {
        p.ticks(&[n], 1, bare);
        let mut pairs = record.marked_axis.iter();
        if let Some(pair) = pairs.find(|p| p.working_f_number.total_cmp(&n).is_eq()) {
            p.below(n, MARKED, &bare(pair.marked_f_number));
        }
    }
    let bottom = p.area.bottom;
    p.beside(bottom + LABEL, "working f/");
    if !record.marked_axis.is_empty() {
        p.beside(bottom + MARKED, "marked f/");
    }
    p.beside(TOP - 8.0, "ISO");
}

/// A frame of the shooter's.
fn frame_dot(p: &mut Plot, dot: &Dot) {
    let at = p.at(dot.working_f_number, dot.iso);
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
    let d = &mut p.drawing;
    match (dot.verdict, dot.field) {
        (Verdict::Hit, true) => d.titled_dot("dot hit", at, 3.2, &title),
        (Verdict::Hit, false) => d.titled_box("dot hit", at, 5.6, &title),
        (_, true) => d.titled_dot("dot short", at, 2.6, &title),
        (_, false) => d.titled_box("dot short", at, 4.6, &title),
    }
}

/// Where closing a stop costs as much as its ISO, with its error.
fn break_even(p: &mut Plot, record: &ChartRecord) {
    let places = record.break_even.iter().map(|b| (b.working_f_number, b.iso));
    if record.break_even.len() > 1 {
        p.curve("even-halo", places.clone());
        p.curve("even", places);
    }
    for b in &record.break_even {
        let by = 2f64.powf(0.5 * b.std_err_stops);
        p.error_across(b.iso, b.working_f_number / by, b.working_f_number * by);
    }
    if let Some(top) = record.break_even.last() {
        let x = p.x.at(top.working_f_number);
        let anchor = if x > 0.6 * WIDTH { Anchor::End } else { Anchor::Start };
        let words = "break-even of a stop and its ISO";
        p.drawing.text("ink label", (x, TOP - 8.0), anchor, words);
    }
}

/// The chart as a file of its own, with its colours in it.
///
/// # Errors
/// [`Error::Record`] when there is nothing to draw.
pub fn chart_svg(record: &ChartRecord) -> Result<String> {
    let too_few = || Error::Record("there are too few frames for a drawing".to_owned());
    let chart = field_chart(record).ok_or_else(too_few)?;
    let gradient = svg::scale_gradient();
    let definitions = gradient.split_once("<defs>").and_then(|(_, d)| d.split_once("</defs>"));
    let definitions = definitions.map_or("", |(d, _)| d);
    let style = format!(
        "{}\n{}svg{{background:var(--ground);font-family:system-ui,sans-serif}}",
        style_sheet(),
        include_str!("chart.css")
    );
    let inside = format!("<defs><style>{style}</style>{definitions}</defs>");
    let opened = chart.replacen("<svg ", "<svg xmlns=\"http://www.w3.org/2000/svg\" ", 1);
    let (tag, rest) = opened.split_once('>').ok_or_else(too_few)?;
    Ok(format!("{tag}>{inside}{rest}\n"))
}

/// The colours with their µm.
fn legend(p: &mut Plot, range: (f64, f64)) {
    const LONG: f64 = 256.0;
    let top = p.area.bottom + LEGEND;
    let d = &mut p.drawing;
    d.text("soft", (p.area.left, top + 10.0), Anchor::Start, "finest line, µm");
    let left = p.area.left + 110.0;
    d.scale((left, top), LONG, 12.0);
    let mut um = range.0;
    while um <= range.1 * 1.001 {
        let at = left + place(um, range) * LONG;
        d.line("rule", (at, top + 12.0), (at, top + 17.0));
        d.text("soft", (at, top + 29.0), Anchor::Middle, &wording::number(um));
        um *= std::f64::consts::SQRT_2;
    }
}

/// Detail along one line of the field over the working f-number. `None` for fewer than two places.
pub fn section_chart(section: &GridSection) -> Option<String> {
    const AREA: PlotArea = PlotArea {
        width: PHONE_WIDTH,
        left: 46.0,
        right: PHONE_WIDTH - 16.0,
        top: 14.0,
        bottom: 190.0,
        below: 42.0,
    };
    let cells = &section.cells;
    if cells.len() < 2 {
        return None;
    }
    let range = (cells[0].working_f_number / 1.06, cells[cells.len() - 1].working_f_number * 1.06);
    let most = cells.iter().map(|c| c.detail_bits_px + c.std_err).fold(0.0, f64::max);
    let levels = even_ticks(most);
    let x = AREA.x(AxisScale::Log, range, (0.0, 0.0))?;
    let y = AREA.y(AxisScale::Linear, (0.0, *levels.last()?))?;
    let mut p = Plot::new(AREA, x, y, &section.title);
    p.levels(&levels, 1, wording::short);
    let ticks: Vec<f64> = x.on(&WORKING_STOPS).collect();
    p.ticks(&ticks, 1, wording::f_number);
    let band: Vec<(f64, f64, f64)> = cells
        .iter()
        .map(|c| (c.working_f_number, c.detail_bits_px, c.std_err))
        .map(|(n, bits, err)| (n, (bits - err).max(0.0), bits + err))
        .collect();
    p.band(&band);
    p.curve("curve", cells.iter().map(|c| (c.working_f_number, c.detail_bits_px)));
    for c in cells {
        let says = format!(
            "working {}, ISO {}: {} bit/px",
            wording::f_number(c.working_f_number),
            wording::fixed(c.iso, 0),
            wording::plus_minus(c.detail_bits_px, Some(c.std_err))
        );
        p.titled_dot("accent", (c.working_f_number, c.detail_bits_px), 3.0, &says);
    }
    let at = (AREA.left, AREA.bottom + NAME);
    p.drawing.text("soft", at, Anchor::Start, "working f-number; detail in bit/px");
    Some(p.done())
}
