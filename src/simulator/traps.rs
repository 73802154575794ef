//! Still frames that fool a plain measure of sharpness, each with a counterpart that does not.
//!
//! All are grey. Light first ([`LinearFrame`]), so that noise, exposure, sensor and JPEG can be
//! put on top; a few work on finished [`RenderedPicture`]s.

use crate::core::random::SplitMix64;
use crate::simulator::camera::{Camera, LinearFrame, Pose};
use crate::simulator::encode::RenderedPicture;
use crate::simulator::layer::DepthMap;
use crate::simulator::optics::SimulatedLens;
use crate::simulator::scene::{Canvas, Scene, SceneKind, SceneSpec};
use crate::simulator::skin::facets;
use crate::simulator::surface::SurfaceLook;
use crate::simulator::texture::{Outline, Rgba, Shape, cloud, paint};

/// Side of the frames, px.
pub const SIZE_PX: usize = 512;
/// The lens of the traps: nearly sharp to the pixel when in focus.
pub const LENS: SimulatedLens = SimulatedLens { n_eff: 8.0, magnification: 1.0, pitch_um: 6.0 };

fn spec(seed: u64) -> SceneSpec {
    SceneSpec {
        kind: SceneKind::Insect,
        seed,
        width_px: SIZE_PX,
        height_px: SIZE_PX,
        relief_px: 0.0,
        colour: false,
        look: SurfaceLook::USUAL,
    }
}

/// Depth, px on the subject, at which the disc of defocus has the diameter.
fn depth_px(disc_px: f64) -> f32 {
    (LENS.dz_um_for_disc_sigma(disc_px / 4.0) / LENS.object_um_per_px()) as f32
}

/// A sheet of eye facets of `pitch_px` with 1/f texture.
fn facet_canvas(seed: u64, pitch_px: f32) -> Canvas {
    // Fine facets need a finer drawing than its own pitch.
    let samples = (6.0 / pitch_px).clamp(1.5, 4.0);
    let mut canvas = Canvas::new(&spec(seed), samples, [0.0; 4]);
    let (w, step) = (canvas.width, canvas.step_px);
    for (at, p) in canvas.data.iter_mut().enumerate() {
        let (x, y) = ((at % w) as f32 * step, (at / w) as f32 * step);
        let (tilt, rim) = facets(x / pitch_px, y / pitch_px);
        let shade = 0.22 * (1.0 - 0.3 * (tilt[0] + tilt[1])) * (1.0 - 0.6 * rim);
        let v = shade * (0.8 * cloud(seed, x / 60.0, y / 60.0, 6)).exp();
        *p = [v, v, v, 1.0];
    }
    canvas
}

fn taken(layers: Vec<crate::simulator::layer::Layer>, focus_z_px: f32) -> LinearFrame {
    let scene = Scene {
        layers,
        subject_px: (0.0, 0.0),
        subject_z_px: 0.0,
        subject_radius_px: 64.0,
        colour: false,
    };
    Camera::new(scene, LENS, (focus_z_px, focus_z_px)).expose(
        &Pose::STRAIGHT,
        focus_z_px,
        SIZE_PX,
        SIZE_PX,
    )
}

/// Facets of `pitch_px` (9 is a usual eye, 1.6 is finer than the pixels) seen with a defocus disc
/// of `disc_px` diameter (0: in focus; 8: the soft frame of the traps).
pub fn eye(seed: u64, pitch_px: f32, disc_px: f64) -> LinearFrame {
    let layer = facet_canvas(seed, pitch_px).layer(false, true, DepthMap::uniform(0.0));
    taken(vec![layer], depth_px(disc_px))
}

