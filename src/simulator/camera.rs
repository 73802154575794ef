//! Takes frames of a scene: where the lens looks, where it focuses, how it moves.

use rayon::prelude::*;

use crate::core::units::GREEN;
use crate::simulator::layer::Ladder;
use crate::simulator::optics::{SimulatedLens, otf_defocus, sinc};
use crate::simulator::scene::Scene;
use crate::simulator::spectrum::{SceneSpectrum, smooth_length};

/// Where one frame looks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pose {
    /// Place of the scene in the middle of the frame, px.
    pub centre_px: (f32, f32),
    /// Rotation, degrees.
    pub rotation_deg: f32,
    /// Pixels of the scene per pixel of the frame.
    pub scale: f32,
}

impl Pose {
    /// Straight at the middle of the scene.
    pub const STRAIGHT: Pose = Pose { centre_px: (0.0, 0.0), rotation_deg: 0.0, scale: 1.0 };

    /// The place of the scene at an offset from the middle of the frame.
    pub fn to_scene(&self, x_px: f32, y_px: f32) -> (f32, f32) {
        let (sin, cos) = self.rotation_deg.to_radians().sin_cos();
        (
            self.centre_px.0 + self.scale * (cos * x_px - sin * y_px),
            self.centre_px.1 + self.scale * (sin * x_px + cos * y_px),
        )
    }

    /// The offset from the middle of the frame at which a place of the scene is seen.
    pub fn to_frame(&self, u_px: f32, v_px: f32) -> (f32, f32) {
        let (sin, cos) = self.rotation_deg.to_radians().sin_cos();
        let (du, dv) = (u_px - self.centre_px.0, v_px - self.centre_px.1);
        ((cos * du + sin * dv) / self.scale, (cos * dv - sin * du) / self.scale)
    }
}

/// A straight, even movement of the picture during the exposure.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct HandMotion {
    /// Length, px.
    pub length_px: f64,
    /// Direction, degrees from the x axis towards y.
    pub angle_deg: f64,
    /// The whole frame moves (shake), or only the subject.
    pub whole_frame: bool,
    /// Share of the light that is smeared: 1, or the ambient share when a flash freezes the rest.
    pub share: f32,
}

/// Linear light of a frame, interleaved.
#[derive(Debug, Clone)]
pub struct LinearFrame {
    /// Width, px.
    pub width_px: usize,
    /// Height, px.
    pub height_px: usize,
    /// 1 or 3.
    pub channels: usize,
    /// Samples, 1 = the light of a white sheet.
    pub data: Vec<f32>,
}

/// Light let through below which nothing further back can change an 8-bit value.
const HIDDEN: f32 = 0.001;

/// Entries of the table of a defocus' transfer.
const DEFOCUS_TABLE: usize = 1 << 16;

/// A scene with its ladders for one lens, ready to be photographed.
pub struct Camera {
    ladders: Vec<Ladder>,
    lens: SimulatedLens,
    colour: bool,
}

impl Camera {
    /// Prepares frames focused between `nearest` and `farthest` (depth in px towards the lens).
    pub fn new(scene: Scene, lens: SimulatedLens, focus_range_px: (f32, f32)) -> Camera {
        let (f0, f1) = focus_range_px;
        let colour = scene.colour;
        let ladders = scene
            .layers
            .into_iter()
            .map(|layer| {
                let (z0, z1) = layer.depth.range();
                let most = (z1 - f0).abs().max((z0 - f1).abs());
                let least = if z0 > f1 {
                    z0 - f1
                } else if z1 < f0 {
                    f0 - z1
                } else {
                    0.0
                };
                let waves = |z_px: f32| waves_a_px(&lens) * z_px;
                Ladder::of(layer, &lens, waves(least), waves(most))
            })
            .collect();
        Camera { ladders, lens, colour }
    }

    /// The lens.
    pub fn lens(&self) -> &SimulatedLens {
        &self.lens
    }

