//! Where the subject is in every frame of a burst.

use serde::{Deserialize, Serialize};

use super::frame_features::FrameFeatures;
use crate::sharpness::focus_map::{FocusMap, TILE_PX, Tile};
use crate::tracking::template::{self, FOUND, TemplateMatch, WHOLE_FOUND};

/// Where the subject is in one frame.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SubjectPosition {
    /// Position, px of the file.
    pub x_px: f64,
    /// Position, px of the file.
    pub y_px: f64,
    /// 0..1: the correlation with which it was found; 1 where it was marked.
    pub confidence: f64,
}

/// A neighbour's pattern may stand in for the marked one when it was found this surely.
const CHAIN_FOUND: f32 = 0.6;
/// A following better than this needs no second opinion.
const SURE: f32 = 0.75;
/// Most that a whole-frame shift alone can vouch for.
const WHOLE_CONFIDENCE: f64 = 0.4;
/// A chained place may beat the direct one by this much correlation and no less.
const CHAIN_MARGIN: f32 = 0.05;

/// Follows a spot of frame `from` through all frames; `None` where it is lost.
pub fn track_template_through(
    shots: &[&FrameFeatures],
    from: usize,
    x_px: f64,
    y_px: f64,
) -> Vec<Option<SubjectPosition>> {
    let mut places: Vec<Option<SubjectPosition>> = vec![None; shots.len()];
    places[from] = Some(SubjectPosition { x_px, y_px, confidence: 1.0 });
    let outward =
        [(from + 1..shots.len()).collect::<Vec<_>>(), (0..from).rev().collect::<Vec<_>>()];
    for order in outward {
        let mut near = (x_px, y_px);
        let mut last = from;
        let mut last_found = 1.0f32;
        for i in order {
            let (found, confidence) =
                match follow_one(shots, from, (x_px, y_px), i, near, (last, last_found)) {
                    Some(f) => f,
                    None => continue,
                };
            near = found;
            if confidence >= f64::from(FOUND) {
                last = i;
                last_found = confidence as f32;
            }
            places[i] = Some(SubjectPosition { x_px: found.0, y_px: found.1, confidence });
        }
    }
    places
}

fn follow_one(
    shots: &[&FrameFeatures],
    from: usize,
    start: (f64, f64),
    to: usize,
    near: (f64, f64),
    (last, last_found): (usize, f32),
) -> Option<((f64, f64), f64)> {
    let pair = |i: usize| (&shots[i].patterns[0], &shots[i].patterns[1]);
    if (shots[from].width_px, shots[from].height_px) != (shots[to].width_px, shots[to].height_px) {
        return None;
    }
    let inside = |x: f64, y: f64| {
        (0.0..shots[to].width_px as f64).contains(&x)
            && (0.0..shots[to].height_px as f64).contains(&y)
    };
    let direct = template::track_template(pair(from), pair(to), start, near);
    let best = if last != from && needs_second_opinion(direct, last_found) {
        // The neighbour looks more alike than the first frame: its focus and pose are nearer.
        let chained = template::track_template(pair(last), pair(to), near, near);
        better(direct, chained, last_found)
    } else {
        direct
    };
    if let Some(m) = best
        && m.peak >= FOUND
        && inside(m.x_px, m.y_px)
    {
        return Some(((m.x_px, m.y_px), f64::from(m.peak.min(1.0))));
    }
    let whole = template::whole_shift(&shots[last].patterns[2], &shots[to].patterns[2])?;
    let (at, confidence) = carried(near, whole)?;
    inside(at.0, at.1).then_some((at, confidence))
}

/// Whether a neighbour that was found as surely as `last_found` is asked where the spot is.
fn needs_second_opinion(direct: Option<TemplateMatch>, last_found: f32) -> bool {
    direct.is_none_or(|m| m.peak < SURE) && last_found >= CHAIN_FOUND
}

/// The direct match, or the one by way of the neighbour where that is better by a margin.
fn better(
    direct: Option<TemplateMatch>,
    chained: Option<TemplateMatch>,
    last_found: f32,
) -> Option<TemplateMatch> {
    let chained = chained.map(|c| TemplateMatch { peak: c.peak * last_found, ..c });
    match (direct, chained) {
        (Some(direct), Some(chained)) if chained.peak > direct.peak + CHAIN_MARGIN => Some(chained),
        (None, chained) => chained,
        (direct, _) => direct,
    }
}

