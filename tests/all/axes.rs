//! The axes of the charts: what is read off by their labels is what the record holds.
//!
//! A chart is read as a person does: the places of its labels give the scale, and the place of a
//! mark its value on it. A label that names another number, or stands elsewhere, fails.

use serde_json::Value as Json;
use stopwise::cull::inspect;
use stopwise::optics::MountedLens;
use stopwise::report::parts::{BreakdownRow, FrameSource};
use stopwise::report::svg::{Stops, share_chart};
use stopwise::simulator::scene::SceneKind;
use stopwise::simulator::series::SeriesSpec;
use stopwise::{body_noise, limits};

use crate::cli::Place;
use crate::{compare, invented, shooters};

/// A text of a drawing.
#[derive(Debug, Clone)]
struct Words {
    at: (f64, f64),
    anchor: String,
    text: String,
}

/// What is drawn at a place, by its class.
#[derive(Debug, Clone)]
struct Mark {
    class: String,
    points: Vec<(f64, f64)>,
}

/// A drawing of a page.
#[derive(Debug, Clone, Default)]
pub struct Drawn {
    label: String,
    words: Vec<Words>,
    dots: Vec<Mark>,
    lines: Vec<Mark>,
    boxes: Vec<Mark>,
}

fn attribute(tag: &str, name: &str) -> Option<String> {
    let (_, rest) = tag.split_once(&format!(" {name}=\""))?;
    Some(rest.split('"').next()?.to_owned())
}

/// The drawings of a page, in order.
pub fn drawings(page: &str) -> Vec<Drawn> {
    page.split("<svg ").skip(1).filter_map(drawing).collect()
}

fn drawing(text: &str) -> Option<Drawn> {
    let text = text.split("</svg>").next()?;
    let mut drawn =
        Drawn { label: attribute(&format!(" {text}"), "aria-label")?, ..Drawn::default() };
    for part in text.split('<') {
        let (tag, words) = part.split_once('>').unwrap_or((part, ""));
        let number = |name| attribute(tag, name).and_then(|v| v.parse::<f64>().ok());
        let class = attribute(tag, "class").unwrap_or_default();
        let mark = |points| Mark { class: class.clone(), points };
        match tag.split(' ').next()? {
            "text" => drawn.words.push(Words {
                at: (number("x")?, number("y")?),
                anchor: attribute(tag, "text-anchor").unwrap_or("start".to_owned()),
                text: words.to_owned(),
            }),
            "circle" => drawn.dots.push(mark(vec![(number("cx")?, number("cy")?)])),
            "line" => drawn
                .lines
                .push(mark(vec![(number("x1")?, number("y1")?), (number("x2")?, number("y2")?)])),
            "polyline" => {
                let pair = |p: &str| {
                    let (x, y) = p.split_once(',')?;
                    Some((x.parse().ok()?, y.parse().ok()?))
                };
                let points = attribute(tag, "points")?;
                drawn.lines.push(mark(points.split(' ').filter_map(pair).collect()));
            }
            "rect" => {
                let (x, y) = (number("x")?, number("y")?);
                let far = (x + number("width")?, y + number("height")?);
                drawn.boxes.push(mark(vec![(x, y), far]));
            }
            _ => {}
        }
    }
    Some(drawn)
}

/// A label as a number: "f/8", "50 %", "1/125", "10⁻²", "0.5".
fn number_of(label: &str) -> Option<f64> {
    const RAISED: &str = "⁰¹²³⁴⁵⁶⁷⁸⁹";
    let label = label.trim_start_matches("f/");
    if let Some(share) = label.strip_suffix(" %") {
        return Some(share.parse::<f64>().ok()? / 100.0);
    }
    if let Some(of) = label.strip_prefix("1/") {
        return Some(1.0 / of.parse::<f64>().ok()?);
    }
    let power = label.strip_prefix("10").unwrap_or_default();
    if power.ends_with(|c| RAISED.contains(c)) {
        let digit = |c: char| RAISED.chars().position(|r| r == c);
        let digits = power.trim_start_matches('⁻').chars();
        let size = digits.map(digit).try_fold(0, |sum, d| Some(10 * sum + d? as i32))?;
        return Some(10f64.powi(if power.starts_with('⁻') { -size } else { size }));
    }
    label.parse().ok()
}

/// A scale as its labels show it: (px, value) of each.
#[derive(Debug, Clone)]
pub struct Scale {
    labels: Vec<(f64, f64)>,
    log: bool,
}

/// Places are written to a tenth of a px; beyond the outer labels that grows.
const ROUNDED_PX: f64 = 0.3;

