//! Where frames and measurements meet: bursts, the subject, verdicts, outings.

pub mod because;
pub mod body_noise;
pub mod grouping;
pub mod inspect;
pub mod judge;
pub mod outing;
pub mod pictures;
pub mod rows;
pub mod ruler_scale;
pub mod shot;
pub mod taken;
pub mod trace;
