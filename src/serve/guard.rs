//! Who is let in: only the page that this server itself gave out.

use std::collections::hash_map::RandomState;
use std::hash::{BuildHasher, Hasher};

use tiny_http::{Method, Request};

use super::answers::Answer;

/// What every answer carries. Nothing but this server is asked for anything; no other page may
/// show this one or read from it; nothing is kept by the browser.
pub const HEADERS: [(&str, &str); 7] = [
    (
        "Content-Security-Policy",
        "default-src 'none'; img-src 'self' blob: data:; style-src 'self'; script-src 'self'; \
         connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    ),
    ("X-Content-Type-Options", "nosniff"),
    ("Referrer-Policy", "no-referrer"),
    ("Cross-Origin-Resource-Policy", "same-origin"),
    ("Cross-Origin-Opener-Policy", "same-origin"),
    ("Cache-Control", "no-store"),
    ("Permissions-Policy", "camera=(), microphone=(), geolocation=()"),
];

/// What a request has to know.
pub struct Guard {
    port: u16,
    token: String,
}

impl Guard {
    /// A guard with a new token.
    pub fn new(port: u16) -> Guard {
        Guard { port, token: token() }
    }

    /// The address of the page.
    pub fn address(&self) -> String {
        format!("http://127.0.0.1:{}/{}/", self.port, self.token)
    }

    /// The path below the token, when the request may be answered.
    ///
    /// # Errors
    /// The refusal.
    pub fn admitted(&self, request: &Request) -> Result<String, Answer> {
        let header = |name: &'static str| {
            let mut found = request.headers().iter().filter(move |h| h.field.equiv(name));
            let first = found.next().map(|h| h.value.as_str());
            // Two headers of a name are two opinions.
            (first, found.next().is_some())
        };
        let hosts = [format!("127.0.0.1:{}", self.port), format!("localhost:{}", self.port)];
        let (host, two) = header("Host");
        let Some(host) = host.filter(|h| !two && hosts.iter().any(|own| own == h)) else {
            return Err(Answer::refused(421, "this server answers to this machine only"));
        };
        let own_page = |origin: &str| origin == format!("http://{host}");
        let (origin, two) = header("Origin");
        let foreign = two
            || origin.is_some_and(|o| !own_page(o))
            || header("Sec-Fetch-Site").0.is_some_and(|s| !matches!(s, "same-origin" | "none"));
        if foreign {
            return Err(Answer::refused(403, "another page asked"));
        }
        match request.method() {
            Method::Get => {}
            Method::Post => {
                // A form or a plain script of another page cannot send this type.
                let json = header("Content-Type").0.is_some_and(|t| t == "application/json");
                if !json || origin.is_none() {
                    return Err(Answer::refused(403, "only the page itself may change something"));
                }
            }
            _ => return Err(Answer::refused(405, "only looked at or told")),
        }
        let path = request.url().strip_prefix('/').unwrap_or_default();
        let (token, rest) = path.split_once('/').unwrap_or((path, ""));
        // Compared as hashes: the time it takes tells nothing of the token.
        if blake3::hash(token.as_bytes()) != blake3::hash(self.token.as_bytes()) {
            return Err(Answer::refused(403, "this is not the address that was given out"));
        }
        Ok(rest.to_owned())
    }
}

/// 128 bits that nobody can guess: hashes under keys that the system gave at random.
fn token() -> String {
    let mut token = String::new();
    for _ in 0..2 {
        let mut hasher = RandomState::new().build_hasher();
        hasher.write_u32(std::process::id());
        if let Ok(now) = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH) {
            hasher.write_u128(now.as_nanos());
        }
        token.push_str(&format!("{:016x}", hasher.finish()));
    }
    token
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tokens_are_long_and_never_the_same() {
        let tokens: std::collections::BTreeSet<String> = (0..1000).map(|_| token()).collect();
        assert_eq!(tokens.len(), 1000);
        assert!(tokens.iter().all(|t| t.len() == 32));
    }
}
