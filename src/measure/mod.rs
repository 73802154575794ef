//! Pure measuring: planes and numbers in, values out. No path, no clock, no thread, no chance.

pub mod bessel;
pub mod closeup;
pub mod defocus;
pub mod depth;
pub mod detail;
pub mod diffraction;
mod flat_tiles;
pub mod laplacian;
pub mod noise;
mod periodogram;
pub mod prediction;
pub mod sensor;
pub mod spectrum;
