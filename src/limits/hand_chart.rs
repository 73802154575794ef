//! How still the hand is: share of frames that held still over the shutter, with the fitted
//! chance, and how far the others moved.

use crate::limits::record::{HandLimit, HandRow, Handheld};
use crate::report::svg::axis::{AxisScale, PlotAxis, even_ticks};
use crate::report::svg::drawing::{Anchor, Drawing};
use crate::report::wording;

const WIDTH: f64 = 358.0;
const LEFT: f64 = 46.0;
const RIGHT: f64 = WIDTH - 18.0;

/// The shutter axis of a hand's rows, fast at the left.
fn shutter_axis(h: &Handheld) -> Option<PlotAxis> {
    let fastest = h.rows.first()?.shutter_s;
    let slowest = h.rows.last()?.shutter_s;
    PlotAxis::new(AxisScale::Log, (fastest / 1.5, slowest * 1.5), (LEFT, RIGHT))
}

fn ticks(d: &mut Drawing, x: &PlotAxis, bottom: f64) {
    let all: Vec<f64> = x.on(&wording::SHUTTER_STOPS).collect();
    let every = all.len().div_ceil(7).max(1);
    for (i, s) in all.iter().enumerate() {
        d.line("rule", (x.at(*s), bottom), (x.at(*s), bottom + 5.0));
        if i % every == 0 {
            let label = wording::shutter(*s);
            d.text("soft", (x.at(*s), bottom + 19.0), Anchor::Middle, label.trim_end_matches(" s"));
        }
    }
}

/// Shares with Wilson's intervals over shutter, the fitted chance with its band, and the limit.
pub fn hand_chart(h: &Handheld) -> Option<String> {
    let (top, bottom) = (34.0, 194.0);
    let x = shutter_axis(h)?;
    let y = PlotAxis::new(AxisScale::Linear, (0.0, 1.0), (bottom, top))?;
    let said: Vec<String> = h
        .rows
        .iter()
        .map(|r| format!("{}: {}", wording::shutter(r.shutter_s), wording::share(&r.still)))
        .collect();
    let mut d =
        Drawing::new(WIDTH, bottom + 26.0, &format!("Free of motion blur: {}", said.join("; ")));
    for (share, labelled) in [(0.0, true), (0.5, true), (1.0, true)] {
        d.line("grid", (LEFT, y.at(share)), (RIGHT, y.at(share)));
        if labelled {
            d.text("soft", (LEFT - 6.0, y.at(share) + 4.0), Anchor::End, &wording::per_cent(share));
        }
    }
    ticks(&mut d, &x, bottom);
    if h.curve.len() > 1 {
        let band: Vec<(f64, f64)> = h
            .curve
            .iter()
            .map(|c| (x.at(c.0), y.at(c.3)))
            .chain(h.curve.iter().rev().map(|c| (x.at(c.0), y.at(c.2))))
            .collect();
        d.area("band", &band);
        let line: Vec<(f64, f64)> = h.curve.iter().map(|c| (x.at(c.0), y.at(c.1))).collect();
        d.path("curve", &line);
    }
    // Each limit with its interval and its name beside it, where there is more room.
    let mut limit = |low: f64, high: f64, at: Option<f64>, y: f64, name: &str| {
        let (a, b) = (x.at(low), x.at(high));
        d.error_level(y, a, b);
        if let Some(at) = at {
            let title =
                format!("half free of motion blur at {} {name}", wording::measured_shutter(at));
            d.titled_dot("ink", (x.at(at), y), 3.0, &title);
        }
        if !name.is_empty() {
            let right = RIGHT - b > a - LEFT;
            let (to, anchor) =
                if right { (b + 7.0, Anchor::Start) } else { (a - 7.0, Anchor::End) };
            d.text("soft halo-text", (to, y + 4.0), anchor, name);
        }
    };
    let at = |l: &HandLimit| l.is_good().then_some(l.half_hit_shutter_s);
    match (&h.by_verdicts, &h.by_smears) {
        (Some(v), Some(s)) => {
            limit(v.low, v.high, at(v), y.at(0.5) - 9.0, "by hits");
            let s = s.limit;
            limit(s.low, s.high, at(&s), y.at(0.5) + 9.0, "by smears");
        }
        (None, Some(s)) => {
            let s = s.limit;
            limit(s.low, s.high, at(&s), y.at(0.5), "by smears");
        }
        _ => {
            if let (Some(low), Some(high)) = (h.low, h.high) {
                limit(low, high, h.half_hit_shutter_s, y.at(0.5), "");
            }
        }
    }
    for row in &h.rows {
        let (Some(low), Some(high)) = (row.still.low, row.still.high) else { continue };
        let centre = x.at(row.shutter_s);
        d.error_upright(centre, y.at(low), y.at(high));
        let share = f64::from(row.still.count) / f64::from(row.still.of.max(1));
        let title =
            format!("{}: {}", wording::marked_stop(row.shutter_s), wording::share(&row.still));
        d.titled_dot("accent", (centre, y.at(share)), 4.5, &title);
    }
    let every = h.rows.len().div_ceil(6).max(1);
    for row in h.rows.iter().step_by(every) {
        let count = format!("{}/{}", row.still.count, row.still.of);
        d.text("ink", (x.at(row.shutter_s), top - 12.0), Anchor::Middle, &count);
    }
    Some(d.done())
}

/// Median smear on the subject over shutter. `None` when no frame moved measurably.
pub fn shake_chart(h: &Handheld) -> Option<String> {
    let (top, bottom) = (20.0, 150.0);
    let x = shutter_axis(h)?;
    let moved: Vec<(&HandRow, f64)> =
        h.rows.iter().filter_map(|r| Some((r, r.shake_um?))).collect();
    let high = |(r, um): &(&HandRow, f64)| um + r.shake_std_err_um.unwrap_or(0.0);
    let most = moved.iter().map(high).reduce(f64::max)?;
    let marks = even_ticks(most);
    let y = PlotAxis::new(AxisScale::Linear, (0.0, *marks.last()?), (bottom, top))?;
    let said: Vec<String> = moved
        .iter()
        .map(|(r, um)| {
            let um = wording::plus_minus(*um, r.shake_std_err_um);
            format!("{}: {um} µm of {}", wording::marked_stop(r.shutter_s), r.shaken)
        })
        .collect();
    let mut d = Drawing::new(WIDTH, bottom + 26.0, &format!("Smear: {}", said.join("; ")));
    for t in &marks {
        d.line("grid", (LEFT, y.at(*t)), (RIGHT, y.at(*t)));
        d.text("soft", (LEFT - 6.0, y.at(*t) + 4.0), Anchor::End, &wording::short(*t));
    }
    ticks(&mut d, &x, bottom);
    for ((r, um), says) in moved.iter().zip(&said) {
        let at = (x.at(r.shutter_s), y.at(*um));
        d.line("rule", (at.0, y.at(0.0)), at);
        if let Some(err) = r.shake_std_err_um {
            d.error_upright(at.0, y.at((um - err).max(0.0)), y.at(um + err));
        }
        d.titled_dot("accent", at, 4.5, says);
        d.text("soft", (at.0 + 7.0, at.1 - 4.0), Anchor::Start, &r.shaken.to_string());
    }
    Some(d.done())
}