/// An eye of 150 px radius before a leaf 8 px of blur disc behind it; one of the two is in
/// focus. The subject is in the middle.
pub fn eye_before_leaf(seed: u64, focus_on_leaf: bool) -> LinearFrame {
    const RADIUS_PX: f32 = 150.0;
    let behind = -depth_px(8.0);
    let mut front = facet_canvas(seed, 9.0);
    let (w, h, step) = (front.width as f32, front.height as f32, front.step_px);
    for (at, p) in front.data.iter_mut().enumerate() {
        let x = (at % w as usize) as f32 + 0.5 - w / 2.0;
        let y = (at / w as usize) as f32 + 0.5 - h / 2.0;
        let cover = (RADIUS_PX / step - x.hypot(y) + 0.5).clamp(0.0, 1.0);
        *p = p.map(|v| v * cover);
    }
    let leaf = crate::simulator::scene::flat_canvas(
        &SceneSpec { kind: SceneKind::DeadLeaves, ..spec(seed ^ 0x1eaf) },
        1.5,
    );
    let layers = vec![
        leaf.layer(false, true, DepthMap::uniform(behind)),
        front.layer(false, false, DepthMap::uniform(0.0)),
    ];
    taken(layers, if focus_on_leaf { behind } else { 0.0 })
}

/// A dome without texture, in focus, whose only edge is the mirror image of a diffuser.
pub fn smooth_eye() -> LinearFrame {
    let mut canvas = Canvas::new(&spec(0), 1.5, [0.0; 4]);
    let (w, h, step) = (canvas.width, canvas.height, canvas.step_px);
    for (at, p) in canvas.data.iter_mut().enumerate() {
        let x = ((at % w) as f32 - w as f32 / 2.0) * step;
        let y = ((at / w) as f32 - h as f32 / 2.0) * step;
        let dome = (1.0 - (x.hypot(y) / 420.0).powi(2)).max(0.0).sqrt();
        let inside = (40.0 - (x + 60.0).abs()).min(28.0 - (y + 70.0).abs());
        // The rim of a mirrored diffuser is soft: 6 px wide.
        let glare = 0.7 * (inside / 6.0 + 0.5).clamp(0.0, 1.0);
        let v = 0.04 + 0.10 * dome + glare;
        *p = [v, v, v, 1.0];
    }
    taken(vec![canvas.layer(false, true, DepthMap::uniform(0.0))], 0.0)
}

/// A frame shaken by `length_px` along x, and one defocused to the same variance (disc of
/// 4·L/√12): the pair that only direction tells apart.
pub fn shaken_and_defocused(seed: u64, length_px: f64) -> (LinearFrame, LinearFrame) {
    let shaken = eye(seed, 9.0, 0.0).smeared(length_px, 0.0);
    (shaken, eye(seed, 9.0, 4.0 * length_px / 12f64.sqrt()))
}

impl LinearFrame {
    /// Shapes drawn sharply over a grey frame, in px.
    fn with_shapes(mut self, shapes: &[Shape]) -> LinearFrame {
        let mut canvas: Vec<Rgba> = self.data.iter().map(|v| [*v, *v, *v, 1.0]).collect();
        paint(&mut canvas, self.width_px, shapes);
        for (v, p) in self.data.iter_mut().zip(&canvas) {
            *v = p[0];
        }
        self
    }

    fn shape(&self, rng: &mut SplitMix64, outline: Outline) -> Shape {
        Shape {
            outline,
            x: rng.between(0.05, 0.95) as f32 * self.width_px as f32,
            y: rng.between(0.05, 0.95) as f32 * self.height_px as f32,
            along: 1.0,
            across: 1.0,
            angle: rng.between(0.0, std::f64::consts::PI) as f32,
            colour: [0.0; 3],
            slope: 0.0,
        }
    }

    /// `count` clipped discs of 5 to 12 px radius: bright points far out of focus. Grey frames.
    #[must_use]
    pub fn with_discs(self, count: usize, seed: u64) -> LinearFrame {
        let mut rng = SplitMix64::new(seed);
        let shapes: Vec<Shape> = (0..count)
            .map(|_| {
                let shape = self.shape(&mut rng, Outline::Ellipse);
                let radius = rng.between(5.0, 12.0) as f32;
                Shape { along: radius, across: radius, colour: [4.0; 3], ..shape }
            })
            .collect();
        self.with_shapes(&shapes)
    }