    /// Light of a frame of the given size, without movement.
    pub fn expose(
        &self,
        pose: &Pose,
        focus_z_px: f32,
        width_px: usize,
        height_px: usize,
    ) -> LinearFrame {
        let channels = if self.colour { 3 } else { 1 };
        let k = waves_a_px(&self.lens);
        let mut data = vec![0.0; width_px * height_px * channels];
        data.par_chunks_exact_mut(width_px * channels).enumerate().for_each(|(y, row)| {
            let dy = y as f32 + 0.5 - height_px as f32 / 2.0;
            for (x, out) in row.chunks_exact_mut(channels).enumerate() {
                let dx = x as f32 + 0.5 - width_px as f32 / 2.0;
                let (u, v) = pose.to_scene(dx, dy);
                // Front first: what is hidden need not be looked at.
                let mut through = 1.0;
                for ladder in self.ladders.iter().rev() {
                    let w20 = k * (ladder.depth.at(u, v) - focus_z_px);
                    let light = ladder.at(u, v, w20);
                    for (o, l) in out.iter_mut().zip(light) {
                        *o += through * l;
                    }
                    if ladder.covers {
                        break;
                    }
                    through *= 1.0 - light[ladder.channels - 1];
                    if through < HIDDEN {
                        break;
                    }
                }
                for o in out {
                    *o = o.max(0.0);
                }
            }
        });
        LinearFrame { width_px, height_px, channels, data }
    }

    /// True blur sigma, px of the frame, of what is seen at an offset from the middle of the
    /// frame (the front sheet that covers it most), movement not counted.
    pub fn sigma_px(&self, pose: &Pose, focus_z_px: f32, x_px: f32, y_px: f32) -> f64 {
        let (u, v) = pose.to_scene(x_px, y_px);
        let k = waves_a_px(&self.lens);
        for ladder in self.ladders.iter().rev() {
            let w20 = k * (ladder.depth.at(u, v) - focus_z_px);
            if ladder.covers || ladder.at(u, v, w20)[ladder.channels - 1] > 0.5 {
                return self.lens.sigma_px(f64::from(w20)) / f64::from(pose.scale);
            }
        }
        self.lens.sigma_px(0.0) / f64::from(pose.scale)
    }
}

/// Waves of defocus per pixel of depth on the subject.
pub(super) fn waves_a_px(lens: &SimulatedLens) -> f32 {
    lens.w20(lens.object_um_per_px()) as f32
}

impl LinearFrame {
    /// The frame smeared evenly along a line; the margin of the frame is mirrored outwards.
    #[must_use]
    pub fn smeared(&self, length_px: f64, angle_deg: f64) -> LinearFrame {
        let (sin, cos) = angle_deg.to_radians().sin_cos();
        self.filtered(length_px.ceil() as usize + 4, |fx, fy| {
            let along = f64::from(fx) * cos + f64::from(fy) * sin;
            sinc(length_px * along) as f32
        })
    }

    /// The frame as a lens `w20` waves out of focus would have shown it, had it been perfectly
    /// sharp before: diffraction and defocus without the pixel box, which a frame has already.
    #[must_use]
    pub fn defocused(&self, lens: &SimulatedLens, w20: f64) -> LinearFrame {
        let disc_px = 8.0 * lens.n_eff * GREEN.0 * w20.abs() / lens.pitch_um;
        let cutoff = lens.cutoff_cy_px();
        // By squared frequency, fine enough that reading between entries costs nothing (1e-4).
        let table: Vec<f32> = (0..=DEFOCUS_TABLE)
            .map(|i| {
                let f = (0.5 * i as f64 / DEFOCUS_TABLE as f64).sqrt();
                otf_defocus(f / cutoff, w20) as f32
            })
            .collect();
        self.filtered(disc_px.ceil() as usize + 16, |fx, fy| {
            let at = 2.0 * (fx * fx + fy * fy) * DEFOCUS_TABLE as f32;
            let i = (at as usize).min(DEFOCUS_TABLE - 1);
            table[i] + (table[i + 1] - table[i]) * (at - i as f32)
        })
    }

