//! How the creature's surfaces look: pattern, small relief, light from a soft box, sky and
//! ground.

use crate::core::random::SplitMix64;
use crate::simulator::scene::SceneSpec;
use crate::simulator::solid::{Hit, Matter, Solid, Vec3, add, dot, times, unit};
use crate::simulator::surface::{self, Surface, SurfaceLook};
use crate::simulator::texture::{cloud, lattice};

/// Colours of one scene.
#[derive(Debug, Clone, Copy)]
pub(super) struct Palette {
    /// Shell seen straight on, and at a grazing angle.
    pub(super) shell: [Vec3; 2],
    /// Eye, two bands.
    pub(super) eye: [Vec3; 2],
    /// Legs and feelers.
    pub(super) limb: Vec3,
    /// Stem and leaf.
    pub(super) plant: Vec3,
    /// Hairs.
    pub(super) hair: Vec3,
    /// Background, two ends.
    pub(super) far: [Vec3; 2],
    /// Small lights in the background.
    pub(super) glint: Vec3,
}

impl Palette {
    /// One of a few families of colour that go together.
    pub(super) fn drawn(rng: &mut SplitMix64) -> Palette {
        let shells = [
            [[0.05, 0.30, 0.13], [0.45, 0.25, 0.06]],
            [[0.32, 0.10, 0.04], [0.10, 0.30, 0.12]],
            [[0.05, 0.12, 0.34], [0.28, 0.09, 0.30]],
            [[0.36, 0.21, 0.05], [0.22, 0.30, 0.08]],
        ];
        let eyes = [
            [[0.20, 0.05, 0.025], [0.30, 0.14, 0.04]],
            [[0.10, 0.13, 0.03], [0.30, 0.20, 0.05]],
            [[0.06, 0.05, 0.05], [0.20, 0.10, 0.06]],
        ];
        let fars = [
            [[0.06, 0.13, 0.03], [0.36, 0.40, 0.12]],
            [[0.10, 0.12, 0.05], [0.48, 0.36, 0.16]],
            [[0.05, 0.11, 0.10], [0.30, 0.40, 0.34]],
        ];
        let plants = [[0.17, 0.25, 0.08], [0.22, 0.25, 0.10], [0.15, 0.21, 0.11]];
        Palette {
            shell: shells[rng.below(shells.len())],
            eye: eyes[rng.below(eyes.len())],
            limb: [0.055, 0.03, 0.018],
            plant: plants[rng.below(plants.len())],
            hair: [0.85, 0.72, 0.50],
            far: fars[rng.below(fars.len())],
            glint: [1.0, 0.95, 0.72],
        }
    }
}

/// Towards the soft box, above and to the left.
const KEY: Vec3 = [-0.42, -0.62, 0.66];
/// Light of the soft box as seen in a mirror; white paper is 1.
const KEY_MIRRORED: f32 = 5.5;
/// Width of one facet of the eye, frame heights.
const FACET: f32 = 0.0095;

/// Size of the creature's plan, px.
pub(super) fn creature_px(spec: &SceneSpec) -> f32 {
    spec.look.placing.map_or(1.0, |p| p.size) * spec.height_px as f32
}

