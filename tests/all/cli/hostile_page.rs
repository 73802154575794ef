//! Whatever is sent to the local page, it stays within its limits and goes on for whoever has its
//! address. Everything goes to the loopback address; counts are fixed.

use std::io::{Read, Write};
use std::net::TcpStream;

use serde_json::json;

use super::HANGS;
use super::review::{Review, culled};

/// Connections that ask for nothing.
const HOSTILE: usize = 1000;

fn connect(review: &Review) -> TcpStream {
    let stream = TcpStream::connect(("127.0.0.1", review.port)).unwrap();
    stream.set_read_timeout(Some(HANGS)).unwrap();
    stream.set_write_timeout(Some(HANGS)).unwrap();
    stream
}

/// Sends bytes as long as they are taken, and returns the status of the answer; 0 without one.
fn status(review: &Review, pieces: impl Iterator<Item = Vec<u8>>) -> u16 {
    let mut stream = connect(review);
    for piece in pieces {
        if stream.write_all(&piece).is_err() {
            break;
        }
    }
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    let text = String::from_utf8_lossy(&answer);
    text.split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap_or(0)
}

fn once(review: &Review, text: &str) -> u16 {
    status(review, std::iter::once(text.as_bytes().to_vec()))
}

/// A value of `/proc/PID/status`.
#[cfg(target_os = "linux")]
fn of_process(review: &Review, key: &str) -> u64 {
    let text = std::fs::read_to_string(format!("/proc/{}/status", review.process())).unwrap();
    let line = text.lines().find(|l| l.starts_with(key)).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

#[test]
fn what_a_header_claims_is_not_set_aside() {
    let place = culled();
    let review = Review::start(&place, &[]);
    let host = format!("Host: 127.0.0.1:{}\r\n", review.port);
    let own =
        format!("Origin: http://127.0.0.1:{}\r\nContent-Type: application/json\r\n", review.port);
    let path = format!("/{}/actions", review.token);
    for length in ["65537", "100000000000", "18446744073709551615", &"9".repeat(100)] {
        for (path, own) in [("/x", ""), (path.as_str(), own.as_str())] {
            let text =
                format!("POST {path} HTTP/1.1\r\n{host}{own}Content-Length: {length}\r\n\r\n");
            assert_eq!(once(&review, &text), 413, "{path} {length}");
        }
    }
    // A body of the largest size is read, and is no decision; one byte more is not read.
    let body = " ".repeat(65_536);
    assert_eq!(review.request("POST", &path[1..], &own, &body).0, 400);
    assert_eq!(review.request("POST", &path[1..], &own, &format!("{body} ")).0, 413);
    for headers in [
        "Content-Length: 5\r\nContent-Length: 5\r\n",
        "Content-Length: 5\r\nContent-Length: 50\r\n",
        "Content-Length: -1\r\n",
        "Transfer-Encoding: chunked\r\n",
        "Transfer-Encoding: chunked\r\nContent-Length: 5\r\n",
    ] {
        let text =
            format!("POST {path} HTTP/1.1\r\n{host}{own}{headers}\r\n5\r\nhello\r\n0\r\n\r\n");
        assert_eq!(once(&review, &text), 400, "{headers}");
    }
    // Two headers of a name, the first of them right.
    let twice = |line: &str| format!("{line}{line}");
    let told = json!({"do": "decide", "frame": 0, "call": "hit"}).to_string();
    let site = "Sec-Fetch-Site: same-origin\r\n".to_owned();
    for (double, refused) in [
        (format!("{host}{}{own}", twice(&site)), 403),
        (format!("{host}{site}Sec-Fetch-Site: cross-site\r\n{own}"), 403),
        (format!("{host}{own}Content-Type: text/plain\r\n"), 403),
        (format!("{host}{own}{}", own.lines().next().unwrap().to_owned() + "\r\n"), 403),
        (format!("{}{own}", twice(&host)), 421),
        (format!("{host}{own}"), 200),
    ] {
        let text =
            format!("POST {path} HTTP/1.1\r\n{double}Content-Length: {}\r\n\r\n{told}", told.len());
        assert_eq!(once(&review, &text), refused, "{double}");
    }
    assert_eq!(review.json("outing")["decided"], 1, "only the last of them is let in");
}

#[test]
fn heads_without_end_are_refused_and_not_kept() {
    let place = culled();
    let review = Review::start(&place, &[]);
    let start = format!("GET / HTTP/1.1\r\nHost: 127.0.0.1:{}\r\n", review.port).into_bytes();
    let piece = |with: &str| with.repeat((1 << 16) / with.len()).into_bytes();
    // 64 MB of a header line without end, of header lines, of a request line: as long as taken.
    for (start, with) in
        [(start.clone(), "x"), (start, "a: b\r\n"), (b"GET /".to_vec(), "x"), (Vec::new(), "\r\n")]
    {
        let pieces =
            std::iter::once(start).chain(std::iter::repeat_with(|| piece(with)).take(1024));
        let status = status(&review, pieces);
        // The answer can be lost when the rest is still being sent.
        assert!(matches!(status, 431 | 400 | 0), "{with:?}: {status}");
    }
    let head = |bytes: usize| {
        let text = format!(
            "GET /{}/outing HTTP/1.1\r\nHost: 127.0.0.1:{}\r\na: ",
            review.token, review.port
        );
        format!("{text}{}\r\n\r\n", "x".repeat(bytes - text.len() - 4))
    };
    assert_eq!((once(&review, &head(8192)), once(&review, &head(8193))), (200, 431));
    #[cfg(target_os = "linux")]
    {
        let peak_kb = of_process(&review, "VmHWM:");
        assert!(peak_kb < 100_000, "{peak_kb} kB");
    }
}

#[test]
fn bodies_that_do_not_come_are_given_up() {
    let place = culled();
    let review = Review::start(&place, &[]);
    let (port, token) = (review.port, &review.token);
    let own = format!("Origin: http://127.0.0.1:{port}\r\nContent-Type: application/json\r\n");
    let head = |path: &str| {
        format!(
            "POST /{path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n{own}Content-Length: 50\r\n\r\n{{"
        )
    };
    // More than are answered at a time, all with the address; the page goes on beside them.
    let mut waiting: Vec<TcpStream> = (0..8).map(|_| connect(&review)).collect();
    for stream in &mut waiting {
        stream.write_all(head(&format!("{token}/actions")).as_bytes()).unwrap();
    }
    // Without the address nothing is waited for.
    assert_eq!(once(&review, &head("x/actions")), 403);
    assert_eq!(review.get("frame/0/whole?side=100").0, 200);
    for stream in &mut waiting {
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        assert!(answer.starts_with("HTTP/1.1 408 "), "{answer}");
    }
    assert_eq!(review.json("outing")["decided"], 0);
}

#[test]
fn a_picture_comes_while_1000_connections_are_open() {
    #[cfg(unix)]
    {
        use rustix::process::{Resource, getrlimit, setrlimit};
        let mut limit = getrlimit(Resource::Nofile);
        let wanted = limit.current.map(|now| now.max(4096));
        limit.current = match (wanted, limit.maximum) {
            (Some(wanted), Some(most)) => Some(wanted.min(most)),
            (wanted, None) => wanted,
            (None, _) => None,
        };
        setrlimit(Resource::Nofile, limit).unwrap();
    }
    let place = culled();
    let review = Review::start(&place, &[]);
    let port = review.port;
    let started = [
        String::new(),
        format!("GET / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nCookie: "),
        format!("POST /x HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nContent-Length: 60000\r\n\r\n"),
        format!("GET /x HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n"),
    ];
    let open: Vec<TcpStream> = (0..HOSTILE)
        .map(|i| {
            let mut stream = connect(&review);
            // One that was sent away already takes nothing more.
            let _ = stream.write_all(started[i % started.len()].as_bytes());
            stream
        })
        .collect();
    for n in 0..5 {
        let (status, _) = review.get(&format!("frame/{n}/whole?side=300"));
        assert_eq!(status, 200);
    }
    let own = json!({"do": "decide", "frame": 0, "call": "miss"});
    assert_eq!(review.tell(&own).0, 200);
    #[cfg(target_os = "linux")]
    assert!(of_process(&review, "Threads:") < 64 + 16);
    assert_eq!(open.len(), HOSTILE);
    drop(open);
    assert_eq!(review.json("outing")["decided"], 1);
}
