//! Memory for decoding, bounded in bytes over all workers together.
//!
//! A worker holds what its frame will take before it decodes, and waits while others hold too
//! much; a frame that alone exceeds the budget is passed over. A thread that holds memory already
//! never waits for more, so that no two can wait for each other.

use std::collections::HashMap;
use std::sync::{Condvar, Mutex, MutexGuard, OnceLock, PoisonError};
use std::thread::ThreadId;

use crate::error::SkipReason;

/// Share of the machine's memory that decoders may take together.
const SHARE: u64 = 4;
/// Budget where the system does not tell how much memory there is, bytes.
const UNKNOWN_BYTES: u64 = 2 << 30;
/// Smallest budget: less holds no ordinary frame, bytes.
const MIN_BYTES: u64 = 64 * MB;
/// Bytes of a megabyte as people read it.
const MB: u64 = 1_000_000;

static BUDGET: OnceLock<u64> = OnceLock::new();
static USE: OnceLock<Budget> = OnceLock::new();

/// Sets how much memory all decoders may take together, bytes; the smallest is 64 MB. Only what
/// is set before the first frame is decoded counts; without it, it is a quarter of the machine's
/// memory.
pub fn set_memory_budget(bytes: u64) {
    let _ = BUDGET.set(bytes.max(MIN_BYTES));
}

/// How much memory all decoders may take together, bytes.
pub fn memory_budget() -> u64 {
    *BUDGET
        .get_or_init(|| machine_bytes().map_or(UNKNOWN_BYTES, |bytes| bytes / SHARE).max(MIN_BYTES))
}

/// Memory of the machine or of the container, whichever is less.
#[cfg(target_os = "linux")]
// The type of these numbers is another one on 32-bit machines.
#[allow(clippy::useless_conversion)]
fn machine_bytes() -> Option<u64> {
    let info = rustix::system::sysinfo();
    let whole = u64::try_from(info.totalram).ok()?.checked_mul(info.mem_unit.into())?;
    let contained = std::fs::read_to_string("/sys/fs/cgroup/memory.max");
    let contained = contained.ok().and_then(|text| text.trim().parse::<u64>().ok());
    Some(contained.map_or(whole, |c| c.min(whole)))
}

#[cfg(not(target_os = "linux"))]
fn machine_bytes() -> Option<u64> {
    None
}

fn of_all() -> &'static Budget {
    USE.get_or_init(|| Budget::new(memory_budget()))
}

/// A number of bytes that threads share.
#[derive(Debug)]
struct Budget {
    total: u64,
    state: Mutex<BudgetState>,
    freed: Condvar,
}

#[derive(Debug, Default)]
struct BudgetState {
    used: u64,
    holders: HashMap<ThreadId, usize>,
}

impl Budget {
    fn new(total: u64) -> Budget {
        Budget { total, state: Mutex::default(), freed: Condvar::new() }
    }

    fn state(&self) -> MutexGuard<'_, BudgetState> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn take(&self, bytes: u64) -> Result<(), SkipReason> {
        if bytes > self.total {
            return Err(SkipReason::NeedsMemory {
                needed_mb: bytes.div_ceil(MB),
                budget_mb: self.total / MB,
            });
        }
        let own = std::thread::current().id();
        let mut state = self.state();
        while state.used.saturating_add(bytes) > self.total && !state.holders.contains_key(&own) {
            state = self.freed.wait(state).unwrap_or_else(PoisonError::into_inner);
        }
        state.used = state.used.saturating_add(bytes);
        *state.holders.entry(own).or_default() += 1;
        Ok(())
    }

    fn give(&self, bytes: u64, holder: ThreadId) {
        let mut state = self.state();
        state.used = state.used.saturating_sub(bytes);
        if let Some(holds) = state.holders.get_mut(&holder) {
            *holds -= 1;
            if *holds == 0 {
                state.holders.remove(&holder);
            }
        }
        drop(state);
        self.freed.notify_all();
    }
}

/// Memory that a frame takes, until dropped.
#[derive(Debug)]
pub struct Held {
    of: &'static Budget,
    bytes: u64,
    /// The thread that took it, when it holds any.
    holder: Option<ThreadId>,
}

