//! Detail above noise, and what a setting can resolve.

pub mod detail_model;
pub mod information;
pub mod lens_fit;
