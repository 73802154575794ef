//! The local page of `review`: served to this machine only, at an address that nobody else knows.
//!
//! The server listens on the loopback address, at a port that the system assigns. Every address
//! below it starts with a random token. A request for another host (a name that was pointed here),
//! from another page, or without the token is refused. Frames are asked for by number: there is no
//! way to name a file.
//!
//! Everybody on the machine can connect, so nothing that comes before the token may cost much:
//! heads, bodies, times and connections have limits (`head`, `connection`, `seats`), and whoever
//! has the address is not kept waiting by those who have not.

mod api;
mod connection;
mod guard;
#[doc(hidden)]
pub mod head;
mod pictures;
mod review_state;
mod routes;
mod seats;
mod session;

use std::io;
use std::net::{Ipv4Addr, SocketAddrV4, TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use connection::NoRequest;
pub use session::{ReviewSource, Session};

/// How often it is looked whether the program is to end.
const LOOK: Duration = Duration::from_millis(100);
/// Requests answered at a time: pictures are decoded in them.
const WORKERS: usize = 4;
/// How long answers that are being made are waited for at the end.
const LAST_ANSWERS: Duration = Duration::from_secs(2);

/// A server that listens.
pub struct Listening {
    listener: TcpListener,
    guard: guard::Guard,
    /// Where the page is.
    pub address: String,
}

/// Starts to listen.
///
/// # Errors
/// What the system says.
pub fn listen(port: u16) -> io::Result<Listening> {
    let listener = TcpListener::bind(SocketAddrV4::new(Ipv4Addr::LOCALHOST, port))?;
    let guard = guard::Guard::new(listener.local_addr()?.port())?;
    let address = guard.address();
    Ok(Listening { listener, guard, address })
}

impl Listening {
    /// Answers until `stop` is set.
    pub fn run(self, session: &Arc<Session>, stop: &AtomicBool) {
        let seats = Arc::new(seats::Seats::default());
        let desk = Arc::new(Desk { guard: self.guard, seats, session: Arc::clone(session) });
        let door = Arc::clone(&desk);
        let listener = self.listener;
        // It waits for the next connection until the program ends, and ends with it.
        std::thread::spawn(move || door.receive(&listener));
        while !stop.load(Ordering::Relaxed) {
            std::thread::sleep(LOOK);
        }
        desk.seats.quiet(LAST_ANSWERS);
    }
}

/// What every connection needs.
struct Desk {
    guard: guard::Guard,
    seats: Arc<seats::Seats>,
    session: Arc<Session>,
}

impl Desk {
    fn receive(self: Arc<Self>, listener: &TcpListener) {
        loop {
            let Ok((stream, _)) = listener.accept() else {
                // The system has nothing left to connect with: others have to end first.
                std::thread::sleep(LOOK);
                continue;
            };
            let stream = Arc::new(stream);
            let seat = self.seats.take(&stream);
            let desk = Arc::clone(&self);
            let thread = std::thread::Builder::new();
            // Without a thread for it, the connection is closed.
            let _ = thread.spawn(move || desk.serve(&stream, &seat));
        }
    }

    fn serve(&self, stream: &TcpStream, seat: &seats::SeatGuard) {
        let refused = |answer| connection::respond(stream, &answer, false);
        // Whoever went away does not need the answer.
        let _ = match self.answer(stream, seat) {
            Ok(answer) => connection::respond(stream, &answer, true),
            Err(NoRequest::Refused(answer)) => refused(answer),
            Err(NoRequest::Gone) => Ok(()),
        };
    }

    fn answer(
        &self,
        stream: &TcpStream,
        seat: &seats::SeatGuard,
    ) -> Result<api::HttpAnswer, NoRequest> {
        let asked = connection::asked(stream)?;
        let path = self.guard.admitted(&asked.head).map_err(NoRequest::Refused)?;
        let method = asked.head.method;
        let body = connection::body(stream, asked)?;
        seat.keep();
        let _turn = self.seats.work(WORKERS);
        Ok(routes::answer(&self.session, method, &path, &body))
    }
}
