//! A value that was measured, and a value that was read, typed or assumed.

use serde::ser::SerializeStruct;
use serde::{Deserialize, Serialize, Serializer};

use super::FlagSet;

/// A measured value with its standard error, the number of samples behind it and its flags.
///
/// A value that could not be measured is `None` around this type, never 0 or NaN inside it.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
pub struct Measured {
    /// The value, in the unit its field name states.
    pub value: f64,
    /// One standard error in the same unit; `None` when no honest one can be given.
    pub std_err: Option<f64>,
    /// Number of samples (pixels, tiles or frames) behind the value.
    pub n: u32,
    /// What makes it shaky.
    #[serde(default)]
    pub flags: FlagSet,
}

impl Serialize for Measured {
    /// Text leaves out flags where there are none; a form without names of fields holds all fields.
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let is_short = serializer.is_human_readable() && self.flags.is_empty();
        let mut out = serializer.serialize_struct("Measured", if is_short { 3 } else { 4 })?;
        out.serialize_field("value", &self.value)?;
        out.serialize_field("std_err", &self.std_err)?;
        out.serialize_field("n", &self.n)?;
        if is_short {
            out.skip_field("flags")?;
        } else {
            out.serialize_field("flags", &self.flags)?;
        }
        out.end()
    }
}

impl Measured {
    /// A value with an error; `None` if either is not finite, so that NaN cannot travel.
    pub fn new(value: f64, std_err: f64, n: u32) -> Option<Self> {
        (value.is_finite() && std_err.is_finite()).then_some(Measured {
            value,
            std_err: Some(std_err),
            n,
            flags: FlagSet::EMPTY,
        })
    }

    /// A value for which no honest error can be given; `None` if it is not finite.
    pub fn without_error(value: f64, n: u32) -> Option<Self> {
        value.is_finite().then_some(Measured { value, std_err: None, n, flags: FlagSet::EMPTY })
    }

    /// One value with its error where it has one; `None` if either is not finite.
    pub fn single(value: f64, std_err: Option<f64>) -> Option<Self> {
        match std_err {
            Some(std_err) => Measured::new(value, std_err, 1),
            None => Measured::without_error(value, 1),
        }
    }

    /// The same value with more flags.
    #[must_use]
    pub fn flagged(mut self, flags: FlagSet) -> Self {
        self.flags = self.flags.union(flags);
        self
    }
}

/// Where a known value came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ValueSource {
    /// Written in the file by the camera.
    File,
    /// Typed by the user for this run.
    Typed,
    /// From the user's description of the equipment.
    Rig,
    /// Assumed, because nothing better was known.
    Assumed,
}

/// A value together with where it came from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Known<T> {
    /// The value.
    pub value: T,
    /// Its origin.
    pub from: ValueSource,
}

impl<T> Known<T> {
    /// A value read from the file.
    pub fn from_file(value: T) -> Self {
        Known { value, from: ValueSource::File }
    }

    /// A value typed by the user.
    pub fn typed(value: T) -> Self {
        Known { value, from: ValueSource::Typed }
    }

    /// A value assumed for want of a better one.
    pub fn assumed(value: T) -> Self {
        Known { value, from: ValueSource::Assumed }
    }
}