impl Scale {
    fn new(mut labels: Vec<(f64, f64)>, log: bool) -> Scale {
        labels.sort_by(|a, b| a.1.total_cmp(&b.1));
        assert!(labels.len() > 1, "{labels:?}");
        let scale = Scale { labels, log };
        // Labels between the outer ones are where those put them.
        for (px, value) in &scale.labels {
            scale.shows(*px, *value);
        }
        scale
    }

    fn spread(&self, value: f64) -> f64 {
        if self.log { value.ln() } else { value }
    }

    /// Where a value is by the outer labels, px.
    fn px(&self, value: f64) -> f64 {
        let (first, last) = (self.labels[0], self.labels[self.labels.len() - 1]);
        let part = (self.spread(value) - self.spread(first.1))
            / (self.spread(last.1) - self.spread(first.1));
        first.0 + part * (last.0 - first.0)
    }

    fn is_at(&self, px: f64, value: f64) -> bool {
        (self.px(value) - px).abs() <= ROUNDED_PX
    }

    /// Holds a place against a value of the record.
    fn shows(&self, px: f64, value: f64) {
        assert!(self.is_at(px, value), "{value} is at {px}, not at {}: {self:?}", self.px(value));
    }
}

impl Drawn {
    /// The scale up: labels left of the plot.
    fn up(&self, log: bool) -> Scale {
        let right = self.words.iter().filter(|w| w.anchor == "end");
        let labels = right.filter_map(|w| Some((w.at.1 - 4.0, number_of(&w.text)?)));
        Scale::new(labels.collect(), log)
    }

    /// The labels of the `row`th row below the plot, from the top down.
    fn below(&self, row: usize) -> Vec<&Words> {
        let is_upright = |l: &&Mark| l.class == "rule" && l.points[0].0 == l.points[1].0;
        let foot = self.lines.iter().find(is_upright).unwrap().points[1].1;
        let is_label =
            |w: &&Words| w.anchor == "middle" && w.at.1 > foot && number_of(&w.text).is_some();
        let labels: Vec<&Words> = self.words.iter().filter(is_label).collect();
        let mut rows: Vec<f64> = labels.iter().map(|w| w.at.1).collect();
        rows.sort_by(f64::total_cmp);
        rows.dedup();
        labels.into_iter().filter(|w| w.at.1 == rows[row]).collect()
    }

    /// The scale across.
    fn across(&self, log: bool) -> Scale {
        let labels = self.below(0).into_iter();
        Scale::new(labels.map(|w| (w.at.0, number_of(&w.text).unwrap())).collect(), log)
    }

    /// Holds the second row of labels against the first: below each stands what `other` makes of it,
    /// within half of its last digit.
    fn has_below(&self, other: impl Fn(f64) -> f64) {
        let (first, second) = (self.below(0), self.below(1));
        assert!(first.len() > 1 && first.len() == second.len(), "{first:?} {second:?}");
        for (above, below) in first.iter().zip(second) {
            assert_eq!(above.at.0, below.at.0, "{above:?} {below:?}");
            let wanted = other(number_of(&above.text).unwrap());
            let decimals = below.text.split_once('.').map_or(0, |(_, d)| d.len()) as i32;
            let off = (number_of(&below.text).unwrap() - wanted).abs();
            assert!(off <= 0.5001 * 10f64.powi(-decimals), "{below:?} for {wanted}");
        }
    }

    fn dots(&self, class: &str) -> Vec<(f64, f64)> {
        self.dots.iter().filter(|d| d.class == class).map(|d| d.points[0]).collect()
    }

    fn lines(&self, class: &str) -> Vec<&Mark> {
        self.lines.iter().filter(|l| l.class == class).collect()
    }
}

/// Every value of the record has its dot, and every dot its value, in order.
fn dots_show(drawn: &Drawn, scales: (&Scale, &Scale), class: &str, values: &[(f64, f64)]) {
    let dots = drawn.dots(class);
    assert_eq!(dots.len(), values.len(), "{}", drawn.label);
    assert!(!values.is_empty(), "{}", drawn.label);
    for ((x, y), value) in dots.iter().zip(values) {
        scales.0.shows(*x, value.0);
        scales.1.shows(*y, value.1);
    }
}

fn one(svg: Option<String>) -> Drawn {
    drawings(&svg.unwrap()).remove(0)
}

fn labelled<'a>(drawn: &'a [Drawn], start: &str) -> Vec<&'a Drawn> {
    drawn.iter().filter(|d| d.label.starts_with(start)).collect()
}

