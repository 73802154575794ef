//! Every limit of following a subject on both sides.

use super::*;

fn found(peak: f32) -> TemplateMatch {
    TemplateMatch { x_px: 10.0, y_px: 20.0, peak }
}

#[test]
fn a_neighbour_is_asked_where_the_direct_match_is_unsure_and_its_own_was_not() {
    let asked = |peak, last| needs_second_opinion(Some(found(peak)), last);
    assert!(asked(SURE - 0.01, 0.9) && !asked(SURE, 0.9));
    assert!(asked(0.5, CHAIN_FOUND) && !asked(0.5, CHAIN_FOUND - 0.01));
    assert!(needs_second_opinion(None, CHAIN_FOUND));
    assert!(!needs_second_opinion(None, CHAIN_FOUND - 0.01));
}

#[test]
fn a_chained_place_must_be_better_by_a_margin() {
    // Found from the neighbour beyond doubt, which was found itself to 0.8.
    let chained = |direct: f32| better(Some(found(direct)), Some(found(1.0)), 0.8).unwrap().peak;
    let even = 0.8 - CHAIN_MARGIN;
    assert!((chained(even - 0.001) - 0.8).abs() < 1e-6);
    assert!((chained(even + 0.001) - even - 0.001).abs() < 1e-6);
    assert_eq!(better(Some(found(0.3)), None, 0.8), Some(found(0.3)));
    assert_eq!(better(None, Some(found(0.5)), 1.0), Some(found(0.5)));
    assert_eq!(better(None, None, 1.0), None);
}

#[test]
fn a_shift_of_the_whole_frame_vouches_for_little() {
    let (at, confidence) = carried((100.0, 200.0), found(0.9)).unwrap();
    assert_eq!(at, (110.0, 220.0));
    assert!((confidence - 0.9 * WHOLE_CONFIDENCE).abs() < 1e-6);
    assert!(carried((0.0, 0.0), found(WHOLE_FOUND + 0.01)).is_some());
    assert!(carried((0.0, 0.0), found(WHOLE_FOUND)).is_none());
    // Never as much as finding the spot itself: no frame is chained to such a one.
    let most = carried((0.0, 0.0), found(2.0)).unwrap().1;
    assert!((most - WHOLE_CONFIDENCE).abs() < 1e-9 && most < f64::from(FOUND));
}

/// A map of 55 by 21 tiles with squares of three about some tiles of its middle row.
fn map(squares: &[(usize, Tile)]) -> FocusMap {
    let (cols, rows) = (55, 21);
    let mut tiles = vec![Tile::NoTexture; cols * rows];
    for (middle, tile) in squares {
        for row in 9..12 {
            tiles[row * cols + middle - 1..row * cols + middle + 2].fill(*tile);
        }
    }
    let lap_var = vec![0.0; tiles.len()];
    FocusMap { cols, rows, corrected_tiles: tiles.clone(), tiles, lap_var }
}

const SIZE: (usize, usize) = (55 * TILE_PX, 21 * TILE_PX);

/// Edges of this sharpness.
fn edges(sharpness: f32) -> Tile {
    let px2 = 1.0 / sharpness - BLUR_SOFTENING;
    Tile::Blur { sigma_px: px2.sqrt(), std_err_px: 0.1 }
}

/// The column in which the subject of a frame is placed.
fn column(squares: &[(usize, Tile)]) -> usize {
    let found = sharpest_place(&[map(squares)], &[Some((0.0, 0.0))], &[SIZE]).unwrap();
    (found.x_px / TILE_PX as f64) as usize
}

#[test]
fn a_place_off_the_centre_must_be_sharper_by_the_prior() {
    // The middle column is 27, and eight columns beside it the prior has fallen to this.
    let off = 8.0 / (PRIOR_SD * 55.0);
    let prior = (-0.5 * off * off).exp() as f32;
    let beside = edges(0.4);
    let at = |share: f32| column(&[(27, edges(0.4 * prior * share)), (35, beside)]);
    assert_eq!((at(1.02), at(0.98)), (27, 35));
}

#[test]
fn sharpness_ends_where_the_softening_says() {
    let perfect = Tile::Blur { sigma_px: 0.0, std_err_px: 0.1 };
    assert!((sharpness(&perfect) * BLUR_SOFTENING - 1.0).abs() < 1e-6);
    assert!((sharpness(&edges(0.3)) - 0.3).abs() < 1e-6);
    // A bound counts half of a value, and what has no texture nothing.
    let blur = Tile::Blur { sigma_px: 1.5, std_err_px: 0.1 };
    assert!((sharpness(&blur) - 2.0 * sharpness(&Tile::Bound(1.5))).abs() < 1e-6);
    assert!(sharpest_place(&[map(&[])], &[Some((0.0, 0.0))], &[SIZE]).is_none());
}

#[test]
fn the_subject_is_placed_in_the_frame_that_is_sharpest_there() {
    // The second frame lies a tile to the right, the last over nothing.
    let maps = [map(&[(27, edges(0.3))]), map(&[(26, edges(0.2))]), map(&[(27, edges(0.4))])];
    let shifts = [Some((32.0, 0.0)), Some((0.0, 0.0)), None];
    let found = sharpest_place(&maps, &shifts, &[SIZE; 3]).unwrap();
    assert_eq!((found.frame, (found.x_px / 32.0) as usize), (0, 27), "{found:?}");
}

#[test]
fn a_rival_near_the_best_place_is_the_same_place() {
    // Two places four columns apart, in a frame of which that is this share.
    let second = |share: f64| {
        let map = map(&[(27, edges(0.45)), (31, edges(0.4))]);
        let found = peaks(&map, 4.0 * TILE_PX as f64 / share, 2);
        assert!((found[0].0 - 27.5 * 32.0).abs() < 1e-9, "{found:?}");
        (found[1].0, found[1].1) == (31.5 * 32.0, 10.5 * 32.0)
    };
    assert!(second(SAME_PLACE + 0.001) && !second(SAME_PLACE - 0.001));
}
