//! What small animals are covered with, as far as it matters to sharpness: patterns, lines, dots
//! and smooth skin, on a flat piece or on the creature's eye, and how the creature stands.

use rayon::prelude::*;

use crate::core::random::SplitMix64;
use crate::simulator::layer::DepthMap;
use crate::simulator::scene::{Canvas, SAMPLES_A_PX, Scene, SceneKind, SceneSpec, drawn};
use crate::simulator::skin::{facets, lit, pits};
use crate::simulator::solid::unit;
use crate::simulator::texture::{cloud, lattice};

/// What the subject is covered with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Surface {
    /// Six-sided facets with dark rims, some of which mirror the lamp.
    Facets,
    /// Thin hairs over soft skin.
    Hairs,
    /// Small bright dots over soft skin.
    Glints,
    /// Round pits.
    Punctures,
    /// Smooth and shining: only its outline and the edge of the mirrored lamp are sharp.
    Smooth,
    /// Overlapping spots of many sizes.
    Leaves,
    /// A few hard-edged spots.
    Edges,
}

impl Surface {
    /// All of them.
    pub const ALL: [Surface; 7] = [
        Surface::Facets,
        Surface::Hairs,
        Surface::Glints,
        Surface::Punctures,
        Surface::Smooth,
        Surface::Leaves,
        Surface::Edges,
    ];

    /// The word for tables.
    pub fn word(self) -> &'static str {
        match self {
            Surface::Facets => "facets",
            Surface::Hairs => "hairs",
            Surface::Glints => "glints",
            Surface::Punctures => "punctures",
            Surface::Smooth => "smooth",
            Surface::Leaves => "leaves",
            Surface::Edges => "edges",
        }
    }
}

/// How the creature stands and where in the frame its eye is.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct SurfacePlacing {
    /// The eye, fraction of the frame from the left.
    pub x: f32,
    /// The eye, fraction of the frame from the top.
    pub y: f32,
    /// Size of the creature, 1 = its body is about as long as the frame is high.
    pub size: f32,
    /// Turn in the plane of the picture, degrees.
    pub turn_deg: f32,
    /// Turn about the upright axis, degrees: the head comes nearer or goes away.
    pub yaw_deg: f32,
    /// Whether it looks the other way.
    pub mirrored: bool,
}

/// How the subject looks.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct SurfaceLook {
    /// What it is covered with.
    pub surface: Surface,
    /// Spacing of facets, pits or dots, px; `None` for the usual one.
    pub period_px: Option<f32>,
    /// How it stands; `None` for the usual pose.
    pub placing: Option<SurfacePlacing>,
}

impl SurfaceLook {
    /// A facetted eye in the usual pose.
    pub const USUAL: SurfaceLook =
        SurfaceLook { surface: Surface::Facets, period_px: None, placing: None };
}

/// The skin at one place: how it tilts and what it sends back.
#[derive(Debug, Clone, Copy)]
pub(super) struct Skin {
    /// Tilt against the surface below.
    pub(super) tilt: [f32; 2],
    /// Factor of the light scattered.
    pub(super) gain: f32,
    /// Factor of the light mirrored.
    pub(super) mirror: f32,
    /// Light of a dot, 0 where there is none.
    pub(super) dot: f32,
}

/// Spacing of pits and dots, px, when none is given.
const USUAL_PERIOD_PX: f32 = 9.5;

/// The skin at a place, px over the surface.
pub(super) fn skin(look: &SurfaceLook, seed: u64, u_px: f32, v_px: f32) -> Skin {
    let plain = Skin { tilt: [0.0, 0.0], gain: 1.0, mirror: 1.0, dot: 0.0 };
    let period = look.period_px.unwrap_or(USUAL_PERIOD_PX);
    let (u, v) = (u_px / period, v_px / period);
    match look.surface {
        Surface::Facets => {
            let (tilt, rim) = facets(u, v);
            let tilt = tilt.map(|t| 0.30 * t);
            Skin { tilt, gain: 1.0 - 0.7 * rim, mirror: 1.0 - 0.6 * rim, dot: 0.0 }
        }
        Surface::Punctures => {
            let (tilt, pit) = pits(seed, u, v);
            let tilt = tilt.map(|t| 0.6 * t);
            Skin { tilt, gain: 1.0 - 0.75 * pit, ..plain }
        }
        Surface::Glints => Skin { dot: dots(seed, u_px, v_px, period), ..plain },
        Surface::Leaves => {
            let gain = spots(seed, u_px, v_px, &[4.0, 8.0, 16.0, 32.0, 64.0]);
            Skin { gain, mirror: 0.3, ..plain }
        }
        Surface::Edges => {
            Skin { gain: spots(seed, u_px, v_px, &[44.0, 64.0]), mirror: 0.3, ..plain }
        }
        Surface::Hairs | Surface::Smooth => plain,
    }
}

