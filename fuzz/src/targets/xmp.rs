use stopwise::marks::xmp::{Keywords, Marks, marked, read};

/// Marks go in and come out again, whatever else the sidecar holds; a second time changes nothing.
pub fn run(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let _ = read(text);
    let keywords = Keywords { prefix: "stopwise:".into(), wanted: vec!["stopwise:<hit>&".into()] };
    let marks = Marks {
        rating: Some(3),
        label: Some("to \"print\" & <keep>".into()),
        keywords: Some(keywords),
        only_unset: false,
    };
    let Ok(after) = marked(Some(text), &marks) else { return };
    let again = marked(Some(&after.text), &marks).expect("what was written can be read");
    assert!(again.changes.is_empty() && again.text == after.text, "marked twice: {again:?}");
    let said = read(&after.text).expect("what was written can be read");
    assert!(said.keywords.iter().any(|k| k == "stopwise:<hit>&"), "{said:?}");
}
