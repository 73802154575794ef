use stopwise::store::subjects;

/// What is read is a place in the picture.
pub fn run(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    if let Ok(places) = subjects::read(text) {
        let inside = |v: f64| (0.0..=1.0).contains(&v);
        assert!(places.values().all(|(x, y)| inside(*x) && inside(*y)), "{places:?}");
    }
}
