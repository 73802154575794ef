//! What is kept between runs: the cache.

pub mod cache;
