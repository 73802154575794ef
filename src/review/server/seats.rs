//! Who may be connected: a fixed number of seats, and who makes room when they are taken.
//!
//! A connection that has not yet asked for something that may be answered can be sent away; the
//! oldest goes first. So nobody without the address can keep the page from whoever has it, however
//! many connections they open.

use std::net::{Shutdown, TcpStream};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// Connections at a time: a browser opens about six.
pub const MAX_CONNECTIONS: usize = 64;
/// A connection is left in peace this long, so that its first request can be read: on this machine
/// it comes within a millisecond. 1,000 that say nothing are gone after a third of a second.
const MIN_STAY: Duration = Duration::from_millis(20);

struct Seat {
    number: u64,
    since: Instant,
    stream: Arc<TcpStream>,
    /// Its request was let in: it stays until it is answered.
    answered: bool,
}

#[derive(Default)]
struct SeatState {
    seats: Vec<Seat>,
    next: u64,
    working: usize,
}

/// Every connection there is.
#[derive(Default)]
pub struct Seats {
    state: Mutex<SeatState>,
    changed: Condvar,
}

/// A connection's seat; free again when this is dropped.
pub struct SeatGuard {
    seats: Arc<Seats>,
    number: u64,
}

/// One of the requests being worked on; the next may begin when this is dropped.
pub struct Working<'s>(&'s Seats);

impl Seats {
    fn state(&self) -> MutexGuard<'_, SeatState> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Gives a new connection a seat; waits until there is one.
    pub fn take(self: &Arc<Self>, stream: &Arc<TcpStream>) -> SeatGuard {
        let mut state = self.state();
        while state.seats.len() >= MAX_CONNECTIONS {
            let oldest = state.seats.iter().find(|s| !s.answered);
            if let Some(seat) = oldest.filter(|s| s.since.elapsed() >= MIN_STAY) {
                // Whoever reads from it finds its end, and gives the seat back.
                let _ = seat.stream.shutdown(Shutdown::Both);
            }
            let wait = self.changed.wait_timeout(state, MIN_STAY / 4);
            state = wait.unwrap_or_else(PoisonError::into_inner).0;
        }
        let number = state.next;
        state.next += 1;
        state.seats.push(Seat {
            number,
            since: Instant::now(),
            stream: Arc::clone(stream),
            answered: false,
        });
        SeatGuard { seats: Arc::clone(self), number }
    }

    /// Waits for a turn to work on a request, `at_once` of which are worked on at a time.
    pub fn work(&self, at_once: usize) -> Working<'_> {
        let mut state = self.state();
        while state.working >= at_once {
            state = self.changed.wait(state).unwrap_or_else(PoisonError::into_inner);
        }
        state.working += 1;
        Working(self)
    }

    /// Waits until nothing is being answered, but no longer than `most`.
    pub fn quiet(&self, most: Duration) {
        let until = Instant::now() + most;
        let mut state = self.state();
        while state.seats.iter().any(|s| s.answered) {
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return;
            }
            let wait = self.changed.wait_timeout(state, left);
            state = wait.unwrap_or_else(PoisonError::into_inner).0;
        }
    }
}

impl SeatGuard {
    /// Keeps the seat until the request is answered.
    pub fn keep(&self) {
        if let Some(seat) = self.seats.state().seats.iter_mut().find(|s| s.number == self.number) {
            seat.answered = true;
        }
    }
}

impl Drop for SeatGuard {
    fn drop(&mut self) {
        self.seats.state().seats.retain(|s| s.number != self.number);
        self.seats.changed.notify_all();
    }
}

impl Drop for Working<'_> {
    fn drop(&mut self) {
        self.0.state().working -= 1;
        self.0.changed.notify_all();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::net::TcpListener;

    #[test]
    fn who_says_nothing_makes_room_and_who_is_answered_does_not() {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        let connect = || Arc::new(TcpStream::connect(address).unwrap());
        let seats = Arc::new(Seats::default());
        let streams: Vec<_> = (0..MAX_CONNECTIONS).map(|_| connect()).collect();
        let taken: Vec<SeatGuard> = streams.iter().map(|s| seats.take(s)).collect();
        taken[0].keep();
        // Those who read from a connection leave when it ends.
        let mut taken = taken.into_iter();
        let first = taken.next().unwrap();
        let second = taken.next().unwrap();
        let stream = Arc::clone(&streams[1]);
        let leaves = std::thread::spawn(move || {
            use std::io::Read;
            let read = (&*stream).read(&mut [0; 1]);
            drop(second);
            read.is_ok_and(|n| n == 0)
        });
        let late = seats.take(&connect());
        assert!(leaves.join().unwrap(), "the oldest that says nothing goes");
        let numbers: Vec<u64> = seats.state().seats.iter().map(|s| s.number).collect();
        assert_eq!(numbers.len(), MAX_CONNECTIONS);
        assert!(numbers.contains(&first.number) && numbers.contains(&late.number));
        assert!(!numbers.contains(&1));
    }
}
