//! Adding what was measured to the log.

use stopwise::report::wording;
use stopwise::store::log::{Log, NewOuting};

use super::show;

/// Adds an outing to the log; says what became of it, and whether it is kept. One without frames
/// is none; of a run that was stopped nothing is kept.
pub fn add(mut log: Log, outing: impl FnOnce() -> NewOuting, stopped: bool) -> bool {
    if stopped {
        show::print_note("Stopped: nothing was added to the log.");
        return true;
    }
    let outing = outing();
    if outing.frames.is_empty() {
        return true;
    }
    match log.add(&outing) {
        Ok(added) => {
            show::print_note(&format!(
                "Logged as outing {}: {}{} in {}",
                added.id,
                wording::count(added.frames as u32, "frame", "frames"),
                if added.replaced { ", in place of an earlier measurement" } else { "" },
                log.path().display()
            ));
            true
        }
        Err(error) => {
            show::print_problem(&error.into());
            false
        }
    }
}
