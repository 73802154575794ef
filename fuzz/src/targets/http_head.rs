#[path = "../../../src/serve/head.rs"]
mod head;

use head::{MAX_BODY_BYTES, MAX_HEAD_BYTES, read_head};

/// A head is the same however it arrives, and announces no more than is read.
pub fn run(bytes: &[u8]) {
    let Ok(Some((whole, used))) = read_head(bytes) else { return };
    assert!(used <= bytes.len() && used <= MAX_HEAD_BYTES);
    assert!(whole.body_bytes <= MAX_BODY_BYTES);
    // What follows the head does not change it, and less than it is not one.
    assert_eq!(read_head(&bytes[..used]), Ok(Some((whole, used))));
    assert_eq!(read_head(&bytes[..used - 1]), Ok(None));
}
