//! Depths of places and of focus planes, from blur alone.
//!
//! Within a burst the blur of place t in frame i is σ² = (z_t − f_i)² + c_i: z_t is how deep the
//! place lies, f_i where the focus plane of the frame was, both in the unit in which a point out
//! of the plane is blurred by one pixel, and c_i what the whole frame shares (the lens, the
//! pixel, a shake). Blur from defocus is linear in depth over the small depths of a close-up
//! (Subbarao & Surya 1994, DOI 10.1007/BF02028349), so many places seen in a few frames give all
//! of them, up to a common shift and which way is nearer.
//!
//! Starts from the first eigenvector of the doubly centred σ² (−2·z·f is all that is left of it,
//! as in classical scaling, Torgerson 1952, DOI 10.1007/BF02288916); then frames and places are
//! set in turn by search over a grid with a robust loss, which never gets worse.

use crate::base::random::SplitMix64;

/// Blur squared of one place in every frame, px², with one standard error; `None` unseen.
pub type Series = Vec<Option<(f32, f32)>>;

/// Depths of places and planes, px of blur.
#[derive(Debug, Clone, PartialEq)]
pub struct FocusPlanes {
    /// Of every frame's focus plane.
    pub frames: Vec<f64>,
    /// What every frame adds to all blur squared, px².
    pub shared_px2: Vec<f64>,
}

/// Least frames that tell depths apart from what frames share.
const FRAMES_LEAST: usize = 4;
/// Least places seen in at least [`FRAMES_LEAST`] frames.
const PLACES_LEAST: usize = 12;
/// Depths tried: from minus to plus this, px of blur: as far as blur can be told.
const REACH_PX: f64 = 10.0;
/// Their distance, px of blur.
const STEP_PX: f64 = 0.2;
/// Spreads of the planes that are tried at the start, px of blur.
const STARTS_PX: [f64; 3] = [1.0, 2.0, 4.0];
/// Starts besides those: the eigenvector misleads where most planes lie on one side of most
/// places.
const OTHER_STARTS: usize = 12;
/// Spread of their planes, px of blur.
const OTHER_SPREAD_PX: f64 = 2.0;
/// Places on which starts are compared.
const START_PLACES: usize = 120;
/// Ratio of losses from one round to the next at which a fit has settled.
const SETTLED: f64 = 0.9995;
/// Rounds of setting places and frames in turn.
const ROUNDS: usize = 15;
/// Residuals beyond this many standard errors count linearly (Huber's loss).
const HUBER: f64 = 1.5;
/// The least that a frame shares: a pixel's own box is 1/√12 px wide, px².
const SHARED_LEAST_PX2: f64 = 1.0 / 12.0;

fn loss(residual: f64) -> f64 {
    let r = residual.abs();
    if r < HUBER { 0.5 * r * r } else { HUBER * (r - 0.5 * HUBER) }
}

fn grid() -> impl Iterator<Item = f64> {
    let half = (REACH_PX / STEP_PX) as i32;
    (-half..=half).map(|k| f64::from(k) * STEP_PX)
}

impl FocusPlanes {
    /// Planes from the blur of many places; `None` with too few frames or places.
    pub fn fit(places: &[Series], frames: usize) -> Option<FocusPlanes> {
        let seen: Vec<&Series> =
            places.iter().filter(|s| s.iter().flatten().count() >= FRAMES_LEAST).collect();
        if frames < FRAMES_LEAST || seen.len() < PLACES_LEAST {
            return None;
        }
        let direction = first_direction(&seen, frames)?;
        let least = seen.iter().flat_map(|s| s.iter().flatten()).map(|v| f64::from(v.0));
        let shared = least.fold(f64::MAX, f64::min).max(SHARED_LEAST_PX2);
        let mut starts: Vec<Vec<f64>> =
            STARTS_PX.iter().map(|spread| direction.iter().map(|d| d * spread).collect()).collect();
        // Fixed, not drawn anew: the same burst always gives the same answer.
        let mut draw = SplitMix64::new(1);
        starts.extend(
            (0..OTHER_STARTS)
                .map(|_| (0..frames).map(|_| OTHER_SPREAD_PX * draw.normal()).collect()),
        );
        let few: Vec<&Series> =
            seen.iter().step_by(seen.len().div_ceil(START_PLACES)).copied().collect();
        let mut best: Option<(f64, FocusPlanes)> = None;
        for start in starts {
            let mut planes = FocusPlanes { frames: start, shared_px2: vec![shared; frames] };
            let total = planes.settle(&few);
            if best.as_ref().is_none_or(|b| total < b.0) {
                best = Some((total, planes));
            }
        }
        let (_, mut planes) = best?;
        planes.settle(&seen);
        Some(planes)
    }

