//! Small statistics shared by every folder.

use std::cmp::Ordering;

/// The median of a slice, which is reordered; `None` when it is empty.
pub fn median(values: &mut [f64]) -> Option<f64> {
    quantile(values, 0.5)
}

/// The q-quantile (linear between order statistics) of a slice, which is reordered; `None` when
/// it is empty.
pub fn quantile(values: &mut [f64], q: f64) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let at = q.clamp(0.0, 1.0) * (values.len() - 1) as f64;
    let low = at.floor() as usize;
    let (_, &mut a, above) = values.select_nth_unstable_by(low, f64::total_cmp);
    let b = above.iter().copied().min_by(f64::total_cmp).unwrap_or(a);
    Some(a + (b - a) * (at - low as f64))
}

/// Parts a slice into its `count` lowest and the rest, each in no order.
pub fn split_lowest<T>(
    values: &mut [T],
    count: usize,
    order: impl FnMut(&T, &T) -> Ordering,
) -> (&mut [T], &mut [T]) {
    if count < values.len() {
        values.select_nth_unstable_by(count, order);
    }
    values.split_at_mut(count.min(values.len()))
}

/// Standard deviation over median absolute deviation of a normal: 1/Φ⁻¹(3/4).
pub const SIGMA_PER_MAD: f64 = 1.482_602_218_505_602;

/// Standard deviation of a normal with the slice's median absolute deviation: a spread that a
/// few wild values do not move. The slice is overwritten; `None` when it is empty.
pub fn mad_sigma(values: &mut [f64]) -> Option<f64> {
    let centre = median(values)?;
    for v in values.iter_mut() {
        *v = (*v - centre).abs();
    }
    Some(SIGMA_PER_MAD * median(values)?)
}

/// Standard error of the median of a slice, which is overwritten: √(π/2) σ/√n with σ by
/// [`mad_sigma`] (that of a normal; Cramér, Mathematical Methods of Statistics, 28.5). `None` when
/// it is empty.
pub fn median_std_err(values: &mut [f64]) -> Option<f64> {
    let n = values.len() as f64;
    Some((std::f64::consts::FRAC_PI_2 / n).sqrt() * mad_sigma(values)?)
}

/// The normal quantile of a two-sided 95 % interval.
pub const Z95: f64 = 1.959_963_984_540_054;

/// Wilson's 95 % score interval of a rate of `hits` in `n`; `None` when `n` is 0 or less than
/// `hits`.
///
/// Wilson, JASA 22:209 (1927), DOI 10.1080/01621459.1927.10502953. Never leaves 0 to 1 and
/// keeps a sensible width at 0 and at `n` hits. It takes the trials as independent, which frames of
/// one burst are not quite.
pub fn wilson(hits: u32, n: u32) -> Option<(f64, f64)> {
    if n == 0 || hits > n {
        return None;
    }
    let of = f64::from(n);
    let p = f64::from(hits) / of;
    let z2 = Z95 * Z95;
    let middle = p + z2 / (2.0 * of);
    let half = Z95 * (p * (1.0 - p) / of + z2 / (4.0 * of * of)).sqrt();
    let scale = 1.0 + z2 / of;
    // At the ends the interval touches 0 or 1 exactly; rounding must not leave 1e-18 there.
    let low = if hits == 0 { 0.0 } else { (middle - half) / scale };
    let high = if hits == n { 1.0 } else { (middle + half) / scale };
    Some((low.max(0.0), high.min(1.0)))
}

/// A fit by weighted least squares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeastSquaresFit<const K: usize> {
    /// The coefficients.
    pub beta: [f64; K],
    /// Inverse of the normal matrix: their covariance when weights are 1/variance.
    pub covariance: [[f64; K]; K],
    /// Weighted sum of squared residuals.
    pub chi_square: f64,
}

