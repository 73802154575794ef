//! Agreement of two orders.

/// Kendall's rank correlation (tau-b, ties allowed) of two equally long lists; `None` when the
/// lengths differ or either list is all ties.
///
/// Kendall, Biometrika 33:239 (1945), DOI 10.1093/biomet/33.3.239.
pub fn kendall_tau(a: &[f64], b: &[f64]) -> Option<f64> {
    if a.len() != b.len() {
        return None;
    }
    let sign = |x: f64| {
        if x > 0.0 {
            1
        } else if x < 0.0 {
            -1
        } else {
            0
        }
    };
    let (mut score, mut untied_a, mut untied_b) = (0i64, 0i64, 0i64);
    for i in 0..a.len() {
        for j in 0..i {
            let (sa, sb) = (sign(a[i] - a[j]), sign(b[i] - b[j]));
            score += sa * sb;
            untied_a += sa * sa;
            untied_b += sb * sb;
        }
    }
    (untied_a > 0 && untied_b > 0)
        .then(|| score as f64 / ((untied_a as f64) * (untied_b as f64)).sqrt())
}
