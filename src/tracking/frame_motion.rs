//! How far a frame has moved against another: translation, rotation and scale, to a fraction of
//! a pixel.
//!
//! Works on small copies of the frames (means of blocks of px, about 480 samples wide), where
//! noise is averaged away and defocus changes little. The steepest samples of the reference are
//! matched by Gauss-Newton steps from the coarse copy to the finer one (Lucas & Kanade 1981,
//! Proc. IJCAI 674-679; the reference's own gradients serve for every step: Baker & Matthews
//! 2004, DOI 10.1023/B:VISI.0000011205.11775.fd), with brightness and contrast taken out and
//! outliers weighted down (Huber 1964, DOI 10.1214/aoms/1177703732). A frame that has jumped is
//! looked for on a still coarser copy first, up to a seventh of the width. Errors are a few
//! hundredths of a sample; rotation up to about 5 degrees and scale within 5 % are followed.
//! Where the subject and its surroundings move apart the larger textured area decides.

use crate::core::halved;
use crate::core::stats::solve_upper;

/// A small copy of a frame.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct DownsampledFrame {
    /// Width, samples.
    pub width: usize,
    /// Height, samples.
    pub height: usize,
    /// Pixels of the frame per sample.
    pub step_px: f64,
    /// Samples, 8-bit steps, row-major.
    pub data: Vec<f32>,
}

impl DownsampledFrame {
    /// Half the size, by averaging.
    #[must_use]
    pub fn halved(&self) -> DownsampledFrame {
        DownsampledFrame {
            width: self.width / 2,
            height: self.height / 2,
            step_px: 2.0 * self.step_px,
            data: halved(&self.data, self.width, self.height),
        }
    }

    /// The value at a place between samples, and whether it lies inside.
    fn at(&self, x: f32, y: f32) -> Option<f32> {
        let (fx, fy) = (x.floor(), y.floor());
        if fx < 0.0 || fy < 0.0 {
            return None;
        }
        let (ix, iy) = (fx as usize, fy as usize);
        if ix + 1 >= self.width || iy + 1 >= self.height {
            return None;
        }
        let (ax, ay) = (x - fx, y - fy);
        let top = &self.data[iy * self.width + ix..][..2];
        let bottom = &self.data[(iy + 1) * self.width + ix..][..2];
        let (t, b) = (top[0] + ax * (top[1] - top[0]), bottom[0] + ax * (bottom[1] - bottom[0]));
        Some(t + ay * (b - t))
    }
}

/// A frame's small copies, finest first.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct DownsampledPyramid {
    /// The small copy, its half and its quarter.
    pub levels: [DownsampledFrame; 3],
}

impl DownsampledPyramid {
    /// The copies of a small copy.
    pub fn of(small: DownsampledFrame) -> DownsampledPyramid {
        let half = small.halved();
        let quarter = half.halved();
        DownsampledPyramid { levels: [small, half, quarter] }
    }
}

/// Where a frame's picture is, against the reference: a place `(x, y)` of the reference, counted
/// from the anchor, is found at `scale · R(rotation) · (x, y) + (dx, dy)` from the anchor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shift {
    /// To the right, px.
    pub dx_px: f64,
    /// Downwards, px.
    pub dy_px: f64,
    /// Rotation from the x axis towards y (clockwise as seen), radians.
    pub rotation_rad: f64,
    /// Size over that in the reference.
    pub scale: f64,
    /// Correlation of the matched samples, at most 1.
    pub correlation: f64,
}

impl Shift {
    /// No movement.
    pub const NONE: Shift =
        Shift { dx_px: 0.0, dy_px: 0.0, rotation_rad: 0.0, scale: 1.0, correlation: 1.0 };

    /// Where a place of the reference is found; both in px of the frame, `anchor` as given to
    /// [`ReferenceFrame::new`].
    pub fn apply(&self, anchor: (f64, f64), place: (f64, f64)) -> (f64, f64) {
        let (x, y) = (place.0 - anchor.0, place.1 - anchor.1);
        let (sin, cos) = self.rotation_rad.sin_cos();
        (
            anchor.0 + self.dx_px + self.scale * (cos * x - sin * y),
            anchor.1 + self.dy_px + self.scale * (sin * x + cos * y),
        )
    }
}

