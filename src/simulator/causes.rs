//! Single frames whose cause of blur is known, for testing cause finding.

use crate::core::random::SplitMix64;
use crate::simulator::burst::{BurstSpec, SimFrame, SimulatedBurst, SimulatedShot, TrueCause};
use crate::simulator::camera::{HandMotion, Pose};
use crate::simulator::scene::{Scene, SceneKind, SceneSpec};

/// Classes of frames.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CauseClass {
    /// Focus on the subject.
    InFocus,
    /// Focus elsewhere in the frame.
    Misfocused,
    /// Focus on the subject, the whole frame moved 5 to 12 px.
    Movement,
    /// Focus in front of or behind everything.
    Soft,
}

impl CauseClass {
    /// All of them.
    pub const ALL: [CauseClass; 4] =
        [CauseClass::InFocus, CauseClass::Misfocused, CauseClass::Movement, CauseClass::Soft];
}

/// A frame of the class over a scene with depth ([`SceneKind::DepthRamp`], [`SceneKind::Hairs`],
/// [`SceneKind::Stripes`] or [`SceneKind::Insect`]), 768x576 px, and an in-focus frame of the same
/// scene. `None` when the scene drawn has nothing sharp to miss focus on (misfocused only).
pub fn frames(
    class: CauseClass,
    kind: SceneKind,
    noise_dn: f64,
    seed: u64,
) -> Option<(SimFrame, SimFrame)> {
    let spec = BurstSpec {
        width_px: 768,
        height_px: 576,
        frames: 2,
        ..BurstSpec::usual(kind, seed, noise_dn)
    };
    let scene = Scene::make(&SceneSpec {
        kind,
        seed,
        width_px: spec.width_px,
        height_px: spec.height_px,
        relief_px: spec.relief_px,
        colour: false,
        look: spec.look,
    });
    let mut rng = SplitMix64::new(seed ^ 0xca05e5);
    let on_subject = |sigma_px: f64| {
        (spec.lens.dz_um_for_disc_sigma(sigma_px) / spec.lens.object_um_per_px()) as f32
    };
    let pose = Pose {
        centre_px: scene.subject_px,
        rotation_deg: rng.between(-3.0, 3.0) as f32,
        scale: 1.0,
    };
    let reference = SimulatedShot {
        pose,
        focus_z_px: scene.subject_z_px,
        motion: None,
        exposure_stops: 0.0,
        noise_seed: rng.next_u64(),
    };
    let off_px = on_subject(rng.between(2.5, 4.5));
    let shot = SimulatedShot { noise_seed: rng.next_u64(), ..reference };
    let candidates = match class {
        CauseClass::InFocus => vec![shot],
        CauseClass::Movement => vec![SimulatedShot {
            motion: Some(HandMotion {
                length_px: rng.between(5.0, 12.0),
                angle_deg: rng.between(0.0, 180.0),
                whole_frame: true,
                share: 1.0,
            }),
            ..shot
        }],
        CauseClass::Misfocused => vec![
            SimulatedShot { focus_z_px: shot.focus_z_px + off_px, ..shot },
            SimulatedShot { focus_z_px: shot.focus_z_px - off_px, ..shot },
        ],
        CauseClass::Soft => {
            let nearest = scene.layers.iter().map(|l| l.depth.range().1).fold(f32::MIN, f32::max);
            vec![SimulatedShot { focus_z_px: nearest + off_px, ..shot }]
        }
    };
    let wanted = match class {
        CauseClass::InFocus => TrueCause::InFocus,
        CauseClass::Misfocused => TrueCause::Misfocused,
        CauseClass::Movement => TrueCause::Shake,
        CauseClass::Soft => TrueCause::Soft,
    };
    candidates.into_iter().find_map(|shot| {
        let burst = SimulatedBurst::of_shots(spec, scene.clone(), vec![reference, shot]);
        let found = burst.truths().get(1).is_some_and(|t| t.cause == wanted);
        if found { Some((burst.frame(1)?, burst.frame(0)?)) } else { None }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_class_is_what_it_says() {
        for class in CauseClass::ALL {
            let (frame, reference) = frames(class, SceneKind::DepthRamp, 2.0, 11).unwrap();
            let ratio = frame.truth.sigma_total_px / reference.truth.sigma_total_px;
            match class {
                CauseClass::InFocus => assert!(ratio < 1.01),
                _ => assert!(ratio > 1.3, "{class:?}: {ratio}"),
            }
        }
    }
}
