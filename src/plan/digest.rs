//! The name of a script in the content policy of the pages that have one: only it may run.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest, Sha256};

/// What a content policy calls a script: `sha256-…`.
pub fn source_of(script: &str) -> String {
    format!("sha256-{}", STANDARD.encode(Sha256::digest(script)))
}

#[cfg(test)]
mod tests {
    use super::*;

    // FIPS 180-4's example of one block, ba7816bf…f20015ad, in base 64.
    #[test]
    fn a_script_is_named_by_its_sha_256() {
        assert_eq!(source_of("abc"), "sha256-ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0=");
    }
}
