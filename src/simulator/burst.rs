//! Bursts: frames of one scene by an unsteady hand, with the truth about each.

use crate::core::random::SplitMix64;
use crate::simulator::camera::{Camera, HandMotion, LinearFrame, Pose, waves_a_px};
use crate::simulator::encode::{RenderedPicture, encoded};
use crate::simulator::optics::{GAUSS_HALF, SimulatedLens, first_half, sinc};
use crate::simulator::scene::{Scene, SceneKind, SceneSpec};
use crate::simulator::sensor::{SimulatedRendering, SimulatedSensor, developed};
use crate::simulator::surface::SurfaceLook;

/// What to simulate. Distances in px are pixels of the frame.
#[derive(Debug, Clone, Copy)]
pub struct BurstSpec {
    /// Seed of everything.
    pub seed: u64,
    /// Tells apart the hands that take the scenes of one seed, so that bursts of different kinds
    /// and noise do not repeat one another's aim.
    pub hand: u64,
    /// Width, px.
    pub width_px: usize,
    /// Height, px.
    pub height_px: usize,
    /// How many frames.
    pub frames: usize,
    /// What is photographed.
    pub kind: SceneKind,
    /// How the creature or the piece looks.
    pub look: SurfaceLook,
    /// The lens.
    pub lens: SimulatedLens,
    /// Spread (standard deviation) of the focus about the subject, as the sigma in px of the
    /// disc it makes of a point on the subject.
    pub focus_spread_px: f64,
    /// Focus is missed by at least this on every frame, in the same unit (usually 0).
    pub focus_missed_px: f64,
    /// Depth of tilted surfaces over the frame's height, px on the subject.
    pub relief_px: f32,
    /// Greatest drift of the frame, share of its width.
    pub drift: f32,
    /// Greatest rotation, degrees.
    pub rotation_deg: f32,
    /// Distance of the subject from the entrance pupil, mm. The body moves and the focus with
    /// it: who moves in by a hundredth of it sees the subject a hundredth larger and the plane as
    /// much deeper.
    pub working_distance_mm: f64,
    /// Greatest relative change of scale that goes without a change of focus (the frame leans).
    pub scale: f32,
    /// Share of frames that are shaken as a whole.
    pub shaken_share: f64,
    /// Share of frames in which only the subject moves.
    pub subject_motion_share: f64,
    /// Least and greatest length of a movement, px.
    pub motion_px: (f64, f64),
    /// Share of the light that a movement smears: 1, or less when a flash freezes the rest.
    pub moving_light: f32,
    /// Standard deviation of white noise after the tone curve, 8-bit steps.
    pub noise_dn: f64,
    /// Greatest change of exposure, stops.
    pub exposure_stops: f32,
    /// Three colours, or luma only (three times as fast).
    pub colour: bool,
}

impl BurstSpec {
    /// A burst as estimators are tuned on: 12 frames of 1200x900 px.
    pub fn usual(kind: SceneKind, seed: u64, noise_dn: f64) -> BurstSpec {
        BurstSpec {
            seed,
            hand: SplitMix64::stream(kind as u64, &[noise_dn.to_bits()]).next_u64(),
            width_px: 1200,
            height_px: 900,
            frames: 12,
            kind,
            look: SurfaceLook::USUAL,
            lens: SimulatedLens { n_eff: 16.0, magnification: 1.0, pitch_um: 5.5 },
            focus_spread_px: 2.2,
            focus_missed_px: 0.0,
            relief_px: 900.0,
            drift: 0.08,
            rotation_deg: 3.0,
            working_distance_mm: 100.0,
            scale: 0.001,
            shaken_share: 0.25,
            subject_motion_share: 0.0,
            motion_px: (3.0, 12.0),
            moving_light: 1.0,
            noise_dn,
            exposure_stops: 0.3,
            colour: false,
        }
    }
}

/// Verdict by truth, relative to the best frame of the burst.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum TrueCall {
    /// Total sigma within [`HIT`] of the best.
    Hit,
    /// Within [`NEAR`].
    Near,
    /// Beyond.
    Miss,
}