/// Light leaving a surface towards the lens.
pub(super) fn shaded(
    hit: &Hit,
    solid: &Solid,
    at_px: (f32, f32),
    palette: &Palette,
    spec: &SceneSpec,
) -> Vec3 {
    let unit_px = creature_px(spec);
    let r = solid.radii();
    // Distances over the surface, in frame heights, good enough for patterns.
    let lon = hit.local[0].clamp(-1.0, 1.0).asin() * r[0] / unit_px;
    let lat = hit.local[1].atan2(hit.local[2]) * r[1] / unit_px;
    let facing = hit.normal[2].max(0.0);
    let seed = spec.seed;
    let fine = cloud(seed ^ 0xf1e, at_px.0 / (0.020 * unit_px), at_px.1 / (0.020 * unit_px), 5);
    match solid.matter {
        Matter::Shell | Matter::Pitted => {
            let pitch = if solid.matter == Matter::Shell { 0.021 } else { 0.0125 };
            let (tilt, pit) = pits(seed, lon / pitch, lat / pitch);
            let normal = unit(add(
                hit.normal,
                [1.1 * tilt[0] + 0.10 * fine, 1.1 * tilt[1] + 0.08 * fine, 0.0],
            ));
            let graze = (1.0 - facing).powf(1.3);
            let band = (0.5 * cloud(seed ^ 0xba, 5.0 * lon, 5.0 * lat, 2) + graze).clamp(0.0, 1.0);
            let base = mixed(palette.shell[0], palette.shell[1], band);
            let (groove, seam) =
                if solid.matter == Matter::Shell { grooves(lat) } else { (0.0, 0.0) };
            let normal = unit(add(normal, [0.0, 0.35 * groove, 0.0]));
            let base = times(base, (1.0 - 0.75 * pit) * (1.0 - 0.8 * seam) * (1.0 + 0.5 * fine));
            lit(base, normal, base.map(|c| 0.10 + 0.75 * c), 0.16)
        }
        Matter::Eye => {
            let look = match spec.look {
                SurfaceLook { surface: Surface::Facets, period_px: None, .. } => {
                    SurfaceLook { period_px: Some(FACET * unit_px), ..spec.look }
                }
                other => other,
            };
            let skin = surface::skin(&look, seed, lon * unit_px, lat * unit_px);
            let normal = unit(add(hit.normal, [skin.tilt[0], skin.tilt[1], 0.0]));
            // Only the facetted eye is mottled and banded besides.
            let (mottle, bands) = match look.surface {
                Surface::Facets => (0.25, 1.0),
                _ => (0.04, 0.35),
            };
            let wave =
                0.5 + 0.5 * (lat * 70.0 + 2.5 * cloud(seed ^ 0xe, 9.0 * lon, 9.0 * lat, 2)).sin();
            let pupil = 1.0 - 0.75 * (-((1.0 - facing) / 0.035).powi(2)).exp();
            let wave = 0.5 + bands * (wave - 0.5);
            let base = times(mixed(palette.eye[0], palette.eye[1], wave), pupil * skin.gain);
            let light = lit(
                times(base, 1.0 + mottle * fine),
                normal,
                times([0.11, 0.11, 0.12], skin.mirror),
                0.10,
            );
            add(light, [0.6 * skin.dot; 3])
        }
        Matter::Limb => {
            let ring = (lon * 520.0).sin() * 0.06;
            let normal = unit(add(hit.normal, [0.2 * fine + ring, 0.2 * fine, 0.0]));
            let base = times(palette.limb, 1.0 + 1.2 * fine + 0.8 * (1.0 - facing));
            lit(base, normal, [0.075, 0.07, 0.065], 0.22)
        }
        Matter::Stem => {
            let ridge = (lat * 330.0).sin();
            let long = cloud(seed ^ 0x57e, at_px.0 / (0.09 * unit_px), lat * 160.0, 4);
            let normal = unit(add(hit.normal, [0.10 * fine, 0.10 * ridge + 0.12 * fine, 0.0]));
            let gain = 1.0 + 0.45 * long + 0.35 * fine + 0.10 * ridge;
            let light = lit(times(palette.plant, gain), normal, [0.03, 0.03, 0.03], 0.45);
            // The body keeps the sky off the stem below it.
            let away = (at_px.0 / unit_px - 0.33) / 0.42;
            times(light, 1.0 - 0.5 * (-away * away).exp() * (0.6 - 0.4 * hit.local[1]))
        }
    }
}

