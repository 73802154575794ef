use stopwise::review::server::head::{MAX_BODY_BYTES, MAX_HEAD_BYTES, Once, read_head};

/// A head is the same however it arrives, and announces no more than is read.
pub fn run(bytes: &[u8]) {
    let Ok(Some((whole, used))) = read_head(bytes) else { return };
    assert!(used <= bytes.len() && used <= MAX_HEAD_BYTES);
    assert!(whole.body_bytes <= MAX_BODY_BYTES);
    // What decides who is let in was sent, letter by letter.
    let given = [&whole.host, &whole.origin, &whole.site, &whole.kind];
    for value in given.into_iter().filter_map(Once::one).filter(|v| !v.is_empty()) {
        assert!(bytes[..used].windows(value.len()).any(|w| w == value.as_bytes()), "{value:?}");
    }
    // What follows the head does not change it, and less than it is not one.
    assert_eq!(read_head(&bytes[..used]), Ok(Some((whole, used))));
    assert_eq!(read_head(&bytes[..used - 1]), Ok(None));
}