/// Correlation from which a frame counts as found.
pub const FOUND: f64 = 0.5;
/// Correlation below which a jump is looked for.
const JUMPED: f64 = 0.85;
/// Cells in which samples are chosen, so that they spread over the frame.
const CELLS: (usize, usize) = (16, 9);
/// Samples chosen in each cell.
const CELL_POINTS: usize = 10;
/// Least gradient of a chosen sample, 8-bit steps a sample.
const STEEP: f32 = 0.25;
/// Least number of samples that must fall into the frame.
const MIN_POINTS: usize = 60;
/// Steps at each copy, and the movement (samples) below which they end.
const STEPS: (usize, f64) = (12, 0.004);
/// Residuals above this many of their median are weighted down.
const HUBER: f32 = 2.0;
/// How far a jump may go, share of the frame's width.
const JUMP_SHARE: f64 = 0.14;

#[derive(Debug, Clone, Copy)]
struct GridPoint {
    /// From the anchor, samples.
    x: f32,
    y: f32,
    value: f32,
    /// Change of the value with dx, dy, rotation and scale.
    slope: [f32; 4],
}

/// A frame to match others against.
#[derive(Debug, Clone)]
pub struct ReferenceFrame {
    anchor_px: (f64, f64),
    /// Whether rotation and scale are fitted too.
    turns: bool,
    levels: [Vec<GridPoint>; 2],
    /// Coarsest copy of the surroundings, for jumps.
    coarse: DownsampledFrame,
    /// Reach of the window about the anchor, px.
    reach_px: (f64, f64),
}

impl ReferenceFrame {
    /// A reference from the part within `reach_px` of `anchor_px`. With `turns`, rotation and scale
    /// are fitted too; without, translation only.
    pub fn new(
        copies: &DownsampledPyramid,
        anchor_px: (f64, f64),
        reach_px: (f64, f64),
        turns: bool,
    ) -> ReferenceFrame {
        let level = |l: usize| points(&copies.levels[l], anchor_px, reach_px);
        ReferenceFrame {
            anchor_px,
            turns,
            levels: [level(0), level(1)],
            coarse: copies.levels[2].halved(),
            reach_px,
        }
    }

    /// The place movement is counted about, px.
    pub fn anchor_px(&self) -> (f64, f64) {
        self.anchor_px
    }

    /// Where the reference is found in a frame, starting from `near`. `None` when too little of it
    /// is seen or nothing matches better than [`FOUND`].
    pub fn find(&self, copies: &DownsampledPyramid, near: Shift) -> Option<Shift> {
        let mut best = self.refined(copies, near);
        if best.is_none_or(|b| b.correlation < JUMPED)
            && let Some(jump) = self.jump(&copies.levels[2].halved(), near)
            && let Some(found) = self.refined(copies, jump)
            && best.is_none_or(|b| found.correlation > b.correlation)
        {
            best = Some(found);
        }
        best.filter(|b| b.correlation >= FOUND)
    }

    fn refined(&self, copies: &DownsampledPyramid, near: Shift) -> Option<Shift> {
        let rough = self.stepped(1, &copies.levels[1], near).unwrap_or(near);
        self.stepped(0, &copies.levels[0], rough)
    }

