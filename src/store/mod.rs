//! What is kept between runs: the cache of what was measured, the rigs people describe, the log
//! of their outings, and what they decided. Nothing here measures.
//!
//! Rigs and the log have a place in the platform's own folders, and a variable that names another
//! one: `STOPWISE_RIGS` and `STOPWISE_LOG`.
#![cfg_attr(not(test), deny(clippy::arithmetic_side_effects))]

pub mod cache;
pub mod decisions;
pub mod equipment;
pub mod exposure_record;
pub mod log;
pub mod log_record;
pub mod log_terminal;
pub mod log_view;
pub mod overrides;
mod place;
pub mod record_places;
pub mod rig;
pub mod subjects;

pub use place::{log_place, rigs_place};
