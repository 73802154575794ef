//! How far the places of a burst agree on each frame: chances of hit, near and miss when the
//! subject may be any of them.
//!
//! For bursts too short for focus planes. At every place the fine contrast of the frames against
//! the best of them gives each frame's blur over the best there, by the fall-off of
//! [`super::planes`]; places count by their prior and their contrast. Where everything lies at one
//! depth all places agree; on a creature they do not. Assumes that some frame is in focus at the
//! subject. Error of a ratio: 0.2 in ln at 1, growing to 0.35. Source: see [`super::planes`].

use super::frame_chances::chances_of;
use super::planes::{BAND_PX2, PlaceEnergies, added_energy};

/// Fewest places that count.
const MIN_PLACES: usize = 8;
/// Energy over noise that the best frame of a place must exceed.
const SEEN_OVER_NOISE: f32 = 1.0;
/// Error of a ln ratio at 1, its growth per ln, and the ln from which it grows no more.
const ERROR_LN: (f64, f64, f64) = (0.20, 0.15, 1.0);
/// Squared blur of the lens in focus that [`BAND_PX2`] contains, px².
const IN_FOCUS_PX2: f64 = 0.67;
/// Power of the energy by which places count, the quantile of the energies that stands for the
/// usual best, and the ln above it at which more energy counts no more.
const ENERGY: (f64, f64, f64) = (0.5, 0.95, 1.0);

/// Chances of hit, near and miss of each of `n` frames; they sum to 1. `prior` is how likely the
/// subject is at each place, up to a factor, `limits` the ratios up to which a frame is a hit and
/// near. `None` where too few places have contrast.
pub fn place_chances(
    n: usize,
    energies: &PlaceEnergies,
    prior: &[f64],
    limits: (f64, f64),
) -> Option<Vec<[f64; 3]>> {
    let rows = energies.energy.chunks_exact(n.max(1)).zip(&energies.noise).zip(prior);
    let seen: Vec<(&[f32], f32, f32, f64)> = rows
        .filter(|((row, _), _)| row.iter().all(|e| e.is_finite()))
        .map(|((row, noise), prior)| (row, *noise, row.iter().copied().fold(0.0, f32::max), *prior))
        .filter(|(_, noise, most, _)| *most > 0.0 && *most > SEEN_OVER_NOISE * noise)
        .collect();
    if seen.len() < MIN_PLACES {
        return None;
    }
    let mut tops: Vec<f32> = seen.iter().map(|s| s.2).collect();
    tops.sort_unstable_by(f32::total_cmp);
    let usual = f64::from(tops[(ENERGY.1 * (tops.len() - 1) as f64) as usize]).ln();
    let weigh = |(_, _, most, prior): &(&[f32], f32, f32, f64)| {
        prior * (ENERGY.0 * (f64::from(*most).ln() - usual).min(ENERGY.2)).exp()
    };
    let total: f64 = seen.iter().map(weigh).sum();
    let weights: Vec<f64> = seen.iter().map(|s| weigh(s) / total).collect();
    let blur = |row: &[f32], noise: f32, most: f32, i: usize| {
        let least = added_energy(noise);
        let drop = f64::from(most.max(least) / row[i].max(least)).sqrt();
        0.5 * (1.0 + BAND_PX2 * (drop - 1.0) / IN_FOCUS_PX2).ln()
    };
    (total > 0.0).then(|| {
        (0..n)
            .map(|i| {
                let ln: Vec<f64> = seen.iter().map(|s| blur(s.0, s.1, s.2, i)).collect();
                chances_of(&ln, &weights, ERROR_LN, limits)
            })
            .collect()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMITS: (f64, f64) = (1.3, 2.0);

    /// Places of two depths, `share` of 40 at the second; the first frame is in focus at the first
    /// depth, the second at the other, the third at neither.
    fn burst(share: f64) -> PlaceEnergies {
        let place = |k: usize| match (k as f64) < 40.0 * share {
            true => [20.0, 1000.0, 20.0],
            false => [1000.0, 20.0, 20.0],
        };
        PlaceEnergies { energy: (0..40).flat_map(place).collect(), noise: vec![1.0; 40] }
    }

    fn of(energies: &PlaceEnergies) -> Option<Vec<[f64; 3]>> {
        place_chances(3, energies, &vec![1.0; energies.noise.len()], LIMITS)
    }

    #[test]
    fn places_of_one_depth_agree_and_those_of_two_share_the_chances() {
        let one = of(&burst(0.0)).unwrap();
        assert!(one[0][0] > 0.85 && one[1][2] > 0.95 && one[2][2] > 0.95, "{one:?}");
        let two = of(&burst(0.25)).unwrap();
        assert!((two[0][2] - 0.25).abs() < 0.03 && (two[1][2] - 0.75).abs() < 0.03, "{two:?}");
        for chances in one.iter().chain(&two) {
            approx::assert_abs_diff_eq!(chances.iter().sum::<f64>(), 1.0, epsilon = 1e-9);
        }
    }

    #[test]
    fn places_outside_a_frame_or_without_contrast_do_not_count() {
        let mut energies = burst(0.0);
        energies.energy[3 * 7] = f32::NAN;
        assert!(of(&energies).is_some());
        energies.noise = vec![2000.0; 40];
        assert_eq!(of(&energies), None);
        energies.noise[..MIN_PLACES].fill(1.0);
        assert_eq!(of(&energies), None, "one of them is outside a frame");
        energies.noise[MIN_PLACES] = 1.0;
        assert!(of(&energies).is_some());
    }
}