    /// Gauss-Newton on one copy.
    fn stepped(&self, level: usize, small: &DownsampledFrame, near: Shift) -> Option<Shift> {
        let points = &self.levels[level];
        let step = small.step_px;
        let ax = ((self.anchor_px.0 + 0.5) / step - 0.5) as f32;
        let ay = ((self.anchor_px.1 + 0.5) / step - 0.5) as f32;
        let mut p = [near.dx_px / step, near.dy_px / step, near.rotation_rad, near.scale - 1.0];
        let mut seen: Vec<(&GridPoint, f32)> = Vec::with_capacity(points.len());
        let mut correlation = 0.0;
        for turn in 0..STEPS.0 {
            let (sin, cos) = (p[2] as f32).sin_cos();
            let k = 1.0 + p[3] as f32;
            seen.clear();
            for q in points {
                let x = ax + p[0] as f32 + k * (cos * q.x - sin * q.y);
                let y = ay + p[1] as f32 + k * (sin * q.x + cos * q.y);
                if let Some(v) = small.at(x, y) {
                    seen.push((q, v));
                }
            }
            if seen.len() < MIN_POINTS || seen.len() * 4 < points.len() {
                return None;
            }
            let n = seen.len() as f32;
            let mean_t = seen.iter().map(|s| s.0.value).sum::<f32>() / n;
            let mean_v = seen.iter().map(|s| s.1).sum::<f32>() / n;
            let (mut tt, mut vv, mut tv) = (0f32, 0f32, 0f32);
            for (q, v) in &seen {
                let (t, v) = (q.value - mean_t, v - mean_v);
                tt += t * t;
                vv += v * v;
                tv += t * v;
            }
            if tt <= 0.0 || vv <= 0.0 {
                return None;
            }
            correlation = f64::from(tv) / (f64::from(tt) * f64::from(vv)).sqrt();
            let gain = (tt / vv).sqrt();
            let errors: Vec<f32> =
                seen.iter().map(|(q, v)| (v - mean_v) * gain - (q.value - mean_t)).collect();
            let limit = HUBER * typical(&errors).max(1e-3);
            let unknowns = if self.turns { 4 } else { 2 };
            let (mut normal, mut right) = ([[0f64; 4]; 4], [0f64; 4]);
            for ((q, _), e) in seen.iter().zip(&errors) {
                let w = if e.abs() > limit { limit / e.abs() } else { 1.0 };
                for i in 0..unknowns {
                    let slope = w * q.slope[i];
                    right[i] += f64::from(slope * e);
                    // The upper half is enough.
                    let row = normal[i].iter_mut().zip(&q.slope).take(unknowns).skip(i);
                    row.for_each(|(n, s)| *n += f64::from(slope * s));
                }
            }
            let d = self.solved(normal, right)?;
            let moved = d[0].hypot(d[1]);
            // A step that leaves the neighbourhood would be noise.
            let held = (2.0 / moved.max(2.0)).min(1.0);
            p[0] -= held * (f64::from(cos) * d[0] - f64::from(sin) * d[1]);
            p[1] -= held * (f64::from(sin) * d[0] + f64::from(cos) * d[1]);
            p[2] = (p[2] - held * d[2]).clamp(-0.3, 0.3);
            p[3] = (p[3] - held * d[3]).clamp(-0.2, 0.2);
            if moved < STEPS.1 && turn > 0 {
                break;
            }
        }
        Some(Shift {
            dx_px: p[0] * step,
            dy_px: p[1] * step,
            rotation_rad: p[2],
            scale: 1.0 + p[3],
            correlation,
        })
    }

    /// The step in dx, dy, rotation and scale that the normal equations give.
    fn solved(&self, normal: [[f64; 4]; 4], right: [f64; 4]) -> Option<[f64; 4]> {
        if self.turns {
            return solve_upper(normal, right);
        }
        let [[xx, xy, ..], [_, yy, ..], ..] = normal;
        let [dx, dy] = solve_upper([[xx, xy], [xy, yy]], [right[0], right[1]])?;
        Some([dx, dy, 0.0, 0.0])
    }

    /// The best of all whole-sample translations of the coarsest copy within reach of `near`.
    fn jump(&self, small: &DownsampledFrame, near: Shift) -> Option<Shift> {
        let step = small.step_px;
        let reach = (JUMP_SHARE * small.width as f64).ceil() as isize;
        let window = |at: f64, half: f64, extent: usize| {
            let low = ((at - half) / step).round().max(0.0) as isize;
            let high = ((at + half) / step).round().min(extent as f64) as isize;
            (low, high)
        };
        let (x0, x1) = window(self.anchor_px.0, self.reach_px.0, small.width);
        let (y0, y1) = window(self.anchor_px.1, self.reach_px.1, small.height);
        let start = ((near.dx_px / step).round() as isize, (near.dy_px / step).round() as isize);
        let mut best: Option<(f32, isize, isize)> = None;
        for dy in start.1 - reach..=start.1 + reach {
            for dx in start.0 - reach..=start.0 + reach {
                let score = overlap(&self.coarse, small, (x0, x1), (y0, y1), (dx, dy));
                if let Some(s) = score
                    && best.is_none_or(|b| s > b.0)
                {
                    best = Some((s, dx, dy));
                }
            }
        }
        let (_, dx, dy) = best?;
        Some(Shift { dx_px: dx as f64 * step, dy_px: dy as f64 * step, ..near })
    }
}

