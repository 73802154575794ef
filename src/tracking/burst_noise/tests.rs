//! Every limit of a burst's noise on both sides.

use super::*;

/// White noise of this variance over that of one step, with this ratio.
fn noise(times: f64, ratio: f32) -> BandNoise {
    BandNoise { ratio, ..BandNoise::white(times.sqrt()) }
}

fn of_burst(own: &[BandNoise]) -> BurstNoise {
    BurstNoise::of_own(&own.iter().copied().map(Some).collect::<Vec<_>>())
}

/// A ratio that is noise beyond doubt, and one that shows none.
const PLAIN: f32 = 20.0;
const TEXTURE: f32 = 1.5;

#[test]
fn the_frame_that_shows_its_noise_best_speaks_for_all_that_are_as_quiet() {
    let quiet = noise(1.0, PLAIN);
    assert!(quiet.is_seen() && !noise(1.0, TEXTURE).is_seen());
    let with = |times| of_burst(&[quiet, noise(times, PLAIN + 5.0)]);
    let alike = with(NOISE_ALIKE - 0.01);
    assert!((alike.noise.ratio - PLAIN - 5.0).abs() < 1e-6 && alike.is_seen);
    // It reads texture as well.
    let apart = with(NOISE_ALIKE + 0.01);
    assert!((apart.noise.ratio - PLAIN).abs() < 1e-6 && apart.is_seen);
}

#[test]
fn a_frame_has_noise_of_its_own_where_that_is_plain_and_much_more() {
    let own = |times, ratio| {
        let found = of_burst(&[noise(1.0, PLAIN), noise(times, ratio)]);
        found.of_frame[1] != found.noise
    };
    let (least, most) = (*NOISE_PLAIN.start(), *NOISE_PLAIN.end());
    assert!(own(NOISE_ALIKE + 0.01, PLAIN) && !own(NOISE_ALIKE - 0.01, PLAIN));
    assert!(own(9.0, least + 0.01) && !own(9.0, least - 0.01));
    assert!(own(9.0, most - 0.01) && !own(9.0, most + 0.01));
}

#[test]
fn where_no_frame_shows_noise_it_is_no_more_than_the_quietest_tiles_allow() {
    let unseen = of_burst(&[noise(4.0, TEXTURE), noise(9.0, TEXTURE)]);
    let at_mid = |noise: &BandNoise| noise.levels[0].n1.at(128.0);
    let white = |sigma_dn| at_mid(&BandNoise::white(sigma_dn));
    assert!(!unseen.is_seen);
    assert!((at_mid(&unseen.noise) / white(2.0) - 1.0).abs() < 0.01, "{:?}", unseen.noise);
    // Nothing was read at all.
    let nothing = BurstNoise::of_own(&[None, None]);
    assert_eq!(nothing.noise, BandNoise::white(UNSEEN_SIGMA_DN));
    assert!(!nothing.is_seen && nothing.of_frame == [nothing.noise; 2]);
}
