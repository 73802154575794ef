//! The straight fit: every tick of every strip numbered, one period for all of them.
//!
//! Model, px along and across the ruler from the middle of the picture:
//! u = a + b·k + c·k² + t·v + d·k·v for tick k in the strip at v. t is what is left of the angle,
//! c and d are a scale that changes along and across the ruler (a plane seen from the side).

use std::collections::{BTreeMap, BTreeSet};

use super::groups::TickGroup;
use super::turned::Strip;
use crate::core::stats::{least_squares, mad_sigma, median};

/// A mark belongs to a tick when it lies within this share of a period of its place.
const BELONGS: f64 = 0.2;
/// Marks lower than this share of the run's are not ticks.
const MIN_HEIGHT: f64 = 0.35;
/// A tick counts when this share of the strips that reach it shows it.
const MIN_OBSERVED: f64 = 0.5;
/// Marks farther off than this many standard deviations are left out.
const OUTLIER: f64 = 4.0;
/// A change of scale is believed beyond this many standard errors ...
const CHANGE_ERRORS: f64 = 4.0;
/// ... and when it moves the scale over the whole frame by this share: a fifth of the accuracy
/// that is aimed for.
const MIN_CHANGE: f64 = 0.001;
/// Rounds of numbering and fitting; each may add marks at the ends.
const ROUNDS: usize = 5;

/// Marks that belong to ticks: (tick, across px, along px).
type Row = (i64, f64, f64);

/// What the ticks say.
#[derive(Debug, Clone)]
pub(super) struct RulerFit {
    /// Period across the ticks in the middle of the picture, px.
    pub period_px: f64,
    /// Its standard error, px.
    pub std_err_px: f64,
    /// Period in the middle of the ticks, px; what the spectrum sees.
    pub period_mid_px: f64,
    /// What the direction was off by, degrees counter-clockwise.
    pub turn_deg: f64,
    /// Relative change of scale a px along the ruler; `None` when none is seen.
    pub along_per_px: Option<f64>,
    /// Relative change of scale a px across it.
    pub across_per_px: Option<f64>,
    /// Scatter of the ticks about the fit, px.
    pub scatter_px: f64,
    /// Numbers of the ticks that were found.
    pub ticks: Vec<i64>,
    /// Strips that were used: first and last, across px.
    pub band_px: (f64, f64),
    a: f64,
    b: f64,
    c: f64,
    t: f64,
    d: f64,
}

impl RulerFit {
    /// Where a tick lies in the strip at `across_px`, px along the ruler.
    pub fn along(&self, tick: i64, across_px: f64) -> f64 {
        let k = tick as f64;
        self.a + self.b * k + self.c * k * k + (self.t + self.d * k) * across_px
    }

    /// The nearest tick to a place and how far off it is, px.
    pub fn nearest(&self, along_px: f64, across_px: f64) -> (i64, f64) {
        let k = number((self.a, self.b, self.c, self.t, self.d), along_px, across_px).round();
        let k = k.clamp(-1e6, 1e6) as i64;
        (k, along_px - self.along(k, across_px))
    }
}

fn number((a, b, c, t, d): (f64, f64, f64, f64, f64), along: f64, across: f64) -> f64 {
    let mut k = (along - a - t * across) / b;
    for _ in 0..3 {
        let slope = b + 2.0 * c * k + d * across;
        if slope.abs() < 0.2 * b.abs() {
            break;
        }
        k -= (a + b * k + c * k * k + (t + d * k) * across - along) / slope;
    }
    k
}

