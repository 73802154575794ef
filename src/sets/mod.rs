//! Where frames and measurements meet: bursts, the subject, verdicts, outings.

pub mod grouping;
pub mod judge;
pub mod pictures;
pub mod register;
pub mod shot;
pub mod taken;
pub mod trace;
