//! Whether a panic is the raw decoder's own: it gives up on some damaged files that way, in any of
//! its threads and often hundreds of times for one file. What it says then is of no use to the
//! person who runs the program; the file is skipped with a reason.

use std::sync::atomic::{AtomicUsize, Ordering};

/// Decoders at work.
static DECODING: AtomicUsize = AtomicUsize::new(0);

struct AtWork;

impl Drop for AtWork {
    fn drop(&mut self) {
        DECODING.fetch_sub(1, Ordering::SeqCst);
    }
}

/// Runs something in which the decoder may panic.
pub(super) fn decoding<T>(work: impl FnOnce() -> T) -> T {
    DECODING.fetch_add(1, Ordering::SeqCst);
    let _at_work = AtWork;
    work()
}

/// Whether a panic at a place in some source file comes from a decoder at work, whose caller
/// catches it: for a program's panic hook.
pub fn is_of_decoder(source_file: &str) -> bool {
    DECODING.load(Ordering::SeqCst) > 0 && source_file.contains("rawler")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_panics_of_a_decoder_at_work_are_its_own() {
        let place = "registry/src/rawler-0.8.0/src/pumps.rs";
        decoding(|| {
            assert!(is_of_decoder(place));
            assert!(!is_of_decoder("src/sets/judge.rs"));
        });
    }
}
