//! `cull` and `inspect`: from the frames of an outing to verdicts, records and pages.

pub mod burst;
pub mod burst_verdict;
pub mod cached_burst;
mod decide;
mod evidence;
pub mod explain;
pub mod grouping;
pub mod inspect;
pub mod inspect_page;
pub mod inspect_terminal;
pub mod invariants;
pub mod judge;
pub mod log_entry;
pub mod measured_frame;
mod movement;
pub mod open_burst;
pub mod outing;
pub mod page;
pub mod page_data;
mod paging;
pub mod pictures;
mod subject_boxes;
pub mod terminal;
pub mod to_record;
pub mod unmarked;
pub(crate) mod view;
pub mod written;
