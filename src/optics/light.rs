//! Light: exposure from the light that is there, and how long a flash shines.
//!
//! Exposure: APEX (CIPA DC-008, annex): Ev = log2(N²/t) at ISO 100, with the working f-number.
//! Flash: t0.5 and t0.1 are the times above a half and a tenth of the peak (ISO 2827). An
//! exponential decay and a Gaussian pulse are the two simple shapes; quenched flashes follow
//! neither.

/// Exposure time for a light level in Ev at ISO 100, s.
pub fn shutter_s(n_eff: f64, iso: f64, light_ev: f64) -> f64 {
    n_eff * n_eff * 100.0 / (light_ev.exp2() * iso)
}

/// ISO for a light level in Ev at ISO 100 and an exposure time.
pub fn iso(n_eff: f64, shutter_s: f64, light_ev: f64) -> f64 {
    n_eff * n_eff * 100.0 / (light_ev.exp2() * shutter_s)
}

/// Share of full power that a flash has to give: light goes with the squared working f-number
/// and against ISO. `n_eff_at_full` is the working f-number that full power reaches at ISO 100.
pub fn flash_power(n_eff: f64, iso: f64, n_eff_at_full: f64) -> f64 {
    (n_eff / n_eff_at_full).powi(2) * 100.0 / iso
}

/// How long the flash shines (t0.1, s) at a share of full power, between measured points of
/// (power, t0.1), power falling: straight in the logarithms, the ends hold beyond.
pub fn flash_s(power: f64, points: &[(f64, f64)]) -> Option<f64> {
    let logs: Vec<(f64, f64)> = points.iter().map(|(p, t)| (p.log2(), t.log2())).collect();
    Some(crate::core::stats::interpolate(&logs, power.log2())?.exp2())
}

#[cfg(test)]
mod tests {
    use super::*;

    // Facts A: Ev = Av + Tv; f/8 and 1/125 s at ISO 100 are 6 + 6.966 Ev.
    #[test]
    fn exposure_is_apex() {
        let ev = 8f64.powi(2).log2() + 125f64.log2();
        approx::assert_relative_eq!(shutter_s(8.0, 100.0, ev), 1.0 / 125.0, max_relative = 1e-12);
        approx::assert_relative_eq!(iso(8.0, 1.0 / 500.0, ev), 400.0, max_relative = 1e-12);
    }

    #[test]
    fn flash_times_follow_the_points() {
        let points = [(1.0, 1.0 / 258.0), (0.25, 1.0 / 1600.0)];
        approx::assert_relative_eq!(
            flash_s(1.0, &points).unwrap(),
            1.0 / 258.0,
            max_relative = 1e-12
        );
        let between = flash_s(0.5, &points).unwrap();
        approx::assert_relative_eq!(between, 1.0 / (258.0f64 * 1600.0).sqrt(), max_relative = 1e-9);
        approx::assert_relative_eq!(
            flash_s(0.001, &points).unwrap(),
            1.0 / 1600.0,
            max_relative = 1e-12
        );
        approx::assert_abs_diff_eq!(flash_power(44.0, 400.0, 88.0), 0.0625, epsilon = 1e-12);
    }
}
