//! A number with its standard error, where the number of samples does not matter any more.

use serde::{Deserialize, Serialize};

use crate::core::Measured;

/// A number with its standard error in the same unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct WithError {
    /// The value, in the unit its field name states.
    pub value: f64,
    /// One standard error; `None` when no honest one can be given.
    pub std_err: Option<f64>,
}

impl From<Measured> for WithError {
    fn from(m: Measured) -> WithError {
        WithError { value: m.value, std_err: m.std_err }
    }
}
