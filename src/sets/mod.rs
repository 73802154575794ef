//! Where frames and measurements meet: bursts, the subject, verdicts, outings.

pub mod judge;
pub mod shot;
pub mod trace;
