//! Threads that decode in this process and work through no frames.
//!
//! The decoder shares rows out over rayon's threads. A thread that waits for such rows takes on
//! whatever else is to be done: among threads that work through frames another frame, which may
//! have to wait for memory; and the frame that holds the memory waits for the rows. So the decoder
//! has threads of its own, and who asks for a frame does nothing but wait.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::OnceLock;
use std::sync::mpsc::sync_channel;

use rayon::{ThreadPool, ThreadPoolBuilder};

use super::decode::given_up;
use crate::error::SkipReason;

/// As many as there are threads that work through frames; `None` where no more can be had.
static DECODING: OnceLock<Option<ThreadPool>> = OnceLock::new();

/// Runs something on those threads and waits for it; a panic is a reason.
pub(super) fn apart<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, SkipReason> + Send + 'static,
) -> Result<T, SkipReason> {
    let guarded =
        || catch_unwind(AssertUnwindSafe(work)).unwrap_or_else(|panic| Err(given_up(&*panic)));
    let threads = DECODING.get_or_init(|| {
        let wanted = ThreadPoolBuilder::new().num_threads(rayon::current_num_threads());
        wanted.thread_name(|i| format!("raw decoder {i}")).build().ok()
    });
    let Some(threads) = threads else { return guarded() };
    let (done, answer) = sync_channel(1);
    threads.spawn(move || {
        // Who asked waits until there is an answer.
        let _ = done.send(guarded());
    });
    answer.recv().unwrap_or_else(|_| Err(SkipReason::Unreadable("its decoder ended".into())))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rayon::prelude::*;
    use std::cell::Cell;
    use std::sync::atomic::{AtomicUsize, Ordering};

    thread_local! {
        /// Whether this thread has worked through a frame.
        static TAKES_FRAMES: Cell<bool> = const { Cell::new(false) };
    }

    /// Rows of a frame, shared out in halves as decoders do.
    fn rows(strays: &AtomicUsize) -> u64 {
        let row = |i: u64| {
            strays.fetch_add(usize::from(TAKES_FRAMES.get()), Ordering::Relaxed);
            std::thread::yield_now();
            i
        };
        (0..64).into_par_iter().map(row).sum()
    }

    #[test]
    fn threads_that_take_frames_decode_no_rows_and_the_other_way_round() {
        static STRAYS: AtomicUsize = AtomicUsize::new(0);
        let frames = ThreadPoolBuilder::new().num_threads(4).build().unwrap();
        let sums: Vec<u64> = frames.install(|| {
            let frame = |_| {
                let own = std::thread::current().name().map(str::to_owned);
                assert!(own.is_none_or(|name| !name.starts_with("raw decoder")));
                TAKES_FRAMES.set(true);
                apart(|| Ok(rows(&STRAYS))).unwrap()
            };
            (0..100).into_par_iter().map(frame).collect()
        });
        assert_eq!(sums, [63 * 64 / 2; 100]);
        assert_eq!(STRAYS.load(Ordering::Relaxed), 0);
    }

    #[test]
    fn a_panic_is_a_reason_and_the_next_frame_is_decoded() {
        let broken =
            apart::<()>(|| std::panic::resume_unwind(Box::new("not yet implemented: that")));
        assert!(matches!(broken, Err(SkipReason::Unsupported(_))), "{broken:?}");
        assert_eq!(apart(|| Ok(7)), Ok(7));
    }
}
