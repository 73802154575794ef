//! Paths as text that leads back to the same path.
//!
//! Records are text, and names of files need not be: on Unix they are bytes. A byte that is no
//! part of UTF-8 is written as the character U+F700 + byte (U+F780 to U+F7FF, of the private use
//! area). Where a name holds such a character itself, its three bytes are written that way, so
//! that every name has one text and every text one name. Names in UTF-8 stay as they are.

use std::path::{Path, PathBuf};

/// What is added to a byte; bytes that are no UTF-8 are 0x80 to 0xFF.
#[cfg(unix)]
const OFFSET: u32 = 0xF700;

/// The byte that a character stands for, if it stands for one.
pub fn byte_of(c: char) -> Option<u8> {
    matches!(c, '\u{F780}'..='\u{F7FF}').then(|| (c as u32 & 0xFF) as u8)
}

/// A path as text.
#[cfg(unix)]
pub fn path_text(path: &Path) -> String {
    use std::os::unix::ffi::OsStrExt;
    let mut text = String::new();
    let as_bytes = |text: &mut String, bytes: &[u8]| {
        text.extend(bytes.iter().filter_map(|b| char::from_u32(OFFSET + u32::from(*b))));
    };
    for chunk in path.as_os_str().as_bytes().utf8_chunks() {
        for c in chunk.valid().chars() {
            match byte_of(c) {
                Some(_) => as_bytes(&mut text, c.encode_utf8(&mut [0; 4]).as_bytes()),
                None => text.push(c),
            }
        }
        as_bytes(&mut text, chunk.invalid());
    }
    text
}

/// A path as text; names that are no Unicode lose what is not.
#[cfg(not(unix))]
pub fn path_text(path: &Path) -> String {
    path.to_string_lossy().into_owned()
}

/// The path that a text of [`path_text`] stands for.
#[cfg(unix)]
pub fn text_path(text: &str) -> PathBuf {
    use std::os::unix::ffi::OsStringExt;
    let mut bytes = Vec::with_capacity(text.len());
    for c in text.chars() {
        match byte_of(c) {
            Some(byte) => bytes.push(byte),
            None => bytes.extend_from_slice(c.encode_utf8(&mut [0; 4]).as_bytes()),
        }
    }
    std::ffi::OsString::from_vec(bytes).into()
}

/// The path that a text of [`path_text`] stands for.
#[cfg(not(unix))]
pub fn text_path(text: &str) -> PathBuf {
    PathBuf::from(text)
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use std::os::unix::ffi::{OsStrExt, OsStringExt};

    #[test]
    fn names_of_any_bytes_come_back() {
        let of = |bytes: &[u8]| path_text(Path::new(std::ffi::OsStr::from_bytes(bytes)));
        assert_eq!(of("fère/雪.jpg".as_bytes()), "fère/雪.jpg");
        assert_eq!(of(b"f\xe8re.jpg"), "f\u{F7E8}re.jpg");
        // A name that looks like such a text is another text.
        let alike = "f\u{F7E8}re.jpg";
        assert_ne!(of(alike.as_bytes()), alike);
        assert_eq!(text_path(&of(alike.as_bytes())), Path::new(alike));
    }

    proptest::proptest! {
        #[test]
        fn every_name_comes_back(bytes in proptest::collection::vec(0u8.., 0..40)) {
            let path = PathBuf::from(std::ffi::OsString::from_vec(bytes));
            proptest::prop_assert_eq!(text_path(&path_text(&path)), path);
        }

        #[test]
        fn private_characters_come_back(name in "[\u{F77E}-\u{F802}a]{0,6}") {
            let path = Path::new(&name);
            proptest::prop_assert_eq!(text_path(&path_text(path)), path);
        }
    }
}
