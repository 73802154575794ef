//! `review`: the local page, and how far its decisions agree with the verdicts.

pub mod agreement;
pub mod agreement_record;
pub mod agreement_terminal;
pub mod columns;
mod sentences;
#[cfg(feature = "cli")]
pub mod server;