/// Weighted least squares with a few coefficients: each row is (regressors, value, weight).
///
/// `None` when the rows do not determine the coefficients. Weights are 1/variance, not negative.
pub fn least_squares<const K: usize>(rows: &[([f64; K], f64, f64)]) -> Option<LeastSquaresFit<K>> {
    let mut normal = [[0.0; K]; K];
    let mut right = [0.0; K];
    for (x, y, w) in rows {
        for i in 0..K {
            right[i] += w * x[i] * y;
            for j in 0..K {
                normal[i][j] += w * x[i] * x[j];
            }
        }
    }
    let covariance = inverse(normal)?;
    let mut beta = [0.0; K];
    for i in 0..K {
        beta[i] = (0..K).map(|j| covariance[i][j] * right[j]).sum();
    }
    let chi_square = rows
        .iter()
        .map(|(x, y, w)| {
            let fitted: f64 = x.iter().zip(&beta).map(|(a, b)| a * b).sum();
            w * (y - fitted).powi(2)
        })
        .sum();
    Some(LeastSquaresFit { beta, covariance, chi_square })
}

/// Solution of symmetric positive normal equations; `None` when they are singular.
pub fn solve<const K: usize>(normal: [[f64; K]; K], right: [f64; K]) -> Option<[f64; K]> {
    let inverse = inverse(normal)?;
    Some(std::array::from_fn(|i| (0..K).map(|j| inverse[i][j] * right[j]).sum()))
}

/// As [`solve`], from the upper half of the matrix alone.
pub fn solve_upper<const K: usize>(normal: [[f64; K]; K], right: [f64; K]) -> Option<[f64; K]> {
    let row = |i: usize| std::array::from_fn(|j| normal[i.min(j)][i.max(j)]);
    solve(std::array::from_fn(row), right)
}

/// Inverse of a symmetric positive matrix by Gauss-Jordan with scaled pivots.
fn inverse<const K: usize>(mut a: [[f64; K]; K]) -> Option<[[f64; K]; K]> {
    /// Below this share of its own diagonal a pivot is rounding, not information.
    const SINGULAR: f64 = 1e-12;
    let diagonal: [f64; K] = std::array::from_fn(|i| a[i][i]);
    let mut out: [[f64; K]; K] =
        std::array::from_fn(|i| std::array::from_fn(|j| if i == j { 1.0 } else { 0.0 }));
    for c in 0..K {
        let pivot = a[c][c];
        if pivot.is_nan() || pivot <= SINGULAR * diagonal[c] {
            return None;
        }
        for j in 0..K {
            a[c][j] /= pivot;
            out[c][j] /= pivot;
        }
        for i in (0..K).filter(|i| *i != c) {
            let f = a[i][c];
            for j in 0..K {
                a[i][j] -= f * a[c][j];
                out[i][j] -= f * out[c][j];
            }
        }
    }
    Some(out)
}