#[test]
fn a_scale_that_is_wrong_is_found() {
    let scale = Scale::new(vec![(10.0, 1.0), (20.0, 2.0), (30.0, 4.0)], true);
    assert!(scale.is_at(15.0, 2f64.sqrt()) && !scale.is_at(15.4, 2f64.sqrt()));
    assert!(
        std::panic::catch_unwind(|| {
            Scale::new(vec![(10.0, 1.0), (20.0, 2.0), (30.0, 3.0)], true)
        })
        .is_err()
    );
    let labels = ["f/5.6", "50 %", "1/125", "10⁻²", "10¹²", "0.5", "cy"].map(number_of);
    let values = [Some(5.6), Some(0.5), Some(0.008), Some(0.01), Some(1e12), Some(0.5), None];
    assert_eq!(labels, values);
}

#[test]
fn shares_are_where_their_stops_and_counts_put_them() {
    let made = invented::outing(7, &[8, 5, 14, 3, 1], false);
    let outing = made.record.outing;
    let rows = |rows: &[BreakdownRow]| -> Vec<(f64, f64)> {
        let share = |r: &BreakdownRow| f64::from(r.share.count) / f64::from(r.share.of);
        rows.iter().filter_map(|r| Some((r.at?, share(r)))).collect()
    };
    for (of, stops) in
        [(&outing.by_aperture, Stops::Aperture), (&outing.by_shutter, Stops::Shutter)]
    {
        let drawn = one(share_chart(of, stops));
        let (x, y) = (drawn.across(true), drawn.up(false));
        dots_show(&drawn, (&x, &y), "accent", &rows(of));
    }
}

#[test]
fn spectrum_and_noise_of_a_frame_are_those_of_its_record() {
    let (record, pictures) = invented::inspected(3);
    let page = drawings(&inspect::page::page(&record, &pictures).unwrap());
    let spectrum = labelled(&page, "Power spectrum")[0];
    let (x, y) = (spectrum.across(true), spectrum.up(true));
    for (class, power) in [("curve", true), ("curve-soft", false)] {
        let line = &spectrum.lines(class)[0].points;
        assert_eq!(line.len(), record.spectrum.len());
        for (at, point) in line.iter().zip(&record.spectrum) {
            x.shows(at.0, point.cy_px);
            y.shows(at.1, if power { point.power } else { point.noise });
        }
    }
    let resolved = spectrum.lines("allowed")[0].points[0];
    x.shows(resolved.0, record.resolved_cy_px.unwrap().value);

    let noise = labelled(&page, "Noise by brightness")[0];
    let values: Vec<(f64, f64)> =
        record.noise.iter().map(|n| (n.level_dn, n.sigma_dn.value)).collect();
    dots_show(noise, (&noise.across(false), &noise.up(false)), "accent", &values);
}

#[test]
fn photon_transfer_is_that_of_the_record() {
    let record = invented::noise();
    let page = drawings(&body_noise::page::page(&record).unwrap());
    let charts = labelled(&page, "Noise over signal");
    let bodies = record.bodies.iter().map(|b| {
        let raw = b.isos.iter().filter(|r| r.source == FrameSource::Raw && r.curve.len() > 1);
        raw.flat_map(|r| &r.curve).collect::<Vec<_>>()
    });
    let bodies: Vec<_> = bodies.filter(|points| !points.is_empty()).collect();
    assert_eq!(charts.len(), bodies.len());
    for (chart, points) in charts.iter().zip(bodies) {
        let (x, y) = (chart.across(true), chart.up(true));
        for (class, kept) in [("accent", true), ("soft", false)] {
            let of = points.iter().filter(|p| p.kept == kept);
            let values: Vec<(f64, f64)> = of.map(|p| (p.signal_dn, p.sigma_dn)).collect();
            if !values.is_empty() {
                dots_show(chart, (&x, &y), class, &values);
            }
        }
    }
}

/// A chart of the log for a lens, which gives marked f-numbers to the working ones.
fn charted() -> limits::record::ChartRecord {
    let lens = MountedLens { focal_mm: Some(100.0), ..MountedLens::default() };
    let job = limits::ChartJob { lens: Some(lens), ..limits::ChartJob::default() };
    limits::chart(&job, &shooters::entries(20_300, 300, 54)).record
}