/// Greatest total sigma of a hit over that of the burst's best frame (the grades of `core::verdict`).
pub const HIT: f64 = 1.3;
/// Greatest total sigma of a near over that of the burst's best frame (the grades of `core::verdict`).
pub const NEAR: f64 = 2.0;

/// Why a frame is not a hit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum TrueCause {
    /// It is one.
    InFocus,
    /// The subject is out of focus while something else in the frame is sharp.
    Misfocused,
    /// The whole frame moved.
    Shake,
    /// Only the subject moved.
    SubjectMotion,
    /// A sharp flash picture and a smeared ambient one, mixed.
    Ghosted,
    /// Nothing in the frame is sharp.
    Soft,
}

/// What is true of one frame.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Truth {
    /// Subject point, px from the left edge.
    pub subject_x_px: f64,
    /// Subject point, px from the top edge.
    pub subject_y_px: f64,
    /// Object distance of the focus plane from the subject, µm, positive towards the lens.
    pub focus_offset_um: f64,
    /// Gaussian-equivalent blur sigma at the subject, pixel box included, movement not.
    pub sigma_px: f64,
    /// Movement during the exposure.
    pub motion: Option<HandMotion>,
    /// The same with movement: 0.187 over the frequency (cycles/px) at which lens, focus, pixel
    /// and movement together pass half the contrast, along the movement.
    pub sigma_total_px: f64,
    /// Verdict relative to the burst.
    pub call: TrueCall,
    /// Why.
    pub cause: TrueCause,
}

/// One frame and its truth.
#[derive(Debug, Clone)]
pub struct SimFrame {
    /// 8-bit samples.
    pub picture: RenderedPicture,
    /// What is true of it.
    pub truth: Truth,
    /// Where it looked.
    pub pose: Pose,
    /// Depth of its focus plane, px on the subject towards the lens.
    pub focus_z_px: f32,
}

/// How one frame is taken.
#[derive(Debug, Clone, Copy)]
pub struct SimulatedShot {
    /// Where it looks.
    pub pose: Pose,
    /// Depth of the focus plane, px on the subject towards the lens.
    pub focus_z_px: f32,
    /// Movement during the exposure.
    pub motion: Option<HandMotion>,
    /// Exposure over the usual one, stops.
    pub exposure_stops: f32,
    /// Seed of its noise.
    pub noise_seed: u64,
}

/// A scene in front of a lens with the shots planned; frames are made when asked for.
pub struct SimulatedBurst {
    spec: BurstSpec,
    camera: Camera,
    shots: Vec<SimulatedShot>,
    truths: Vec<Truth>,
    subject_px: (f32, f32),
    subject_radius_px: f32,
}

impl BurstSpec {
    /// The scene in front of the lens.
    pub fn scene(&self) -> Scene {
        Scene::make(&SceneSpec {
            kind: self.kind,
            seed: self.seed,
            width_px: self.width_px,
            height_px: self.height_px,
            relief_px: self.relief_px,
            colour: self.colour,
            look: self.look,
        })
    }
}

/// Exposure that puts a mid-grey sheet (18 %) near the middle of the 8-bit scale.
const USUAL_EXPOSURE: f32 = 1.15;

impl SimulatedBurst {
    /// Plans the shots and prepares the scene.
    pub fn new(spec: BurstSpec) -> SimulatedBurst {
        let scene = spec.scene();
        let shots = planned(&spec, &scene);
        SimulatedBurst::of_shots(spec, scene, shots)
    }

