//! Kernels compiled twice: for any processor of the target, and for the wider vectors that most
//! x86-64 processors made since 2013 have. The choice is made when the program runs.
//!
//! Integers are exact and floats keep their order and rounding, so results do not depend on it.

use fearless_simd::{Level, Simd};

/// Runs a kernel with the widest vectors that this processor has.
///
/// Only what is inlined into the closure gains: write `wide(#[inline(always)] || kernel(…))` with
/// a kernel that is `#[inline(always)]` too.
#[inline(always)]
pub fn with_simd<R>(kernel: impl FnOnce() -> R) -> R {
    #[cfg(target_arch = "x86_64")]
    if let Some(simd) = Level::new().as_avx2() {
        return simd.vectorize(kernel);
    }
    kernel()
}

/// A kernel written for vectors of any processor.
///
/// All that [`Self::run`] calls with vectors has to be `#[inline(always)]`.
pub trait VectorKernel {
    /// What comes of it.
    type Output;

    /// Runs on the vectors of a processor.
    fn run<S: Simd>(self, simd: S) -> Self::Output;
}

/// Runs a kernel with the widest vectors that this processor has; `None` on processors for which
/// there are none here (neither x86-64 nor 64-bit ARM).
#[inline(always)]
pub fn with_vectors<K: VectorKernel>(kernel: K) -> Option<K::Output> {
    #[cfg(target_arch = "x86_64")]
    if let Some(simd) = Level::new().as_avx2() {
        return Some(simd.vectorize(
            #[inline(always)]
            || kernel.run(simd),
        ));
    }
    at_baseline(kernel)
}

/// As [`with_vectors`], with the vectors that every processor of its kind has.
#[inline(always)]
pub fn at_baseline<K: VectorKernel>(kernel: K) -> Option<K::Output> {
    #[cfg(target_arch = "x86_64")]
    let simd = Level::baseline().as_sse2()?;
    #[cfg(target_arch = "aarch64")]
    let simd = Level::baseline().as_neon()?;
    #[cfg(not(any(target_arch = "x86_64", target_arch = "aarch64")))]
    {
        drop(kernel);
        None
    }
    #[cfg(any(target_arch = "x86_64", target_arch = "aarch64"))]
    Some(simd.vectorize(
        #[inline(always)]
        || kernel.run(simd),
    ))
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
