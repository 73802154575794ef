//! A ruler under the lens: ticks of known spacing at any angle, numbers, uneven light, blur that
//! may change across the frame, tilt, noise; and the scale that must be found.
//!
//! Everything printed is a set of rectangles along the ruler's axes, so its Gaussian blur is exact:
//! the product of two differences of the normal distribution.

use rayon::prelude::*;
use statrs::function::erf::erf;

use super::encode::{RenderedPicture, row_random, srgb_encoded};
use crate::core::random::SplitMix64;

/// A frame of a ruler to be made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RulerSpec {
    /// Seed of the details: where the ruler lies, how it is printed and lit.
    pub seed: u64,
    /// Width, px.
    pub width_px: usize,
    /// Height, px.
    pub height_px: usize,
    /// Size of a pixel on the ruler in the middle of the frame, micrometres.
    pub um_per_px: f64,
    /// Distance between the closest ticks, mm.
    pub ticks_mm: f64,
    /// Direction of the ruler, counter-clockwise from the horizontal, degrees.
    pub angle_deg: f64,
    /// Gaussian blur where the ruler is in focus, px.
    pub blur_sigma_px: f64,
    /// Blur added from the middle to the end of the frame's diagonal, px: partly out of focus.
    pub blur_more_px: f64,
    /// White noise, 8-bit steps.
    pub noise_dn: f64,
    /// Part of the light that one side of the frame lacks, 0..1.
    pub uneven: f64,
    /// Relative change of scale over the frame's width, along the ruler.
    pub tilt: f64,
    /// Whether numbers stand at the long ticks.
    pub numbers: bool,
    /// Light marks on a dark ground instead of dark on light.
    pub inverted: bool,
}

impl RulerSpec {
    /// A plain ruler: 1200 x 800 px, 1 mm ticks, a little blur and noise.
    pub fn plain(um_per_px: f64, angle_deg: f64, seed: u64) -> RulerSpec {
        RulerSpec {
            seed,
            width_px: 1200,
            height_px: 800,
            um_per_px,
            ticks_mm: 1.0,
            angle_deg,
            blur_sigma_px: 1.0,
            blur_more_px: 0.0,
            noise_dn: 2.0,
            uneven: 0.3,
            tilt: 0.0,
            numbers: true,
            inverted: false,
        }
    }
}

/// A rectangle of ink on the ruler, mm: along the ruler, then away from its edge.
#[derive(Debug, Clone, Copy)]
struct Bar {
    along: (f64, f64),
    away: (f64, f64),
}

/// Where the ruler lies and how it is printed.
struct Print {
    ticks_mm: f64,
    tick_wide_mm: f64,
    /// First tick's offset along the ruler, mm.
    start_mm: f64,
    /// The ruler's edge, mm from the middle of the frame.
    edge_mm: f64,
    numbers: bool,
}

/// Strokes of the digits on a 2 x 4 grid of half heights: (x, y, across).
const STROKES: [(u8, u8, bool); 7] = [
    (0, 0, true),
    (1, 0, false),
    (1, 1, false),
    (0, 2, true),
    (0, 1, false),
    (0, 0, false),
    (0, 1, true),
];
/// Which strokes make up each digit.
const DIGITS: [u8; 10] = [
    0b011_1111, 0b000_0110, 0b101_1011, 0b100_1111, 0b110_0110, 0b110_1101, 0b111_1101, 0b000_0111,
    0b111_1111, 0b110_1111,
];

impl Print {
    fn length_mm(&self, k: i64) -> f64 {
        let per_mm = (1.0 / self.ticks_mm).round().max(1.0) as i64;
        match k {
            k if k % (10 * per_mm) == 0 => 5.5,
            k if k % (5 * per_mm) == 0 => 4.2,
            k if k % per_mm == 0 => 3.0,
            _ => 2.0,
        }
    }

    fn tick(&self, k: i64) -> Bar {
        let at = self.start_mm + k as f64 * self.ticks_mm;
        let half = self.tick_wide_mm / 2.0;
        Bar { along: (at - half, at + half), away: (0.25, 0.25 + self.length_mm(k)) }
    }

