//! One connection: one request is read, under limits of size and time, and answered.

use std::io::{self, Read, Write};
use std::net::{Shutdown, TcpStream};
use std::time::{Duration, Instant};

use super::api::HttpAnswer;
use super::guard;
use super::head::{HeadFault, MAX_HEAD_BYTES, RequestHead, read_head};

/// Time for the head, and again for the body: on this machine they come within milliseconds.
const READ_TIME: Duration = Duration::from_secs(5);
/// Time for the whole answer, however large, to be taken.
const WRITE_TIME: Duration = Duration::from_secs(30);
/// Time for a peer that was refused to stop sending, so that it sees the answer.
const LINGER: Duration = Duration::from_millis(500);
/// Bytes that a peer that was refused may still send.
const LINGER_BYTES: usize = 256 << 10;
/// Bytes read or written at a time.
const PIECE: usize = 16 << 10;

/// A request as far as its head.
pub struct Asked {
    /// The head.
    pub head: RequestHead,
    /// What came of the body with it.
    rest: Vec<u8>,
}

/// Why there is no request.
pub enum NoRequest {
    /// To be refused with this.
    Refused(HttpAnswer),
    /// Nobody is there to be told.
    Gone,
}

/// Reads once before a deadline; 0 bytes at the end.
fn read_by(stream: &TcpStream, buffer: &mut [u8], deadline: Instant) -> io::Result<usize> {
    let left = deadline.saturating_duration_since(Instant::now());
    if left.is_zero() {
        return Err(io::ErrorKind::TimedOut.into());
    }
    stream.set_read_timeout(Some(left))?;
    let mut stream = stream;
    loop {
        match stream.read(buffer) {
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            other => return other,
        }
    }
}

fn late(error: &io::Error) -> bool {
    // What a timeout is called differs between systems.
    matches!(error.kind(), io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut)
}

fn unread(error: &io::Error) -> NoRequest {
    match late(error) {
        true => NoRequest::Refused(HttpAnswer::refused(408, "the request did not come in time")),
        false => NoRequest::Gone,
    }
}

/// Reads the head of a request.
///
/// # Errors
/// [`NoRequest`].
pub fn asked(stream: &TcpStream) -> Result<Asked, NoRequest> {
    let deadline = Instant::now() + READ_TIME;
    let mut bytes = Vec::new();
    let mut piece = [0; MAX_HEAD_BYTES];
    loop {
        let n = read_by(stream, &mut piece, deadline).map_err(|e| unread(&e))?;
        if n == 0 {
            return Err(NoRequest::Gone);
        }
        bytes.extend_from_slice(&piece[..n]);
        match read_head(&bytes) {
            Ok(Some((head, used))) => return Ok(Asked { head, rest: bytes.split_off(used) }),
            Ok(None) => {}
            Err(fault) => {
                let (status, says) = match fault {
                    HeadFault::Malformed => (400, "this is no request"),
                    HeadFault::TooLarge => (431, "the head of the request is too large"),
                    HeadFault::BodyTooLarge => (413, "the body of the request is too large"),
                    HeadFault::BodyUnclear => (400, "where the request ends is not clear"),
                };
                return Err(NoRequest::Refused(HttpAnswer::refused(status, says)));
            }
        }
    }
}

/// Reads the body that belongs to a head.
///
/// # Errors
/// [`NoRequest`].
pub fn body(stream: &TcpStream, asked: Asked) -> Result<Vec<u8>, NoRequest> {
    let Asked { head, rest: mut bytes } = asked;
    let deadline = Instant::now() + READ_TIME;
    let mut piece = [0; PIECE];
    while bytes.len() < head.body_bytes {
        let most = piece.len().min(head.body_bytes - bytes.len());
        let n = read_by(stream, &mut piece[..most], deadline).map_err(|e| unread(&e))?;
        if n == 0 {
            return Err(NoRequest::Gone);
        }
        bytes.extend_from_slice(&piece[..n]);
    }
    bytes.truncate(head.body_bytes);
    Ok(bytes)
}

fn reason(status: u16) -> &'static str {
    match status {
        200 => "OK",
        400 => "Bad Request",
        403 => "Forbidden",
        404 => "Not Found",
        405 => "Method Not Allowed",
        408 => "Request Timeout",
        409 => "Conflict",
        410 => "Gone",
        413 => "Content Too Large",
        421 => "Misdirected Request",
        431 => "Request Header Fields Too Large",
        _ => "Internal Server Error",
    }
}

/// Sends an answer and ends the connection: one request each, so that no request can hide behind
/// another. `whole` says that the request was read to its end.
///
/// # Errors
/// Whoever asked went away, or does not take it in time.
pub fn respond(stream: &TcpStream, answer: &HttpAnswer, whole: bool) -> io::Result<()> {
    let mut text = format!("HTTP/1.1 {} {}\r\n", answer.status, reason(answer.status));
    for (name, value) in guard::HEADERS.iter().chain([&("Content-Type", answer.kind)]) {
        text.push_str(&format!("{name}: {value}\r\n"));
    }
    text.push_str(&format!("Content-Length: {}\r\nConnection: close\r\n\r\n", answer.body.len()));
    let deadline = Instant::now() + WRITE_TIME;
    for piece in std::iter::once(text.as_bytes()).chain(answer.body.chunks(PIECE)) {
        let left = deadline.saturating_duration_since(Instant::now());
        if left.is_zero() {
            return Err(io::ErrorKind::TimedOut.into());
        }
        stream.set_write_timeout(Some(left))?;
        let mut stream = stream;
        stream.write_all(piece)?;
    }
    stream.shutdown(Shutdown::Write)?;
    if !whole {
        // Closing on bytes that were not read would take the answer away from the other side.
        let deadline = Instant::now() + LINGER;
        let mut piece = [0; PIECE];
        let mut sum = 0;
        while sum < LINGER_BYTES {
            match read_by(stream, &mut piece, deadline) {
                Ok(n) if n > 0 => sum += n,
                _ => break,
            }
        }
    }
    Ok(())
}
