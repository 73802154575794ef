//! The straight edge of a series: where it lies, and its response at each step.
//!
//! An edge that was not given is looked for in the region of the reference. The conditions of
//! [`crate::sharpness::edge`] are strict, and a found edge has to be cleaner than they ask; whether
//! it belongs to a ruler or to something alive nothing here can tell.

use super::area::{MARGIN_PX, RegionArea};
use crate::compare::record::{EdgePoint, EdgeRecord};
use crate::core::{Measured, Plane};
use crate::sharpness::edge::{EdgeResponse, NoEdge, measure_edge};

/// Side of the window in which an edge is looked for, px.
const WINDOW_PX: usize = 96;
/// Windows lie this far apart, px.
const STEP_PX: usize = 48;
/// Side of the corners that are compared before a window is measured, px.
const CORNER_PX: usize = 20;
/// Corners of a window with an edge differ by this share of white, and by this many times what
/// they vary within.
const CORNER_STEP: (f64, f64) = (0.08, 6.0);
/// A found edge scatters by less than this about its line, px.
const FOUND_SCATTER_PX: f64 = 0.12;
/// The step of a found edge over the noise of a sample.
const FOUND_OVER_NOISE: f64 = 12.0;

/// The cleanest edge of a region with its margin, as a box in that plane.
pub(super) fn find(plane: &Plane) -> Option<RegionArea> {
    let places = |size: usize| {
        let last = size.saturating_sub(MARGIN_PX + WINDOW_PX);
        (MARGIN_PX..=last).step_by(STEP_PX)
    };
    let mut best: Option<(f64, RegionArea)> = None;
    for y0 in places(plane.height_px) {
        for x0 in places(plane.width_px) {
            if !stepped(plane, x0, y0) {
                continue;
            }
            let Ok(edge) = measure_edge(&plane.cut(x0, y0, WINDOW_PX, WINDOW_PX)) else { continue };
            let over = edge.step_over_noise.unwrap_or(f64::INFINITY);
            let clean = edge.scatter_px < FOUND_SCATTER_PX && over > FOUND_OVER_NOISE;
            if clean && edge.mtf50_cy_px.is_some() && best.is_none_or(|b| over > b.0) {
                best = Some((over, RegionArea { x0, y0, w: WINDOW_PX, h: WINDOW_PX }));
            }
        }
    }
    best.map(|b| b.1)
}

/// Whether the corners of a window are level and differ.
fn stepped(plane: &Plane, x0: usize, y0: usize) -> bool {
    let far = WINDOW_PX - CORNER_PX;
    let corners = [(0, 0), (far, 0), (0, far), (far, far)].map(|(dx, dy)| {
        let (mut sum, mut square) = (0.0f64, 0.0f64);
        for y in 0..CORNER_PX {
            for v in &plane.row(y0 + dy + y)[x0 + dx..x0 + dx + CORNER_PX] {
                sum += f64::from(*v);
                square += f64::from(*v) * f64::from(*v);
            }
        }
        let n = (CORNER_PX * CORNER_PX) as f64;
        (sum / n, (square / n - (sum / n).powi(2)).max(0.0).sqrt())
    });
    let mut means = corners.map(|c| c.0);
    means.sort_by(f64::total_cmp);
    let mut within = corners.map(|c| c.1);
    within.sort_by(f64::total_cmp);
    let step = means[3] - means[0];
    // The edge may run through two of the corners; the others are level.
    step > CORNER_STEP.0 * f64::from(plane.white_dn) && step > CORNER_STEP.1 * within[1]
}

/// The edge of a step from that of its frames, or why there is none.
pub(super) fn of_step(frames: &[&Result<EdgeResponse, NoEdge>]) -> Option<EdgeRecord> {
    let measured: Vec<&EdgeResponse> = frames.iter().filter_map(|f| f.as_ref().ok()).collect();
    let Some(first) = measured.first() else {
        let Err(reason) = frames.first()? else { return None };
        return Some(EdgeRecord {
            mtf50_cy_px: None,
            mtf10_cy_px: None,
            slant_deg: None,
            curve: Vec::new(),
            refused: Some(reason.to_string()),
        });
    };
    let n = measured.len() as f64;
    let mean = |of: &dyn Fn(&EdgeResponse) -> f64| measured.iter().map(|e| of(e)).sum::<f64>() / n;
    Some(EdgeRecord {
        mtf50_cy_px: joined(measured.iter().map(|e| e.mtf50_cy_px)),
        mtf10_cy_px: joined(measured.iter().map(|e| e.mtf10_cy_px)),
        slant_deg: Some(mean(&|e| e.slant_deg)),
        curve: (0..first.curve.len())
            .map(|i| EdgePoint {
                cy_px: mean(&|e| e.curve.get(i).map_or(0.0, |p| p.0)),
                modulation: mean(&|e| e.curve.get(i).map_or(0.0, |p| p.1)),
            })
            .collect(),
        refused: None,
    })
}

/// The mean of some frames' values: its error is theirs, or how far they lie apart when that is
/// more.
fn joined(values: impl Iterator<Item = Option<Measured>>) -> Option<Measured> {
    let values: Vec<Measured> = values.collect::<Option<_>>()?;
    let first = values.first()?;
    let n = values.len() as f64;
    let value = values.iter().map(|m| m.value).sum::<f64>() / n;
    let own = values.iter().map(|m| m.std_err.unwrap_or(0.0).powi(2)).sum::<f64>().sqrt() / n;
    let apart = values.iter().map(|m| (m.value - value).powi(2)).sum::<f64>();
    let apart = if n > 1.0 { (apart / (n - 1.0) / n).sqrt() } else { 0.0 };
    Some(Measured { value, std_err: Some(own.max(apart)), ..*first })
}