    /// The frame with its frequencies (cycles per pixel, across and down) weighted; the margin of
    /// `pad` px is mirrored outwards.
    fn filtered(
        &self,
        pad: usize,
        transfer: impl Fn(f32, f32) -> f32 + Sync + Copy,
    ) -> LinearFrame {
        let (w, h, channels) = (self.width_px, self.height_px, self.channels);
        let (wide, high) = (smooth_length(w + 2 * pad, 2), smooth_length(h + 2 * pad, 2));
        let mirror = |i: usize, n: usize| {
            let k = i as isize - pad as isize;
            let k = if k < 0 { -1 - k } else { k };
            let k = if k >= n as isize { 2 * n as isize - 1 - k } else { k };
            k.clamp(0, n as isize - 1) as usize
        };
        let mut padded = vec![0.0; wide * high * channels];
        padded.par_chunks_exact_mut(wide * channels).enumerate().for_each(|(y, row)| {
            let from = &self.data[mirror(y, h) * w * channels..][..w * channels];
            for (x, out) in row.chunks_exact_mut(channels).enumerate() {
                let i = mirror(x, w) * channels;
                out.copy_from_slice(&from[i..i + channels]);
            }
        });
        let mut out = self.clone();
        for channel in (0..channels).step_by(2) {
            let spectrum = SceneSpectrum::of(&padded, channels, channel, wide, high);
            let (_, _, grid) = spectrum.filtered(1, transfer);
            for y in 0..h {
                for x in 0..w {
                    let value = grid[(y + pad) * wide + x + pad];
                    let at = (y * w + x) * channels + channel;
                    out.data[at] = value.re.max(0.0);
                    if channel + 1 < channels {
                        out.data[at + 1] = value.im.max(0.0);
                    }
                }
            }
        }
        out
    }

    /// Mixes another frame of the same size in, `share` of 0..1 at each place (offset from the
    /// frame's corner, px).
    pub fn mix(&mut self, other: &LinearFrame, share: impl Fn(f32, f32) -> f32 + Sync) {
        let (w, channels) = (self.width_px, self.channels);
        let rows = self.data.par_chunks_exact_mut(w * channels);
        rows.zip(other.data.par_chunks_exact(w * channels)).enumerate().for_each(
            |(y, (row, from))| {
                let pixels = row.chunks_exact_mut(channels).zip(from.chunks_exact(channels));
                for (x, (out, new)) in pixels.enumerate() {
                    let s = share(x as f32 + 0.5, y as f32 + 0.5);
                    if s > 0.0 {
                        for (o, n) in out.iter_mut().zip(new) {
                            *o += (n - *o) * s;
                        }
                    }
                }
            },
        );
    }
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use super::*;
    use crate::simulator::layer::DepthMap;
    use crate::simulator::scene::{Canvas, SceneKind, SceneSpec};

    /// A scene of vertical lines, `f_cy_px` a pixel, swing 0.4 about 0.5.
    fn lines(f_cy_px: f64) -> Scene {
        let spec = SceneSpec {
            kind: SceneKind::Edges,
            seed: 0,
            width_px: 256,
            height_px: 256,
            relief_px: 0.0,
            colour: false,
            look: crate::simulator::surface::SurfaceLook::USUAL,
        };
        let mut canvas = Canvas::new(&spec, 1.5, [0.0; 4]);
        let (w, step) = (canvas.width, f64::from(canvas.step_px));
        // The mean over a sample's own width.
        let swing = 0.4 * sinc(f_cy_px * step);
        for (at, p) in canvas.data.iter_mut().enumerate() {
            let u = ((at % w) as f64 + 0.5 - w as f64 / 2.0) * step;
            let v = (0.5 + swing * (TAU * f_cy_px * u).cos()) as f32;
            *p = [v, v, v, 1.0];
        }
        Scene {
            layers: vec![canvas.layer(false, true, DepthMap::uniform(0.0))],
            subject_px: (0.0, 0.0),
            subject_z_px: 0.0,
            subject_radius_px: 50.0,
            colour: false,
        }
    }

