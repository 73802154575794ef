//! The one test binary: a module a capability. See DEVELOPERS.md for how to add a test.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::float_cmp)]

mod accuracy;
mod axes;
#[cfg(feature = "raw")]
mod body_noise;
mod cli;
mod clip_log;
mod clips;
#[cfg(feature = "raw")]
mod columns;
mod compare;
mod detail;
mod documents;
mod edge;
mod equipment;
mod exposure;
mod field;
mod frames;
mod harness;
mod image_table;
mod invented;
mod layers;
mod noise_frame;
mod noise_jpeg;
mod optics;
mod plan_grid;
mod planning;
mod properties;
#[cfg(feature = "raw")]
mod raw;
mod raw_noise;
mod records;
mod reference_pages;
mod registration;
mod render;
mod ruler;
mod shooters;
mod sidecars;
mod synthetic;
mod traps;
mod words;