    /// `count` sharp bright hairs of 2 px width through the middle. Grey frames.
    #[must_use]
    pub fn with_hairs(self, count: usize, seed: u64) -> LinearFrame {
        let mut rng = SplitMix64::new(seed);
        let half = self.width_px as f32 / 2.0;
        let shapes: Vec<Shape> = (0..count)
            .map(|_| {
                let shape = self.shape(&mut rng, Outline::Bar);
                let near = |v: f32| half + 0.3 * (v - half);
                Shape {
                    x: near(shape.x),
                    y: near(shape.y),
                    along: half,
                    across: 1.0,
                    colour: [0.8; 3],
                    ..shape
                }
            })
            .collect();
        self.with_shapes(&shapes)
    }

    /// `count` spots of dust on the sensor, 2 to 5 px, hard-edged, always in the same places for
    /// a seed. Grey frames.
    #[must_use]
    pub fn with_dust(self, count: usize, seed: u64) -> LinearFrame {
        let mut rng = SplitMix64::new(seed);
        let shapes: Vec<Shape> = (0..count)
            .map(|_| {
                let shape = self.shape(&mut rng, Outline::Ellipse);
                let radius = rng.between(2.0, 5.0) as f32;
                Shape { along: radius, across: radius, colour: [0.02; 3], ..shape }
            })
            .collect();
        self.with_shapes(&shapes)
    }

    /// Contrast about the mean times `gain`.
    #[must_use]
    pub fn with_contrast(mut self, gain: f32) -> LinearFrame {
        let mean = self.data.iter().sum::<f32>() / self.data.len().max(1) as f32;
        for v in &mut self.data {
            *v = (mean + gain * (*v - mean)).max(0.0);
        }
        self
    }

    /// Flash and ambient light: `share` of the light smeared by `length_px` along `angle_deg`,
    /// the rest frozen.
    #[must_use]
    pub fn ghosted(mut self, share: f32, length_px: f64, angle_deg: f64) -> LinearFrame {
        let smeared = self.smeared(length_px, angle_deg);
        self.mix(&smeared, |_, _| share);
        self
    }

    /// Only a round patch moves, as a leg or a head does.
    #[must_use]
    pub fn with_moving_patch(
        mut self,
        centre_px: (f32, f32),
        radius_px: f32,
        length_px: f64,
        angle_deg: f64,
    ) -> LinearFrame {
        let smeared = self.smeared(length_px, angle_deg);
        self.mix(&smeared, |x, y| {
            let out = (x - centre_px.0).hypot(y - centre_px.1) - radius_px;
            (0.5 - out / 12.0).clamp(0.0, 1.0)
        });
        self
    }
}

impl RenderedPicture {
    /// Unsharp mask: Gaussian of `sigma_px`, `amount` times the difference (1 = 100 %).
    #[must_use]
    pub fn sharpened(&self, sigma_px: f32, amount: f32) -> RenderedPicture {
        let mut rgb: Vec<f32> = self.rgb().iter().map(|v| f32::from(*v)).collect();
        crate::simulator::sensor::sharpen(
            &mut rgb,
            self.width_px,
            self.height_px,
            sigma_px,
            amount,
        );
        let data = rgb
            .chunks_exact(3)
            .flat_map(|p| p[..self.channels].iter())
            .map(|v| v.round().clamp(0.0, 255.0) as u8)
            .collect();
        RenderedPicture { data, ..*self }
    }

    /// Values through a power: `gamma` over 1 brightens the middle.
    #[must_use]
    pub fn with_gamma(&self, gamma: f32) -> RenderedPicture {
        let map = |v: &u8| (255.0 * (f32::from(*v) / 255.0).powf(1.0 / gamma)).round() as u8;
        RenderedPicture { data: self.data.iter().map(map).collect(), ..*self }
    }