    /// The strokes of the number that stands at centimetre `cm`.
    fn number(&self, cm: i64, bars: &mut Vec<Bar>) {
        let (wide, half, pen) = (1.0, 0.9, 0.22);
        let per_cm = (10.0 / self.ticks_mm).round();
        let at = self.start_mm + cm as f64 * per_cm * self.ticks_mm;
        let value = cm.rem_euclid(30) as usize;
        let digits = if value > 9 { vec![value / 10, value % 10] } else { vec![value] };
        let left = at - 0.5 * (digits.len() as f64 * (wide + 0.5) - 0.5);
        for (place, digit) in digits.iter().enumerate() {
            let x0 = left + place as f64 * (wide + 0.5);
            for (i, (x, y, across)) in STROKES.iter().enumerate() {
                if DIGITS[*digit] >> i & 1 == 0 {
                    continue;
                }
                let (x, y) = (x0 + f64::from(*x) * wide, 6.3 + f64::from(*y) * half);
                bars.push(if *across {
                    Bar { along: (x0 + pen, x0 + wide - pen), away: (y, y + pen) }
                } else {
                    Bar { along: (x - pen, x), away: (y, y + half) }
                });
            }
        }
    }

    /// Ink at a place, 0..1, blurred by a Gaussian of `sigma` mm.
    fn ink(&self, u: f64, v: f64, sigma: f64, bars: &mut Vec<Bar>) -> f64 {
        bars.clear();
        let nearest = ((u - self.start_mm) / self.ticks_mm).round() as i64;
        let reach = 1 + (4.0 * sigma / self.ticks_mm) as i64;
        bars.extend((nearest - reach..=nearest + reach).map(|k| self.tick(k)));
        if self.numbers && v > 5.0 {
            let cm = ((u - self.start_mm) / 10.0).round() as i64;
            self.number(cm, bars);
        }
        let share = |at: f64, (from, to): (f64, f64)| {
            normal_cdf((at - from) / sigma) - normal_cdf((at - to) / sigma)
        };
        bars.iter().map(|b| share(u, b.along) * share(v, b.away)).sum::<f64>().min(1.0)
    }
}

/// Standard normal distribution function.
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * (1.0 + erf(z / std::f64::consts::SQRT_2))
}

/// Takes the frame: 8-bit grey, sRGB.
///
/// The truth is [`RulerSpec::um_per_px`], which holds in the middle of the frame.
pub fn ruler(spec: &RulerSpec) -> RenderedPicture {
    let mut rng = SplitMix64::new(spec.seed ^ 0x7275_6c65_7200);
    let (w, h) = (spec.width_px, spec.height_px);
    let mm_per_px = spec.um_per_px / 1000.0;
    let short_mm = w.min(h) as f64 * mm_per_px;
    let print = Print {
        ticks_mm: spec.ticks_mm,
        tick_wide_mm: spec.ticks_mm.min(1.0) * rng.between(0.13, 0.25),
        start_mm: rng.between(0.0, 10.0),
        // The ticks reach into the frame, its middle or beyond it.
        edge_mm: -rng.between(0.2, 3.0) - rng.between(0.0, 0.2) * short_mm,
        numbers: spec.numbers,
    };
    let (paper, ink, table) = if spec.inverted {
        (rng.between(0.03, 0.08), rng.between(0.4, 0.6), rng.between(0.1, 0.5))
    } else {
        (rng.between(0.5, 0.75), rng.between(0.03, 0.12), rng.between(0.1, 0.5))
    };
    let lit_from = rng.between(0.0, std::f64::consts::TAU);
    let (sin, cos) = spec.angle_deg.to_radians().sin_cos();
    let centre = ((w as f64 - 1.0) / 2.0, (h as f64 - 1.0) / 2.0);
    let diagonal = centre.0.hypot(centre.1);
    let mut data = vec![0u8; w * h];
    data.par_chunks_exact_mut(w).enumerate().for_each(|(y, row)| {
        let mut noise = row_random(spec.seed, y);
        let mut bars = Vec::new();
        for (x, out) in row.iter_mut().enumerate() {
            let (dx, dy) = (x as f64 - centre.0, y as f64 - centre.1);
            let (u_px, v_px) = (dx * cos - dy * sin, dx * sin + dy * cos);
            // A plane seen from the side: sizes change as 1/(1 - g u), 1 in the middle.
            let near = 1.0 - 0.5 * spec.tilt * u_px / w as f64;
            let (u, v) = (u_px * mm_per_px / near, v_px * mm_per_px / near);
            let away = v - print.edge_mm;
            let part = (dx * lit_from.cos() + dy * lit_from.sin()) / diagonal;
            let sigma_px = spec.blur_sigma_px + spec.blur_more_px * (u_px / diagonal).abs();
            // A pixel averages over its own square.
            let sigma = (sigma_px * sigma_px + 1.0 / 12.0).sqrt() * mm_per_px;
            let covered = print.ink(u, away, sigma, &mut bars);
            let on = normal_cdf(away / sigma);
            let ruler = paper + (ink - paper) * covered;
            let light = 1.0 - spec.uneven * (0.5 + 0.5 * part);
            let value = light * (table + (ruler - table) * on);
            let dn = 255.0 * f64::from(srgb_encoded(value as f32)) + spec.noise_dn * noise.normal();
            *out = dn.round().clamp(0.0, 255.0) as u8;
        }
    });
    RenderedPicture { width_px: w, height_px: h, channels: 1, data }
}

