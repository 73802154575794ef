//! What is kept between runs: the cache of what was measured, the rigs people describe, the log
//! of their outings, and what they decided. Nothing here measures.
//!
//! Each has a place in the platform's own folders, and a variable that names another one
//! ([`paths`]).
#![cfg_attr(not(test), deny(clippy::arithmetic_side_effects))]

pub mod cache;
pub mod decisions;
pub mod equipment;
pub mod exposure_record;
pub mod hash;
pub mod log;
pub mod log_columns;
pub mod log_export;
pub mod log_record;
pub mod log_terminal;
pub mod log_view;
pub mod overrides;
pub mod paths;
pub mod record_places;
pub mod rig;
pub mod sentences;
mod sqlite;
pub mod subjects;
#[cfg(test)]
mod tests;
