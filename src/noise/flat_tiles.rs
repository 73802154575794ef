//! Tiles of a frame among which the flat ones are looked for.

use crate::core::{Luma, with_simd};

/// Side of a tile, px.
pub(crate) const SIDE: usize = 16;
/// Tiles start at multiples of this, so they keep step with the 8x8 blocks of a JPEG.
const STEP: usize = 8;
/// Darker or brighter than this a tile may hold clipped pixels, DN.
const DARKEST_DN: i32 = 4;
const BRIGHTEST_DN: i32 = 251;
/// Below this variance a tile holds no noise, only a constant (painted, clipped), DN².
const MIN_VARIANCE: f64 = 0.1;

/// A tile that may be flat.
#[derive(Debug, Clone, Copy)]
pub(crate) struct FlatTile {
    pub(crate) x0: u32,
    pub(crate) y0: u32,
    pub(crate) mean_dn: f64,
    pub(crate) variance: f64,
}

/// Tiles of the frame that are neither clipped nor constant.
pub(crate) fn sample(luma: &Luma<'_>, most: usize) -> Vec<FlatTile> {
    let places = |size: usize| size.checked_sub(SIDE).map_or(0, |s| s / STEP + 1);
    let (nx, ny) = (places(luma.width_px()), places(luma.height_px()));
    if nx * ny <= most {
        return (0..nx * ny).filter_map(|i| look(luma, i % nx * STEP, i / nx * STEP)).collect();
    }
    // Cells as square as the counts allow; at least one place each. All cells of one band share
    // their rows, so that memory is read in order: four times faster on 24 Mpx than rows of
    // their own.
    let across = ((most as f64 * nx as f64 / ny as f64).sqrt() as usize).clamp(1, nx);
    let down = (most / across).clamp(1, ny);
    let place = |cell: usize, cells: usize, places: usize, chance: u64| {
        let (from, to) = (cell * places / cells, (cell + 1) * places / cells);
        (from + (chance >> 32) as usize % (to - from)) * STEP
    };
    let mut found = Vec::with_capacity(across * down);
    for band in 0..down {
        let y0 = place(band, down, ny, scramble(band as u64));
        for cell in 0..across {
            let chance = scramble((down + band * across + cell) as u64);
            found.extend(look(luma, place(cell, across, nx, chance), y0));
        }
    }
    found
}

/// Fixed pseudo-random word of a cell's number (the finaliser of SplitMix64), so that no
/// regular pattern of the scene can keep step with the tiles.
fn scramble(cell: u64) -> u64 {
    let mut z = cell.wrapping_add(1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

/// Mean and plane-free variance of a tile; `None` when it is clipped or constant.
fn look(luma: &Luma<'_>, x0: usize, y0: usize) -> Option<FlatTile> {
    with_simd(
        #[inline(always)]
        || look_here(luma, x0, y0),
    )
}

#[inline(always)]
fn look_here(luma: &Luma<'_>, x0: usize, y0: usize) -> Option<FlatTile> {
    let mut row = [0i16; SIDE];
    let (mut lowest, mut highest) = (i16::MAX, i16::MIN);
    // Exact: 256 samples below 2041, so squares stay below 2^31 and products below 2^53.
    let (mut sum, mut squares, mut along_x, mut along_y) = (0i32, 0i32, 0i32, 0i32);
    for y in 0..SIDE {
        luma.fill_eighths(y0 + y, x0, &mut row);
        let (mut s, mut sx) = (0i32, 0i32);
        for (x, v) in row.iter().enumerate() {
            lowest = lowest.min(*v);
            highest = highest.max(*v);
            let v = i32::from(*v);
            s += v;
            sx += v * (2 * x as i32 - (SIDE as i32 - 1));
            squares += v * v;
        }
        sum += s;
        along_x += sx;
        along_y += s * (2 * y as i32 - (SIDE as i32 - 1));
    }
    if i32::from(lowest) <= 8 * DARKEST_DN || i32::from(highest) >= 8 * BRIGHTEST_DN {
        return None;
    }
    const CELLS: f64 = (SIDE * SIDE) as f64;
    // Σ (2x − 15)² over the tile, and eighths squared to DN².
    const SPREAD: f64 = CELLS * (CELLS - 1.0) / 3.0;
    let (sum, gx, gy) = (f64::from(sum), f64::from(along_x), f64::from(along_y));
    let residual = f64::from(squares) - sum * sum / CELLS - (gx * gx + gy * gy) / SPREAD;
    let variance = residual / 64.0 / (CELLS - 3.0);
    (variance > MIN_VARIANCE).then_some(FlatTile {
        x0: x0 as u32,
        y0: y0 as u32,
        mean_dn: sum / CELLS / 8.0,
        variance,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::random::SplitMix64;

    #[test]
    fn a_sample_has_no_more_tiles_than_asked_for_and_hardly_fewer() {
        let (width_px, height_px) = (1200, 800);
        let mut random = SplitMix64::new(3);
        let data: Vec<u8> =
            (0..width_px * height_px).map(|_| (100.0 + 50.0 * random.uniform()) as u8).collect();
        let luma = Luma::U8 { data: &data, channels: 1, width_px, height_px };
        let all = sample(&luma, usize::MAX).len();
        for most in [40, 400, 4000] {
            assert!(most < all, "{all}");
            let taken = sample(&luma, most).len();
            assert!(taken <= most && taken * 10 > most * 8, "{taken} of {most}");
        }
        assert_eq!(sample(&luma, all).len(), all);
    }
}
