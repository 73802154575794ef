//! What was found, as plain records, before anyone decides how it looks.

pub mod page;
pub mod record;
