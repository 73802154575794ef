//! `cull` and `inspect`: from the frames of an outing to verdicts, records and pages.

pub mod burst;
pub mod burst_verdict;
pub mod cached_burst;
pub mod columns;
mod decide;
mod elsewhere;
mod evidence;
pub mod explain;
pub mod findings;
pub mod grouping;
#[cfg(test)]
mod hand_made;
pub mod inspect;
pub mod inspect_terminal;
pub mod invariants;
pub mod job;
pub mod judge;
pub mod log_entry;
mod measured_burst;
pub mod measured_frame;
mod movement;
pub mod open_burst;
pub mod outing;
pub mod page;
pub mod page_data;
mod paging;
pub mod pictures;
mod read_patches;
pub mod record;
pub mod sentences;
mod subject_boxes;
pub mod summary;
pub mod terminal;
pub mod to_record;
pub mod unmarked;
pub(crate) mod view;
pub mod wording;
