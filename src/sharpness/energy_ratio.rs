//! Ratios of blur from spectra, steadied by the energy of the finest detail.
//!
//! Near focus the energy ranks the frames of a burst two to three times more closely than spectra do
//! (scatter of a third of its ln 0.03 to 0.08, that of the ratios 0.04 to 0.16 in 163 simulated
//! bursts), but how fast it falls with blur depends on the subject. So within a burst the ln of the
//! ratio is a curve over that of the energy, fitted to the spectra: a parabola near what simulated
//! subjects show, by weighted least squares in which frames off the curve count less (weights of
//! a Cauchy error, Holland & Welsch 1977, doi:10.1080/03610927708827533).

use super::spectral_blur::BlurRatio;
use crate::core::stats::least_squares;

/// Frames from which a curve is fitted.
const MIN_FRAMES: usize = 3;
/// ln of the ratio at the frame of most energy, per third of the ln of the energy below it, and per
/// its square, as subjects show them: values.
const CURVE: [f64; 3] = [0.0, 1.6, 0.3];
/// And how far subjects differ.
const CURVE_SD: [f64; 3] = [0.3, 0.4, 0.6];
/// Scatter of a ratio about the curve beside its own error, ln.
const SCATTER_LN: f64 = 0.10;
/// Errors off the curve from which a frame counts half.
const HALF_WEIGHT_AT: f64 = 2.0;
/// Rounds of weighting.
const ROUNDS: usize = 6;
/// How far off the curve a ratio can be at most, and the share of it that is kept, ln: the spectrum
/// sees what the energy does not, such as a direction.
const MAX_OFF_LN: f64 = 0.25;
/// See [`MAX_OFF_LN`].
const OFF_SHARE: f64 = 0.7;

/// The ratios over the frame `anchor`, steadied by the energies of the same frames. Without enough
/// of both, the ratios as they are.
pub fn steadied(
    ratios: &[Option<BlurRatio>],
    energies: &[Option<f64>],
    anchor: usize,
) -> Vec<Option<BlurRatio>> {
    let most = energies.iter().flatten().copied().fold(0.0, f64::max);
    let below = |e: &Option<f64>| e.filter(|e| *e > 0.0).map(|e| (most / e).ln() / 3.0);
    let frames: Vec<Option<(f64, BlurRatio)>> =
        energies.iter().zip(ratios).map(|(e, r)| below(e).zip(*r)).collect();
    let Some(curve) = fitted(&frames.iter().flatten().copied().collect::<Vec<_>>()) else {
        return ratios.to_vec();
    };
    let joined = |(below_ln, ratio): (f64, BlurRatio)| {
        let on_curve = at(&curve, below_ln);
        let off = (ratio.ln - on_curve).clamp(-MAX_OFF_LN, MAX_OFF_LN);
        on_curve + OFF_SHARE * off
    };
    let Some(zero) = frames[anchor].map(joined) else { return ratios.to_vec() };
    let steady = |(frame, ratio): (&Option<(f64, BlurRatio)>, &Option<BlurRatio>)| {
        let ratio = (*ratio)?;
        Some(BlurRatio { ln: frame.map_or(ratio.ln, |f| joined(f) - zero), ..ratio })
    };
    frames.iter().zip(ratios).map(steady).collect()
}

/// The curve at an energy.
fn at(curve: &[f64; 3], below_ln: f64) -> f64 {
    row(below_ln).iter().zip(curve).map(|(x, c)| x * c).sum()
}

fn row(below_ln: f64) -> [f64; 3] {
    [1.0, below_ln, below_ln * below_ln]
}

/// The curve through ratios over energies; `None` with too few.
fn fitted(frames: &[(f64, BlurRatio)]) -> Option<[f64; 3]> {
    if frames.len() < MIN_FRAMES {
        return None;
    }
    // What subjects usually show counts as one reading of each coefficient.
    let usual = (0..CURVE.len()).map(|k| {
        let unit: [f64; 3] = std::array::from_fn(|i| if i == k { 1.0 } else { 0.0 });
        (unit, CURVE[k], CURVE_SD[k].powi(-2))
    });
    let variance = |r: &BlurRatio| r.sd_ln.powi(2) + SCATTER_LN.powi(2);
    let read = frames.iter().map(|(below_ln, r)| (row(*below_ln), r.ln, 1.0 / variance(r)));
    let mut rows: Vec<([f64; 3], f64, f64)> = usual.chain(read).collect();
    let mut curve = CURVE;
    for _ in 0..ROUNDS {
        curve = least_squares(&rows)?.beta;
        for ((below_ln, ratio), row) in frames.iter().zip(&mut rows[CURVE.len()..]) {
            let errors = (ratio.ln - at(&curve, *below_ln)) / variance(ratio).sqrt();
            row.2 = 1.0 / (variance(ratio) * (1.0 + (errors / HALF_WEIGHT_AT).powi(2)));
        }
    }
    Some(curve)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    fn ratio(ln: f64) -> Option<BlurRatio> {
        Some(BlurRatio { ln, sd_ln: 0.05 })
    }

    /// Energies that lie on a curve of this slope give back ratios on it, whatever a single
    /// spectrum read.
    #[test]
    fn a_ratio_off_the_curve_is_drawn_to_it() {
        let lns = [0.0, 0.1, 0.2, 0.3, 0.5, 0.7, 0.9];
        let energies = lns.map(|ln: f64| Some(900.0 * (-3.0 * ln / 1.5).exp()));
        let mut read = lns.map(ratio);
        read[3] = ratio(0.6);
        let found = steadied(&read, &energies, 0);
        for (i, (found, ln)) in found.iter().zip(lns).enumerate() {
            let within = if i == 3 { OFF_SHARE * MAX_OFF_LN + 0.02 } else { 0.03 };
            assert_abs_diff_eq!(found.unwrap().ln, ln, epsilon = within);
        }
        assert_abs_diff_eq!(found[0].unwrap().ln, 0.0);
    }

    #[test]
    fn a_frame_without_energy_keeps_its_ratio_and_one_without_ratio_has_none() {
        let energies = [Some(100.0), Some(60.0), Some(30.0), None, Some(-1.0), Some(20.0)];
        let read = [ratio(0.0), ratio(0.2), ratio(0.5), ratio(0.8), ratio(1.0), None];
        let found = steadied(&read, &energies, 0);
        assert_eq!((found[3], found[4], found[5]), (ratio(0.8), ratio(1.0), None));
        assert_ne!(found[1], ratio(0.2));
    }

    #[test]
    fn too_few_frames_are_left_alone() {
        let read = [ratio(0.0), ratio(0.4), None];
        let energies = [Some(100.0), Some(90.0), Some(50.0)];
        assert_eq!(steadied(&read, &energies, 0), read);
        // The anchor's own energy is needed.
        let read = [ratio(0.0), ratio(0.4), ratio(0.3), ratio(0.2)];
        let energies = [None, Some(100.0), Some(90.0), Some(50.0)];
        assert_eq!(steadied(&read, &energies, 0), read);
    }

    /// Curves as steep and as flat as subjects show.
    #[test]
    fn the_curve_follows_the_subject() {
        for slope in [1.2, 1.6, 2.4] {
            let frames: Vec<_> = (0..12)
                .map(|i| f64::from(i) * 0.05)
                .map(|below_ln| (below_ln, BlurRatio { ln: slope * below_ln, sd_ln: 0.03 }))
                .collect();
            let found = at(&fitted(&frames).unwrap(), 0.5);
            assert_abs_diff_eq!(found, 0.5 * slope, epsilon = 0.05);
        }
    }
}
