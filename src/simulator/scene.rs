//! Scenes: sheets of light and depth, made from a seed and a kind.
//!
//! Sheets hide one another correctly, blur included. Within one sheet each place is blurred by
//! its own depth and occlusion is ignored, so steps of depth belong into separate sheets.

use crate::core::random::SplitMix64;
use crate::simulator::layer::{DepthMap, Layer, MAX_REDUCE};
use crate::simulator::spectrum::smooth_length;
use crate::simulator::surface::SurfaceLook;
use crate::simulator::texture::{Leaves, Outline, Rgba, Shape, cloud, paint};

/// What a scene shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum SceneKind {
    /// A small creature with facetted eyes and hairs on a stem, before a distant background.
    Insect,
    /// Texture over a tilted, bumpy surface: part of the frame is in focus.
    DepthRamp,
    /// Texture on a flat plane.
    DeadLeaves,
    /// Straight edges and discs at many angles on a flat plane.
    Edges,
    /// Parallel stripes over a tilted surface: one edge direction only.
    Stripes,
    /// Thin hairs over a soft surface, tilted.
    Hairs,
    /// Large flat areas with a few textured patches.
    Flat,
    /// Fine texture everywhere: nothing in the frame is smooth.
    AllTexture,
    /// A flat piece of the surface that the look names.
    Piece,
}

/// What to make.
#[derive(Debug, Clone, Copy)]
pub struct SceneSpec {
    /// What it shows.
    pub kind: SceneKind,
    /// Seed.
    pub seed: u64,
    /// Width of the frames taken of it, px.
    pub width_px: usize,
    /// Height of the frames taken of it, px.
    pub height_px: usize,
    /// Depth of a tilted surface from edge to edge of the frame's height, px on the subject.
    pub relief_px: f32,
    /// Three colours, or grey only.
    pub colour: bool,
    /// How the creature or the piece looks; the other kinds do not ask.
    pub look: SurfaceLook,
}

/// Samples of a sharp sheet per pixel of the picture.
pub(super) const SAMPLES_A_PX: f32 = 1.5;
/// Share of the frame's width that a scene extends beyond the frame on each side: drift of the
/// frame (8 %), rotation and blur.
const MARGIN: f32 = 0.13;

/// Sheets from back to front and the place that matters.
#[derive(Debug, Clone)]
pub struct Scene {
    /// Sheets, back to front.
    pub layers: Vec<Layer>,
    /// The subject point, px from the centre of the scene.
    pub subject_px: (f32, f32),
    /// Its depth, px on the subject towards the lens.
    pub subject_z_px: f32,
    /// Radius of the textured area round the subject point, px.
    pub subject_radius_px: f32,
    /// Three colours or one.
    pub colour: bool,
}

impl Scene {
    /// Makes a scene.
    pub fn make(spec: &SceneSpec) -> Scene {
        match spec.kind {
            SceneKind::Insect => crate::simulator::creature::make(spec),
            SceneKind::Piece => crate::simulator::surface::piece(spec),
            _ => surface(spec),
        }
    }
}

/// A canvas of samples covering a scene.
pub(super) struct Canvas {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) step_px: f32,
    pub(super) data: Vec<Rgba>,
}

impl Canvas {
    /// An empty canvas with `samples_a_px` samples a pixel.
    pub(super) fn new(spec: &SceneSpec, samples_a_px: f32, fill: Rgba) -> Canvas {
        let margin = 2.0 * (MARGIN * spec.width_px as f32 + 24.0);
        let length =
            |px: usize| smooth_length(((px as f32 + margin) * samples_a_px) as usize, MAX_REDUCE);
        let (width, height) = (length(spec.width_px), length(spec.height_px));
        Canvas { width, height, step_px: 1.0 / samples_a_px, data: vec![fill; width * height] }
    }

    /// Samples from pixels of the scene.
    pub(super) fn place(&self, u_px: f32, v_px: f32) -> (f32, f32) {
        (
            u_px / self.step_px + self.width as f32 / 2.0,
            v_px / self.step_px + self.height as f32 / 2.0,
        )
    }

    /// The sheet, with light already multiplied by coverage in `data` or, when `covers`, without
    /// coverage.
    pub(super) fn layer(&self, colour: bool, covers: bool, depth: DepthMap) -> Layer {
        let channels = if colour { 3 } else { 1 } + usize::from(!covers);
        let mut data = Vec::with_capacity(self.data.len() * channels);
        for p in &self.data {
            if colour {
                data.extend_from_slice(&p[..3]);
            } else {
                data.push(0.2126 * p[0] + 0.7152 * p[1] + 0.0722 * p[2]);
            }
            if !covers {
                data.push(p[3]);
            }
        }
        Layer {
            width: self.width,
            height: self.height,
            step_px: self.step_px,
            channels,
            covers,
            data,
            depth,
        }
    }
}