    /// Sets places and frames in turn until the loss stays; returns it.
    fn settle(&mut self, seen: &[&Series]) -> f64 {
        let mut total = f64::MAX;
        for _ in 0..ROUNDS {
            let depths: Vec<f64> =
                seen.iter().map(|s| self.depth(s).map_or(0.0, |d| d.0)).collect();
            let now = self.set_frames(seen, &depths);
            let settled = now > total * SETTLED;
            total = now;
            if settled {
                break;
            }
        }
        total
    }

    /// Depth of a place from its blur in the frames, with the mean loss there; `None` unless seen
    /// in enough frames.
    pub fn depth(&self, series: &Series) -> Option<(f64, f64)> {
        let n = series.iter().flatten().count();
        if n < FRAMES_LEAST {
            return None;
        }
        let cost = |z: f64| -> f64 {
            let of = |(i, v): (usize, &Option<(f32, f32)>)| {
                v.map_or(0.0, |(s2, err)| {
                    let model = (z - self.frames[i]).powi(2) + self.shared_px2[i];
                    loss((f64::from(s2) - model) / f64::from(err))
                })
            };
            series.iter().enumerate().map(of).sum()
        };
        let best = grid().map(|z| (z, cost(z))).min_by(|a, b| a.1.total_cmp(&b.1))?;
        Some((best.0, best.1 / n as f64))
    }

    /// Sets every frame's plane and share for given depths of places; returns the total loss.
    fn set_frames(&mut self, seen: &[&Series], depths: &[f64]) -> f64 {
        let mut total = 0.0;
        for i in 0..self.frames.len() {
            let values: Vec<(f64, f64, f64)> = seen
                .iter()
                .zip(depths)
                .filter_map(|(s, z)| s[i].map(|v| (*z, f64::from(v.0), f64::from(v.1))))
                .collect();
            let mut best = (f64::MAX, self.frames[i], self.shared_px2[i]);
            for f in grid() {
                // What the frame shares: two steps of weighted means, outliers held back.
                let mut shared = self.shared_px2[i];
                for _ in 0..2 {
                    let (mut sum, mut weight) = (0.0, 0.0);
                    for (z, s2, err) in &values {
                        let rest = s2 - (z - f).powi(2);
                        let r = ((rest - shared) / err).abs();
                        let w = (HUBER / r.max(HUBER)) / (err * err);
                        sum += w * rest;
                        weight += w;
                    }
                    if weight > 0.0 {
                        shared = (sum / weight).max(SHARED_LEAST_PX2);
                    }
                }
                let cost: f64 = values
                    .iter()
                    .map(|(z, s2, err)| loss((s2 - (z - f).powi(2) - shared) / err))
                    .sum();
                if cost < best.0 {
                    best = (cost, f, shared);
                }
            }
            if !values.is_empty() {
                (_, self.frames[i], self.shared_px2[i]) = best;
                total += best.0;
            }
        }
        total
    }
}

