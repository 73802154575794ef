//! Noise of rendered frames, of JPEG compression and of raw planes, and power spectra.

mod flat_tiles;
pub mod jpeg;
pub(crate) mod periodogram;
pub mod raw;
pub mod rendered;
pub mod signal_noise;
pub mod spectrum;