/// Bright dots of 1.2 to 2.6 px on a jittered grid, half of its places empty.
fn dots(seed: u64, u_px: f32, v_px: f32, period_px: f32) -> f32 {
    let (i0, j0) = ((u_px / period_px).floor() as i32, (v_px / period_px).floor() as i32);
    let mut light = 0.0f32;
    for j in j0 - 1..=j0 + 1 {
        for i in i0 - 1..=i0 + 1 {
            let at = |k: u64| lattice(seed ^ 0xd075 ^ (k << 20), i, j);
            if at(1) < 0.5 {
                continue;
            }
            let (x, y) = (i as f32 + at(2), j as f32 + at(3));
            let radius = 0.6 + 0.7 * at(4);
            let away = (u_px - x * period_px).hypot(v_px - y * period_px);
            light = light.max((radius - away + 0.5).clamp(0.0, 1.0) * (0.3 + 0.7 * at(5)));
        }
    }
    light
}

/// Brightness of overlapping round spots, one size a grid, in a random order of front and back.
fn spots(seed: u64, u_px: f32, v_px: f32, grids_px: &[f32]) -> f32 {
    let (mut front, mut gain) = (0.0f32, 1.0f32);
    for (k, grid) in grids_px.iter().enumerate() {
        let (i0, j0) = ((u_px / grid).floor() as i32, (v_px / grid).floor() as i32);
        for j in j0 - 1..=j0 + 1 {
            for i in i0 - 1..=i0 + 1 {
                let at = |n: u64| lattice(seed ^ 0x5907 ^ (k as u64) << 32 ^ n << 20, i, j);
                let order = at(1);
                if order <= front {
                    continue;
                }
                let (x, y) = ((i as f32 + at(2)) * grid, (j as f32 + at(3)) * grid);
                // Leaning ellipses, so that edges run everywhere.
                let angle = std::f32::consts::PI * at(4);
                let (sin, cos) = angle.sin_cos();
                let (dx, dy) = (u_px - x, v_px - y);
                let (p, q) = (dx * cos + dy * sin, (dy * cos - dx * sin) / (0.45 + 0.5 * at(5)));
                if p.hypot(q) < 0.62 * grid {
                    front = order;
                    gain = 0.3 + 1.7 * at(6).powf(1.6);
                }
            }
        }
    }
    gain
}

/// Light scattered by the skin of a flat piece.
const BASE: f32 = 0.2;
/// Radius of the surface before it fades into the ground, frame heights.
const SURFACE_RADIUS: f32 = 0.36;
/// Subsamples along each side of a sample, so that fine patterns are drawn as they are.
const SUBSAMPLES: usize = 2;

/// A flat piece of a surface, the subject in its middle. The smooth one is a ball before a soft
/// ground, all of it at one depth.
pub(super) fn piece(spec: &SceneSpec) -> Scene {
    let mut rng = SplitMix64::new(spec.seed);
    let look = &spec.look;
    let canvas = match look.surface {
        Surface::Hairs => of_kind(spec, SceneKind::Hairs, &mut rng),
        Surface::Leaves => of_kind(spec, SceneKind::DeadLeaves, &mut rng),
        Surface::Edges => of_kind(spec, SceneKind::Edges, &mut rng),
        _ => {
            let turn = rng.between(0.0, std::f64::consts::TAU) as f32;
            let radius_px = rng.between(0.11, 0.2) as f32 * spec.height_px as f32;
            lit_piece(spec, turn, radius_px)
        }
    };
    let canvas = grounded(canvas, spec);
    Scene {
        layers: vec![canvas.layer(spec.colour, true, DepthMap::uniform(0.0))],
        subject_px: (0.0, 0.0),
        subject_z_px: 0.0,
        subject_radius_px: 0.1 * spec.height_px as f32,
        colour: spec.colour,
    }
}

/// Lets the surface fade into soft ground away from the middle: noise can be seen there.
fn grounded(mut canvas: Canvas, spec: &SceneSpec) -> Canvas {
    let radius_px = SURFACE_RADIUS * spec.height_px as f32;
    let fade_px = 0.4 * radius_px;
    let (w, h, step) = (canvas.width, canvas.height, canvas.step_px);
    canvas.data.par_chunks_exact_mut(w).enumerate().for_each(|(j, row)| {
        let y = (j as f32 + 0.5 - h as f32 / 2.0) * step;
        for (i, p) in row.iter_mut().enumerate() {
            let x = (i as f32 + 0.5 - w as f32 / 2.0) * step;
            let t = ((x.hypot(y) - radius_px) / fade_px).clamp(0.0, 1.0);
            let share = t * t * (3.0 - 2.0 * t);
            let slow = cloud(spec.seed ^ 0x96d, x / 220.0, y / 220.0, 2);
            let ground = BASE * (0.8 + 0.8 * slow);
            for c in &mut p[..3] {
                *c += (ground - *c) * share;
            }
        }
    });
    canvas
}

fn of_kind(spec: &SceneSpec, kind: SceneKind, rng: &mut SplitMix64) -> Canvas {
    drawn(&SceneSpec { kind, ..*spec }, SAMPLES_A_PX, rng)
}