#[test]
fn the_field_has_working_and_marked_f_numbers_and_isos_of_the_record() {
    let record = charted();
    let drawn = one(limits::chart_svg(&record).ok());
    let working = drawn.across(true);
    assert!(record.marked_axis.len() > 2);
    drawn.has_below(|n| {
        let mut pairs = record.marked_axis.iter();
        pairs.find(|p| p.working_f_number == n).unwrap().marked_f_number
    });
    let iso = drawn.up(true);
    let even = &drawn.lines("even")[0].points;
    assert_eq!(even.len(), record.break_even.len());
    for (at, b) in even.iter().zip(&record.break_even) {
        working.shows(at.0, b.working_f_number);
        iso.shows(at.1, b.iso);
    }
    let best = drawn.words.iter().filter(|w| matches!(w.text.as_str(), "✕" | "▹"));
    let best: Vec<&Words> = best.collect();
    assert_eq!(best.len(), record.best.len());
    for (at, b) in best.iter().zip(&record.best) {
        working.shows(at.at.0, b.working_f_number);
        iso.shows(at.at.1 - 5.0, b.iso);
    }
    let places = drawn.boxes.iter().filter(|b| b.class.is_empty()).count();
    // One more is the scale of the colours.
    let with_line = record.grid.iter().filter(|c| c.finest_um.is_some()).count();
    assert_eq!(places, with_line + 1);
}

#[test]
fn sections_hands_and_hits_of_a_chart_are_those_of_the_record() {
    let record = charted();
    let page = drawings(&limits::page::page(&record).unwrap());
    let sections = labelled(&page, "Detail at ");
    assert_eq!(sections.len(), 2);
    for section in sections {
        let (x, y) = (section.across(true), section.up(false));
        for dot in section.dots("accent") {
            let mut cells = record.grid.iter();
            let there = cells
                .any(|c| x.is_at(dot.0, c.working_f_number) && y.is_at(dot.1, c.detail_bits_px));
            assert!(there, "{dot:?} of {} is no place of the grid", section.label);
        }
        assert!(section.dots("accent").len() > 1);
    }
    let hands: Vec<_> = record.hands.iter().chain(&record.clip_hands).collect();
    let still = labelled(&page, "Free of motion blur");
    assert!(!hands.is_empty() && still.len() == hands.len());
    for (drawn, hand) in still.iter().zip(&hands) {
        let (x, y) = (drawn.across(true), drawn.up(false));
        let share = |r: &&limits::record::HandRow| {
            (r.shutter_s, f64::from(r.still.count) / f64::from(r.still.of))
        };
        let with = hand.rows.iter().filter(|r| r.still.low.is_some());
        let values: Vec<(f64, f64)> = with.map(|r| share(&r)).collect();
        dots_show(drawn, (&x, &y), "accent", &values);
    }
    let smears = labelled(&page, "Smear");
    let moved = hands.iter().map(|h| {
        let rows = h.rows.iter().filter_map(|r| Some((r.shutter_s, r.shake_um?)));
        rows.collect::<Vec<(f64, f64)>>()
    });
    let moved: Vec<_> = moved.filter(|rows| !rows.is_empty()).collect();
    assert!(!moved.is_empty() && smears.len() == moved.len());
    for (drawn, values) in smears.iter().zip(&moved) {
        dots_show(drawn, (&drawn.across(true), &drawn.up(false)), "accent", values);
    }
}

fn values(step: &Json, x: &str, y: &str) -> Option<(f64, f64)> {
    Some((step[x].as_f64()?, step[y]["value"].as_f64()?))
}

fn page_and_record(place: &Place, args: &[&str]) -> (Vec<Drawn>, Json) {
    let ran = place.run(&[args, &["--json", "r.json", "--report", "p.html"]].concat());
    assert_eq!(ran.code, Some(0), "{}", ran.stderr);
    let read = |name: &str| std::fs::read_to_string(place.path().join(name)).unwrap();
    (drawings(&read("p.html")), serde_json::from_str(&read("r.json")).unwrap())
}

