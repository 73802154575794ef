//! The creature: a small hard-shelled animal on a stem, made of ellipsoids, with facetted eyes,
//! pits, hairs and a distant background.

use rayon::prelude::*;

use crate::core::random::SplitMix64;
use crate::simulator::layer::{DepthMap, Layer};
use crate::simulator::pose::{place, subject_point};
use crate::simulator::scene::{Canvas, SAMPLES_A_PX, Scene, SceneSpec};
use crate::simulator::skin::{Palette, creature_px, shaded};
use crate::simulator::solid::{Hit, Matter, Solid, Vec3, add, times, unit};
use crate::simulator::surface::Surface;
use crate::simulator::texture::{Outline, Rgba, Shape, cloud, lattice, paint};

/// Samples a pixel of the far background, which is never sharp.
const FAR_SAMPLES_A_PX: f32 = 0.25;
/// Samples a pixel of the leaf behind the creature.
const MID_SAMPLES_A_PX: f32 = 0.5;
/// Pixels between samples of the creature's depth.
const DEPTH_STEP_PX: usize = 2;
/// Nothing seen.
const NOWHERE: f32 = f32::MIN;

/// Makes the scene.
pub(super) fn make(spec: &SceneSpec) -> Scene {
    let mut rng = SplitMix64::new(spec.seed);
    let palette = Palette::drawn(&mut rng);
    // One unit of the plan below is the height of the frame, for a creature of the usual size.
    let unit_px = creature_px(spec);
    let mut solids = plan(&mut rng, unit_px);
    if let Some(placing) = &spec.look.placing {
        place(&mut solids, placing, spec);
    }
    let mut canvas = Canvas::new(spec, SAMPLES_A_PX, [0.0; 4]);
    let mut depth = vec![NOWHERE; canvas.data.len()];
    render(&mut canvas, &mut depth, &solids, &palette, spec);
    let hairs = hairs(&mut rng, &solids, unit_px, spec.look.surface == Surface::Hairs);
    draw_hairs(&mut canvas, &mut depth, &hairs, &palette);
    // Half of them look the other way.
    let drawn = rng.uniform() < 0.5;
    let mirrored = spec.look.placing.map_or(drawn, |p| p.mirrored);
    if mirrored {
        let w = canvas.width;
        canvas.data.par_chunks_exact_mut(w).for_each(<[Rgba]>::reverse);
        depth.par_chunks_exact_mut(w).for_each(<[f32]>::reverse);
    }
    let map = filled_depth(&canvas, &depth);
    let eye = solids.iter().find(|s| s.matter == Matter::Eye);
    let subject_px = eye.map_or((0.0, 0.0), |e| {
        let place = subject_point(e);
        (if mirrored { -place[0] } else { place[0] }, place[1])
    });
    // Depth of what is seen there; hairs that stand on a placed eye do not count.
    let bare = || {
        let seen: Vec<&Solid> = solids.iter().collect();
        let x = if mirrored { -subject_px.0 } else { subject_px.0 };
        nearest(&seen, x, subject_px.1).map(|(hit, _)| hit.z)
    };
    let subject_z_px = spec
        .look
        .placing
        .and_then(|_| bare())
        .unwrap_or_else(|| map.at(subject_px.0, subject_px.1));
    let radius = eye.map_or(0.05 * unit_px, |e| 0.8 * e.radii()[0].min(e.radii()[1]));
    let layers = vec![
        background(spec, &mut rng, &palette),
        leaf(spec, &mut rng, &palette),
        canvas.layer(spec.colour, false, map),
    ];
    Scene { layers, subject_px, subject_z_px, subject_radius_px: radius, colour: spec.colour }
}

