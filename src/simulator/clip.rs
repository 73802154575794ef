//! Clips with known truth: a hand that sways and shakes, a focus plane that drifts through the
//! subject, noise, and a codec (ffmpeg's) on top.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use crate::core::random::SplitMix64;
use crate::error::{Error, Result};
use crate::simulator::burst::{BurstSpec, SimulatedBurst, SimulatedShot, Truth};
use crate::simulator::camera::{HandMotion, Pose};
use crate::simulator::optics::SimulatedLens;
use crate::simulator::scene::{Scene, SceneKind, SceneSpec};
use crate::simulator::sensor::SimulatedSensor;
use crate::simulator::surface::SurfaceLook;

/// A smear shorter than this is not drawn, px: it adds less than a tenth of a px to any blur.
const MIN_SMEAR_PX: f64 = 0.8;

/// What to simulate. Distances in px are pixels of the clip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClipSpec {
    /// Seed of everything.
    pub seed: u64,
    /// What is filmed.
    pub kind: SceneKind,
    /// Width, px.
    pub width_px: usize,
    /// Height, px.
    pub height_px: usize,
    /// Frames a second.
    pub fps: f64,
    /// How many frames.
    pub frames: usize,
    /// The lens.
    pub lens: SimulatedLens,
    /// Exposure of a frame, s.
    pub shutter_s: f64,
    /// Amplitude of the shake, px.
    pub shake_px: f64,
    /// Its frequency, Hz.
    pub shake_hz: f64,
    /// Slow drift, px a second, along x and y.
    pub drift_px_s: (f64, f64),
    /// Growth of the defocus disc's sigma as the focus plane drifts, px a second.
    pub defocus_px_s: f64,
    /// When the plane is at the subject, s.
    pub in_focus_at_s: f64,
    /// Noise after the tone curve, 8-bit steps.
    pub noise_dn: f64,
    /// Three colours, or luma only.
    pub colour: bool,
}

/// How a clip is coded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Coding {
    /// H.265 instead of H.264.
    pub h265: bool,
    /// Bit rate, kbit/s.
    pub kbit_s: u32,
}

/// Noise in 8-bit steps at mid grey of a sensor at an ISO, through the slope of the sRGB curve
/// (IEC 61966-2-1) there.
pub fn noise_at_iso_dn(iso: f64) -> f64 {
    const GREY: f64 = 0.18;
    let slope = 1.055 / 2.4 * GREY.powf(1.0 / 2.4 - 1.0);
    255.0 * slope * SimulatedSensor::ORDINARY.noise_at(iso, GREY)
}

/// A planned clip.
pub struct SimClip {
    spec: ClipSpec,
    burst: SimulatedBurst,
}

impl SimClip {
    /// Plans the frames and prepares the scene.
    pub fn new(spec: ClipSpec) -> SimClip {
        let scene = Scene::make(&SceneSpec {
            kind: spec.kind,
            seed: spec.seed,
            width_px: spec.width_px,
            height_px: spec.height_px,
            relief_px: 0.5 * spec.height_px as f32,
            colour: spec.colour,
            look: SurfaceLook::USUAL,
        });
        let plan = BurstSpec {
            width_px: spec.width_px,
            height_px: spec.height_px,
            frames: spec.frames,
            lens: spec.lens,
            colour: spec.colour,
            ..BurstSpec::usual(spec.kind, spec.seed, spec.noise_dn)
        };
        let shots = shots(&spec, &scene);
        SimClip { spec, burst: SimulatedBurst::of_shots(plan, scene, shots) }
    }

    /// What is true of each frame.
    pub fn truths(&self) -> &[Truth] {
        self.burst.truths()
    }

    /// Radius of the textured area round the subject point, px.
    pub fn subject_radius_px(&self) -> f32 {
        self.burst.subject_radius_px()
    }

    /// Time of a frame, s.
    pub fn t_s(&self, frame: usize) -> f64 {
        frame as f64 / self.spec.fps
    }

