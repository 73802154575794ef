//! Bursts like those brought home: creatures in several skins and poses, the eye where a
//! photographer puts it, a hand that reaches the focus, drifts through it, never gets there or
//! shakes.

use crate::core::random::SplitMix64;
use crate::core::search::{bisect, bisect_ratio};
use crate::simulator::burst::{BurstSpec, SimulatedBurst, SimulatedShot, scale_at};
use crate::simulator::camera::{HandMotion, Pose};
use crate::simulator::optics::SimulatedLens;
use crate::simulator::scene::SceneKind;
use crate::simulator::sensor::{SimulatedRendering, SimulatedSensor};
use crate::simulator::surface::{Surface, SurfaceLook, SurfacePlacing};

/// How the burst goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum FocusCourse {
    /// Focus about the subject; a frame now and then is shaken.
    Usual,
    /// The plane stays on one side of the subject.
    NeverReached,
    /// The plane drifts through the subject.
    Drifting,
    /// Every frame is shaken.
    AllShaken,
    /// One frame is shaken.
    OneMoved,
}

impl FocusCourse {
    /// All of them.
    pub const ALL: [FocusCourse; 5] = [
        FocusCourse::Usual,
        FocusCourse::NeverReached,
        FocusCourse::Drifting,
        FocusCourse::AllShaken,
        FocusCourse::OneMoved,
    ];

    /// The word for tables.
    pub fn word(self) -> &'static str {
        match self {
            FocusCourse::Usual => "usual",
            FocusCourse::NeverReached => "never reached",
            FocusCourse::Drifting => "drifting",
            FocusCourse::AllShaken => "all shaken",
            FocusCourse::OneMoved => "one moved",
        }
    }
}

/// A burst as planned.
#[derive(Debug, Clone, Copy)]
pub struct FieldPlan {
    /// Scene, lens and hand.
    pub spec: BurstSpec,
    /// How it goes.
    pub course: FocusCourse,
    /// Marked f-number.
    pub marked_f_number: f64,
    /// Noise asked for, standard deviation in 8-bit steps at middle grey before noise reduction.
    pub noise_dn: f64,
    /// Sensor and rendering.
    pub rendering: SimulatedRendering,
    /// JPEG quality, 1 to 100.
    pub jpeg_quality: u8,
    /// Whether flash lights the burst. It freezes its share of the light, so what moves shows as a
    /// ghost under a sharp picture; by lamp all of the light is smeared.
    pub flash: bool,
    /// Seed of the hand.
    hand_seed: u64,
}

/// Width of the frames, px.
pub const WIDTH_PX: usize = 1200;
/// Height of the frames, px.
pub const HEIGHT_PX: usize = 800;
/// Share of full scale that a white sheet gives, as in the demonstration.
const WHITE: f32 = 0.66;
/// A plane that never reaches the subject leaves at least this many times the lens's own blur.
const MISSED_RATIO: f64 = 2.4;
/// Focus missed at most by this disc sigma where the plane never reaches the subject, px.
const MAX_MISSED_PX: f64 = 6.0;

/// Share of bursts that flash lights, where the hand does not shake all the time.
const FLASH: f64 = 0.5;
/// Share of the light that is not flash.
const AMBIENT: std::ops::Range<f64> = 0.25..0.5;
/// How much longer smears are than by lamp: the shutter stays open for the ambient light.
const AMBIENT_LONGER: f64 = 1.6;

/// Words that tell the streams of a seed apart.
const PLAN: u64 = 0x_f1e1_d001;
const HAND: u64 = 0x_f1e1_d002;
const SCENE: u64 = 0x_f1e1_d003;
const LIGHT: u64 = 0x_f1e1_d004;

impl FieldPlan {
    /// A creature with this surface on its eye; everything else is drawn from the seed. Every
    /// surface of a seed has its own stream.
    pub fn creature(seed: u64, surface: Surface) -> FieldPlan {
        let words = |w: u64| SplitMix64::stream(seed, &[w, surface as u64]);
        let mut rng = words(PLAN);
        let placing = placed(&mut rng);
        let period_px = match surface {
            // Evenly over the octaves.
            Surface::Facets => rng.between(3f64.ln(), 25f64.ln()).exp(),
            _ => rng.between(6f64.ln(), 16f64.ln()).exp(),
        };
        let look =
            SurfaceLook { surface, period_px: Some(period_px as f32), placing: Some(placing) };
        let scene_seed = words(SCENE).next_u64();
        let hand_seed = words(HAND).next_u64();
        let plan = FieldPlan::drawn(rng, SceneKind::Insect, look, scene_seed, hand_seed);
        plan.lit(words(LIGHT))
    }