/// Bodies, in px, from a plan in frame heights.
pub(super) fn plan(rng: &mut SplitMix64, unit_px: f32) -> Vec<Solid> {
    let mut solids = Vec::new();
    let at = |p: Vec3| times(p, unit_px);
    let mut put = |centre: Vec3, axis: Vec3, radii: Vec3, matter: Matter| {
        solids.push(Solid::new(at(centre), axis, at(radii), matter));
    };
    let mut wobble = |k: f64| (k * rng.normal()) as f32;
    // Eye first: it is the subject.
    let head = [-0.10 + wobble(0.01), 0.02 + wobble(0.01), 0.06];
    put(add(head, [0.005, -0.02, 0.085]), [1.0, 0.25, -0.35], [0.085, 0.105, 0.06], Matter::Eye);
    put(add(head, [-0.125, -0.02, -0.01]), [0.3, 0.1, 1.0], [0.07, 0.095, 0.045], Matter::Eye);
    put(head, [1.0, -0.1, -0.3], [0.15, 0.135, 0.125], Matter::Pitted);
    put(add(head, [-0.10, 0.075, 0.03]), [1.0, -0.5, 0.0], [0.075, 0.06, 0.08], Matter::Pitted);
    put([0.17, -0.01, -0.06], [1.0, -0.05, -0.35], [0.19, 0.19, 0.2], Matter::Pitted);
    put([0.56, 0.0, -0.26], [1.0, 0.06, -0.4], [0.43, 0.25, 0.26], Matter::Shell);
    let mut limb = |joints: &[Vec3], thick: &[f32]| {
        for (pair, r) in joints.windows(2).zip(thick) {
            solids.push(Solid::between(at(pair[0]), at(pair[1]), r * unit_px, Matter::Limb));
        }
    };
    // Jaws.
    let jaw = add(head, [-0.15, 0.13, 0.06]);
    limb(&[add(head, [-0.10, 0.10, 0.08]), jaw, add(jaw, [0.0, 0.045, 0.02])], &[0.026, 0.017]);
    limb(
        &[
            add(head, [-0.14, 0.10, 0.0]),
            add(jaw, [-0.035, 0.0, -0.08]),
            add(jaw, [-0.02, 0.05, -0.09]),
        ],
        &[0.024, 0.015],
    );
    // Legs: hip, knee, ankle, then a jointed foot on the stem.
    for (hip_x, knee_x, foot_x, z) in
        [(0.05, -0.08, -0.17, 0.06), (0.25, 0.30, 0.17, 0.04), (0.50, 0.66, 0.52, 0.0)]
    {
        let (jx, jz) = (wobble(0.012), wobble(0.01));
        let hip = [hip_x, 0.13, z - 0.02];
        let knee = [knee_x + jx, 0.10 + 0.3 * jx, z + 0.13 + jz];
        let ankle = [foot_x + jx, 0.285, z + 0.10 + jz];
        limb(&[hip, knee, ankle], &[0.034, 0.021]);
        let step = if foot_x < 0.0 { -0.034 } else { 0.032 };
        let foot: Vec<Vec3> = (0..4)
            .map(|k| {
                add(ankle, [step * k as f32, 0.006 * (k * k) as f32 + 0.008 * k as f32, -0.01])
            })
            .collect();
        limb(&foot, &[0.013, 0.012, 0.011]);
    }
    // Feelers: beaded and curved, thicker at the end.
    for (root, towards, bend) in [
        ([-0.12, -0.05, 0.1], [-0.036, -0.044, 0.006], [0.0011, 0.0030, 0.0]),
        ([-0.16, -0.04, 0.02], [-0.052, -0.026, -0.012], [0.0018, 0.0012, 0.0]),
    ] {
        let mut joint = add(root, add(head, [0.10, -0.02, -0.06]));
        let mut step = add(towards, [wobble(0.004), wobble(0.004), 0.0]);
        for k in 0..11 {
            let next = add(joint, step);
            let radius = if k == 0 { 0.019 } else { 0.0105 + 0.0012 * (k as f32 - 4.0).max(0.0) };
            limb(&[joint, next], &[radius]);
            joint = next;
            step = add(step, bend);
        }
    }
    let centre = [0.1, 0.40 + wobble(0.005), 0.02];
    put_stem(&mut solids, at(centre), unit_px);
    solids
}