    /// Encodes the clip with ffmpeg.
    ///
    /// # Errors
    /// [`Error::NoFfmpeg`] when ffmpeg cannot be started, [`Error::Encode`] when it fails.
    pub fn write(&self, ffmpeg: &Path, path: &Path, coding: Coding) -> Result<()> {
        let spec = &self.spec;
        let missing = |source| Error::NoFfmpeg { program: ffmpeg.to_owned(), source };
        let mut command = Command::new(ffmpeg);
        command.args(["-nostdin", "-v", "error", "-y", "-f", "rawvideo", "-pix_fmt"]);
        command.arg(if spec.colour { "rgb24" } else { "gray" });
        command.args(["-s", &format!("{}x{}", spec.width_px, spec.height_px)]);
        command.args(["-r", &spec.fps.to_string(), "-i", "pipe:0"]);
        command.args(["-c:v", if coding.h265 { "libx265" } else { "libx264" }]);
        command.args(["-preset", "veryfast", "-pix_fmt", "yuv420p"]);
        command.args(["-b:v", &format!("{}k", coding.kbit_s)]);
        if coding.h265 {
            command.args(["-x265-params", "log-level=none"]);
        }
        let mut out = std::ffi::OsString::from("file:");
        out.push(path);
        command.arg(out).stdin(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().map_err(missing)?;
        if let Some(mut to) = child.stdin.take() {
            for frame in self.burst.iter() {
                // A closed pipe: ffmpeg says why below.
                if to.write_all(&frame.picture.data).is_err() {
                    break;
                }
            }
        }
        let ended = child.wait_with_output().map_err(missing)?;
        if ended.status.success() {
            Ok(())
        } else {
            Err(Error::Encode(String::from_utf8_lossy(&ended.stderr).trim().to_owned()))
        }
    }
}

/// The way of the picture in px at a time: drift and shake.
fn track(spec: &ClipSpec, angle: f64, phase: f64, t_s: f64) -> (f64, f64) {
    let s = spec.shake_px * (std::f64::consts::TAU * spec.shake_hz * t_s + phase).sin();
    let from_middle = t_s - spec.frames as f64 / spec.fps / 2.0;
    (
        spec.drift_px_s.0 * from_middle + s * angle.cos(),
        spec.drift_px_s.1 * from_middle + s * angle.sin(),
    )
}

fn shots(spec: &ClipSpec, scene: &Scene) -> Vec<SimulatedShot> {
    let mut rng = SplitMix64::new(spec.seed ^ 0x636c_6970);
    let (angle, phase) =
        (rng.between(0.0, std::f64::consts::PI), rng.between(0.0, std::f64::consts::TAU));
    // Depth in px on the subject that makes a disc of that sigma.
    let z_px = |sigma_px: f64| {
        let dz_um = spec.lens.dz_um_for_disc_sigma(sigma_px.abs());
        (dz_um / spec.lens.object_um_per_px() * sigma_px.signum()) as f32
    };
    (0..spec.frames)
        .map(|i| {
            let t_s = i as f64 / spec.fps;
            let (x, y) = track(spec, angle, phase, t_s);
            let half = spec.shutter_s / 2.0;
            let (a, b) =
                (track(spec, angle, phase, t_s - half), track(spec, angle, phase, t_s + half));
            let smear = ((b.0 - a.0).hypot(b.1 - a.1), (b.1 - a.1).atan2(b.0 - a.0));
            let defocus = spec.defocus_px_s * (t_s - spec.in_focus_at_s);
            SimulatedShot {
                // The picture moves against the way the lens looks.
                pose: Pose { centre_px: (-x as f32, -y as f32), rotation_deg: 0.0, scale: 1.0 },
                focus_z_px: scene.subject_z_px + z_px(defocus),
                motion: (smear.0 > MIN_SMEAR_PX).then_some(HandMotion {
                    length_px: smear.0,
                    angle_deg: smear.1.to_degrees(),
                    whole_frame: true,
                    share: 1.0,
                }),
                exposure_stops: 0.0,
                noise_seed: rng.next_u64(),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spec() -> ClipSpec {
        ClipSpec {
            seed: 3,
            kind: SceneKind::DeadLeaves,
            width_px: 256,
            height_px: 192,
            fps: 25.0,
            frames: 26,
            lens: SimulatedLens { n_eff: 16.0, magnification: 1.0, pitch_um: 6.0 },
            shutter_s: 0.004,
            shake_px: 3.0,
            shake_hz: 5.0,
            drift_px_s: (4.0, 0.0),
            defocus_px_s: 3.0,
            in_focus_at_s: 0.5,
            noise_dn: 1.0,
            colour: false,
        }
    }

    #[test]
    fn the_subject_moves_and_blurs_as_planned() {
        let clip = SimClip::new(spec());
        let t = clip.truths();
        // A whole number of swings later only the drift is left: 25 frames at 4 px a second.
        let moved = t[25].subject_x_px - t[0].subject_x_px;
        approx::assert_abs_diff_eq!(moved, 4.0, epsilon = 0.01);
        let sharpest = (0..t.len()).min_by(|a, b| t[*a].sigma_px.total_cmp(&t[*b].sigma_px));
        assert!((12..=13).contains(&sharpest.unwrap()));
        // A disc of sigma 1.5 px at the ends, on top of the lens's own.
        assert!(t[0].sigma_px > 1.3 && t[0].sigma_px < 2.2, "{}", t[0].sigma_px);
    }

    #[test]
    fn noise_grows_with_iso_as_the_sensor_says() {
        let (low, high) = (noise_at_iso_dn(100.0), noise_at_iso_dn(10_000.0));
        assert!(low < 0.7 && (5.0..7.0).contains(&high), "{low} {high}");
    }
}