/// A place carried along by a shift of the whole frame, and how far that vouches for it.
fn carried(near: (f64, f64), whole: TemplateMatch) -> Option<((f64, f64), f64)> {
    let at = (near.0 + whole.x_px, near.1 + whole.y_px);
    let confidence = WHOLE_CONFIDENCE * f64::from(whole.peak.min(1.0));
    (whole.peak > WHOLE_FOUND).then_some((at, confidence))
}

/// A subject found without a mark.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrackedSubject {
    /// Frame in which it is placed (the sharpest there).
    pub frame: usize,
    /// Position, px of the file.
    pub x_px: f64,
    /// Position, px of the file.
    pub y_px: f64,
}

/// Width of the prior about the frame's centre, share of its width.
const PRIOR_SD: f64 = 0.20;
/// What is added to blur squared, so that no tile is endlessly good, px².
const BLUR_SOFTENING: f32 = 2.0;
/// A rival this near the best place is the same place, share of the width.
const SAME_PLACE: f64 = 0.08;

/// Sharpness of a tile, 0 where nothing can be said.
fn sharpness(tile: &Tile) -> f32 {
    match *tile {
        Tile::Blur { sigma_px, .. } => 1.0 / (sigma_px * sigma_px + BLUR_SOFTENING),
        Tile::Bound(px) => 0.5 / (px * px + BLUR_SOFTENING),
        Tile::NoTexture => 0.0,
    }
}

/// Mean over 3x3 tiles.
fn spread(values: &[f32], cols: usize, rows: usize) -> Vec<f32> {
    let mut out = vec![0f32; values.len()];
    for r in 0..rows {
        for c in 0..cols {
            let mut sum = 0f32;
            for rr in r.saturating_sub(1)..(r + 2).min(rows) {
                for cc in c.saturating_sub(1)..(c + 2).min(cols) {
                    sum += values[rr * cols + cc];
                }
            }
            out[r * cols + c] = sum / 9.0;
        }
    }
    out
}

/// Finds the subject of a burst: where, over its sharper frames, focus was best near the centre.
///
/// Frames are laid over each other by the shift of the whole frame. `None` when no tile of any
/// frame holds structure.
pub fn track_subject(shots: &[&FrameFeatures], maps: &[FocusMap]) -> Option<TrackedSubject> {
    let middle = shots.len() / 2;
    let size = |map: &FocusMap| (map.cols, map.rows);
    let shift = |i: usize| {
        if i == middle {
            return Some((0.0, 0.0));
        }
        let shift = || template::whole_shift(&shots[middle].patterns[2], &shots[i].patterns[2]);
        let is_same = size(&maps[i]) == size(&maps[middle]);
        is_same.then(shift)?.filter(|m| m.peak > WHOLE_FOUND).map(|m| (m.x_px, m.y_px))
    };
    let shifts: Vec<Option<(f64, f64)>> = (0..maps.len()).map(shift).collect();
    let sizes: Vec<(usize, usize)> = shots.iter().map(|s| (s.width_px, s.height_px)).collect();
    sharpest_place(maps, &shifts, &sizes)
}

/// The sharpest place near the centre over all frames that are laid over the middle one, and the
/// frame that is sharpest there. `sizes` are those of the frames, px.
fn sharpest_place(
    maps: &[FocusMap],
    shifts: &[Option<(f64, f64)>],
    sizes: &[(usize, usize)],
) -> Option<TrackedSubject> {
    let middle = maps.len() / 2;
    let (cols, rows) = (maps[middle].cols, maps[middle].rows);
    let fields: Vec<Vec<f32>> = maps.iter().map(field).collect();
    let score = scores(&fields, shifts, (cols, rows), sizes[middle].0);
    let best = (0..score.len()).max_by(|a, b| score[*a].total_cmp(&score[*b]).then(b.cmp(a)))?;
    if score[best] <= 0.0 {
        return None;
    }
    let (bc, br) = (best % cols, best / cols);
    // Place it in the frame that is sharpest there.
    let mut sharpest = (middle, bc as f64, br as f64, f32::MIN);
    for (i, shift) in shifts.iter().enumerate() {
        let Some((dx, dy)) = shift else { continue };
        let c = bc as f64 + dx / TILE_PX as f64;
        let r = br as f64 + dy / TILE_PX as f64;
        let (ci, ri) = (c.round(), r.round());
        if ci < 0.0 || ri < 0.0 || ci as usize >= cols || ri as usize >= rows {
            continue;
        }
        let v = fields[i][ri as usize * cols + ci as usize];
        if v > sharpest.3 {
            sharpest = (i, c, r, v);
        }
    }
    let (frame, c, r, _) = sharpest;
    let tile = TILE_PX as f64;
    let most = (sizes[frame].0 as f64 - 1.0, sizes[frame].1 as f64 - 1.0);
    Some(TrackedSubject {
        frame,
        x_px: ((c + 0.5) * tile).clamp(0.0, most.0),
        y_px: ((r + 0.5) * tile).clamp(0.0, most.1),
    })
}