    /// A burst of a given scene and shots.
    pub fn of_shots(spec: BurstSpec, scene: Scene, shots: Vec<SimulatedShot>) -> SimulatedBurst {
        let nearest = shots.iter().map(|s| s.focus_z_px).fold(f32::MIN, f32::max);
        let farthest = shots.iter().map(|s| s.focus_z_px).fold(f32::MAX, f32::min);
        let subject = (scene.subject_px, scene.subject_z_px, scene.subject_radius_px);
        let camera = Camera::new(scene, spec.lens, (farthest, nearest));
        let mut burst = SimulatedBurst {
            spec,
            camera,
            shots,
            truths: Vec::new(),
            subject_px: subject.0,
            subject_radius_px: subject.2,
        };
        burst.truths = burst.shots.iter().map(|s| burst.truth_of(s, subject.1)).collect();
        let best = burst.truths.iter().map(|t| t.sigma_total_px).fold(f64::MAX, f64::min);
        // A burst whose best frame is far from what the lens can do holds no hit.
        let in_focus = burst.spec.lens.sigma_px(0.0);
        for i in 0..burst.truths.len() {
            let truth = burst.truths[i];
            let call = match call(truth.sigma_total_px, best) {
                _ if best > NEAR * in_focus => TrueCall::Miss,
                call => call,
            };
            // Where nothing is sharp at the subject, the lens says what sharp would be.
            let sharp = if best > NEAR * in_focus { in_focus } else { best };
            let cause = burst.cause(&burst.shots[i], &truth, call, sharp);
            burst.truths[i] = Truth { call, cause, ..truth };
        }
        burst
    }

    /// How many frames.
    pub fn len(&self) -> usize {
        self.shots.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.shots.is_empty()
    }

    /// The shots.
    pub fn shots(&self) -> &[SimulatedShot] {
        &self.shots
    }

    /// The truth of every frame.
    pub fn truths(&self) -> &[Truth] {
        &self.truths
    }

    /// Radius of the textured area round the subject point, px.
    pub fn subject_radius_px(&self) -> f32 {
        self.subject_radius_px
    }

    /// The linear light of frame `index`; `None` beyond the last.
    pub fn light(&self, index: usize) -> Option<LinearFrame> {
        let (spec, shot, truth) = (&self.spec, self.shots.get(index)?, self.truths.get(index)?);
        let still = self.camera.expose(&shot.pose, shot.focus_z_px, spec.width_px, spec.height_px);
        let Some(motion) = shot.motion else { return Some(still) };
        let smeared = still.smeared(motion.length_px, motion.angle_deg);
        if motion.whole_frame && motion.share >= 1.0 {
            return Some(smeared);
        }
        let mut mixed = still;
        if motion.whole_frame {
            mixed.mix(&smeared, |_, _| motion.share);
            return Some(mixed);
        }
        let (x0, y0) = (truth.subject_x_px as f32, truth.subject_y_px as f32);
        let radius = 1.3 * self.subject_radius_px;
        mixed.mix(&smeared, |x, y| {
            2.0 * motion.share * (1.5 - (x - x0).hypot(y - y0) / radius).clamp(0.0, 0.5)
        });
        Some(mixed)
    }

    /// Frame `index` with its truth; `None` beyond the last.
    pub fn frame(&self, index: usize) -> Option<SimFrame> {
        let light = self.light(index)?;
        let (shot, truth) = (self.shots.get(index)?, self.truths.get(index)?);
        let exposure = USUAL_EXPOSURE * shot.exposure_stops.exp2();
        Some(SimFrame {
            picture: encoded(&light, exposure, self.spec.noise_dn, shot.noise_seed),
            truth: *truth,
            pose: shot.pose,
            focus_z_px: shot.focus_z_px,
        })
    }

    /// Frame `index` taken through a sensor and its rendering instead of the short way;
    /// `noise_dn` is not used. `None` beyond the last.
    pub fn developed_frame(
        &self,
        index: usize,
        sensor: &SimulatedSensor,
        rendering: &SimulatedRendering,
    ) -> Option<SimFrame> {
        let light = self.light(index)?;
        let (shot, truth) = (self.shots.get(index)?, self.truths.get(index)?);
        let exposure = rendering.exposure * shot.exposure_stops.exp2();
        let rendering = SimulatedRendering { exposure, ..*rendering };
        Some(SimFrame {
            picture: developed(&light, sensor, &rendering, shot.noise_seed),
            truth: *truth,
            pose: shot.pose,
            focus_z_px: shot.focus_z_px,
        })
    }