/// First eigenvector over frames of the doubly centred blur squared, scaled to unit variance.
fn first_direction(seen: &[&Series], frames: usize) -> Option<Vec<f64>> {
    // Far blur is told badly: a cap keeps it from ruling.
    let value =
        |v: &Option<(f32, f32)>| v.map(|(s2, _)| f64::from(s2).min(REACH_PX * REACH_PX / 4.0));
    let mean = |values: &mut dyn Iterator<Item = f64>| {
        let (mut sum, mut n) = (0.0, 0usize);
        values.for_each(|v| {
            sum += v;
            n += 1;
        });
        if n > 0 { sum / n as f64 } else { 0.0 }
    };
    let rows: Vec<f64> = seen.iter().map(|s| mean(&mut s.iter().filter_map(value))).collect();
    let columns: Vec<f64> = (0..frames)
        .map(|i| mean(&mut seen.iter().zip(&rows).filter_map(|(s, m)| value(&s[i]).map(|v| v - m))))
        .collect();
    let mut products = vec![0f64; frames * frames];
    for (s, m) in seen.iter().zip(&rows) {
        let rest: Vec<f64> =
            (0..frames).map(|i| value(&s[i]).map_or(0.0, |v| v - m - columns[i])).collect();
        for i in 0..frames {
            for j in 0..frames {
                products[i * frames + j] += rest[i] * rest[j];
            }
        }
    }
    // Any start that is not orthogonal to it will do; the largest column is never.
    let start =
        (0..frames).max_by(|a, b| products[a * frames + a].total_cmp(&products[b * frames + b]))?;
    let mut v: Vec<f64> = (0..frames).map(|j| products[start * frames + j]).collect();
    for _ in 0..60 {
        let length = v.iter().map(|x| x * x).sum::<f64>().sqrt();
        if length <= 0.0 {
            return None;
        }
        v.iter_mut().for_each(|x| *x /= length);
        v = (0..frames)
            .map(|i| (0..frames).map(|j| products[i * frames + j] * v[j]).sum())
            .collect();
    }
    let m = v.iter().sum::<f64>() / frames as f64;
    let sd = (v.iter().map(|x| (x - m).powi(2)).sum::<f64>() / frames as f64).sqrt();
    (sd > 0.0).then(|| v.iter().map(|x| (x - m) / sd).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::random::SplitMix64;

    #[test]
    fn planes_and_depths_come_back_up_to_shift_and_direction() {
        let mut g = SplitMix64::new(5);
        let planes: Vec<f64> = (0..10).map(|_| 2.0 * g.normal()).collect();
        let shake = [0.0, 0.0, 5.0, 0.0, 0.0, 0.0, 2.0, 0.0, 0.0, 0.0];
        let depths: Vec<f64> = (0..200).map(|_| 3.0 * g.normal()).collect();
        let places: Vec<Series> = depths
            .iter()
            .map(|z| {
                let of = |(f, c): (&f64, &f64)| {
                    let s2 = (z - f).powi(2) + 0.6 + c;
                    let err = 0.15 * s2 + 0.2;
                    (g.uniform() < 0.9).then(|| ((s2 + err * g.normal()) as f32, err as f32))
                };
                planes.iter().zip(&shake).map(of).collect()
            })
            .collect();
        let fit = FocusPlanes::fit(&places, 10).unwrap();
        let (ma, mb) = (planes.iter().sum::<f64>() / 10.0, fit.frames.iter().sum::<f64>() / 10.0);
        let dot: f64 = planes.iter().zip(&fit.frames).map(|(a, b)| (a - ma) * (b - mb)).sum();
        for (a, b) in planes.iter().zip(&fit.frames) {
            // Two steps of the grid.
            assert!(((a - ma) - dot.signum() * (b - mb)).abs() < 0.4, "{planes:?} {fit:?}");
        }
        let off: Vec<f64> = places
            .iter()
            .zip(&depths)
            .map(|(s, z)| (dot.signum() * (fit.depth(s).unwrap().0 - mb) - (z - ma)).abs())
            .collect();
        assert!(off.iter().sum::<f64>() / 200.0 < 0.4);
    }

    #[test]
    fn few_frames_or_places_say_nothing() {
        let place: Series = vec![Some((1.0, 0.2)); 3];
        assert_eq!(FocusPlanes::fit(&vec![place; 50], 3), None);
        let place: Series = vec![Some((1.0, 0.2)); 8];
        assert_eq!(FocusPlanes::fit(&vec![place; 3], 8), None);
    }
}
