//! Where a frame is sharp: its sharpest area, and how large a sharp area hangs together.

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
    let mut sharp = vec![false; cols * rows];
    for r in 0..rows {
        for c in 0..cols {
            let count = [(0, 0), (1, 0), (0, 1), (1, 1)]
                .iter()
                .filter_map(|(dc, dr)| map.at(2 * c + dc, 2 * r + dr).and_then(Tile::sigma_px))
                .filter(|s| f64::from(*s) <= limit_px)
                .count();
            sharp[r * cols + c] = count >= 2;
        }
    }
    let mut largest = 0;
    let mut stack = Vec::new();
    for start in 0..sharp.len() {
        if !std::mem::take(&mut sharp[start]) {
            continue;
        }
        let mut size = 0;
        stack.push(start);
        while let Some(i) = stack.pop() {
            size += 1;
            let (c, r) = (i % cols, i / cols);
            let mut visit = |c: usize, r: usize| {
                let j = r * cols + c;
                if std::mem::take(&mut sharp[j]) {
                    stack.push(j);
                }
            };
            if c > 0 {
                visit(c - 1, r);
            }
            if c + 1 < cols {
                visit(c + 1, r);
            }
            if r > 0 {
                visit(c, r - 1);
            }
            if r + 1 < rows {
                visit(c, r + 1);
            }
        }
        largest = largest.max(size);
    }
    largest
}