/// The drawing of one of the kinds made of one sheet.
pub(super) fn flat_canvas(spec: &SceneSpec, samples_a_px: f32) -> Canvas {
    drawn(spec, samples_a_px, &mut SplitMix64::new(spec.seed))
}

pub(super) fn drawn(spec: &SceneSpec, per_px: f32, rng: &mut SplitMix64) -> Canvas {
    let mut canvas = Canvas::new(spec, per_px, [0.2, 0.2, 0.2, 1.0]);
    let (w, h) = (canvas.width, canvas.height);
    let base = [
        rng.between(0.12, 0.3) as f32,
        rng.between(0.14, 0.3) as f32,
        rng.between(0.06, 0.2) as f32,
    ];
    let leaves = Leaves {
        radius: (1.6 * per_px, 70.0 * per_px),
        layers: 4.0,
        colour: base,
        contrast: 0.45,
        tint: 0.1,
    };
    match spec.kind {
        SceneKind::Edges => {
            fill(&mut canvas, base);
            let shapes = sparse_shapes(rng, &canvas, base);
            paint(&mut canvas.data, w, &shapes);
        }
        SceneKind::Stripes => stripes(rng, &mut canvas, base),
        SceneKind::Hairs => {
            clouds(&mut canvas, spec.seed, base, 90.0, 3, 0.35);
            let shapes = hairs(rng, &canvas);
            paint(&mut canvas.data, w, &shapes);
        }
        SceneKind::Flat => {
            clouds(&mut canvas, spec.seed, base, 260.0, 2, 0.4);
            let shapes = patches(rng, &canvas, leaves);
            paint(&mut canvas.data, w, &shapes);
        }
        SceneKind::AllTexture => {
            let fine = Leaves { radius: (1.2 * per_px, 6.0 * per_px), contrast: 0.35, ..leaves };
            let shapes = fine.shapes(rng, w, h);
            paint(&mut canvas.data, w, &shapes);
        }
        _ => {
            let shapes = leaves.shapes(rng, w, h);
            paint(&mut canvas.data, w, &shapes);
            grain(&mut canvas, spec.seed, 0.25);
        }
    }
    canvas
}

/// The kinds made of one tilted or flat sheet.
fn surface(spec: &SceneSpec) -> Scene {
    let mut rng = SplitMix64::new(spec.seed);
    let canvas = drawn(spec, SAMPLES_A_PX, &mut rng);
    let depth = match spec.kind {
        SceneKind::DepthRamp | SceneKind::Stripes | SceneKind::Hairs => {
            ramp(spec, &mut rng, &canvas)
        }
        _ => DepthMap::uniform(0.0),
    };
    // Near the middle, where every frame of a burst still shows it.
    let subject_px = if spec.kind == SceneKind::Flat {
        (0.0, 0.0)
    } else {
        (
            rng.between(-0.15, 0.15) as f32 * spec.width_px as f32,
            rng.between(-0.15, 0.15) as f32 * spec.height_px as f32,
        )
    };
    let subject_z_px = depth.at(subject_px.0, subject_px.1);
    Scene {
        layers: vec![canvas.layer(spec.colour, true, depth)],
        subject_px,
        subject_z_px,
        subject_radius_px: 0.06 * spec.width_px as f32,
        colour: spec.colour,
    }
}

/// A surface that leans in a random direction and undulates a little.
fn ramp(spec: &SceneSpec, rng: &mut SplitMix64, canvas: &Canvas) -> DepthMap {
    const STEP_PX: f32 = 3.0;
    let angle = rng.between(0.0, std::f64::consts::TAU) as f32;
    let slope = spec.relief_px / spec.height_px as f32;
    let (sin, cos) = angle.sin_cos();
    let bump_px = 0.12 * spec.relief_px;
    let size_px = 0.35 * spec.height_px as f32;
    let seed = spec.seed ^ 0x5eed;
    let cells = |n: usize| (n as f32 * canvas.step_px / STEP_PX).ceil() as usize;
    DepthMap::from_fn(cells(canvas.width), cells(canvas.height), STEP_PX, |u, v| {
        slope * (u * cos + v * sin) + bump_px * cloud(seed, u / size_px, v / size_px, 2)
    })
}

fn fill(canvas: &mut Canvas, colour: [f32; 3]) {
    canvas.data.fill([colour[0], colour[1], colour[2], 1.0]);
}

/// Soft clouds of brightness.
fn clouds(
    canvas: &mut Canvas,
    seed: u64,
    colour: [f32; 3],
    size_px: f32,
    octaves: u32,
    contrast: f32,
) {
    use rayon::prelude::*;
    let (w, step) = (canvas.width, canvas.step_px);
    canvas.data.par_chunks_exact_mut(w).enumerate().for_each(|(j, row)| {
        for (i, p) in row.iter_mut().enumerate() {
            let n = cloud(seed, i as f32 * step / size_px, j as f32 * step / size_px, octaves);
            let gain = (2.0 * contrast * n).exp();
            *p = [colour[0] * gain, colour[1] * gain, colour[2] * gain, 1.0];
        }
    });
}

