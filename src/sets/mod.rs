//! Where frames and measurements meet: bursts, the subject, verdicts, outings.

pub mod agreement;
pub mod attribution;
pub mod because;
pub mod body_noise;
pub mod burst;
pub mod chart;
pub mod compare;
pub mod equipment;
pub mod grouping;
pub mod inspect;
pub mod judge;
pub mod kept;
pub mod listener;
pub mod log_view;
pub mod logged;
pub mod open_burst;
pub mod outing;
pub mod pictures;
pub mod plan;
pub mod rows;
pub mod ruler_scale;
pub mod series;
pub mod shot;
pub mod spans;
pub mod taken;
pub mod trace;
