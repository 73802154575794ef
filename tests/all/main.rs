//! The one test binary: a module a capability. See DEVELOPERS.md for how to add a test.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::float_cmp)]

mod harness;
mod invented;
mod layers;
mod render;