    /// A tilted texture without a subject: where the eye would be is anybody's guess.
    pub fn ramp(seed: u64) -> FieldPlan {
        let words = |w: u64| SplitMix64::stream(seed, &[w, u64::MAX]);
        let look = SurfaceLook { surface: Surface::Leaves, period_px: None, placing: None };
        let (scene_seed, hand_seed) = (words(SCENE).next_u64(), words(HAND).next_u64());
        let plan = FieldPlan::drawn(words(PLAN), SceneKind::DepthRamp, look, scene_seed, hand_seed);
        plan.lit(words(LIGHT))
    }

    /// By flash or by lamp.
    fn lit(mut self, mut rng: SplitMix64) -> FieldPlan {
        self.flash = rng.uniform() < FLASH && self.course != FocusCourse::AllShaken;
        if self.flash {
            self.spec.moving_light = rng.between(AMBIENT.start, AMBIENT.end) as f32;
        }
        self
    }

    fn drawn(
        mut rng: SplitMix64,
        kind: SceneKind,
        look: SurfaceLook,
        scene_seed: u64,
        hand_seed: u64,
    ) -> FieldPlan {
        let course = match rng.uniform() {
            u if u < 0.45 => FocusCourse::Usual,
            u if u < 0.60 => FocusCourse::Drifting,
            u if u < 0.78 => FocusCourse::NeverReached,
            u if u < 0.88 => FocusCourse::AllShaken,
            _ => FocusCourse::OneMoved,
        };
        let magnification = rng.between(0.7f64.ln(), 2.2f64.ln()).exp();
        let marked = [5.6, 6.3, 7.1, 8.0, 9.0, 10.0, 11.0, 13.0][rng.below(8)];
        let n_eff = marked * (1.0 + magnification);
        let lens = SimulatedLens { n_eff, magnification, pitch_um: rng.between(4.2, 6.5) };
        let noise_dn = rng.between(2f64.ln(), 8f64.ln()).exp();
        let rendering = SimulatedRendering {
            iso: iso_for(noise_dn),
            exposure: WHITE,
            noise_reduction: [0.0, 0.5, 1.0, 2.0][rng.below(4)],
            sharpen_px: 0.9,
            sharpen: 0.35,
            contrast: 0.55,
        };
        let spec = BurstSpec {
            width_px: WIDTH_PX,
            height_px: HEIGHT_PX,
            frames: 8 + rng.below(9),
            look,
            lens,
            focus_spread_px: rng.between(1.0, 2.2),
            relief_px: HEIGHT_PX as f32,
            drift: 0.04,
            exposure_stops: 0.15,
            // A lens of 50 mm: the subject is nearer the larger it is taken.
            working_distance_mm: 50.0 * (1.0 + 1.0 / magnification),
            ..BurstSpec::usual(kind, scene_seed, 0.0)
        };
        FieldPlan {
            spec,
            course,
            marked_f_number: marked,
            noise_dn,
            rendering,
            jpeg_quality: (85 + rng.below(11)) as u8,
            flash: false,
            hand_seed,
        }
    }

    /// The burst with its truth.
    pub fn burst(&self) -> SimulatedBurst {
        let spec = &self.spec;
        let scene = spec.scene();
        let shots = self.shots(scene.subject_z_px);
        SimulatedBurst::of_shots(*spec, scene, shots)
    }

