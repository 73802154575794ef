//! Units, measured values, flags, planes and statistics: what every other folder builds on.

pub mod bessel;
mod flags;
pub mod logistic;
mod measured;
mod path_text;
mod plane;
pub mod progress;
pub mod random;
pub mod search;
mod simd;
pub mod smoothing;
pub mod stats;
pub mod tone;
pub mod units;
pub mod verdict;

pub use flags::{Flag, FlagSet};
pub use measured::{Known, Measured, ValueSource};
pub use path_text::{byte_of, path_text, text_path};
pub use plane::{Luma, Plane, Tone, halved};
pub use simd::{VectorKernel, at_baseline, with_simd, with_vectors};
