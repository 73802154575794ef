//! `cull` and `inspect`: from the frames of an outing to verdicts, records and pages.

pub mod burst;
pub mod cached_burst;
pub mod explain;
pub mod grouping;
pub mod inspect;
pub mod inspect_page;
pub mod inspect_terminal;
pub mod invariants;
pub mod judge;
pub mod log_entry;
pub mod measured_frame;
pub mod open_burst;
pub mod outing;
pub mod page;
mod paging;
pub mod pictures;
pub mod terminal;
pub mod to_record;
pub mod unmarked;
pub mod verdict;
pub mod written;