    fn shots(&self, subject_z_px: f32) -> Vec<SimulatedShot> {
        let spec = &self.spec;
        let mut rng = SplitMix64::new(self.hand_seed);
        let on_subject = |sigma_px: f64| {
            (spec.lens.dz_um_for_disc_sigma(sigma_px) / spec.lens.object_um_per_px()) as f32
        };
        let offsets = self.offsets(&mut rng);
        let moved = rng.below(spec.frames);
        let shake_deg = rng.between(0.0, 180.0);
        let reach = spec.drift * spec.width_px as f32;
        let (mut x, mut y) = (0.0f32, 0.0f32);
        (0..spec.frames)
            .map(|i| {
                x = (x + 0.4 * reach * rng.normal() as f32).clamp(-reach, reach);
                y = (y + 0.4 * reach * rng.normal() as f32).clamp(-reach, reach);
                let off_px = on_subject(offsets[i].abs()) * offsets[i].signum() as f32;
                let leaning = rng.between(-1.0, 1.0) as f32 * spec.scale;
                let pose = Pose {
                    centre_px: (x, y),
                    rotation_deg: rng.between(-1.0, 1.0) as f32 * spec.rotation_deg,
                    scale: scale_at(spec, off_px) + leaning,
                };
                let (which, angle) = (rng.uniform(), rng.between(0.0, 180.0));
                // A hand that shakes all the time shakes much the same way.
                let alike = shake_deg + 25.0 * rng.normal();
                let long = rng.between(0.0, 1.0);
                let (length_px, angle_deg, whole_frame) = match self.course {
                    FocusCourse::AllShaken => (6.0 + 10.0 * long, alike.rem_euclid(180.0), true),
                    FocusCourse::OneMoved if i == moved => (5.0 + 9.0 * long, angle, true),
                    FocusCourse::Usual if which < 0.10 => (4.0 + 8.0 * long, angle, true),
                    FocusCourse::Usual if which < 0.15 => (4.0 + 8.0 * long, angle, false),
                    _ => (0.0, 0.0, true),
                };
                let longer = if self.flash { AMBIENT_LONGER } else { 1.0 };
                let motion = (length_px > 0.0).then_some(HandMotion {
                    length_px: longer * length_px,
                    angle_deg,
                    whole_frame,
                    share: spec.moving_light,
                });
                SimulatedShot {
                    pose,
                    focus_z_px: subject_z_px + off_px,
                    motion,
                    exposure_stops: rng.between(-1.0, 1.0) as f32 * spec.exposure_stops,
                    noise_seed: rng.next_u64(),
                }
            })
            .collect()
    }

    /// Focus of every frame, disc sigma in px, positive in front of the subject.
    fn offsets(&self, rng: &mut SplitMix64) -> Vec<f64> {
        let (n, spread) = (self.spec.frames, self.spec.focus_spread_px);
        match self.course {
            FocusCourse::NeverReached => {
                let own = self.spec.lens.sigma_px(0.0);
                let missed = least_disc_px(&self.spec.lens, MISSED_RATIO * own);
                let missed = rng.between(missed, missed.max(MAX_MISSED_PX));
                let side = if rng.uniform() < 0.5 { 1.0 } else { -1.0 };
                (0..n).map(|_| side * (missed + (0.6 * spread * rng.normal()).abs())).collect()
            }
            FocusCourse::Drifting => {
                let side = if rng.uniform() < 0.5 { 1.0 } else { -1.0 };
                let length = rng.between(3.0, 7.0);
                let through = rng.between(0.15, 0.85);
                let at = |i: usize| length * (i as f64 / (n - 1).max(1) as f64 - through);
                (0..n).map(|i| side * at(i) + 0.25 * spread * rng.normal()).collect()
            }
            _ => (0..n).map(|_| spread * rng.normal()).collect(),
        }
    }

    /// The sensor.
    pub fn sensor(&self) -> &'static SimulatedSensor {
        &SimulatedSensor::ORDINARY
    }
}

/// Where a photographer puts the eye: a third, the middle, or anywhere that the pose leaves.
fn placed(rng: &mut SplitMix64) -> SurfacePlacing {
    let thirds = [1.0 / 3.0, 2.0 / 3.0];
    let (x, y) = match rng.uniform() {
        u if u < 0.5 => (
            thirds[rng.below(2)] + 0.05 * rng.normal(),
            [0.36, 0.5][rng.below(2)] + 0.05 * rng.normal(),
        ),
        u if u < 0.8 => (0.5 + 0.06 * rng.normal(), 0.48 + 0.06 * rng.normal()),
        _ => (rng.between(0.22, 0.78), rng.between(0.25, 0.72)),
    };
    SurfacePlacing {
        x: x.clamp(0.2, 0.8) as f32,
        y: y.clamp(0.22, 0.74) as f32,
        size: rng.between(0.8f64.ln(), 1.5f64.ln()).exp() as f32,
        turn_deg: (12.0 * rng.normal()).clamp(-35.0, 35.0) as f32,
        yaw_deg: (10.0 * rng.normal()).clamp(-22.0, 22.0) as f32,
        mirrored: rng.uniform() < 0.5,
    }
}

/// The disc sigma, px, at which a lens blurs as much as `sigma_px`.
fn least_disc_px(lens: &SimulatedLens, sigma_px: f64) -> f64 {
    let blur_px = |disc_px: f64| lens.sigma_px(lens.w20(lens.dz_um_for_disc_sigma(disc_px)));
    bisect((0.0, 20.0), 40, |disc_px| blur_px(disc_px) < sigma_px).1
}