/// A wall of bricks laid by hand: rows and joints of nearly even distance, 8-bit grey.
pub fn bricks(seed: u64, width_px: usize, height_px: usize) -> RenderedPicture {
    let mut rng = SplitMix64::new(seed ^ 0x6272_6963_6b73);
    let row_px = rng.between(30.0, 90.0);
    let brick_px = row_px * rng.between(2.2, 3.5);
    let joint_px = row_px * rng.between(0.08, 0.18);
    let uneven = rng.between(0.04, 0.08);
    let turn = rng.between(0.0, std::f64::consts::PI);
    let (sin, cos) = turn.sin_cos();
    let span = (width_px + height_px) as f64;
    let rows = (2.0 * span / row_px) as usize;
    let edges: Vec<f64> =
        (0..rows).map(|i| (i as f64 + uneven * rng.normal()) * row_px - span).collect();
    let shade: Vec<f64> = (0..rows * 64).map(|_| rng.between(60.0, 130.0)).collect();
    let mut data = Vec::with_capacity(width_px * height_px);
    for y in 0..height_px {
        for x in 0..width_px {
            let (u, v) = (x as f64 * cos - y as f64 * sin, x as f64 * sin + y as f64 * cos);
            let row = edges.partition_point(|e| *e <= v).clamp(1, rows - 1);
            let at = u + span + if row % 2 == 0 { 0.5 * brick_px } else { 0.0 };
            let brick = (at / brick_px) as usize;
            let beside = at - brick as f64 * brick_px;
            let lower = v - edges[row - 1];
            let joint = lower.min(beside) / joint_px;
            let stone = shade[(row * 64 + brick % 64) % shade.len()];
            let share = (joint - 0.5).clamp(0.0, 1.0);
            let dn = 190.0 + (stone - 190.0) * share + 6.0 * rng.normal();
            data.push(dn.round().clamp(0.0, 255.0) as u8);
        }
    }
    RenderedPicture { width_px, height_px, channels: 1, data }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Abramowitz & Stegun table 26.1.
    #[test]
    fn normal_distribution() {
        for (z, want) in [(0.0, 0.5), (1.0, 0.841_344_75), (-1.96, 0.024_997_9), (3.0, 0.998_650_1)]
        {
            approx::assert_abs_diff_eq!(normal_cdf(z), want, epsilon = 5e-8);
        }
    }

    // The ticks themselves, counted along a row: 10 mm at 20 µm a pixel is 500 px.
    #[test]
    fn ticks_stand_where_they_should() {
        let spec = RulerSpec {
            noise_dn: 0.0,
            uneven: 0.0,
            numbers: false,
            ..RulerSpec::plain(20.0, 0.0, 3)
        };
        let picture = ruler(&spec);
        let edges = |y: usize| -> Vec<usize> {
            let row = &picture.data[y * 1200..(y + 1) * 1200];
            let (low, high) = (*row.iter().min().unwrap(), *row.iter().max().unwrap());
            let middle = low / 2 + high / 2;
            (1..1200).filter(|x| row[x - 1] >= middle && row[*x] < middle).collect()
        };
        let y = (0..800).max_by_key(|y| edges(*y).len()).unwrap();
        let found = edges(y);
        assert!(found.len() >= 23, "{found:?}");
        for pair in found.windows(2) {
            assert!((49..=51).contains(&(pair[1] - pair[0])), "{found:?}");
        }
    }
}