    /// Every frame in order, made one at a time.
    pub fn iter(&self) -> impl Iterator<Item = SimFrame> + '_ {
        (0..self.len()).filter_map(|i| self.frame(i))
    }

    /// True sigma (movement not counted) at the middle of each whole tile of frame `index`,
    /// row-major, `width_px / tile_px` to a row; empty beyond the last frame.
    pub fn sigma_map(&self, index: usize, tile_px: usize) -> Vec<f64> {
        let Some(shot) = self.shots.get(index) else { return Vec::new() };
        let (w, h) = (self.spec.width_px, self.spec.height_px);
        let mut map = Vec::new();
        for ty in 0..h / tile_px {
            for tx in 0..w / tile_px {
                let middle =
                    |t: usize, n: usize| (t as f32 + 0.5) * tile_px as f32 - n as f32 / 2.0;
                map.push(self.camera.sigma_px(
                    &shot.pose,
                    shot.focus_z_px,
                    middle(tx, w),
                    middle(ty, h),
                ));
            }
        }
        map
    }

    fn truth_of(&self, shot: &SimulatedShot, subject_z_px: f32) -> Truth {
        let spec = &self.spec;
        let (x, y) = shot.pose.to_frame(self.subject_px.0, self.subject_px.1);
        let off_px = shot.focus_z_px - subject_z_px;
        let w20 = f64::from(waves_a_px(&spec.lens) * off_px);
        let sigma_px = spec.lens.sigma_px(w20) / f64::from(shot.pose.scale);
        Truth {
            subject_x_px: f64::from(x) + spec.width_px as f64 / 2.0,
            subject_y_px: f64::from(y) + spec.height_px as f64 / 2.0,
            focus_offset_um: f64::from(off_px) * spec.lens.object_um_per_px(),
            sigma_px,
            motion: shot.motion,
            sigma_total_px: total_px(&spec.lens, w20, f64::from(shot.pose.scale), shot.motion),
            call: TrueCall::Miss,
            cause: TrueCause::Soft,
        }
    }

    fn cause(&self, shot: &SimulatedShot, truth: &Truth, call: TrueCall, best: f64) -> TrueCause {
        if call == TrueCall::Hit {
            return TrueCause::InFocus;
        }
        // Movement is the cause when it alone would lose the hit.
        if let Some(motion) = truth.motion {
            let alone = total_px(&self.spec.lens, 0.0, f64::from(shot.pose.scale), Some(motion));
            if alone > HIT * best {
                return match motion {
                    HandMotion { share, .. } if share < 1.0 => TrueCause::Ghosted,
                    HandMotion { whole_frame: true, .. } => TrueCause::Shake,
                    _ => TrueCause::SubjectMotion,
                };
            }
        }
        const TILE_PX: usize = 64;
        // As many sharp tiles as make a cluster for a verdict.
        const SHARP_TILES: usize = 10;
        let index = self.shots.iter().position(|s| std::ptr::eq(s, shot)).unwrap_or(usize::MAX);
        let sharp = self.sigma_map(index, TILE_PX).into_iter().filter(|s| *s <= HIT * best).count();
        if sharp >= SHARP_TILES { TrueCause::Misfocused } else { TrueCause::Soft }
    }
}

/// Blur with movement, px of a frame taken at `scale`: see [`Truth::sigma_total_px`].
fn total_px(lens: &SimulatedLens, w20: f64, scale: f64, motion: Option<HandMotion>) -> f64 {
    let Some(m) = motion else { return lens.sigma_px(w20) / scale };
    let share = f64::from(m.share);
    // The movement is told in px of the frame, the optics in px of the scene.
    let moved = |f: f64| 1.0 - share + share * sinc(f * m.length_px * scale);
    let cutoff = lens.cutoff_cy_px().min(1.0);
    GAUSS_HALF / first_half(|f| lens.transfer(f, w20) * moved(f), cutoff) / scale
}