#[test]
fn ladders_and_costs_of_a_series_are_those_of_its_record() {
    let place = Place::new();
    let spec = SeriesSpec::usual(SceneKind::DeadLeaves, 3);
    let steps = [(5.6, 200, 0.005), (11.0, 800, 0.005), (22.0, 3200, 0.005)];
    compare::write(&place.path().join("s"), spec, &steps, 1, -1.0);
    let args = ["compare", "s", "--magnification", "1"];
    let (page, record) = page_and_record(&place, &args);
    let steps = record["steps"].as_array().unwrap();
    let of = |x: &str| -> Vec<(f64, f64)> {
        steps.iter().map(|s| values(s, x, "detail_bits_px").unwrap()).collect()
    };
    let aperture = labelled(&page, "Detail in bits per pixel; marked f-number")[0];
    let up = aperture.up(false);
    dots_show(aperture, (&aperture.across(true), &up), "accent", &of("f_number"));
    let times =
        steps[0]["working_f_number"].as_f64().unwrap() / steps[0]["f_number"].as_f64().unwrap();
    assert!(times > 1.9, "{times} at 1:1");
    aperture.has_below(|marked| marked * times);
    let costs: Vec<&Drawn> =
        page.iter().filter(|d| d.words.iter().any(|w| w.text == "detail lost, bit/px")).collect();
    let next = record["attributions"].as_array().unwrap().iter();
    let next: Vec<&Json> =
        next.filter(|a| a["to"].as_u64() == a["from"].as_u64().map(|f| f + 1)).collect();
    assert!(!next.is_empty());
    let (bars, x) = (costs[0], costs[0].across(false));
    for (class, key) in [("accent", "optics"), ("bar", "noise")] {
        let ends: Vec<&Mark> = bars.boxes.iter().filter(|b| b.class == class).collect();
        assert_eq!(ends.len(), next.len());
        for (bar, a) in ends.iter().zip(&next) {
            let lost = -a[key].as_f64().unwrap();
            let (near, far) = (bar.points[0].0, bar.points[1].0);
            x.shows(near, lost.min(0.0));
            x.shows(far, lost.max(0.0));
        }
    }
}

#[test]
fn the_ladder_of_isos_is_that_of_its_record() {
    let place = Place::new();
    let spec = SeriesSpec::usual(SceneKind::DeadLeaves, 5);
    let steps = [(8.0, 200, 0.02), (8.0, 800, 0.005), (8.0, 3200, 0.00125)];
    compare::write(&place.path().join("s"), spec, &steps, 1, -1.0);
    let (page, record) = page_and_record(&place, &["compare", "s"]);
    let iso = labelled(&page, "Detail in bits per pixel; ISO")[0];
    let steps = record["steps"].as_array().unwrap().iter();
    let steps: Vec<(f64, f64)> =
        steps.map(|s| values(s, "iso", "detail_bits_px").unwrap()).collect();
    dots_show(iso, (&iso.across(true), &iso.up(false)), "accent", &steps);
}

#[test]
fn the_edge_is_half_where_the_record_says() {
    let place = Place::new();
    compare::edge_series(&place);
    let (page, record) =
        page_and_record(&place, &["compare", "s", "--edge", "0.4375,0.5,0.19,0.21"]);
    let edge = labelled(&page, "Modulation over frequency")[0];
    let half = record["steps"].as_array().unwrap().iter();
    let half: Vec<(f64, f64)> =
        half.map(|s| (s["edge"]["mtf50_cy_px"]["value"].as_f64().unwrap(), 0.5)).collect();
    dots_show(edge, (&edge.across(false), &edge.up(false)), "accent", &half);
}

/// Ticks of a ruler on its page are as far apart as the record says.
pub fn ticks_are_spaced_as_recorded(page: &str, record: &Json) {
    let page = drawings(page);
    let profile = labelled(&page, "Brightness across")[0];
    let scale = profile.across(false);
    let marks: Vec<f64> = profile.lines("mark").iter().map(|l| l.points[0].0).collect();
    assert_eq!(marks.len() as u64, record["ticks"].as_u64().unwrap());
    let px = record["period_px"]["value"].as_f64().unwrap() * (marks.len() - 1) as f64;
    let (first, last) =
        (marks[0].min(marks[marks.len() - 1]), marks[0].max(marks[marks.len() - 1]));
    let drawn = scale.px(px) - scale.px(0.0);
    assert!(((last - first) / drawn - 1.0).abs() < 0.02, "{first} to {last}, not {drawn}");
    // Brightness is over its mean: the curve lies on both sides of 1.
    let one = profile.up(false).px(1.0);
    let curve = &profile.lines("curve")[0].points;
    assert!(curve.iter().any(|p| p.1 < one) && curve.iter().any(|p| p.1 > one));
}

/// Stretches of a clip end on its time line where the record says.
pub fn stretches_end_as_recorded(page: &str, spans: &[(f64, f64)]) {
    let page = drawings(page);
    let lines = labelled(&page, "Time line");
    assert_eq!(lines.len(), 2, "for a desk and for a phone");
    for line in lines {
        let scale = line.across(false);
        assert!(!spans.is_empty() && line.boxes.len() == spans.len());
        for (drawn, (start, end)) in line.boxes.iter().zip(spans) {
            scale.shows(drawn.points[0].0, *start);
            // A hair is left to the next one.
            scale.shows(drawn.points[1].0 + 0.5, *end);
        }
    }
}
