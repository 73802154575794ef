//! Where frames and measurements meet: bursts, the subject, verdicts, outings.

pub mod because;
pub mod body_noise;
pub mod burst;
pub mod grouping;
pub mod inspect;
pub mod judge;
pub mod open_burst;
pub mod outing;
pub mod pictures;
pub mod rows;
pub mod shot;
pub mod taken;
pub mod trace;
