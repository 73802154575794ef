//! stopwise measures close-up photographs: which frames hit focus at the subject, why the
//! others missed, and how much detail is left.
#![forbid(unsafe_code)]
#![deny(clippy::print_stdout, clippy::print_stderr)]

pub mod base;
pub mod demo;
pub mod error;
pub mod frames;
pub mod measure;
pub mod render;
pub mod report;
pub mod sets;

pub use error::{Error, Result, SkipReason};
