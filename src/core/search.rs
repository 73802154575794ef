//! Search along one number: bisection, and the golden section.

/// Halves a range `halvings` times towards where `is_below`, which is true from `low` on, turns
/// false. Returns the two ends that are left.
pub fn bisect(range: (f64, f64), halvings: usize, is_below: impl Fn(f64) -> bool) -> (f64, f64) {
    narrow(range, halvings, |low, high| 0.5 * (low + high), is_below)
}

/// As [`bisect`], in equal ratios; both ends are above 0.
pub fn bisect_ratio(
    range: (f64, f64),
    halvings: usize,
    is_below: impl Fn(f64) -> bool,
) -> (f64, f64) {
    narrow(range, halvings, |low, high| (low * high).sqrt(), is_below)
}

fn narrow(
    (mut low, mut high): (f64, f64),
    halvings: usize,
    middle_of: impl Fn(f64, f64) -> f64,
    is_below: impl Fn(f64) -> bool,
) -> (f64, f64) {
    for _ in 0..halvings {
        let middle = middle_of(low, high);
        if is_below(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    (low, high)
}

/// The lowest place of a function with one valley, by the golden section (Kiefer, Proc. AMS 4:502,
/// 1953, DOI 10.1090/S0002-9939-1953-0055639-3): each round leaves 0.618 of the range.
pub fn golden_section(
    (mut low, mut high): (f64, f64),
    rounds: usize,
    cost: impl Fn(f64) -> f64,
) -> f64 {
    let golden = 0.5 * (5.0f64.sqrt() - 1.0);
    for _ in 0..rounds {
        let (a, b) = (high - golden * (high - low), low + golden * (high - low));
        if cost(a) < cost(b) {
            high = b;
        } else {
            low = a;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq as near;

    #[test]
    fn both_bisections_close_in_on_the_turn() {
        let (low, high) = bisect((0.0, 2.0), 50, |x| x * x < 2.0);
        assert!(low <= high);
        near!(low, std::f64::consts::SQRT_2, epsilon = 1e-14);
        let (low, high) = bisect_ratio((1e-3, 1e6), 50, |x| x.ln() < 5.0);
        near!(low / 5f64.exp(), 1.0, epsilon = 1e-12);
        near!(high / low, 1.0, epsilon = 1e-12);
        // One halving each: the arithmetic and the geometric middle.
        assert_eq!(bisect((1.0, 9.0), 1, |_| true), (5.0, 9.0));
        assert_eq!(bisect_ratio((1.0, 9.0), 1, |_| false), (1.0, 3.0));
    }

    #[test]
    fn the_golden_section_finds_a_valley_and_either_end() {
        near!(golden_section((-1.0, 4.0), 60, |x| (x - 1.3).powi(2)), 1.3, epsilon = 1e-7);
        near!(golden_section((0.0, 1.0), 60, |x| x), 0.0, epsilon = 1e-12);
        near!(golden_section((0.0, 1.0), 60, |x| -x), 1.0, epsilon = 1e-12);
    }
}
