//! How still the hand is: share of frames that held still over the shutter, with the fitted
//! chance, and how far the others moved.

use crate::limits::record::{HandLimit, HandRow, Handheld};
use crate::report::svg::axis::{AxisScale, PlotAxis, even_ticks};
use crate::report::svg::drawing::Anchor;
use crate::report::svg::plot::{PHONE_WIDTH, Plot, PlotArea};
use crate::report::wording;

const AREA: PlotArea = PlotArea {
    width: PHONE_WIDTH,
    left: 46.0,
    right: PHONE_WIDTH - 18.0,
    top: 34.0,
    bottom: 194.0,
    below: 26.0,
};
/// Labelled ticks at most.
const MAX_LABELS: usize = 7;

/// The shutter axis of a hand's rows, fast at the left.
fn shutter_axis(h: &Handheld) -> Option<PlotAxis> {
    let fastest = h.rows.first()?.shutter_s;
    let slowest = h.rows.last()?.shutter_s;
    AREA.x(AxisScale::Log, (fastest / 1.5, slowest * 1.5), (0.0, 0.0))
}

fn shutter_ticks(p: &mut Plot) {
    let all: Vec<f64> = p.x.on(&wording::SHUTTER_STOPS).collect();
    let every = all.len().div_ceil(MAX_LABELS).max(1);
    p.ticks(&all, every, |s| wording::shutter(s).trim_end_matches(" s").to_owned());
}

/// Shares with Wilson's intervals over shutter, the fitted chance with its band, and the limit.
pub fn hand_chart(h: &Handheld) -> Option<String> {
    let x = shutter_axis(h)?;
    let y = AREA.y(AxisScale::Linear, (0.0, 1.0))?;
    let said: Vec<String> = h
        .rows
        .iter()
        .map(|r| format!("{}: {}", wording::shutter(r.shutter_s), wording::share(&r.still)))
        .collect();
    let mut p = Plot::new(AREA, x, y, &format!("Free of motion blur: {}", said.join("; ")));
    p.levels(&[0.0, 0.5, 1.0], 1, wording::per_cent);
    shutter_ticks(&mut p);
    if h.curve.len() > 1 {
        let band: Vec<(f64, f64, f64)> = h.curve.iter().map(|c| (c.0, c.2, c.3)).collect();
        p.band(&band);
        p.curve("curve", h.curve.iter().map(|c| (c.0, c.1)));
    }
    limits(&mut p, h);
    for row in &h.rows {
        let (Some(low), Some(high)) = (row.still.low, row.still.high) else { continue };
        p.error(row.shutter_s, low, high);
        let share = f64::from(row.still.count) / f64::from(row.still.of.max(1));
        let title =
            format!("{}: {}", wording::marked_stop(row.shutter_s), wording::share(&row.still));
        p.titled_dot("accent", (row.shutter_s, share), 4.5, &title);
    }
    let every = h.rows.len().div_ceil(6).max(1);
    for row in h.rows.iter().step_by(every) {
        let count = format!("{}/{}", row.still.count, row.still.of);
        p.drawing.text("ink", (x.at(row.shutter_s), AREA.top - 12.0), Anchor::Middle, &count);
    }
    Some(p.done())
}

/// Each limit with its interval and its name beside it, where there is more room.
fn limits(p: &mut Plot, h: &Handheld) {
    let middle = p.y.at(0.5);
    let mut limit = |low: f64, high: f64, at: Option<f64>, y: f64, name: &str| {
        let (a, b) = (p.x.at(low), p.x.at(high));
        p.drawing.error_level(y, a, b);
        if let Some(at) = at {
            let title =
                format!("half free of motion blur at {} {name}", wording::measured_shutter(at));
            p.drawing.titled_dot("ink", (p.x.at(at), y), 3.0, &title);
        }
        if !name.is_empty() {
            let right = AREA.right - b > a - AREA.left;
            let (to, anchor) =
                if right { (b + 7.0, Anchor::Start) } else { (a - 7.0, Anchor::End) };
            p.drawing.text("soft halo-text", (to, y + 4.0), anchor, name);
        }
    };
    let at = |l: &HandLimit| l.is_good().then_some(l.half_hit_shutter_s);
    match (&h.by_verdicts, &h.by_smears) {
        (Some(v), Some(s)) => {
            limit(v.low, v.high, at(v), middle - 9.0, "by hits");
            let s = s.limit;
            limit(s.low, s.high, at(&s), middle + 9.0, "by smears");
        }
        (None, Some(s)) => {
            let s = s.limit;
            limit(s.low, s.high, at(&s), middle, "by smears");
        }
        _ => {
            if let (Some(low), Some(high)) = (h.low, h.high) {
                limit(low, high, h.half_hit_shutter_s, middle, "");
            }
        }
    }
}

/// Median smear on the subject over shutter. `None` when no frame moved measurably.
pub fn shake_chart(h: &Handheld) -> Option<String> {
    const LOW: PlotArea = PlotArea { top: 20.0, bottom: 150.0, ..AREA };
    let x = shutter_axis(h)?;
    let moved: Vec<(&HandRow, f64)> =
        h.rows.iter().filter_map(|r| Some((r, r.shake_um?))).collect();
    let high = |(r, um): &(&HandRow, f64)| um + r.shake_std_err_um.unwrap_or(0.0);
    let most = moved.iter().map(high).reduce(f64::max)?;
    let levels = even_ticks(most);
    let y = LOW.y(AxisScale::Linear, (0.0, *levels.last()?))?;
    let said: Vec<String> = moved
        .iter()
        .map(|(r, um)| {
            let um = wording::plus_minus(*um, r.shake_std_err_um);
            format!("{}: {um} µm of {}", wording::marked_stop(r.shutter_s), r.shaken)
        })
        .collect();
    let mut p = Plot::new(LOW, x, y, &format!("Smear: {}", said.join("; ")));
    p.levels(&levels, 1, wording::short);
    shutter_ticks(&mut p);
    for ((r, um), says) in moved.iter().zip(&said) {
        let at = p.at(r.shutter_s, *um);
        p.drawing.line("rule", (at.0, y.at(0.0)), at);
        if let Some(err) = r.shake_std_err_um {
            p.error(r.shutter_s, (um - err).max(0.0), um + err);
        }
        p.titled_dot("accent", (r.shutter_s, *um), 4.5, says);
        p.drawing.text("soft", (at.0 + 7.0, at.1 - 4.0), Anchor::Start, &r.shaken.to_string());
    }
    Some(p.done())
}
