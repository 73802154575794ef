//! Whether a frame that missed its subject is sharp somewhere else.

use super::burst_verdict::FrameVerdict;

/// Sharp 64-px tiles that must hang together to count as a sharp area where the burst's planes are
/// not known, and where they are.
pub const MIN_CLUSTER: usize = 8;
/// See [`MIN_CLUSTER`].
pub const MIN_CLUSTER_IN_PLANE: usize = 4;
/// Area that must lie in a frame's plane for something in it to be sharp, px²: ten such tiles.
/// Edges alone are fooled by patterns and specks.
pub const MIN_IN_PLANE_PX2: f64 = 10.0 * 64.0 * 64.0;
/// The same from which no edges need be seen, as noise hides them: 1211 simulated frames were told
/// misfocused from soft wrongly 69 times, with edges asked of all of them 106 times.
pub const SURE_IN_PLANE_PX2: f64 = 20.0 * 64.0 * 64.0;

/// Whether something in a frame is sharp, wherever it lies.
pub fn is_sharp_elsewhere(frame: &FrameVerdict) -> bool {
    match frame.in_plane_px2 {
        Some(px2) if px2 >= SURE_IN_PLANE_PX2 => true,
        Some(px2) => frame.sharp_cluster >= MIN_CLUSTER_IN_PLANE && px2 >= MIN_IN_PLANE_PX2,
        None => frame.sharp_cluster >= MIN_CLUSTER,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn enough_must_be_sharp_and_in_the_plane_where_that_is_known() {
        let of = |sharp_cluster, in_plane_px2| {
            is_sharp_elsewhere(&FrameVerdict {
                sharp_cluster,
                in_plane_px2,
                ..FrameVerdict::unjudged(None)
            })
        };
        assert!(of(MIN_CLUSTER, None) && !of(MIN_CLUSTER - 1, None));
        assert!(of(MIN_CLUSTER_IN_PLANE, Some(MIN_IN_PLANE_PX2)));
        assert!(!of(MIN_CLUSTER_IN_PLANE - 1, Some(SURE_IN_PLANE_PX2 - 1.0)));
        assert!(!of(MIN_CLUSTER, Some(MIN_IN_PLANE_PX2 - 1.0)));
        assert!(of(0, Some(SURE_IN_PLANE_PX2)));
    }
}
