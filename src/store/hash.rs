//! What a file or some bytes hold, as one number.

use std::fs::File;
use std::io;
use std::path::Path;

/// A hash of content: BLAKE3, 32 bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Content(pub [u8; 32]);

impl Content {
    /// Hashes a file, a small piece at a time; also its length, bytes.
    ///
    /// # Errors
    /// What the system says when the file cannot be read.
    pub fn of_file(path: &Path) -> io::Result<(Content, u64)> {
        let mut hasher = blake3::Hasher::new();
        hasher.update_reader(File::open(path)?)?;
        Ok((Content(*hasher.finalize().as_bytes()), hasher.count()))
    }

    /// Hashes bytes.
    pub fn of(bytes: &[u8]) -> Content {
        Content(*blake3::hash(bytes).as_bytes())
    }

    /// Hashes parts; where one ends and the next begins counts.
    pub fn of_parts<'a>(parts: impl IntoIterator<Item = &'a [u8]>) -> Content {
        let mut hasher = blake3::Hasher::new();
        for part in parts {
            hasher.update(&(part.len() as u64).to_le_bytes());
            hasher.update(part);
        }
        Content(*hasher.finalize().as_bytes())
    }

    /// 64 hexadecimal digits.
    pub fn hex(&self) -> String {
        blake3::Hash::from_bytes(self.0).to_hex().to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_do_not_run_together() {
        let of = |parts: &[&str]| Content::of_parts(parts.iter().map(|p| p.as_bytes()));
        assert_eq!(of(&["ab", "c"]), of(&["ab", "c"]));
        assert_ne!(of(&["ab", "c"]), of(&["a", "bc"]));
        assert_ne!(of(&["ab"]), of(&["ab", ""]));
    }

    #[test]
    fn content_is_that_of_the_hash_standard() {
        // BLAKE3 of "abc", from the reference implementation's test vectors of the paper
        // (O'Connor et al. 2020, https://github.com/BLAKE3-team/BLAKE3-specs).
        let file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(file.path(), b"abc").unwrap();
        let (content, bytes) = Content::of_file(file.path()).unwrap();
        let want = "6437b3ac38465133ffb63b75273a8db548c558465d79db03fd359c6cd5bd9d85";
        assert_eq!((content.hex().as_str(), bytes), (want, 3));
        assert_eq!(content, Content::of(b"abc"));
        assert!(Content::of_file(std::path::Path::new("not here")).is_err());
    }
}