fn put_stem(solids: &mut Vec<Solid>, centre: Vec3, unit_px: f32) {
    solids.push(Solid::new(
        centre,
        [1.0, -0.035, -0.1],
        times([9.0, 0.085, 0.085], unit_px),
        Matter::Stem,
    ));
}

/// Renders the solids: outlines with four looks a sample, shading once a solid.
fn render(
    canvas: &mut Canvas,
    depth: &mut [f32],
    solids: &[Solid],
    palette: &Palette,
    spec: &SceneSpec,
) {
    const SUB: [(f32, f32); 4] = [(0.125, 0.375), (0.625, 0.125), (0.375, 0.875), (0.875, 0.625)];
    let (w, h, step) = (canvas.width, canvas.height, canvas.step_px);
    let rows = canvas.data.par_chunks_exact_mut(w).zip(depth.par_chunks_exact_mut(w));
    rows.enumerate().for_each(|(j, (row, zs))| {
        let top = (j as f32 - h as f32 / 2.0) * step;
        let near: Vec<&Solid> =
            solids.iter().filter(|s| s.rows().0 <= top + step && s.rows().1 >= top).collect();
        for (i, (pixel, z)) in row.iter_mut().zip(zs).enumerate() {
            let left = (i as f32 - w as f32 / 2.0) * step;
            // Each solid that is seen in this sample, once, and how often.
            let mut seen: [Option<(Hit, &Solid, f32)>; 4] = [None; 4];
            for (dx, dy) in SUB {
                let (x, y) = (left + dx * step, top + dy * step);
                let Some((hit, solid)) = nearest(&near, x, y) else { continue };
                *z = z.max(hit.z);
                for slot in &mut seen {
                    match slot {
                        Some((_, known, share)) if std::ptr::eq(*known, solid) => *share += 0.25,
                        Some(_) => continue,
                        None => *slot = Some((hit, solid, 0.25)),
                    }
                    break;
                }
            }
            for (hit, solid, share) in seen.iter().flatten() {
                let at = (left + 0.5 * step, top + 0.5 * step);
                let light = shaded(hit, solid, at, palette, spec);
                for c in 0..3 {
                    pixel[c] += share * light[c];
                }
                pixel[3] += share;
            }
        }
    });
}

/// The solid in front at x, y.
pub(super) fn nearest<'a>(solids: &[&'a Solid], x: f32, y: f32) -> Option<(Hit, &'a Solid)> {
    let mut best: Option<(Hit, &Solid)> = None;
    for solid in solids {
        let (x0, x1) = solid.columns();
        if x < x0 || x > x1 {
            continue;
        }
        if let Some(hit) = solid.hit(x, y)
            && best.as_ref().is_none_or(|(b, _)| hit.z > b.z)
        {
            best = Some((hit, solid));
        }
    }
    best
}

/// A hair: a tapering curve.
struct Hair {
    root: Vec3,
    tip: Vec3,
    bend: Vec3,
    radius_px: f32,
    light: f32,
}

