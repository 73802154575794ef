//! The head of a request, read under limits: what it may hold, and how much of it.
//!
//! `httparse` reads the text; this file says what is taken from it. Nothing here is set aside by
//! what a header claims. Public for the fuzz targets only.
#![cfg_attr(not(test), deny(clippy::arithmetic_side_effects))]

/// Largest head, bytes: the page's own are below 1 kB.
pub const MAX_HEAD_BYTES: usize = 8 << 10;
/// Largest body, bytes: what the page sends is below 200.
pub const MAX_BODY_BYTES: usize = 64 << 10;
/// Most header lines: browsers send about 20.
const MAX_HEADERS: usize = 64;

/// What is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// Read something.
    Get,
    /// Change something.
    Post,
    /// Anything else.
    Other,
}

/// A header that may be given once.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Once {
    /// Not given.
    #[default]
    Absent,
    /// Given once, and plain text.
    One(String),
    /// Given twice, or not text: two headers of a name are two opinions.
    Unclear,
}

impl Once {
    fn add(&mut self, value: &[u8]) {
        *self = match (&self, std::str::from_utf8(value)) {
            (Once::Absent, Ok(text)) => Once::One(text.to_owned()),
            _ => Once::Unclear,
        };
    }

    /// The value, when it was given once.
    pub fn one(&self) -> Option<&str> {
        match self {
            Once::One(text) => Some(text),
            _ => None,
        }
    }
}

/// The head of a request, as far as it is looked at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RequestHead {
    /// What is asked for.
    pub method: Method,
    /// Path and query as written.
    pub target: String,
    /// `Host`.
    pub host: Once,
    /// `Origin`.
    pub origin: Once,
    /// `Sec-Fetch-Site`.
    pub site: Once,
    /// `Content-Type`.
    pub kind: Once,
    /// Length of the body, bytes; at most [`MAX_BODY_BYTES`].
    pub body_bytes: usize,
}

/// Why a head is not taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HeadFault {
    /// It is no HTTP/1 request.
    Malformed,
    /// It is too long, or has too many lines.
    TooLarge,
    /// The body that it announces is too long.
    BodyTooLarge,
    /// Where the body ends is not clear.
    BodyUnclear,
}

/// Reads the head at the start of `bytes`; `None` when more has to come. Returns the head and the
/// number of bytes it takes.
///
/// # Errors
/// [`HeadFault`], as soon as it is certain.
pub fn read_head(bytes: &[u8]) -> Result<Option<(RequestHead, usize)>, HeadFault> {
    let mut lines = [httparse::EMPTY_HEADER; MAX_HEADERS];
    let mut request = httparse::Request::new(&mut lines);
    let within = &bytes[..bytes.len().min(MAX_HEAD_BYTES)];
    let used = match request.parse(within) {
        Ok(httparse::Status::Complete(used)) => used,
        Ok(httparse::Status::Partial) if within.len() < MAX_HEAD_BYTES => return Ok(None),
        Ok(httparse::Status::Partial) | Err(httparse::Error::TooManyHeaders) => {
            return Err(HeadFault::TooLarge);
        }
        Err(_) => return Err(HeadFault::Malformed),
    };
    let mut head = RequestHead {
        method: match request.method {
            Some("GET") => Method::Get,
            Some("POST") => Method::Post,
            _ => Method::Other,
        },
        target: request.path.unwrap_or_default().to_owned(),
        host: Once::Absent,
        origin: Once::Absent,
        site: Once::Absent,
        kind: Once::Absent,
        body_bytes: 0,
    };
    let mut length = Once::Absent;
    let mut encoded = false;
    for line in request.headers.iter() {
        let is = |name: &str| line.name.eq_ignore_ascii_case(name);
        if is("host") {
            head.host.add(line.value);
        } else if is("origin") {
            head.origin.add(line.value);
        } else if is("sec-fetch-site") {
            head.site.add(line.value);
        } else if is("content-type") {
            head.kind.add(line.value);
        } else if is("content-length") {
            length.add(line.value);
        } else if is("transfer-encoding") {
            encoded = true;
        }
    }
    // The page sends no chunks, and a body whose end two readers see in two places is an attack.
    if encoded {
        return Err(HeadFault::BodyUnclear);
    }
    head.body_bytes = match &length {
        Once::Absent => 0,
        Once::One(text) => body_length(text)?,
        Once::Unclear => return Err(HeadFault::BodyUnclear),
    };
    Ok(Some((head, used)))
}