/// Correlation of a window of `a` with `b` moved by (dx, dy); `None` when less than half overlaps.
fn overlap(
    a: &DownsampledFrame,
    b: &DownsampledFrame,
    (x0, x1): (isize, isize),
    (y0, y1): (isize, isize),
    (dx, dy): (isize, isize),
) -> Option<f32> {
    let (w, h) = (b.width as isize, b.height as isize);
    let (xa, xb) = (x0.max(-dx), x1.min(w - dx));
    let (ya, yb) = (y0.max(-dy), y1.min(h - dy));
    if xb <= xa || yb <= ya || 2 * (xb - xa) * (yb - ya) < (x1 - x0) * (y1 - y0) {
        return None;
    }
    let (mut n, mut sa, mut sb, mut aa, mut bb, mut ab) = (0f32, 0f32, 0f32, 0f32, 0f32, 0f32);
    for y in ya..yb {
        let from = &a.data[(y * w + xa) as usize..(y * w + xb) as usize];
        let at = ((y + dy) * w + xa + dx) as usize;
        let to = &b.data[at..at + from.len()];
        n += from.len() as f32;
        for (p, q) in from.iter().zip(to) {
            sa += p;
            sb += q;
            aa += p * p;
            bb += q * q;
            ab += p * q;
        }
    }
    let (va, vb) = (aa - sa * sa / n, bb - sb * sb / n);
    (va > 0.0 && vb > 0.0).then(|| (ab - sa * sb / n) / (va * vb).sqrt())
}

/// Median absolute value of a sample of the errors.
fn typical(errors: &[f32]) -> f32 {
    let mut some: Vec<f32> =
        errors.iter().step_by(errors.len() / 256 + 1).map(|e| e.abs()).collect();
    let middle = some.len() / 2;
    if some.is_empty() { 0.0 } else { *some.select_nth_unstable_by(middle, f32::total_cmp).1 }
}

/// Chooses the steepest samples of each cell of the window.
fn points(small: &DownsampledFrame, anchor_px: (f64, f64), reach_px: (f64, f64)) -> Vec<GridPoint> {
    let (w, h, step) = (small.width, small.height, small.step_px);
    let (ax, ay) = ((anchor_px.0 + 0.5) / step - 0.5, (anchor_px.1 + 0.5) / step - 0.5);
    let low = |at: f64, reach: f64| (at - reach / step).max(1.0) as usize;
    let high = |at: f64, reach: f64, n: usize| {
        ((at + reach / step).max(0.0) as usize).min(n.saturating_sub(1))
    };
    let (x0, x1) = (low(ax, reach_px.0), high(ax, reach_px.0, w));
    let (y0, y1) = (low(ay, reach_px.1), high(ay, reach_px.1, h));
    let mut chosen = Vec::new();
    if x0 >= x1 || y0 >= y1 {
        return chosen;
    }
    let mut cell: Vec<(f32, usize, usize)> = Vec::new();
    for cy in 0..CELLS.1 {
        let ya = y0 + cy * (y1 - y0) / CELLS.1;
        let yb = y0 + (cy + 1) * (y1 - y0) / CELLS.1;
        for cx in 0..CELLS.0 {
            let xa = x0 + cx * (x1 - x0) / CELLS.0;
            let xb = x0 + (cx + 1) * (x1 - x0) / CELLS.0;
            cell.clear();
            for y in ya..yb {
                for x in xa..xb {
                    let (gx, gy) = gradient(small, x, y);
                    let g = gx * gx + gy * gy;
                    if g > STEEP * STEEP {
                        cell.push((g, x, y));
                    }
                }
            }
            if cell.len() > CELL_POINTS {
                cell.select_nth_unstable_by(CELL_POINTS, |a, b| b.0.total_cmp(&a.0));
                cell.truncate(CELL_POINTS);
            }
            for (_, x, y) in &cell {
                let (gx, gy) = gradient(small, *x, *y);
                let (dx, dy) = ((*x as f64 - ax) as f32, (*y as f64 - ay) as f32);
                chosen.push(GridPoint {
                    x: dx,
                    y: dy,
                    value: small.data[y * w + x],
                    slope: [gx, gy, gy * dx - gx * dy, gx * dx + gy * dy],
                });
            }
        }
    }
    chosen
}

