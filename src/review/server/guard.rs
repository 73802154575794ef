//! Who is let in: only the page that this server itself gave out.

use std::io;

use super::api::HttpAnswer;
use super::head::{Method, Once, RequestHead};

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
    ///
    /// # Errors
    /// When the system has no random numbers.
    pub fn new(port: u16) -> io::Result<Guard> {
        Ok(Guard { port, token: token()? })
    }

    /// The address of the page.
    pub fn address(&self) -> String {
        format!("http://127.0.0.1:{}/{}/", self.port, self.token)
    }

    /// The path below the token, when the request may be answered.
    ///
    /// # Errors
    /// The refusal.
    pub fn admitted(&self, head: &RequestHead) -> Result<String, HttpAnswer> {
        let hosts = [format!("127.0.0.1:{}", self.port), format!("localhost:{}", self.port)];
        let Some(host) = head.host.one().filter(|h| hosts.iter().any(|own| own == h)) else {
            return Err(HttpAnswer::refused(421, "this server answers to this machine only"));
        };
        let own_origin = match &head.origin {
            Once::Absent => true,
            Once::One(origin) => *origin == format!("http://{host}"),
            Once::Unclear => false,
        };
        let own_site = match &head.site {
            Once::Absent => true,
            Once::One(site) => matches!(site.as_str(), "same-origin" | "none"),
            Once::Unclear => false,
        };
        if !own_origin || !own_site {
            return Err(HttpAnswer::refused(403, "cross-origin request refused"));
        }
        match head.method {
            Method::Get => {}
            Method::Post => {
                // A form or a plain script of another page cannot send this type.
                let json = head.kind.one().is_some_and(|t| t == "application/json");
                if !json || head.origin == Once::Absent {
                    return Err(HttpAnswer::refused(
                        403,
                        "only the page itself may change something",
                    ));
                }
            }
            Method::Other => return Err(HttpAnswer::refused(405, "method not allowed")),
        }
        let path = head.target.strip_prefix('/').unwrap_or_default();
        let (token, rest) = path.split_once('/').unwrap_or((path, ""));
        // Hashes are compared in constant time: how long it takes tells nothing of the token.
        if blake3::hash(token.as_bytes()) != blake3::hash(self.token.as_bytes()) {
            return Err(HttpAnswer::refused(403, "unknown address"));
        }
        Ok(rest.to_owned())
    }
}

/// 128 bits that nobody can guess, from the system's random source.
///
/// # Errors
/// What the system says.
fn token() -> io::Result<String> {
    let mut bytes = [0; 16];
    getrandom::fill(&mut bytes).map_err(io::Error::other)?;
    Ok(bytes.iter().map(|b| format!("{b:02x}")).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tokens_are_long_and_never_the_same() {
        let tokens: std::collections::BTreeSet<String> =
            (0..1000).map(|_| token().unwrap()).collect();
        assert_eq!(tokens.len(), 1000);
        assert!(tokens.iter().all(|t| t.len() == 32));
    }
}