impl Held {
    /// None yet.
    pub(super) fn nothing() -> Held {
        Held { of: of_all(), bytes: 0, holder: None }
    }

    /// Holds so many bytes from now on, in place of what it held before. Waits while other threads
    /// hold too much.
    ///
    /// # Errors
    /// [`SkipReason::NeedsMemory`], when it is more than the whole budget; nothing is held then.
    pub(super) fn set(&mut self, bytes: u64) -> Result<(), SkipReason> {
        if bytes <= self.bytes {
            self.shrink(bytes);
            return Ok(());
        }
        self.release();
        self.of.take(bytes)?;
        (self.bytes, self.holder) = (bytes, Some(std::thread::current().id()));
        Ok(())
    }

    /// Gives back what exceeds so many bytes.
    pub fn shrink(&mut self, bytes: u64) {
        let Some(less) = self.bytes.checked_sub(bytes).filter(|less| *less > 0) else { return };
        let mut state = self.of.state();
        state.used = state.used.saturating_sub(less);
        drop(state);
        self.bytes = bytes;
        self.of.freed.notify_all();
    }

    fn release(&mut self) {
        if let Some(holder) = self.holder.take() {
            self.of.give(self.bytes, holder);
            self.bytes = 0;
        }
    }
}

impl Drop for Held {
    fn drop(&mut self) {
        self.release();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::error::Hint;
    use std::sync::atomic::{AtomicU64, Ordering};

    fn own(total: u64) -> &'static Budget {
        Box::leak(Box::new(Budget::new(total)))
    }

    fn held(of: &'static Budget, bytes: u64) -> Result<Held, SkipReason> {
        let mut held = Held { of, bytes: 0, holder: None };
        held.set(bytes).map(|()| held)
    }

    #[test]
    fn threads_together_stay_within_the_budget_and_all_come_through() {
        let budget = own(100);
        let (now, most, through) = (AtomicU64::new(0), AtomicU64::new(0), AtomicU64::new(0));
        std::thread::scope(|scope| {
            for worker in 0..8u64 {
                let (now, most, through) = (&now, &most, &through);
                scope.spawn(move || {
                    for round in 0..200u64 {
                        let bytes = 1 + (worker * 31 + round * 17) % 100;
                        let mut held = held(budget, bytes).unwrap();
                        let sum = now.fetch_add(bytes, Ordering::SeqCst) + bytes;
                        most.fetch_max(sum, Ordering::SeqCst);
                        std::thread::yield_now();
                        now.fetch_sub(bytes, Ordering::SeqCst);
                        held.shrink(bytes / 2);
                        through.fetch_add(1, Ordering::SeqCst);
                    }
                });
            }
        });
        assert_eq!(through.into_inner(), 1600);
        let most = most.into_inner();
        assert!((51..=100).contains(&most), "{most}");
        let state = budget.state();
        assert_eq!((state.used, state.holders.len()), (0, 0));
    }

    #[test]
    fn more_than_all_of_it_holds_nothing() {
        let budget = own(50 * MB);
        assert!(held(budget, 50 * MB).is_ok());
        let why = held(budget, 50 * MB + 1).unwrap_err();
        assert_eq!(why, SkipReason::NeedsMemory { needed_mb: 51, budget_mb: 50 });
        assert_eq!(why.hint(), Some(Hint::AllowMemory), "{why}");
        assert_eq!(budget.state().used, 0);
    }

    #[test]
    fn a_thread_that_holds_some_does_not_wait_for_more() {
        let budget = own(100);
        let first = held(budget, 80).unwrap();
        let second = held(budget, 80).unwrap();
        assert_eq!(budget.state().used, 160);
        drop((first, second));
        assert_eq!(budget.state().used, 0);
    }

    #[test]
    fn growing_and_shrinking_keep_count() {
        let budget = own(100);
        let mut held = held(budget, 10).unwrap();
        held.set(60).unwrap();
        assert_eq!(budget.state().used, 60);
        held.set(20).unwrap();
        assert_eq!(budget.state().used, 20);
        assert!(held.set(101).is_err());
        assert_eq!(budget.state().used, 0);
        held.set(5).unwrap();
        drop(held);
        let state = budget.state();
        assert_eq!((state.used, state.holders.len()), (0, 0));
    }
}
