//! Where frames and measurements meet: bursts, the subject, verdicts, outings.

pub mod because;
pub mod body_noise;
pub mod chart;
pub mod equipment;
pub mod grouping;
pub mod inspect;
pub mod judge;
pub mod log_view;
pub mod logged;
pub mod outing;
pub mod pictures;
pub mod plan;
pub mod rows;
pub mod shot;
pub mod taken;
pub mod trace;