/// Numbers the marks of a group, strip by strip from the one with most of them.
fn numbered(group: &TickGroup, strips: &[Strip]) -> Vec<Row> {
    let members = &group.members;
    let start = (0..members.len()).max_by_key(|i| members[*i].1.at_px.len()).unwrap_or(0);
    let mut rows = Vec::new();
    let first: Vec<(i64, f64)> =
        members[start].1.at_px.iter().enumerate().map(|(k, x)| (k as i64, *x)).collect();
    let mut add = |i: usize, marks: &[(i64, f64)]| {
        let v = strips[members[i].0].across_px;
        rows.extend(marks.iter().map(|(k, x)| (*k, v, *x)));
    };
    add(start, &first);
    let up: Vec<usize> = (start + 1..members.len()).collect();
    let down: Vec<usize> = (0..start).rev().collect();
    for way in [up, down] {
        let mut last = first.clone();
        for i in way {
            let run = &members[i].1;
            let marks: Vec<(i64, f64)> = run
                .at_px
                .iter()
                .filter_map(|x| {
                    let near =
                        last.iter().min_by(|a, b| (a.1 - x).abs().total_cmp(&(b.1 - x).abs()))?;
                    let steps = (x - near.1) / run.period_px;
                    (((steps - steps.round()) * run.period_px).abs() < BELONGS * run.period_px)
                        .then(|| (near.0 + steps.round() as i64, *x))
                })
                .collect();
            if !marks.is_empty() {
                add(i, &marks);
                last = marks;
            }
        }
    }
    rows
}

/// Fits with as many terms as the rows determine.
fn full(rows: &[Row], terms: usize) -> Option<(f64, f64, f64, f64, f64)> {
    let fit5 = |rows: &[Row]| {
        let rows: Vec<([f64; 5], f64, f64)> = rows
            .iter()
            .map(|(k, v, x)| {
                let k = *k as f64;
                ([1.0, k, k * k, *v, k * v], *x, 1.0)
            })
            .collect();
        least_squares(&rows).map(|f| (f.beta[0], f.beta[1], f.beta[2], f.beta[3], f.beta[4]))
    };
    let fit3 = |rows: &[Row]| {
        let rows: Vec<([f64; 3], f64, f64)> =
            rows.iter().map(|(k, v, x)| ([1.0, *k as f64, *v], *x, 1.0)).collect();
        least_squares(&rows).map(|f| (f.beta[0], f.beta[1], 0.0, f.beta[2], 0.0))
    };
    if terms == 5 { fit5(rows).or_else(|| fit3(rows)) } else { fit3(rows) }
}

/// Fits the ticks of a group. `extent_px` is the size of the picture along and across the ruler.
pub(super) fn fitted(
    group: &TickGroup,
    strips: &[Strip],
    extent_px: (f64, f64),
) -> Option<RulerFit> {
    let mut rows = numbered(group, strips);
    let ticks_of = |rows: &[Row]| rows.iter().map(|r| r.0).collect::<BTreeSet<i64>>().len();
    // A bend needs ticks to show itself; with few, a straight line is safer.
    let terms = |rows: &[Row]| if ticks_of(rows) >= 8 { 5 } else { 3 };
    let mut model = full(&rows, terms(&rows))?;
    let mut scales: Vec<f64> = group.members.iter().map(|m| m.1.scale_px).collect();
    let scale = median(&mut scales)?;
    let bar = MIN_HEIGHT * group.height();
    let span = group.members.first()?.0..=group.members.last()?.0;
    let marks: Vec<(f64, Vec<f64>)> = strips[span]
        .iter()
        .map(|s| {
            let marks = s.profile.marks(scale, group.sign);
            let at = marks.iter().filter(|m| m.height >= bar).map(|m| m.at_px);
            (s.across_px, at.collect())
        })
        .collect();
    for _ in 0..ROUNDS {
        let (low, high) = (rows.iter().map(|r| r.0).min()?, rows.iter().map(|r| r.0).max()?);
        let more = ((high - low) / 4).max(2);
        let mut next: Vec<Row> = Vec::new();
        for (v, at) in &marks {
            for x in at {
                let k = number(model, *x, *v);
                let whole = k.round();
                if (k - whole).abs() < BELONGS
                    && whole >= (low - more) as f64
                    && whole <= (high + more) as f64
                {
                    next.push((whole as i64, *v, *x));
                }
            }
        }
        // Ticks are seen in most of the strips that reach them.
        let mut seen: BTreeMap<i64, usize> = BTreeMap::new();
        for row in &next {
            *seen.entry(row.0).or_default() += 1;
        }
        let place = |k: i64, v: f64| {
            let n = k as f64;
            model.0 + model.1 * n + model.2 * n * n + (model.3 + model.4 * n) * v
        };
        let real: BTreeSet<i64> = seen
            .iter()
            .filter(|(k, n)| {
                let reach = strips[group.members[0].0..=group.members[group.members.len() - 1].0]
                    .iter()
                    .filter(|s| {
                        let x = place(**k, s.across_px) - s.profile.first_px;
                        x >= 0.0 && x < s.profile.data.len() as f64
                    })
                    .count();
                **n as f64 >= (MIN_OBSERVED * reach as f64).max(2.0)
            })
            .map(|(k, _)| *k)
            .collect();
        next.retain(|r| real.contains(&r.0));
        let mut off: Vec<f64> = next.iter().map(|r| r.2 - place(r.0, r.1)).collect();
        let limit = OUTLIER * mad_sigma(&mut off)?.max(0.02);
        let shift = median(&mut next.iter().map(|r| r.2 - place(r.0, r.1)).collect::<Vec<_>>())?;
        next.retain(|r| (r.2 - place(r.0, r.1) - shift).abs() <= limit);
        if ticks_of(&next) < 3 {
            return None;
        }
        rows = next;
        model = full(&rows, terms(&rows))?;
    }
    concluded(rows, model, extent_px)
}