/// The ISO at which the ordinary sensor shows this much noise at middle grey.
pub fn iso_for(noise_dn: f64) -> f64 {
    let shown_dn = crate::simulator::clip::noise_at_iso_dn;
    bisect_ratio((50.0, 200_000.0), 40, |iso| shown_dn(iso) < noise_dn).0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulator::burst::{TrueCall, TrueCause};
    use crate::simulator::clip::noise_at_iso_dn;

    fn plans() -> Vec<FieldPlan> {
        (0..40)
            .flat_map(|seed| Surface::ALL.map(|surface| FieldPlan::creature(seed, surface)))
            .collect()
    }

    #[test]
    fn plans_are_spread_over_what_they_promise() {
        let plans = plans();
        for course in FocusCourse::ALL {
            let share =
                plans.iter().filter(|p| p.course == course).count() as f64 / plans.len() as f64;
            assert!((0.05..0.55).contains(&share), "{course:?} {share}");
        }
        let at: Vec<SurfacePlacing> = plans.iter().filter_map(|p| p.spec.look.placing).collect();
        let spread = |v: Vec<f64>| {
            let mean = v.iter().sum::<f64>() / v.len() as f64;
            (v.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / v.len() as f64).sqrt()
        };
        assert!(spread(at.iter().map(|p| f64::from(p.x)).collect()) > 0.12);
        assert!(spread(at.iter().map(|p| f64::from(p.y)).collect()) > 0.07);
        for p in &plans {
            assert!((8..=16).contains(&p.spec.frames));
            assert!((85..=95).contains(&p.jpeg_quality));
            assert!((noise_at_iso_dn(p.rendering.iso) / p.noise_dn - 1.0).abs() < 0.01);
        }
        // Flash freezes a part of the light, and a hand that always shakes has none.
        let lit = plans.iter().filter(|p| p.flash).count() as f64 / plans.len() as f64;
        assert!((0.35..0.55).contains(&lit), "{lit}");
        for p in &plans {
            assert_eq!(p.spec.moving_light < 1.0, p.flash);
            assert!(!(p.flash && p.course == FocusCourse::AllShaken));
        }
        // No two bursts share a hand or a scene.
        let mut seeds: Vec<u64> = plans.iter().flat_map(|p| [p.spec.seed, p.hand_seed]).collect();
        seeds.sort_unstable();
        seeds.dedup();
        assert_eq!(seeds.len(), 2 * plans.len());
    }

    /// The first small burst of a course.
    fn small(course: FocusCourse) -> SimulatedBurst {
        let mut plan = (0..)
            .map(|seed| FieldPlan::creature(seed, Surface::Facets))
            .find(|p| p.course == course)
            .unwrap();
        (plan.spec.width_px, plan.spec.height_px) = (240, 160);
        plan.burst()
    }

    #[test]
    fn courses_are_what_they_say() {
        let never = small(FocusCourse::NeverReached);
        assert!(never.truths().iter().all(|t| t.call == TrueCall::Miss));
        let side = never.truths()[0].focus_offset_um.signum();
        assert!(never.truths().iter().all(|t| t.focus_offset_um * side > 0.0));
        let drifting = small(FocusCourse::Drifting);
        let t = drifting.truths();
        assert!(t[0].focus_offset_um * t[t.len() - 1].focus_offset_um < 0.0);
        let shaken = small(FocusCourse::AllShaken);
        assert!(shaken.truths().iter().all(|t| t.motion.is_some()));
        let one = small(FocusCourse::OneMoved);
        assert_eq!(one.truths().iter().filter(|t| t.motion.is_some()).count(), 1);
        let usual = small(FocusCourse::Usual);
        assert!(usual.truths().iter().any(|t| t.call == TrueCall::Hit));
        assert!(usual.truths().iter().any(|t| t.cause == TrueCause::InFocus));
    }

    #[test]
    fn the_eye_is_where_the_plan_puts_it() {
        for seed in 0..12 {
            let mut plan = FieldPlan::creature(seed, Surface::Smooth);
            (plan.spec.width_px, plan.spec.height_px, plan.spec.drift) = (240, 160, 0.0);
            (plan.spec.frames, plan.spec.rotation_deg) = (1, 0.0);
            let placing = plan.spec.look.placing.unwrap();
            let truth = plan.burst().truths()[0];
            assert!((truth.subject_x_px / 240.0 - f64::from(placing.x)).abs() < 0.02, "{truth:?}");
            assert!((truth.subject_y_px / 160.0 - f64::from(placing.y)).abs() < 0.02, "{truth:?}");
        }
    }
}
