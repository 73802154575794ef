//! Procedural textures: lattice noise with a 1/f spectrum and dead leaves (overlapping shapes
//! with a power law of sizes, the usual stand-in for natural texture; after Lee, Mumford & Huang
//! 2001, DOI 10.1023/A:1011109015675).

use rayon::prelude::*;

use crate::core::random::SplitMix64;

/// Light in three colours and coverage.
pub(super) type Rgba = [f32; 4];

/// A hash of a lattice place to 0..1.
pub(super) fn lattice(seed: u64, i: i32, j: i32) -> f32 {
    let mut z = seed
        ^ (i as u32 as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15)
        ^ (j as u32 as u64).wrapping_mul(0xC2B2_AE3D_27D4_EB4F);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    ((z >> 40) as f32) / (1u32 << 24) as f32
}

/// Smooth lattice noise, −1..1, features about one unit wide.
pub(super) fn smooth_noise(seed: u64, x: f32, y: f32) -> f32 {
    let (i, j) = (x.floor(), y.floor());
    let (fx, fy) = (x - i, y - j);
    let (i, j) = (i as i32, j as i32);
    let ease = |t: f32| t * t * t * (t * (t * 6.0 - 15.0) + 10.0);
    let (ex, ey) = (ease(fx), ease(fy));
    let a = lattice(seed, i, j);
    let b = lattice(seed, i + 1, j);
    let c = lattice(seed, i, j + 1);
    let d = lattice(seed, i + 1, j + 1);
    let top = a + (b - a) * ex;
    let bottom = c + (d - c) * ex;
    2.0 * (top + (bottom - top) * ey) - 1.0
}

/// Octaves of [`smooth_noise`], each half as wide and half as strong: about 1/f in amplitude.
pub(super) fn cloud(seed: u64, x: f32, y: f32, octaves: u32) -> f32 {
    let (mut sum, mut gain, mut scale) = (0.0, 0.5, 1.0);
    for octave in 0..octaves {
        // Turned each time, so that the lattice does not show.
        let (tx, ty) = (0.8 * x * scale - 0.6 * y * scale, 0.6 * x * scale + 0.8 * y * scale);
        let (tx, ty) = if octave % 2 == 0 { (x * scale, y * scale) } else { (tx, ty) };
        sum += gain * smooth_noise(seed.wrapping_add(u64::from(octave) * 7919), tx, ty);
        gain *= 0.5;
        scale *= 2.0;
    }
    sum
}

/// Outline of a painted shape.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Outline {
    /// Half axes along and across.
    Ellipse,
    /// Half length and half width.
    Bar,
}

/// One flat shape to paint, in samples of the canvas.
#[derive(Debug, Clone, Copy)]
pub(super) struct Shape {
    pub(super) outline: Outline,
    pub(super) x: f32,
    pub(super) y: f32,
    pub(super) along: f32,
    pub(super) across: f32,
    pub(super) angle: f32,
    pub(super) colour: [f32; 3],
    /// Relative change of brightness from one side to the other.
    pub(super) slope: f32,
}

/// Paints shapes in order, later ones in front; edges are area-sampled.
pub(super) fn paint(canvas: &mut [Rgba], width: usize, shapes: &[Shape]) {
    const BAND: usize = 64;
    canvas.par_chunks_mut(width * BAND).enumerate().for_each(|(band, part)| {
        let y0 = (band * BAND) as f32;
        let rows = part.len() / width;
        for shape in shapes {
            let reach = match shape.outline {
                Outline::Ellipse => shape.along.max(shape.across),
                Outline::Bar => shape.along.hypot(shape.across),
            } + 1.0;
            if shape.y + reach < y0 || shape.y - reach > y0 + rows as f32 {
                continue;
            }
            let (sin, cos) = shape.angle.sin_cos();
            let first = (shape.y - reach - y0).floor().max(0.0) as usize;
            let last = ((shape.y + reach - y0).ceil().max(0.0) as usize).min(rows);
            let x0 = (shape.x - reach).floor().max(0.0) as usize;
            let x1 = ((shape.x + reach).ceil().max(0.0) as usize).min(width);
            for j in first..last {
                let dy = j as f32 + y0 + 0.5 - shape.y;
                for i in x0..x1 {
                    let dx = i as f32 + 0.5 - shape.x;
                    let (p, q) = (dx * cos + dy * sin, dy * cos - dx * sin);
                    let inside = depth_inside(shape, p, q);
                    let cover = (inside + 0.5).clamp(0.0, 1.0);
                    if cover <= 0.0 {
                        continue;
                    }
                    let shade = 1.0 + shape.slope * p / shape.along;
                    let pixel = &mut part[j * width + i];
                    for (p, c) in pixel.iter_mut().zip(shape.colour) {
                        *p += (c * shade - *p) * cover;
                    }
                    pixel[3] += (1.0 - pixel[3]) * cover;
                }
            }
        }
    });
}

/// Signed distance to the outline, samples, positive inside (first order for ellipses).
fn depth_inside(shape: &Shape, p: f32, q: f32) -> f32 {
    match shape.outline {
        Outline::Bar => (shape.along - p.abs()).min(shape.across - q.abs()),
        Outline::Ellipse => {
            let (pa, qb) = (p / shape.along, q / shape.across);
            let radius = (pa * pa + qb * qb).sqrt();
            if radius < 1e-3 {
                return shape.along.min(shape.across);
            }
            let gradient = ((pa / shape.along).powi(2) + (qb / shape.across).powi(2)).sqrt();
            (1.0 - radius) * radius / gradient
        }
    }
}

/// What dead leaves are made of.
#[derive(Debug, Clone, Copy)]
pub(super) struct Leaves {
    /// Least and greatest radius, samples.
    pub(super) radius: (f32, f32),
    /// Mean number of shapes over a place.
    pub(super) layers: f32,
    /// Mean reflectance of each colour.
    pub(super) colour: [f32; 3],
    /// Spread of brightness, natural log (standard deviation).
    pub(super) contrast: f32,
    /// Spread of colour, natural log.
    pub(super) tint: f32,
}

impl Leaves {
    /// Shapes that cover a canvas.
    pub(super) fn shapes(&self, rng: &mut SplitMix64, width: usize, height: usize) -> Vec<Shape> {
        let (r0, r1) = (f64::from(self.radius.0), f64::from(self.radius.1));
        let (k0, k1) = (r0.powi(-2), r1.powi(-2));
        let mean_square = 2.0 * (r1 / r0).ln() / (k0 - k1);
        // 0.62 of the square of the radius: the mean aspect and outline of the shapes below.
        let mean_area = std::f64::consts::PI * mean_square * 0.62;
        let count = f64::from(self.layers) * (width * height) as f64 / mean_area;
        (0..count as usize)
            .map(|_| {
                let radius = rng.between(k1, k0).powf(-0.5) as f32;
                let light = (f64::from(self.contrast) * rng.normal()).exp() as f32;
                let mut colour = self.colour;
                for c in &mut colour {
                    *c *= light * (f64::from(self.tint) * rng.normal()).exp() as f32;
                    *c = c.min(0.95);
                }
                Shape {
                    outline: if rng.uniform() < 0.6 { Outline::Ellipse } else { Outline::Bar },
                    x: rng.between(0.0, width as f64) as f32,
                    y: rng.between(0.0, height as f64) as f32,
                    along: radius,
                    across: radius * rng.between(0.35, 0.9) as f32,
                    angle: rng.between(0.0, std::f64::consts::PI) as f32,
                    colour,
                    slope: rng.between(-0.25, 0.25) as f32,
                }
            })
            .collect()
    }
}