/// Fine 1/f grain over what is there.
fn grain(canvas: &mut Canvas, seed: u64, contrast: f32) {
    use rayon::prelude::*;
    let (w, step) = (canvas.width, canvas.step_px);
    canvas.data.par_chunks_exact_mut(w).enumerate().for_each(|(j, row)| {
        for (i, p) in row.iter_mut().enumerate() {
            let n = cloud(seed ^ 0x6ea1, i as f32 * step / 24.0, j as f32 * step / 24.0, 4);
            let gain = (2.0 * contrast * n).exp();
            for c in &mut p[..3] {
                *c *= gain;
            }
        }
    });
}

/// Bars and discs, few enough to stand alone.
fn sparse_shapes(rng: &mut SplitMix64, canvas: &Canvas, base: [f32; 3]) -> Vec<Shape> {
    let area_px = (canvas.width * canvas.height) as f32 * canvas.step_px.powi(2);
    let count = (area_px / 4500.0) as usize;
    (0..count)
        .map(|_| {
            let gain = rng.between(0.25, 2.8) as f32;
            Shape {
                outline: if rng.uniform() < 0.3 { Outline::Ellipse } else { Outline::Bar },
                x: rng.between(0.0, canvas.width as f64) as f32,
                y: rng.between(0.0, canvas.height as f64) as f32,
                along: rng.between(14.0, 50.0) as f32 / canvas.step_px,
                across: rng.between(9.0, 24.0) as f32 / canvas.step_px,
                angle: rng.between(0.0, std::f64::consts::PI) as f32,
                colour: base.map(|c| (c * gain).min(0.9)),
                slope: 0.0,
            }
        })
        .collect()
}

/// Parallel stripes of uneven width.
fn stripes(rng: &mut SplitMix64, canvas: &mut Canvas, base: [f32; 3]) {
    let angle = rng.between(0.0, std::f64::consts::PI) as f32;
    let (w, h) = (canvas.width as f32, canvas.height as f32);
    let reach = w.hypot(h);
    let mut at = -reach / 2.0;
    let mut shapes = Vec::new();
    let mut dark = false;
    while at < reach / 2.0 {
        let width = rng.between(7.0, 34.0) as f32 / canvas.step_px;
        let gain = if dark { rng.between(0.15, 0.4) } else { rng.between(1.4, 2.6) } as f32;
        dark = !dark;
        let middle = at + width / 2.0;
        shapes.push(Shape {
            outline: Outline::Bar,
            x: w / 2.0 - middle * angle.sin(),
            y: h / 2.0 + middle * angle.cos(),
            along: reach,
            across: width / 2.0,
            angle,
            colour: base.map(|c| (c * gain).min(0.9)),
            slope: 0.0,
        });
        at += width;
    }
    let width = canvas.width;
    paint(&mut canvas.data, width, &shapes);
}

/// Thin bright and dark hairs, mostly along one direction as on a body.
fn hairs(rng: &mut SplitMix64, canvas: &Canvas) -> Vec<Shape> {
    let area_px = (canvas.width * canvas.height) as f32 * canvas.step_px.powi(2);
    let count = (area_px / 1400.0) as usize;
    let lie = rng.between(0.0, std::f64::consts::PI);
    (0..count)
        .map(|_| {
            let level = if rng.uniform() < 0.7 { rng.between(0.4, 0.9) } else { 0.03 } as f32;
            Shape {
                outline: Outline::Bar,
                x: rng.between(0.0, canvas.width as f64) as f32,
                y: rng.between(0.0, canvas.height as f64) as f32,
                along: rng.between(25.0, 70.0) as f32 / canvas.step_px,
                across: rng.between(0.7, 1.6) as f32 / canvas.step_px,
                angle: (lie + 0.35 * rng.normal()) as f32,
                colour: [level, level * 0.93, level * 0.8],
                slope: 0.0,
            }
        })
        .collect()
}

/// Leaves texture in a few round patches, one of them in the middle of the scene.
fn patches(rng: &mut SplitMix64, canvas: &Canvas, leaves: Leaves) -> Vec<Shape> {
    let (w, h) = (canvas.width as f64, canvas.height as f64);
    let radius = 0.07 * w;
    let mut centres = vec![(w / 2.0, h / 2.0)];
    centres.extend((0..5).map(|_| (rng.between(0.1, 0.9) * w, rng.between(0.1, 0.9) * h)));
    let leaves = Leaves { radius: (leaves.radius.0, leaves.radius.1 / 4.0), ..leaves };
    leaves
        .shapes(rng, canvas.width, canvas.height)
        .into_iter()
        .filter(|s| {
            centres.iter().any(|(x, y)| (f64::from(s.x) - x).hypot(f64::from(s.y) - y) < radius)
        })
        .collect()
}