    /// The swing of the lines in a frame, by projection on the known phase under a Hann window.
    fn swing(frame: &LinearFrame, pose: &Pose, f_cy_px: f64) -> f64 {
        let n = frame.width_px as f64;
        let (mut re, mut im, mut total) = (0.0, 0.0, 0.0);
        for (at, v) in frame.data.iter().enumerate() {
            let (x, y) = ((at % frame.width_px) as f64 + 0.5, (at / frame.width_px) as f64 + 0.5);
            let window = (1.0 - (TAU * x / n).cos()) * (1.0 - (TAU * y / n).cos());
            let (u, _) = pose.to_scene((x - n / 2.0) as f32, (y - n / 2.0) as f32);
            let phase = TAU * f_cy_px * f64::from(u);
            re += window * (f64::from(*v) - 0.5) * phase.cos();
            im += window * (f64::from(*v) - 0.5) * phase.sin();
            total += window;
        }
        2.0 * f64::hypot(re, im) / total
    }

    // Lines of known frequency keep the share of their swing that facts 3.1 gives, with no pixel
    // box on top of the one they have.
    #[test]
    fn a_defocused_frame_carries_the_transfer_of_the_lens_alone() {
        let lens = SimulatedLens { n_eff: 16.0, magnification: 1.0, pitch_um: 5.5 };
        for (f, w20) in [(0.05, 0.0), (0.05, 0.8), (0.11, 0.3), (0.2, 0.0)] {
            let mut frame = LinearFrame {
                width_px: 256,
                height_px: 256,
                channels: 1,
                data: vec![0.0; 256 * 256],
            };
            for (at, v) in frame.data.iter_mut().enumerate() {
                let x = (at % 256) as f64 + 0.5 - 128.0;
                *v = (0.5 + 0.4 * (TAU * f * x).cos()) as f32;
            }
            let got = swing(&frame.defocused(&lens, w20), &Pose::STRAIGHT, f) / 0.4;
            let want = otf_defocus(f / lens.cutoff_cy_px(), w20).abs();
            assert!((got - want).abs() < 0.01, "f {f} w20 {w20}: {got}, {want}");
        }
    }

    // The whole path (drawing, ladder, cubic reading, rotation, scale) against the closed form of
    // facts 3.1 times the pixel box: no step of it may add blur of its own.
    #[test]
    fn frames_carry_the_transfer_they_should() {
        let pose = Pose { centre_px: (7.3, -4.1), rotation_deg: 2.3, scale: 1.008 };
        for (n_eff, pitch_um) in [(16.0, 5.5), (8.0, 6.0), (32.0, 4.4)] {
            let lens = SimulatedLens { n_eff, magnification: 1.0, pitch_um };
            for disc_sigma_px in [0.0, 0.6, 1.5, 3.0] {
                let dz_px =
                    (lens.dz_um_for_disc_sigma(disc_sigma_px) / lens.object_um_per_px()) as f32;
                let w20 = f64::from(waves_a_px(&lens) * dz_px);
                // Where the transfer is one half, and at a finer frequency.
                let half = crate::simulator::optics::GAUSS_HALF / lens.sigma_px(w20);
                for f in [half, 0.6 * half] {
                    let camera = Camera::new(lines(f), lens, (dz_px, dz_px));
                    let frame = camera.expose(&pose, dz_px, 256, 256);
                    let got = swing(&frame, &pose, f) / 0.4;
                    let want = lens.transfer(f, w20);
                    // 3 % of sigma is 4 % of the transfer where it is one half; mixing two steps
                    // of the ladder takes most of it.
                    assert!(
                        (got / want - 1.0).abs() < 0.04,
                        "N {n_eff} disc {disc_sigma_px} f {f}: {got}, {want}"
                    );
                }
            }
        }
    }
}
