//! The period by the spectrum of the ticks' profile, which knows nothing of single ticks.

use rustfft::{FftPlanner, num_complex::Complex};

/// Zero padding: points of the spectrum per independent one.
const PADDING: usize = 8;
/// The strongest line of the spectrum may be a harmonic up to this one: thin ticks have many.
const HARMONICS: f64 = 12.0;

/// Period in samples of a profile, near one that is proposed.
///
/// The strongest line of the spectrum of the Hann-windowed profile (without its slope) is taken
/// wherever it lies; it is a harmonic of the ticks, and its number follows from the proposal. A
/// line at no whole multiple of the proposed frequency says that the proposal is wrong: the period
/// that comes back then differs by up to half a harmonic. `None` when nothing stands out.
pub(super) fn period(profile: &[f64], proposed: f64) -> Option<f64> {
    let n = profile.len();
    if n < 16 || (n as f64) < 3.0 * proposed {
        return None;
    }
    let length = (n * PADDING).next_power_of_two();
    // The light's slope goes with a straight line through the profile.
    let middle = (n as f64 - 1.0) / 2.0;
    let mean = profile.iter().sum::<f64>() / n as f64;
    let (mut up, mut square) = (0.0, 0.0);
    for (i, v) in profile.iter().enumerate() {
        up += (i as f64 - middle) * v;
        square += (i as f64 - middle).powi(2);
    }
    let slope = up / square;
    let mut data = vec![Complex::new(0.0, 0.0); length];
    for (i, v) in profile.iter().enumerate() {
        let window = (std::f64::consts::PI * (i as f64 + 0.5) / n as f64).sin().powi(2);
        data[i].re = window * (v - mean - slope * (i as f64 - middle));
    }
    FftPlanner::new().plan_fft_forward(length).process(&mut data);
    let power: Vec<f64> = data[..length / 2].iter().map(|c| c.norm_sqr()).collect();
    // Slower than three quarters of the proposed frequency is light and print.
    let base = length as f64 / proposed;
    let from = (0.75 * base).round() as usize;
    let to = ((HARMONICS + 0.5) * base).round().min(length as f64 / 2.0 - 2.0) as usize;
    let peak = (from.max(1)..=to).max_by(|a, b| power[*a].total_cmp(&power[*b]))?;
    let (a, b, c) = (power[peak - 1].ln(), power[peak].ln(), power[peak + 1].ln());
    let bend = a - 2.0 * b + c;
    let shift = if bend < 0.0 { (0.5 * (a - c) / bend).clamp(-1.0, 1.0) } else { 0.0 };
    let line = peak as f64 + shift;
    let harmonic = (line / base).round().max(1.0);
    let period = length as f64 * harmonic / line;
    period.is_finite().then_some(period)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_comb_under_a_slope_has_its_period() {
        let profile: Vec<f64> = (0..500)
            .map(|i| {
                let x = f64::from(i);
                let phase = (x / 31.4).fract() - 0.5;
                0.003 * x - (-0.5 * (phase * 31.4 / 2.0).powi(2)).exp()
            })
            .collect();
        approx::assert_abs_diff_eq!(period(&profile, 31.0).unwrap(), 31.4, epsilon = 0.05);
        // A wrong proposal does not come back as right.
        let wrong = period(&profile, 25.0).unwrap();
        assert!((wrong / 25.0 - 1.0).abs() > 0.02, "{wrong}");
    }
}