/// From numbered marks to a period with its error.
fn concluded(
    rows: Vec<Row>,
    model: (f64, f64, f64, f64, f64),
    extent_px: (f64, f64),
) -> Option<RulerFit> {
    let across = |r: &Row| r.1;
    let band = (
        rows.iter().map(across).fold(f64::MAX, f64::min),
        rows.iter().map(across).fold(f64::MIN, f64::max),
    );
    let fan = believed_fan(&rows, model.2, extent_px.1);
    let (d, d_err) = fan.unwrap_or((0.0, 0.0));
    let straight: Vec<Row> = rows.iter().map(|(k, v, x)| (*k, *v, x - d * *k as f64 * v)).collect();
    let t = match fan.is_some() || model.4.abs() > 0.0 {
        true => bent_slope(&straight).unwrap_or(model.3),
        false => model.3,
    };
    // Along: one value a tick, since its strips share whatever is wrong with it.
    let mut sums: BTreeMap<i64, (f64, f64)> = BTreeMap::new();
    for (k, v, x) in &straight {
        let s = sums.entry(*k).or_default();
        *s = (s.0 + x - t * v, s.1 + 1.0);
    }
    let ticks: Vec<(f64, f64)> = sums.iter().map(|(k, s)| (*k as f64, s.0 / s.1)).collect();
    let TickCourse { a, b, c, variance, covariance, is_bent } = course(&ticks, extent_px.0)?;
    let k_centre = number((a, b, c, 0.0, 0.0), 0.0, 0.0);
    let k_mid = ticks.iter().map(|p| p.0).sum::<f64>() / ticks.len() as f64;
    let steep = t + d * k_centre;
    let square = (1.0 + steep * steep).sqrt();
    let period = (b + 2.0 * c * k_centre) / square;
    let err = variance
        * (covariance[1][1]
            + 4.0 * k_centre * covariance[1][2]
            + 4.0 * k_centre.powi(2) * covariance[2][2]);
    let v_mid = 0.5 * (band.0 + band.1);
    let err = (err.max(0.0) / (square * square) + (v_mid * d_err).powi(2)).sqrt();
    let believed = |seen: bool, value: f64| seen.then_some(value);
    Some(RulerFit {
        period_px: period,
        std_err_px: err,
        period_mid_px: b + 2.0 * c * k_mid + d * v_mid,
        turn_deg: steep.atan().to_degrees(),
        along_per_px: believed(is_bent, 2.0 * c / (b * b)),
        across_per_px: believed(fan.is_some(), d / b),
        scatter_px: variance.sqrt(),
        ticks: sums.keys().copied().collect(),
        band_px: band,
        a,
        b,
        c,
        t,
        d,
    })
}