/// Linear interpolation in a table of (x, y) whose x rise or fall all the way; the end values
/// hold beyond the ends. `None` when the table is empty.
pub fn interpolate(table: &[(f64, f64)], x: f64) -> Option<f64> {
    let (first, last) = (table.first()?, table.last()?);
    let rising = first.0 <= last.0;
    let before = |t: f64| if rising { t <= x } else { t >= x };
    let at = table.partition_point(|(t, _)| before(*t));
    if at == 0 {
        return Some(first.1);
    }
    if at == table.len() {
        return Some(last.1);
    }
    let ((x0, y0), (x1, y1)) = (table[at - 1], table[at]);
    Some(y0 + (y1 - y0) * (x - x0) / (x1 - x0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq as near;

    // facts W1-W3: Wilson 1927; 81/263 and the three after it are Newcombe 1998, Stat. Med. 17,
    // 857-872, Table I, method 3 (score without continuity correction).
    #[test]
    fn w1_to_w3_wilson_interval() {
        let rows = [
            (0, 10, 0.0, 0.277533),
            (1, 10, 0.017876, 0.404150),
            (8, 10, 0.490162, 0.943318),
            (10, 10, 0.722467, 1.0),
            (5, 20, 0.111862, 0.468701),
            (12, 40, 0.180748, 0.454300),
            (50, 100, 0.403832, 0.596168),
            (0, 1, 0.0, 0.793451),
            (81, 263, 0.255289, 0.366210),
            (15, 148, 0.062386, 0.160487),
            (0, 20, 0.0, 0.161125),
            (1, 29, 0.006113, 0.171755),
        ];
        for (hits, n, low, high) in rows {
            let got = wilson(hits, n).unwrap();
            near!(got.0, low, epsilon = 1e-6);
            near!(got.1, high, epsilon = 1e-6);
        }
        assert_eq!(wilson(0, 0), None);
        assert_eq!(wilson(2, 1), None);
    }

    #[test]
    fn the_lowest_are_parted_from_the_rest() {
        let part = |count: usize| {
            let mut values = [5, 1, 4, 1, 3];
            let (lowest, rest) = split_lowest(&mut values, count, Ord::cmp);
            lowest.sort_unstable();
            rest.sort_unstable();
            (lowest.to_vec(), rest.to_vec())
        };
        assert_eq!(part(2), (vec![1, 1], vec![3, 4, 5]));
        assert_eq!(part(0), (vec![], vec![1, 1, 3, 4, 5]));
        assert_eq!(part(9), (vec![1, 1, 3, 4, 5], vec![]));
    }

    #[test]
    fn median_deviation_ignores_wild_values() {
        let mut values = [1.0, 2.0, 3.0, 4.0, 1e9];
        near!(mad_sigma(&mut values).unwrap(), SIGMA_PER_MAD, epsilon = 1e-12);
        assert_eq!(mad_sigma(&mut []), None);
    }

    // Anscombe's first set (The American Statistician 27:17, 1973): 3.0001 + 0.5001 x, residual
    // sum of squares 13.763.
    #[test]
    fn least_squares_fits_anscombes_line() {
        let xs = [10.0, 8.0, 13.0, 9.0, 11.0, 14.0, 6.0, 4.0, 12.0, 7.0, 5.0];
        let ys = [8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68];
        let rows: Vec<_> = xs.iter().zip(ys).map(|(x, y)| ([1.0, *x], y, 1.0)).collect();
        let fit = least_squares(&rows).unwrap();
        near!(fit.beta[0], 3.0001, epsilon = 1e-4);
        near!(fit.beta[1], 0.5001, epsilon = 1e-4);
        near!(fit.chi_square, 13.7627, epsilon = 1e-3);
        let slope_error = (fit.covariance[1][1] * fit.chi_square / 9.0).sqrt();
        near!(slope_error, 0.1179, epsilon = 1e-4);
    }

    #[test]
    fn weights_count_like_repeats_and_degenerate_rows_are_refused() {
        let weighted = [([1.0, 0.0], 1.0, 2.0), ([1.0, 1.0], 3.0, 1.0), ([1.0, 2.0], 4.0, 1.0)];
        let repeated = [
            ([1.0, 0.0], 1.0, 1.0),
            ([1.0, 0.0], 1.0, 1.0),
            ([1.0, 1.0], 3.0, 1.0),
            ([1.0, 2.0], 4.0, 1.0),
        ];
        let (a, b) = (least_squares(&weighted).unwrap(), least_squares(&repeated).unwrap());
        near!(a.beta[0], b.beta[0], epsilon = 1e-12);
        near!(a.beta[1], b.beta[1], epsilon = 1e-12);
        let same_x = [([1.0, 2.0], 1.0, 1.0), ([1.0, 2.0], 3.0, 1.0)];
        assert_eq!(least_squares(&same_x), None);
        assert_eq!(least_squares::<2>(&[]), None);
    }

    #[test]
    fn tables_are_read_both_ways_and_hold_their_ends() {
        let rising = [(0.0, 10.0), (1.0, 20.0), (3.0, 0.0)];
        let falling: Vec<_> = rising.iter().rev().copied().collect();
        for table in [&rising[..], &falling[..]] {
            for (x, want) in [(-1.0, 10.0), (0.0, 10.0), (0.5, 15.0), (2.0, 10.0), (9.0, 0.0)] {
                near!(interpolate(table, x).unwrap(), want, epsilon = 1e-12);
            }
        }
        assert_eq!(interpolate(&[], 1.0), None);
    }
}
