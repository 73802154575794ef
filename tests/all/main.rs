//! The one test binary: a module a capability. See DEVELOPERS.md for how to add a test.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::float_cmp)]

mod detail;
mod image_table;
mod layers;
mod noise_frame;
mod noise_gains;
mod noise_jpeg;
mod optics;
mod synthetic;
