//! How a creature stands in the frame and which place of its eye is the subject.

use crate::simulator::scene::SceneSpec;
use crate::simulator::solid::{Matter, Solid, Vec3, unit};
use crate::simulator::surface::SurfacePlacing;

/// The place of the eye that matters: the one that faces the lens.
pub(super) fn subject_point(eye: &Solid) -> Vec3 {
    // The usual pose looks at this place of the eye's own sphere.
    eye.surface(unit([-0.15, 0.0, 1.0])).0
}

/// Turns the bodies about the eye and brings it to its place in the frame.
pub(super) fn place(solids: &mut [Solid], placing: &SurfacePlacing, spec: &SceneSpec) {
    let Some(eye) = solids.iter().find(|s| s.matter == Matter::Eye).map(subject_point) else {
        return;
    };
    let (x, y) = (
        (placing.x - 0.5) * spec.width_px as f32 * if placing.mirrored { -1.0 } else { 1.0 },
        (placing.y - 0.5) * spec.height_px as f32,
    );
    for solid in solids {
        *solid = solid.turned(eye, placing.turn_deg, placing.yaw_deg).moved([
            x - eye[0],
            y - eye[1],
            0.0,
        ]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::random::SplitMix64;
    use crate::simulator::creature::{nearest, plan};
    use crate::simulator::field::FieldPlan;
    use crate::simulator::skin::creature_px;
    use crate::simulator::surface::Surface;

    #[test]
    fn the_eye_is_seen_where_the_subject_of_a_placed_creature_is() {
        for seed in 0..200 {
            let burst = FieldPlan::creature(seed, Surface::Smooth).spec;
            let spec = SceneSpec {
                kind: burst.kind,
                seed: burst.seed,
                width_px: burst.width_px,
                height_px: burst.height_px,
                relief_px: burst.relief_px,
                colour: burst.colour,
                look: burst.look,
            };
            let mut solids = plan(&mut SplitMix64::new(seed), creature_px(&spec));
            place(&mut solids, &spec.look.placing.unwrap(), &spec);
            let eye = solids.iter().find(|s| s.matter == Matter::Eye).unwrap();
            let point = subject_point(eye);
            let all: Vec<&Solid> = solids.iter().collect();
            let (hit, seen) = nearest(&all, point[0], point[1]).unwrap();
            assert!(std::ptr::eq(seen, eye), "seed {seed}: {:?}", seen.matter);
            assert!((hit.z - point[2]).abs() < 0.5, "seed {seed}: {} {}", hit.z, point[2]);
        }
    }
}
