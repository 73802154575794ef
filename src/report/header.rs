//! How every record begins.

use std::borrow::Cow;

use serde::{Deserialize, Serialize};

/// Name of this program in its records.
const PROGRAM: &str = "stopwise";

/// The first fields of a record: which form it has, and what wrote it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Header {
    /// Number of the record's form; raised when a field changes its meaning.
    pub schema: u32,
    /// Name of the program that wrote it.
    pub program: Cow<'static, str>,
    /// Version of that program.
    pub version: Cow<'static, str>,
}

impl Header {
    /// The header of a record in form `schema`, written by this program.
    pub const fn new(schema: u32) -> Header {
        let version = Cow::Borrowed(env!("CARGO_PKG_VERSION"));
        Header { schema, program: Cow::Borrowed(PROGRAM), version }
    }

    /// Checks that this program can read the record: it wrote it, in this form or an earlier one.
    ///
    /// # Errors
    /// A sentence for the user.
    pub fn check(&self, newest: u32) -> Result<(), String> {
        if self.program != PROGRAM {
            return Err("another program wrote it".to_owned());
        }
        if !(1..=newest).contains(&self.schema) {
            let form = self.schema;
            return Err(format!("its schema is {form}; this version reads up to {newest}"));
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn earlier_forms_of_this_program_are_read_and_nothing_else_is() {
        assert_eq!(Header::new(2).check(2), Ok(()));
        assert_eq!(Header::new(1).check(2), Ok(()));
        assert!(Header::new(3).check(2).is_err() && Header::new(0).check(2).is_err());
        let other = Header { program: Cow::Borrowed("other"), ..Header::new(1) };
        assert!(other.check(2).is_err());
    }
}
