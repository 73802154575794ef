//! Kernels compiled twice: for any processor of the target, and for the wider vectors that most
//! x86-64 processors made since 2013 have. The choice is made when the program runs.
//!
//! Integers are exact and floats keep their order and rounding, so results do not depend on it.

/// Runs a kernel with the widest vectors that this processor has.
///
/// Only what is inlined into the closure gains: write `wide(#[inline(always)] || kernel(…))` with
/// a kernel that is `#[inline(always)]` too.
#[inline(always)]
pub fn with_simd<R>(kernel: impl FnOnce() -> R) -> R {
    #[cfg(target_arch = "x86_64")]
    if let Some(simd) = fearless_simd::Level::new().as_avx2() {
        return fearless_simd::Simd::vectorize(simd, kernel);
    }
    kernel()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_do_not_depend_on_the_width() {
        #[inline(always)]
        fn sum(values: &[f32]) -> f32 {
            values.iter().map(|v| v * 1.000_1 + 0.3).sum()
        }
        let values: Vec<f32> = (0..1001).map(|i| 1.0 / (i as f32 + 0.7)).collect();
        let narrow = sum(&values);
        let widest = with_simd(
            #[inline(always)]
            || sum(&values),
        );
        assert_eq!(narrow.to_bits(), widest.to_bits());
    }
}
