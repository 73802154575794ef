//! The local page of `review`: served to this machine only, at an address that nobody else knows.
//!
//! The server listens on the loopback address, at a port that the system picks. Every address
//! below it starts with a random token. A request for another host (a name that was pointed here),
//! from another page, or without the token is refused. Frames are asked for by number: there is no
//! way to name a file.

mod answers;
mod guard;
mod pictures;
mod routes;
mod session;

use std::io;
use std::net::{Ipv4Addr, SocketAddrV4, TcpListener};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use tiny_http::{Response, Server};

pub use session::{Session, Source};

/// How often a worker looks whether the program is to end.
const LOOK: Duration = Duration::from_millis(250);
/// Requests answered at a time: pictures are decoded in them.
const WORKERS: usize = 4;

/// A server that listens.
pub struct Listening {
    server: Server,
    guard: guard::Guard,
    /// Where the page is.
    pub address: String,
}

/// Starts to listen.
///
/// # Errors
/// What the system says, or that it listens already.
pub fn listen(port: u16) -> io::Result<Listening> {
    let listener = TcpListener::bind(SocketAddrV4::new(Ipv4Addr::LOCALHOST, port))?;
    let port = listener.local_addr()?.port();
    let server = Server::from_listener(listener, None).map_err(io::Error::other)?;
    let guard = guard::Guard::new(port);
    let address = guard.address();
    Ok(Listening { server, guard, address })
}

impl Listening {
    /// Answers until `stop` is set.
    pub fn run(self, session: &Arc<Session>, stop: &AtomicBool) {
        std::thread::scope(|scope| {
            for _ in 0..WORKERS {
                scope.spawn(|| self.work(session, stop));
            }
        });
    }

    fn work(&self, session: &Arc<Session>, stop: &AtomicBool) {
        while !stop.load(Ordering::Relaxed) {
            let Ok(Some(mut request)) = self.server.recv_timeout(LOOK) else { continue };
            let answer = match self.guard.admitted(&request) {
                Ok(path) => routes::answer(session, &mut request, &path),
                Err(refused) => refused,
            };
            let mut response = Response::from_data(answer.body).with_status_code(answer.status);
            for (name, value) in guard::HEADERS.iter().chain([&("Content-Type", answer.kind)]) {
                if let Ok(header) = tiny_http::Header::from_bytes(*name, *value) {
                    response.add_header(header);
                }
            }
            // Whoever went away does not need the answer.
            let _ = request.respond(response);
        }
    }
}
