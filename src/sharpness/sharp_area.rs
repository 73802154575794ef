//! Where a frame is sharp: its sharpest area, and how large a connected sharp area is.

use std::collections::HashMap;

use image::{GrayImage, Luma};
use imageproc::region_labelling::{Connectivity, connected_components};

use crate::core::Measured;
use crate::sharpness::focus_map::{FocusMap, TILE_PX, Tile};

/// Centre and blur of the sharpest area of a map: the sharpest tile, judged with its neighbours.
pub fn sharpest_area(map: &FocusMap) -> Option<(f64, f64, Measured)> {
    let mut best: Option<(f64, usize, usize, Measured)> = None;
    for r in 0..map.rows {
        for c in 0..map.cols {
            let Some(Tile::Blur { sigma_px, std_err_px }) = map.at(c, r) else { continue };
            // The median of the tile and its neighbours, so that one hard speck does not win.
            let mut near: Vec<f32> = (r.saturating_sub(1)..(r + 2).min(map.rows))
                .flat_map(|rr| (c.saturating_sub(1)..(c + 2).min(map.cols)).map(move |cc| (cc, rr)))
                .filter_map(|(cc, rr)| map.at(cc, rr).and_then(Tile::sigma_px))
                .collect();
            if near.len() < 4 {
                continue;
            }
            near.sort_unstable_by(f32::total_cmp);
            let median = f64::from(near[near.len() / 2].max(*sigma_px));
            if best.as_ref().is_none_or(|b| median < b.0)
                && let Some(m) = Measured::new(median, f64::from(*std_err_px), near.len() as u32)
            {
                best = Some((median, c, r, m));
            }
        }
    }
    let (_, c, r, m) = best?;
    let centre = |i: usize| (i as f64 + 0.5) * TILE_PX as f64;
    Some((centre(c), centre(r), m))
}

/// Size of the largest connected area of sharp 64-px tiles.
pub fn sharp_cluster(map: &FocusMap, limit_px: f64) -> usize {
    let (cols, rows) = (map.cols / 2, map.rows / 2);
    let is_sharp = |c: usize, r: usize| {
        [(0, 0), (1, 0), (0, 1), (1, 1)]
            .iter()
            .filter_map(|(dc, dr)| map.at(2 * c + dc, 2 * r + dr).and_then(Tile::sigma_px))
            .filter(|s| f64::from(*s) <= limit_px)
            .count()
            >= 2
    };
    // One empty column more: imageproc 0.27 has no room for the label of a picture of one pixel.
    let sharp = GrayImage::from_fn(cols as u32 + 1, rows as u32, |c, r| {
        let (c, r) = (c as usize, r as usize);
        Luma([u8::from(c < cols && is_sharp(c, r))])
    });
    let labels = connected_components(&sharp, Connectivity::Four, Luma([0]));
    let mut sizes = HashMap::new();
    for label in labels.iter().filter(|l| **l > 0) {
        *sizes.entry(*label).or_insert(0) += 1;
    }
    sizes.into_values().max().unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A map of 64-px tiles, each of four tiles: `#` is sharp.
    fn map(rows: &[&str]) -> FocusMap {
        let (cols, count) = (2 * rows[0].len(), 2 * rows.len());
        let blur = |c: usize, r: usize| {
            if rows[r / 2].as_bytes()[c / 2] == b'#' { 1.0 } else { 4.0 }
        };
        let tiles = (0..cols * count)
            .map(|i| Tile::Blur { sigma_px: blur(i % cols, i / cols), std_err_px: 0.1 });
        FocusMap {
            cols,
            rows: count,
            tiles: tiles.clone().collect(),
            corrected_tiles: tiles.collect(),
            lap_var: Vec::new(),
        }
    }

    #[test]
    fn tiles_that_touch_by_a_side_hang_together() {
        assert_eq!(sharp_cluster(&map(&["##..", ".#.#", "...#"]), 2.0), 3);
        // A corner is no side.
        assert_eq!(sharp_cluster(&map(&["#.", ".#"]), 2.0), 1);
        assert_eq!(sharp_cluster(&map(&["####", "####"]), 2.0), 8);
        assert_eq!(sharp_cluster(&map(&["#.#", "###"]), 2.0), 5);
        assert_eq!(sharp_cluster(&map(&["..", ".."]), 2.0), 0);
        assert_eq!(sharp_cluster(&map(&["#"]), 2.0), 1);
        assert_eq!(sharp_cluster(&map(&["#", "#"]), 2.0), 2);
        assert_eq!(sharp_cluster(&map(&[""]), 2.0), 0);
    }
}