/// Hairs stand on the body and the limbs, leaning backwards.
fn hairs(rng: &mut SplitMix64, solids: &[Solid], unit_px: f32, on_eyes: bool) -> Vec<Hair> {
    let mut hairs = Vec::new();
    for solid in solids {
        let (count, length) = match solid.matter {
            Matter::Pitted => (240, 0.055),
            Matter::Shell => (160, 0.03),
            Matter::Limb => (16, 0.022),
            Matter::Stem => (420, 0.03),
            Matter::Eye if on_eyes => (900, 0.035),
            Matter::Eye => continue,
        };
        for _ in 0..count {
            let mut local = unit([rng.normal(), rng.normal(), rng.normal()].map(|v| v as f32));
            if solid.matter == Matter::Stem {
                // Only the part that can be seen.
                let angle = rng.between(0.0, std::f64::consts::TAU) as f32;
                local = [rng.between(-0.13, 0.13) as f32, angle.sin(), angle.cos()];
            }
            let (root, normal) = solid.surface(local);
            if normal[2] < -0.25 {
                continue;
            }
            let length = length * unit_px * rng.between(0.5, 1.3) as f32;
            let jitter = [rng.normal(), rng.normal(), rng.normal()].map(|v| 0.25 * v as f32);
            let lean = unit(add(add(normal, [0.45, -0.1, 0.0]), jitter));
            hairs.push(Hair {
                root,
                tip: add(root, times(lean, length)),
                bend: times([0.2, 0.1, 0.0], length),
                radius_px: rng.between(0.5, 1.1) as f32 * unit_px / 900.0,
                light: rng.between(0.35, 1.0) as f32,
            });
        }
    }
    // Far ones first.
    hairs.sort_by(|a, b| a.root[2].total_cmp(&b.root[2]));
    hairs
}

/// Draws hairs where nothing nearer hides their roots.
fn draw_hairs(canvas: &mut Canvas, depth: &mut [f32], hairs: &[Hair], palette: &Palette) {
    let solid_depth = depth.to_vec();
    let (w, h) = (canvas.width, canvas.height);
    for hair in hairs {
        let (rx, ry) = canvas.place(hair.root[0], hair.root[1]);
        if rx < 2.0 || ry < 2.0 || rx > w as f32 - 3.0 || ry > h as f32 - 3.0 {
            continue;
        }
        let hidden_by = solid_depth[ry as usize * w + rx as usize];
        if hidden_by > hair.root[2] + 6.0 {
            continue;
        }
        let length = {
            let d = add(hair.tip, times(hair.root, -1.0));
            (d[0].hypot(d[1]) / canvas.step_px).max(1.0)
        };
        let steps = (length * 1.5).ceil() as usize;
        for k in 0..=steps {
            let t = k as f32 / steps as f32;
            let mut place = add(times(hair.root, 1.0 - t), times(hair.tip, t));
            place = add(place, times(hair.bend, t * t));
            let radius = hair.radius_px * (1.0 - 0.8 * t) / canvas.step_px;
            let shade = hair.light * (0.45 + 0.55 * t);
            dab(canvas, depth, place, radius, times(palette.hair, shade));
        }
    }
}

/// One round dab of a hair, kept as the greatest coverage at each sample.
fn dab(canvas: &mut Canvas, depth: &mut [f32], place: Vec3, radius: f32, colour: Vec3) {
    let (x, y) = canvas.place(place[0], place[1]);
    let reach = radius + 1.0;
    let (w, h) = (canvas.width as f32, canvas.height as f32);
    if x - reach < 0.0 || y - reach < 0.0 || x + reach >= w || y + reach >= h {
        return;
    }
    for j in (y - reach) as usize..=(y + reach) as usize {
        for i in (x - reach) as usize..=(x + reach) as usize {
            let distance = (i as f32 + 0.5 - x).hypot(j as f32 + 0.5 - y);
            // Dabs overlap about three times along the hair.
            let cover = (radius + 0.5 - distance).clamp(0.0, 1.0).min(2.0 * radius) * 0.6;
            if cover <= 0.0 {
                continue;
            }
            let at = j * canvas.width + i;
            let pixel = &mut canvas.data[at];
            for c in 0..3 {
                pixel[c] += (colour[c] - pixel[c]) * cover;
            }
            pixel[3] += (1.0 - pixel[3]) * cover;
            if cover > 0.3 {
                depth[at] = depth[at].max(place[2]);
            }
        }
    }
}