    /// A copy of half the size, each pixel the mean of four.
    #[must_use]
    pub fn halved(&self) -> RenderedPicture {
        let (w, h, c) = (self.width_px / 2, self.height_px / 2, self.channels);
        let mut data = Vec::with_capacity(w * h * c);
        for y in 0..h {
            for x in 0..w {
                for k in 0..c {
                    let at = |dx: usize, dy: usize| {
                        u32::from(self.data[((2 * y + dy) * self.width_px + 2 * x + dx) * c + k])
                    };
                    data.push(((at(0, 0) + at(1, 0) + at(0, 1) + at(1, 1) + 2) / 4) as u8);
                }
            }
        }
        RenderedPicture { width_px: w, height_px: h, channels: c, data }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulator::encode::encoded;

    /// Variance of the plain 4-neighbour Laplacian in a box, the score the traps fool.
    fn plain_score(light: &LinearFrame, noise_dn: f64, inset: usize) -> f64 {
        let p = encoded(light, 1.0, noise_dn, 3);
        let (w, h) = (p.width_px, p.height_px);
        let at = |x: usize, y: usize| f64::from(p.data[y * w + x]);
        let (mut sum, mut n) = (0.0, 0.0);
        for y in inset..h - inset {
            for x in inset..w - inset {
                let l = at(x - 1, y) + at(x + 1, y) + at(x, y - 1) + at(x, y + 1) - 4.0 * at(x, y);
                sum += l * l;
                n += 1.0;
            }
        }
        sum / n
    }

    // How much a trap fools a plain measure depends on the scene; each row here asks only that the plain
    // score is fooled in the stated direction.
    #[test]
    fn the_plain_score_is_fooled() {
        let (sharp, soft) = (eye(1, 9.0, 0.0), eye(1, 9.0, 8.0));
        let (good, bad) = (plain_score(&sharp, 0.0, 1), plain_score(&soft, 0.0, 1));
        assert!(good > 8.0 * bad, "{good} {bad}");
        assert!(plain_score(&soft, 4.0, 1) > 5.0 * bad);
        assert!(plain_score(&soft.clone().with_discs(25, 2), 0.0, 1) > 5.0 * bad);
        assert!(plain_score(&soft.clone().with_hairs(6, 2), 0.0, 1) > 5.0 * bad);
        assert!(plain_score(&soft.with_dust(15, 2), 0.0, 1) > 1.3 * bad);
        let (on_eye, on_leaf) = (eye_before_leaf(1, false), eye_before_leaf(1, true));
        assert!(plain_score(&on_leaf, 0.0, 1) > 1.5 * plain_score(&on_eye, 0.0, 1));
        assert!(plain_score(&on_leaf, 0.0, 180) < 0.3 * plain_score(&on_eye, 0.0, 180));
    }

    // Half-transfer frequency of a linear motion: sinc(L·f) = 1/2 at f·L = 0.603355 (facts M12).
    #[test]
    fn a_smear_has_the_length_asked_for() {
        let f = 0.603_355 / 8.0;
        let grating = LinearFrame {
            width_px: 512,
            height_px: 64,
            channels: 1,
            data: (0..512 * 64)
                .map(|i| 0.5 + 0.4 * (std::f64::consts::TAU * f * f64::from(i % 512)).sin() as f32)
                .collect(),
        };
        let swing = |l: &LinearFrame| {
            let row = &l.data[32 * 512 + 60..32 * 512 + 452];
            let mean = row.iter().sum::<f32>() / row.len() as f32;
            (row.iter().map(|v| (v - mean).powi(2)).sum::<f32>() / row.len() as f32).sqrt()
        };
        let along = swing(&grating.smeared(8.0, 0.0)) / swing(&grating);
        let across = swing(&grating.smeared(8.0, 90.0)) / swing(&grating);
        approx::assert_abs_diff_eq!(along, 0.5, epsilon = 0.01);
        approx::assert_abs_diff_eq!(across, 1.0, epsilon = 0.01);
    }

    #[test]
    fn fine_facets_alias_and_smooth_eyes_do_not_score() {
        // Finer than the pixels and yet a pattern is recorded.
        let fine = plain_score(&eye(1, 1.6, 0.0), 0.0, 1);
        let none = plain_score(&smooth_eye(), 0.0, 300.min(SIZE_PX / 2 - 40));
        assert!(fine > 4.0 * none, "{fine} {none}");
    }
}
