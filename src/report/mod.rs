//! What was found, as plain records, before anyone decides how it looks.

pub mod clip_column;
pub mod clip_record;
pub mod clip_table;
pub mod column;
pub mod noise_record;
pub mod noise_table;
pub mod page;
pub mod record;
pub mod summary;
pub mod wording;
