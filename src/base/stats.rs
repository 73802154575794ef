//! Small statistics shared by every folder.

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
