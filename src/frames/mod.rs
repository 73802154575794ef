//! frames