/// A piece under the soft box, gently uneven, so that facets mirror it here and there.
fn lit_piece(spec: &SceneSpec, turn: f32, ball_px: f32) -> Canvas {
    let mut canvas = Canvas::new(spec, SAMPLES_A_PX, [0.0; 4]);
    let (w, h, step) = (canvas.width, canvas.height, canvas.step_px);
    let (sin, cos) = turn.sin_cos();
    let (seed, look) = (spec.seed, &spec.look);
    let light = |x: f32, y: f32| {
        let slow = |k: u64| cloud(seed ^ k, x / 180.0, y / 180.0, 2);
        let (u, v) = (cos * x - sin * y, sin * x + cos * y);
        let skin = skin(look, seed, u, v);
        let mut normal = [-0.17 + 0.3 * slow(1), -0.24 + 0.3 * slow(2), 1.0];
        let mut base = BASE * (1.0 + 0.3 * slow(3)) * skin.gain;
        if look.surface == Surface::Smooth {
            let (a, b) = (x / ball_px, y / ball_px);
            let square = a * a + b * b;
            if square >= 1.0 {
                // Ground: soft, and darker or brighter than the ball.
                return BASE * (0.9 + 0.9 * slow(4));
            }
            normal = [a, b, (1.0 - square).sqrt()];
            base *= 0.5;
        } else {
            // Tilts of the pattern turn with it.
            normal[0] += cos * skin.tilt[0] + sin * skin.tilt[1];
            normal[1] += cos * skin.tilt[1] - sin * skin.tilt[0];
        }
        let mirror = match look.surface {
            Surface::Glints | Surface::Hairs => 0.0,
            _ => 0.08 * skin.mirror,
        };
        let rgb = lit([base; 3], unit(normal), [mirror; 3], 0.10);
        rgb[1] + 0.6 * skin.dot
    };
    canvas.data.par_chunks_exact_mut(w).enumerate().for_each(|(j, row)| {
        for (i, p) in row.iter_mut().enumerate() {
            let mut sum = 0.0;
            for sub in 0..SUBSAMPLES * SUBSAMPLES {
                let at = |k: usize| (k as f32 + 0.5) / SUBSAMPLES as f32;
                let x = i as f32 + at(sub % SUBSAMPLES) - w as f32 / 2.0;
                let y = j as f32 + at(sub / SUBSAMPLES) - h as f32 / 2.0;
                sum += light(x * step, y * step);
            }
            let v = sum / (SUBSAMPLES * SUBSAMPLES) as f32;
            *p = [v, v, v, 1.0];
        }
    });
    canvas
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The subject's 128-px box of a flat piece in focus, row-major, mean taken off.
    fn piece_box(surface: Surface, period_px: f32) -> Vec<f64> {
        use crate::simulator::camera::{Camera, Pose};
        use crate::simulator::optics::SimulatedLens;
        let spec = SceneSpec {
            kind: SceneKind::Piece,
            seed: 3,
            width_px: 320,
            height_px: 320,
            relief_px: 0.0,
            colour: false,
            look: SurfaceLook { surface, period_px: Some(period_px), placing: None },
        };
        let lens = SimulatedLens { n_eff: 10.0, magnification: 1.0, pitch_um: 6.0 };
        let frame = Camera::new(Scene::make(&spec), lens, (0.0, 0.0)).expose(
            &Pose::STRAIGHT,
            0.0,
            128,
            128,
        );
        let data: Vec<f64> = frame.data.iter().map(|v| f64::from(*v)).collect();
        let mean = data.iter().sum::<f64>() / data.len() as f64;
        data.into_iter().map(|v| v / mean - 1.0).collect()
    }

    #[test]
    fn every_piece_has_something_to_see() {
        for surface in Surface::ALL {
            let box_ = piece_box(surface, 9.5);
            let sd = (box_.iter().map(|v| v * v).sum::<f64>() / box_.len() as f64).sqrt();
            assert!(sd > 0.08, "{surface:?}: {sd}");
        }
    }

    // A hexagonal pattern of period p repeats after p along its rows whatever way they run: its
    // power lies on a ring of 1/(0.866 p) cycles per pixel, twice the mean of what is around it.
    #[test]
    fn facets_have_the_period_asked_for() {
        for period_px in [6.0, 9.5, 14.0] {
            let box_ = piece_box(Surface::Facets, period_px);
            let power = |f: f64| {
                let mut sum = 0.0;
                for k in 0..48 {
                    let (sin, cos) = (std::f64::consts::PI * f64::from(k) / 48.0).sin_cos();
                    let (mut re, mut im) = (0.0, 0.0);
                    for (at, v) in box_.iter().enumerate() {
                        let (x, y) = ((at % 128) as f64, (at / 128) as f64);
                        let hann =
                            |t: f64| (std::f64::consts::PI * (t + 0.5) / 128.0).sin().powi(2);
                        let phase = std::f64::consts::TAU * f * (x * cos + y * sin);
                        re += v * hann(x) * hann(y) * phase.cos();
                        im += v * hann(x) * hann(y) * phase.sin();
                    }
                    sum += re * re + im * im;
                }
                sum
            };
            let ring = 1.0 / (0.866 * f64::from(period_px));
            assert!(power(ring) > 2.0 * power(0.75 * ring), "{period_px}");
            assert!(power(ring) > 2.0 * power(1.3 * ring), "{period_px}");
        }
    }
}