/// Diffuse and mirrored light of soft box, sky and ground.
pub(super) fn lit(base: Vec3, normal: Vec3, mirror: Vec3, rough: f32) -> Vec3 {
    let key = unit(KEY);
    let direct = (dot(normal, key) + 0.25).max(0.0) / 1.25;
    let up = 0.5 - 0.5 * normal[1];
    let ambient = mixed([0.05, 0.07, 0.03], [0.30, 0.33, 0.37], up * up);
    // The view is along z.
    let k = 2.0 * normal[2];
    let reflected = add(times(normal, k), [0.0, 0.0, -1.0]);
    let off = [(reflected[0] - key[0]).abs() / 0.42, (reflected[1] - key[1]).abs() / 0.30];
    let edge = |t: f32| ((1.0 + rough - t) / (2.0 * rough)).clamp(0.0, 1.0);
    let facing_box = if reflected[2] > 0.0 { 1.0 } else { 0.3 };
    let box_light =
        KEY_MIRRORED * edge(off[0]) * edge(off[1]) * facing_box * (0.2 / (0.1 + rough)).min(1.0);
    let sky = 0.55 * (0.5 - 0.5 * reflected[1]).powi(2);
    let graze = (1.0 - normal[2].clamp(0.0, 1.0)).powi(4);
    let mut out = [0.0; 3];
    for c in 0..3 {
        let strength = mirror[c] + (0.6 - mirror[c]).max(0.0) * graze * 0.5;
        out[c] = base[c].max(0.0) * (0.95 * direct + ambient[c]) + strength * (box_light + sky);
    }
    out
}

fn mixed(a: Vec3, b: Vec3, t: f32) -> Vec3 {
    [a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t, a[2] + (b[2] - a[2]) * t]
}

/// Round pits on a jittered grid: tilt of the surface and darkness.
pub(super) fn pits(seed: u64, u: f32, v: f32) -> ([f32; 2], f32) {
    let (i0, j0) = (u.floor() as i32, v.floor() as i32);
    let (mut tilt, mut dark) = ([0.0, 0.0], 0.0f32);
    for j in j0 - 1..=j0 + 1 {
        for i in i0 - 1..=i0 + 1 {
            let x = i as f32 + 0.2 + 0.6 * lattice(seed ^ 0x91, i, j);
            let y = j as f32 + 0.2 + 0.6 * lattice(seed ^ 0x92, i, j);
            let radius = 0.22 + 0.16 * lattice(seed ^ 0x93, i, j);
            let (dx, dy) = ((u - x) / radius, (v - y) / radius);
            let square = dx * dx + dy * dy;
            if square < 1.0 {
                let depth = 1.0 - square;
                tilt = [-dx * depth, -dy * depth];
                dark = dark.max(depth);
            }
        }
    }
    (tilt, dark)
}

/// Lengthwise grooves of a wing case, and the seam where the two cases meet: tilt of the surface
/// and darkness. `lat` is the distance round the body, frame heights.
fn grooves(lat: f32) -> (f32, f32) {
    const SPACING: f32 = 0.034;
    const SEAM: f32 = -0.265;
    let phase = lat / SPACING - (lat / SPACING).round();
    let groove = phase * (-(phase / 0.16).powi(2)).exp() / 0.16;
    let seam = (-((lat - SEAM) / 0.004).powi(2)).exp();
    (groove, seam)
}

/// Six-sided facets one unit apart: tilt of the lens of the facet, and nearness to its rim.
pub(super) fn facets(u: f32, v: f32) -> ([f32; 2], f32) {
    const ROW: f32 = 0.866_025_4;
    let centre = |row: f32| {
        let shift = if row.rem_euclid(2.0) >= 1.0 { 0.5 } else { 0.0 };
        ((u - shift).round() + shift, row * ROW)
    };
    let row = (v / ROW).floor();
    let (a, b) = (centre(row), centre(row + 1.0));
    let square = |c: (f32, f32)| (u - c.0).powi(2) + (v - c.1).powi(2);
    let c = if square(a) < square(b) { a } else { b };
    let (dx, dy) = (u - c.0, v - c.1);
    // Distance to the nearest side, along the three directions of the sides.
    let side = dx.abs().max((0.5 * dx + ROW * dy).abs()).max((0.5 * dx - ROW * dy).abs());
    let rim = ((side - 0.36) / 0.14).clamp(0.0, 1.0);
    ([2.0 * dx, 2.0 * dy], rim * rim)
}
