//! sets
