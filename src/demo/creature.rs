//! The creature.
use crate::demo::scene::{Scene, SceneKind, SceneSpec};
pub(super) fn make(spec: &SceneSpec) -> Scene {
    Scene::make(&SceneSpec { kind: SceneKind::DepthRamp, ..*spec })
}