fn gradient(small: &DownsampledFrame, x: usize, y: usize) -> (f32, f32) {
    let (w, at) = (small.width, y * small.width + x);
    let d = &small.data;
    ((d[at + 1] - d[at - 1]) / 2.0, (d[at + w] - d[at - w]) / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::random::SplitMix64;

    const SIZE: (usize, usize) = (240, 136);
    const STEP_PX: f64 = 8.0;

    /// A smooth random picture seen through a known shift about the middle, with some noise.
    fn seen(shift: &Shift, anchor: (f64, f64), gain: f64, noise: f64) -> DownsampledPyramid {
        let mut g = SplitMix64::new(5);
        let waves: Vec<[f64; 3]> = (0..70)
            .map(|_| [g.between(-0.5, 0.5), g.between(-0.5, 0.5), g.between(0.0, 6.3)])
            .collect();
        let mut noisy = SplitMix64::new(shift.dx_px.to_bits());
        let (sin, cos) = shift.rotation_rad.sin_cos();
        let data = (0..SIZE.0 * SIZE.1)
            .map(|i| {
                let place = |k: usize| (k as f64 + 0.5) * STEP_PX - 0.5;
                let x = place(i % SIZE.0) - anchor.0 - shift.dx_px;
                let y = place(i / SIZE.0) - anchor.1 - shift.dy_px;
                let u = (cos * x + sin * y) / shift.scale / STEP_PX;
                let v = (cos * y - sin * x) / shift.scale / STEP_PX;
                let s: f64 = waves.iter().map(|k| (k[0] * u + k[1] * v + k[2]).cos()).sum();
                (120.0 + gain * 4.0 * s + noise * noisy.normal()) as f32
            })
            .collect();
        DownsampledPyramid::of(DownsampledFrame {
            width: SIZE.0,
            height: SIZE.1,
            step_px: STEP_PX,
            data,
        })
    }

    const MIDDLE: (f64, f64) = (960.0, 540.0);

    #[test]
    fn movement_is_found_to_a_fraction_of_a_px() {
        let reference = ReferenceFrame::new(
            &seen(&Shift::NONE, MIDDLE, 1.0, 0.5),
            MIDDLE,
            (900.0, 500.0),
            true,
        );
        for (dx, dy, turn, scale) in
            [(3.3, -1.7, 0.0, 1.0), (25.0, 14.0, 0.01, 1.0), (-60.0, 33.0, -0.02, 1.02)]
        {
            let true_shift =
                Shift { dx_px: dx, dy_px: dy, rotation_rad: turn, scale, correlation: 1.0 };
            // Another brightness and contrast, as a changed exposure gives.
            let found = reference.find(&seen(&true_shift, MIDDLE, 0.7, 0.5), Shift::NONE).unwrap();
            approx::assert_abs_diff_eq!(found.dx_px, dx, epsilon = 0.3);
            approx::assert_abs_diff_eq!(found.dy_px, dy, epsilon = 0.3);
            approx::assert_abs_diff_eq!(found.rotation_rad, turn, epsilon = 5e-4);
            approx::assert_abs_diff_eq!(found.scale, scale, epsilon = 1e-3);
            let place = true_shift.apply(MIDDLE, (100.0, 200.0));
            let got = found.apply(MIDDLE, (100.0, 200.0));
            assert!((place.0 - got.0).hypot(place.1 - got.1) < 1.5);
        }
    }

    #[test]
    fn a_jump_is_found_and_another_picture_is_not() {
        let still = seen(&Shift::NONE, MIDDLE, 1.0, 0.5);
        let reference = ReferenceFrame::new(&still, MIDDLE, (900.0, 500.0), true);
        let far = Shift { dx_px: 210.0, dy_px: -90.0, ..Shift::NONE };
        let found = reference.find(&seen(&far, MIDDLE, 1.0, 0.5), Shift::NONE).unwrap();
        approx::assert_abs_diff_eq!(found.dx_px, 210.0, epsilon = 0.5);
        let mut g = SplitMix64::new(77);
        let data = (0..SIZE.0 * SIZE.1).map(|_| (90.0 + 40.0 * g.normal()) as f32).collect();
        let other = DownsampledPyramid::of(DownsampledFrame {
            width: SIZE.0,
            height: SIZE.1,
            step_px: STEP_PX,
            data,
        });
        assert_eq!(reference.find(&other, Shift::NONE), None);
        let flat = vec![50.0; SIZE.0 * SIZE.1];
        let flat = DownsampledPyramid::of(DownsampledFrame {
            width: SIZE.0,
            height: SIZE.1,
            step_px: STEP_PX,
            data: flat,
        });
        assert_eq!(
            ReferenceFrame::new(&flat, MIDDLE, (900.0, 500.0), true).find(&still, Shift::NONE),
            None
        );
    }

    #[test]
    fn a_small_window_follows_one_spot() {
        let still = seen(&Shift::NONE, MIDDLE, 1.0, 0.5);
        let spot = (700.0, 400.0);
        let reference = ReferenceFrame::new(&still, spot, (160.0, 160.0), false);
        let moved = Shift { dx_px: 9.4, dy_px: 5.2, ..Shift::NONE };
        let found = reference.find(&seen(&moved, MIDDLE, 1.0, 0.5), Shift::NONE).unwrap();
        approx::assert_abs_diff_eq!(found.dx_px, 9.4, epsilon = 0.4);
        approx::assert_abs_diff_eq!(found.dy_px, 5.2, epsilon = 0.4);
    }
}