/// Change of the period from strip to strip with its error, where it is clear and large enough.
fn believed_fan(rows: &[Row], bend: f64, extent_across_px: f64) -> Option<(f64, f64)> {
    let mut by_strip: BTreeMap<i64, Vec<&Row>> = BTreeMap::new();
    for row in rows {
        by_strip.entry((row.1 * 16.0).round() as i64).or_default().push(row);
    }
    let periods: Vec<([f64; 2], f64, f64)> = by_strip
        .values()
        .filter_map(|own| {
            let line: Vec<([f64; 2], f64, f64)> = own
                .iter()
                .map(|r| {
                    let k = r.0 as f64;
                    ([1.0, k], r.2 - bend * k * k, 1.0)
                })
                .collect();
            let spread = spread_of(own.iter().map(|r| r.0 as f64));
            let fit = least_squares(&line)?;
            (own.len() >= 3).then(|| ([1.0, own[0].1], fit.beta[1], spread))
        })
        .collect();
    let fit = (periods.len() >= 4).then(|| least_squares(&periods)).flatten()?;
    let variance = fit.chi_square / (periods.len() as f64 - 2.0);
    // Strips overlap by half: half as many are independent.
    let err = (2.0 * variance * fit.covariance[1][1]).sqrt();
    let change = fit.beta[1] / fit.beta[0] * extent_across_px;
    (fit.beta[1].abs() > CHANGE_ERRORS * err && change.abs() > MIN_CHANGE)
        .then_some((fit.beta[1], err))
}

/// The slope of ticks without their fan, fitted together with their bend.
fn bent_slope(straight: &[Row]) -> Option<f64> {
    let rows: Vec<([f64; 4], f64, f64)> = straight
        .iter()
        .map(|(k, v, x)| {
            let k = *k as f64;
            ([1.0, k, k * k, *v], *x, 1.0)
        })
        .collect();
    least_squares(&rows).map(|f| f.beta[3])
}

/// Places of ticks along the ruler: a + b·k + c·k².
struct TickCourse {
    a: f64,
    b: f64,
    c: f64,
    /// Of single ticks, px².
    variance: f64,
    covariance: [[f64; 3]; 3],
    is_bent: bool,
}

/// The course of ticks (number, place), bent only where that is clear and large enough.
fn course(ticks: &[(f64, f64)], extent_along_px: f64) -> Option<TickCourse> {
    let n = ticks.len() as f64;
    let line: Vec<([f64; 2], f64, f64)> = ticks.iter().map(|(k, x)| ([1.0, *k], *x, 1.0)).collect();
    let line = least_squares(&line)?;
    let bent: Vec<([f64; 3], f64, f64)> =
        ticks.iter().map(|(k, x)| ([1.0, *k, k * k], *x, 1.0)).collect();
    let bent = (ticks.len() >= 8).then(|| least_squares(&bent)).flatten();
    let bent = bent.filter(|f| {
        let variance = f.chi_square / (n - 3.0);
        let err = (variance * f.covariance[2][2]).sqrt();
        let change = 2.0 * f.beta[2] / f.beta[1].powi(2) * extent_along_px;
        f.beta[2].abs() > CHANGE_ERRORS * err && change.abs() > MIN_CHANGE
    });
    Some(match bent {
        Some(f) => TickCourse {
            a: f.beta[0],
            b: f.beta[1],
            c: f.beta[2],
            variance: f.chi_square / (n - 3.0),
            covariance: f.covariance,
            is_bent: true,
        },
        None => {
            let [[aa, ab], [ba, bb]] = line.covariance;
            TickCourse {
                a: line.beta[0],
                b: line.beta[1],
                c: 0.0,
                variance: line.chi_square / (n - 2.0).max(1.0),
                covariance: [[aa, ab, 0.0], [ba, bb, 0.0], [0.0, 0.0, 0.0]],
                is_bent: false,
            }
        }
    })
}

/// Sum of squares about the mean.
fn spread_of(values: impl Iterator<Item = f64> + Clone) -> f64 {
    let n = values.clone().count().max(1) as f64;
    let mean = values.clone().sum::<f64>() / n;
    values.map(|v| (v - mean).powi(2)).sum()
}