fn call(sigma_total_px: f64, best: f64) -> TrueCall {
    match sigma_total_px / best {
        x if x <= HIT => TrueCall::Hit,
        x if x <= NEAR => TrueCall::Near,
        _ => TrueCall::Miss,
    }
}

/// Scale of a frame (pixels of the scene per pixel of the frame) whose focus plane lies `off_px`
/// in front of the subject, when the body moved to bring it there: it stands back by as much, so
/// the subject is seen smaller.
pub(super) fn scale_at(spec: &BurstSpec, off_px: f32) -> f32 {
    let off_mm = f64::from(off_px) * spec.lens.object_um_per_px() / 1000.0;
    (1.0 + off_mm / spec.working_distance_mm) as f32
}

/// Shots of an unsteady hand: a bounded random walk across the scene, focus about the subject.
fn planned(spec: &BurstSpec, scene: &Scene) -> Vec<SimulatedShot> {
    // Not the scene's own stream: the same scene can be taken in several ways.
    let mut rng = SplitMix64::new(spec.seed ^ spec.hand ^ 0xb0_95_7e_11);
    let reach = spec.drift * spec.width_px as f32;
    let on_subject = |sigma_px: f64| {
        (spec.lens.dz_um_for_disc_sigma(sigma_px) / spec.lens.object_um_per_px()) as f32
    };
    let (spread_px, missed_px) =
        (on_subject(spec.focus_spread_px), on_subject(spec.focus_missed_px));
    let (mut x, mut y) = (0.0f32, 0.0f32);
    (0..spec.frames)
        .map(|_| {
            x = (x + 0.4 * reach * rng.normal() as f32).clamp(-reach, reach);
            y = (y + 0.4 * reach * rng.normal() as f32).clamp(-reach, reach);
            let off_px = spread_px * rng.normal() as f32;
            let focus_z_px = scene.subject_z_px + off_px + off_px.signum() * missed_px;
            let pose = Pose {
                centre_px: (x, y),
                rotation_deg: (rng.between(-1.0, 1.0)) as f32 * spec.rotation_deg,
                scale: scale_at(spec, focus_z_px - scene.subject_z_px)
                    + rng.between(-1.0, 1.0) as f32 * spec.scale,
            };
            let which = rng.uniform();
            let length_px = rng.between(spec.motion_px.0, spec.motion_px.1);
            let angle_deg = rng.between(0.0, 180.0);
            let moving = which < spec.shaken_share + spec.subject_motion_share;
            let whole_frame = which < spec.shaken_share;
            SimulatedShot {
                pose,
                focus_z_px,
                motion: moving.then_some(HandMotion {
                    length_px,
                    angle_deg,
                    whole_frame,
                    share: spec.moving_light,
                }),
                exposure_stops: rng.between(-1.0, 1.0) as f32 * spec.exposure_stops,
                noise_seed: rng.next_u64(),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_subject_stays_in_the_frame_and_bursts_have_hits_and_misses() {
        let spec = BurstSpec {
            width_px: 480,
            height_px: 360,
            ..BurstSpec::usual(SceneKind::DepthRamp, 3, 2.0)
        };
        let burst = SimulatedBurst::new(spec);
        let calls: Vec<TrueCall> = burst.truths().iter().map(|t| t.call).collect();
        assert!(calls.contains(&TrueCall::Hit) && calls.contains(&TrueCall::Miss), "{calls:?}");
        for t in burst.truths() {
            assert!(t.subject_x_px > 60.0 && t.subject_x_px < 420.0);
            assert!(t.subject_y_px > 45.0 && t.subject_y_px < 315.0);
            assert!(t.sigma_px > 0.6 && t.sigma_px < 14.0);
        }
    }

    /// Correlation of two rows of numbers.
    fn correlation(a: &[f64], b: &[f64]) -> f64 {
        let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
        let (ma, mb) = (mean(a), mean(b));
        let dot = |u: &[f64], mu: f64, v: &[f64], mv: f64| {
            u.iter().zip(v).map(|(x, y)| (x - mu) * (y - mv)).sum::<f64>()
        };
        dot(a, ma, b, mb) / (dot(a, ma, a, ma) * dot(b, mb, b, mb)).sqrt()
    }

    /// Focus offsets of a burst, µm.
    fn aims(kind: SceneKind, seed: u64, noise_dn: f64) -> Vec<f64> {
        let spec = BurstSpec {
            width_px: 96,
            height_px: 72,
            frames: 60,
            relief_px: 90.0,
            ..BurstSpec::usual(kind, seed, noise_dn)
        };
        SimulatedBurst::new(spec).truths().iter().map(|t| t.focus_offset_um).collect()
    }

    // One seed is not one aim: scenes and noise levels of a seed do not repeat one another, nor do
    // neighbouring seeds. A correlation of 60 pairs by chance stays below 0.45 (3.5 of its errors).
    #[test]
    fn every_scene_and_noise_level_of_a_seed_has_its_own_aim() {
        let base = aims(SceneKind::DepthRamp, 5, 2.0);
        for other in [
            aims(SceneKind::DeadLeaves, 5, 2.0),
            aims(SceneKind::DepthRamp, 5, 4.0),
            aims(SceneKind::DepthRamp, 6, 2.0),
        ] {
            let r = correlation(&base, &other);
            assert!(r.abs() < 0.45, "{r}");
        }
        assert!((correlation(&base, &aims(SceneKind::DepthRamp, 5, 2.0)) - 1.0).abs() < 1e-12);
    }

    // Who moves in by 0.8 mm at 100 mm has the plane 0.8 mm deeper (away from the lens) and sees
    // the subject 0.8 % larger: fewer pixels of the scene per pixel of the frame.
    #[test]
    fn moving_in_takes_the_plane_deeper_and_the_subject_larger() {
        let spec = BurstSpec { scale: 0.0, ..BurstSpec::usual(SceneKind::DeadLeaves, 1, 2.0) };
        let off_px = (-800.0 / spec.lens.object_um_per_px()) as f32;
        assert!((scale_at(&spec, off_px) - 0.992).abs() < 1e-6);
        let burst = SimulatedBurst::new(BurstSpec { width_px: 96, height_px: 72, ..spec });
        for (shot, truth) in burst.shots().iter().zip(burst.truths()) {
            let want = 1.0 + truth.focus_offset_um / 1000.0 / spec.working_distance_mm;
            assert!((f64::from(shot.pose.scale) - want).abs() < 1e-6);
        }
    }

    // A long even movement alone is a box: it passes half the contrast where sinc(L·f) does, at
    // L·f = 0.603355 (root of sin(πx)/(πx) = 1/2), whatever the sharp lens does.
    #[test]
    fn movement_counts_by_half_the_contrast() {
        let lens = SimulatedLens { n_eff: 6.0, magnification: 1.0, pitch_um: 6.0 };
        let motion =
            |share| Some(HandMotion { length_px: 40.0, angle_deg: 0.0, whole_frame: true, share });
        let want = GAUSS_HALF / 0.603_355 * 40.0;
        let got = total_px(&lens, 0.0, 1.0, motion(1.0));
        assert!((got / want - 1.0).abs() < 0.01, "{got}, {want}");
        // A fifth of the light smeared leaves half the contrast to the sharp rest.
        let ghost = total_px(&lens, 0.0, 1.0, motion(0.2));
        let sharp = total_px(&lens, 0.0, 1.0, None);
        assert!(ghost > sharp && ghost < 2.0 * sharp, "{ghost}, {sharp}");
    }

    #[test]
    fn same_seed_same_bytes_on_any_number_of_threads() {
        let spec = BurstSpec {
            width_px: 200,
            height_px: 160,
            frames: 2,
            ..BurstSpec::usual(SceneKind::DeadLeaves, 9, 4.0)
        };
        let make = |threads: usize| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            pool.install(|| SimulatedBurst::new(spec).frame(1).unwrap().picture)
        };
        assert_eq!(make(1), make(3));
    }
}
