//! noise
