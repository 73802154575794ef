//! What was found, as plain records, before anyone decides how it looks.

pub mod agreement_record;
pub mod chart_record;
pub mod chart_words;
pub mod clip_column;
pub mod clip_record;
pub mod clip_table;
pub mod column;
pub mod compare_record;
pub mod compare_table;
pub mod invariants;
pub mod log_record;
pub mod mark_record;
pub mod noise_record;
pub mod noise_table;
pub mod page;
pub mod plan_record;
pub mod plan_table;
pub mod plan_words;
pub mod record;
pub mod scale_record;
pub mod scale_table;
pub mod summary;
pub mod wording;
pub mod written;