/// Sharpness of every tile and its neighbours.
fn field(map: &FocusMap) -> Vec<f32> {
    let plain: Vec<f32> = map.tiles.iter().map(sharpness).collect();
    spread(&plain, map.cols, map.rows)
}

/// Mean sharpness of every tile of the middle frame over the frames laid over it, by the prior
/// about the centre.
fn scores(
    fields: &[Vec<f32>],
    shifts: &[Option<(f64, f64)>],
    (cols, rows): (usize, usize),
    width_px: usize,
) -> Vec<f64> {
    let mut stacks: Vec<Vec<f32>> = vec![Vec::new(); cols * rows];
    for (field, shift) in fields.iter().zip(shifts) {
        let Some((dx, dy)) = shift else { continue };
        let (sx, sy) = (dx / TILE_PX as f64, dy / TILE_PX as f64);
        for r in 0..rows {
            for c in 0..cols {
                let cc = (c as f64 + sx).round();
                let rr = (r as f64 + sy).round();
                if cc >= 0.0 && rr >= 0.0 && (cc as usize) < cols && (rr as usize) < rows {
                    stacks[r * cols + c].push(field[rr as usize * cols + cc as usize]);
                }
            }
        }
    }
    let (cx, cy) = (cols as f64 / 2.0, rows as f64 / 2.0);
    let sd = PRIOR_SD * width_px as f64 / TILE_PX as f64;
    let mut score = vec![0f64; cols * rows];
    for r in 0..rows {
        for c in 0..cols {
            let stack = &mut stacks[r * cols + c];
            if stack.is_empty() {
                continue;
            }
            // Sorted, so that the sum does not depend on the order of the frames.
            stack.sort_unstable_by(|a, b| b.total_cmp(a));
            let mean = stack.iter().sum::<f32>() / stack.len() as f32;
            let d2 = (c as f64 + 0.5 - cx).powi(2) + (r as f64 + 0.5 - cy).powi(2);
            score[r * cols + c] = f64::from(mean) * (-0.5 * d2 / (sd * sd)).exp();
        }
    }
    score
}

/// The sharpest places of one map near the frame's centre, px of the file, with their weight.
pub fn peaks(map: &FocusMap, width_px: f64, most: usize) -> Vec<(f64, f64, f32)> {
    let field = field(map);
    let sd = PRIOR_SD * width_px / TILE_PX as f64;
    let (cx, cy) = (map.cols as f64 / 2.0, map.rows as f64 / 2.0);
    let mut score: Vec<(f32, usize)> = field
        .iter()
        .enumerate()
        .map(|(i, v)| {
            let (c, r) = ((i % map.cols) as f64 + 0.5, (i / map.cols) as f64 + 0.5);
            let d2 = (c - cx).powi(2) + (r - cy).powi(2);
            (v * (-0.5 * d2 / (sd * sd)).exp() as f32, i)
        })
        .filter(|(v, _)| *v > 0.0)
        .collect();
    score.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let apart = SAME_PLACE * width_px / TILE_PX as f64;
    let mut found: Vec<(f64, f64, f32)> = Vec::new();
    for (v, i) in score {
        if found.len() >= most {
            break;
        }
        let (c, r) = ((i % map.cols) as f64, (i / map.cols) as f64);
        let tile = TILE_PX as f64;
        let far = |f: &(f64, f64, f32)| (f.0 / tile - c - 0.5).hypot(f.1 / tile - r - 0.5) > apart;
        if found.iter().all(far) {
            found.push(((c + 0.5) * tile, (r + 0.5) * tile, v));
        }
    }
    found
}

#[cfg(test)]
mod tests;
