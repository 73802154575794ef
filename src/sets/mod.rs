//! Where frames and measurements meet: bursts, the subject, verdicts, outings.

pub mod because;
pub mod body_noise;
pub mod grouping;
pub mod inspect;
pub mod judge;
pub mod outing;
pub mod pictures;
pub mod rows;
pub mod shot;
pub mod spans;
pub mod taken;
pub mod trace;