fn body_length(text: &str) -> Result<usize, HeadFault> {
    if text.is_empty() || !text.bytes().all(|b| b.is_ascii_digit()) {
        return Err(HeadFault::BodyUnclear);
    }
    // More digits than a number holds are too many bytes as well.
    match text.parse::<usize>() {
        Ok(bytes) if bytes <= MAX_BODY_BYTES => Ok(bytes),
        _ => Err(HeadFault::BodyTooLarge),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(lines: &str) -> Result<Option<(RequestHead, usize)>, HeadFault> {
        read_head(format!("GET /a/b?c=1 HTTP/1.1\r\n{lines}\r\n").as_bytes())
    }

    #[test]
    fn a_whole_head_is_taken_apart() {
        let text = b"POST /t/actions HTTP/1.1\r\nhost: a:1\r\nContent-Length: 7\r\n\r\n{\"a\":1}";
        let (head, used) = read_head(text).unwrap().unwrap();
        assert_eq!((head.method, head.target.as_str()), (Method::Post, "/t/actions"));
        assert_eq!((head.host.one(), head.body_bytes), (Some("a:1"), 7));
        assert_eq!(&text[used..], b"{\"a\":1}");
        for end in 0..used {
            assert_eq!(read_head(&text[..end]), Ok(None), "{end}");
        }
    }

    #[test]
    fn two_of_a_name_are_unclear() {
        for name in ["Host", "Origin", "Sec-Fetch-Site", "Content-Type"] {
            let lines = format!("{name}: x\r\n{}: x\r\n", name.to_uppercase());
            let head = read(&lines).unwrap().unwrap().0;
            let found = [&head.host, &head.origin, &head.site, &head.kind];
            assert_eq!(found.iter().filter(|h| ***h == Once::Unclear).count(), 1, "{name}");
        }
        for lines in [
            "Content-Length: 5\r\nContent-Length: 5\r\n",
            "Content-Length: 5, 5\r\n",
            "Content-Length: +5\r\n",
            "Content-Length: -5\r\n",
            "Content-Length: 0x5\r\n",
            "Content-Length:\r\n",
            "Transfer-Encoding: chunked\r\n",
            "Content-Length: 5\r\nTransfer-Encoding: identity\r\n",
        ] {
            assert_eq!(read(lines), Err(HeadFault::BodyUnclear), "{lines}");
        }
    }

    #[test]
    fn lengths_on_both_sides_of_the_limits() {
        let claims = |n: &str| read(&format!("Content-Length: {n}\r\n"));
        assert_eq!(claims("65536").unwrap().unwrap().0.body_bytes, MAX_BODY_BYTES);
        for n in ["65537", "100000000000", &"9".repeat(400)] {
            assert_eq!(claims(n), Err(HeadFault::BodyTooLarge), "{n}");
        }
        let lines = |n: usize| read(&"a: b\r\n".repeat(n));
        assert!(lines(MAX_HEADERS).unwrap().is_some());
        assert_eq!(lines(MAX_HEADERS + 1), Err(HeadFault::TooLarge));
        // Exactly as long as a head may be, and a byte longer.
        let fixed = read("a: \r\n").unwrap().unwrap().1;
        let padded = |n: usize| read(&format!("a: {}\r\n", "x".repeat(n - fixed)));
        assert_eq!(padded(MAX_HEAD_BYTES).unwrap().unwrap().1, MAX_HEAD_BYTES);
        assert_eq!(padded(MAX_HEAD_BYTES + 1), Err(HeadFault::TooLarge));
        assert_eq!(read_head(&[b'A'; MAX_HEAD_BYTES]), Err(HeadFault::TooLarge));
    }

    #[test]
    fn nonsense_is_malformed() {
        for text in
            ["\0\0\0\0", "GET\r\n\r\n", "GET / HTTP/9\r\n\r\n", "GET / HTTP/1.1\r\n a\r\n\r\n"]
        {
            assert_eq!(read_head(text.as_bytes()), Err(HeadFault::Malformed), "{text:?}");
        }
    }

    proptest::proptest! {
        #[test]
        fn any_bytes_are_answered(bytes in proptest::collection::vec(0u8.., 0..300)) {
            if let Ok(Some((head, used))) = read_head(&bytes) {
                proptest::prop_assert!(used <= bytes.len() && head.body_bytes <= MAX_BODY_BYTES);
            }
        }
    }
}
