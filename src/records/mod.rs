//! What is kept between runs. Nothing here measures.

pub mod decisions;