/// Depth on a coarser grid, continued outwards from the silhouette so that the blur beyond it
/// follows what casts it.
fn filled_depth(canvas: &Canvas, depth: &[f32]) -> DepthMap {
    let take = (DEPTH_STEP_PX as f32 / canvas.step_px).round() as usize;
    let (w, h) = (canvas.width / take, canvas.height / take);
    let mut sums: Vec<(f32, f32)> = vec![(0.0, 0.0); w * h];
    sums.par_chunks_exact_mut(w).enumerate().for_each(|(j, row)| {
        for (i, sum) in row.iter_mut().enumerate() {
            for y in j * take..(j + 1) * take {
                for x in i * take..(i + 1) * take {
                    let z = depth[y * canvas.width + x];
                    if z > NOWHERE {
                        sum.0 += z;
                        sum.1 += 1.0;
                    }
                }
            }
        }
    });
    let z_px = continued(&sums, w, h);
    // The grid of the map is centred on the scene; the few samples cut at the end shift it by
    // less than one step.
    DepthMap::from_samples(w, h, take as f32 * canvas.step_px, z_px)
}

/// Weighted means on ever coarser grids fill what is empty (push and pull).
fn continued(sums: &[(f32, f32)], w: usize, h: usize) -> Vec<f32> {
    if w <= 1 || h <= 1 {
        let total = sums.iter().fold((0.0, 0.0), |a, s| (a.0 + s.0, a.1 + s.1));
        return vec![if total.1 > 0.0 { total.0 / total.1 } else { 0.0 }; w * h];
    }
    let (w2, h2) = (w.div_ceil(2), h.div_ceil(2));
    let mut coarse = vec![(0.0f32, 0.0f32); w2 * h2];
    for y in 0..h {
        for x in 0..w {
            let (sum, weight) = sums[y * w + x];
            let out = &mut coarse[(y / 2) * w2 + x / 2];
            // Weights saturate, so that a full cell counts like a sparse one further up.
            let k = if weight > 0.0 { weight.min(1.0) / weight } else { 0.0 };
            out.0 += sum * k;
            out.1 += weight * k;
        }
    }
    let filled = continued(&coarse, w2, h2);
    let read = |x: f32, y: f32| {
        let (x, y) = (x.clamp(0.0, (w2 - 1) as f32), y.clamp(0.0, (h2 - 1) as f32));
        let (i, j) = (x as usize, y as usize);
        let (i1, j1) = ((i + 1).min(w2 - 1), (j + 1).min(h2 - 1));
        let (fx, fy) = (x - i as f32, y - j as f32);
        let top = filled[j * w2 + i] * (1.0 - fx) + filled[j * w2 + i1] * fx;
        let bottom = filled[j1 * w2 + i] * (1.0 - fx) + filled[j1 * w2 + i1] * fx;
        top * (1.0 - fy) + bottom * fy
    };
    let mut out = vec![0.0; w * h];
    for y in 0..h {
        for x in 0..w {
            let (sum, weight) = sums[y * w + x];
            out[y * w + x] = if weight > 0.0 {
                sum / weight
            } else {
                read((x as f32 - 0.5) / 2.0, (y as f32 - 0.5) / 2.0)
            };
        }
    }
    out
}

/// Far away: soft light and shade, a few small lights that become discs.
fn background(spec: &SceneSpec, rng: &mut SplitMix64, palette: &Palette) -> Layer {
    let mut canvas = Canvas::new(spec, FAR_SAMPLES_A_PX, [0.0; 4]);
    let (w, step) = (canvas.width, canvas.step_px);
    let height_px = spec.height_px as f32;
    let seed = spec.seed ^ 0xbac9;
    canvas.data.par_chunks_exact_mut(w).enumerate().for_each(|(j, row)| {
        for (i, p) in row.iter_mut().enumerate() {
            let (x, y) = (i as f32 * step / height_px, j as f32 * step / height_px);
            let slow = 0.5 + 0.9 * cloud(seed, 1.3 * x, 1.3 * y, 2);
            let fast = (1.2 * cloud(seed + 9, 7.0 * x, 5.0 * y, 3)).exp();
            let warm = (1.2 - y + 0.5 * cloud(seed + 5, 0.9 * x, 0.9 * y, 1)).clamp(0.0, 1.4);
            for ((out, dark), bright) in p.iter_mut().zip(palette.far[0]).zip(palette.far[1]) {
                let base = dark + (bright - dark) * slow;
                *out = base.max(0.004) * fast * (0.35 + 0.75 * warm);
            }
            p[3] = 1.0;
        }
    });
    let lights: Vec<Shape> = (0..34)
        .map(|_| {
            let power = rng.between(1.5, 9.0) as f32;
            let radius = rng.between(1.0, 2.6) as f32;
            Shape {
                outline: Outline::Ellipse,
                x: rng.between(0.0, canvas.width as f64) as f32,
                y: (rng.uniform().powf(1.6) * canvas.height as f64) as f32,
                along: radius,
                across: radius,
                angle: 0.0,
                colour: palette.glint.map(|c| c * power),
                slope: 0.0,
            }
        })
        .collect();
    paint(&mut canvas.data, w, &lights);
    canvas.layer(spec.colour, true, DepthMap::uniform(-3.0 * height_px))
}

/// A leaf some way behind the creature.
fn leaf(spec: &SceneSpec, rng: &mut SplitMix64, palette: &Palette) -> Layer {
    let mut canvas = Canvas::new(spec, MID_SAMPLES_A_PX, [0.0; 4]);
    let (w, h, step) = (canvas.width, canvas.height, canvas.step_px);
    let height_px = spec.height_px as f32;
    let side = if rng.uniform() < 0.5 { 1.0 } else { -1.0 };
    let angle = side * rng.between(-0.9, -0.4) as f32;
    let (sin, cos) = angle.sin_cos();
    let middle = (side * 0.62 * height_px, -0.30 * height_px);
    let (half, wide) = (0.75 * height_px, 0.2 * height_px);
    let seed = spec.seed ^ 0x1eaf;
    canvas.data.par_chunks_exact_mut(w).enumerate().for_each(|(j, row)| {
        let y = (j as f32 + 0.5 - h as f32 / 2.0) * step - middle.1;
        for (i, p) in row.iter_mut().enumerate() {
            let x = (i as f32 + 0.5 - w as f32 / 2.0) * step - middle.0;
            let (along, across) = (x * cos + y * sin, y * cos - x * sin);
            let t = along / half;
            let edge = wide * (1.0 - t * t).max(0.0).powf(0.8);
            let cover = ((edge - across.abs()) / step + 0.5).clamp(0.0, 1.0);
            if cover <= 0.0 || t.abs() >= 1.0 {
                continue;
            }
            *p = leaf_light(seed, along, across, height_px, palette, cover);
        }
    });
    let slope = -0.25;
    let z0 = -0.95 * height_px;
    let cells = |n: usize| (n as f32 * step / 8.0).ceil() as usize;
    let depth = DepthMap::from_fn(cells(w), cells(h), 8.0, |u, _| z0 + slope * u);
    canvas.layer(spec.colour, false, depth)
}

/// Light of a leaf: midrib, side veins, mottling.
fn leaf_light(
    seed: u64,
    along: f32,
    across: f32,
    unit_px: f32,
    palette: &Palette,
    cover: f32,
) -> Rgba {
    let rib = (-(across / (0.006 * unit_px)).powi(2)).exp();
    let phase = (along - 0.8 * across.abs()) / (0.07 * unit_px);
    let vein = (1.0 - (phase - phase.round()).abs() * 9.0).max(0.0);
    let mottle = cloud(seed, along / (0.05 * unit_px), across / (0.05 * unit_px), 4);
    let speck = lattice(seed + 3, (along / 6.0) as i32, (across / 6.0) as i32) - 0.5;
    let gain = (1.0 + 0.35 * mottle + 0.1 * speck) * (1.0 + 0.7 * rib + 0.25 * vein);
    let light = palette.plant.map(|c| 0.9 * c * gain.max(0.1) * cover);
    [light[0], light[1], light[2], cover]
}
