//! Words that people do not meet any more, and words that were never ours: in no text of the program,
//! no page, no help and no document.

use std::fs;
use std::path::{Path, PathBuf};

use walkdir::WalkDir;

use crate::layers::library_texts;

/// Earlier words for what has another name now, and turns of phrase that are not written any more.
const OLD: [&str; 33] = [
    "cannot say",
    "cannot_say",
    "cannot-say",
    "plane-off",
    "blur allowed",
    "blur_allowed_px",
    "cut_by",
    "lasts_s",
    "tool_call",
    "model_says",
    "log agreed",
    "passed over",
    "where it is sharp",
    "what they say",
    "what it cost",
    "what this rests on",
    "as asked",
    "the season",
    "how to read it",
    "hold beside",
    "let go",
    "you say",
    "the program says",
    "goes by",
    "go by",
    "stands out",
    "cannot be told",
    "is told",
    "are told",
    "cycles a pixel",
    "bits a pixel",
    "micrometres a pixel",
    "a burst is enough",
];

/// Words that belong to other programs' interfaces.
const FOREIGN: [&str; 8] = [
    "rejected",
    "rejects",
    "score 0 to 100",
    "star rating",
    "colour label",
    "pick flag",
    "artificial intelligence",
    "filmstrip",
];

/// Where a word is read that an earlier version wrote, or that an option still accepts.
const READS_OLD: [(&str, &str); 13] = [
    ("core/verdict.rs", "cannot say"),
    ("core/verdict.rs", "cannot-say"),
    ("core/verdict.rs", "plane-off"),
    ("cull/record.rs", "blur_allowed_px"),
    ("cull/record.rs", "cut_by"),
    ("cull/record.rs", "lasts_s"),
    ("cull/record.rs", "cannot_say"),
    ("store/decisions.rs", "cannot say"),
    ("store/decisions.rs", "plane-off"),
    ("store/decisions.rs", "tool_call"),
    ("store/log/schema.rs", "blur_allowed_px"),
    ("store/log/schema.rs", "cannot say"),
    ("store/log/schema.rs", "plane-off"),
];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).to_owned()
}

/// Whether a text has a word, whole, in any case.
fn has(text: &str, word: &str) -> bool {
    let text = text.to_lowercase();
    text.match_indices(word).any(|(at, _)| {
        let letter = |c: Option<char>| c.is_some_and(|c| c.is_alphanumeric() || c == '_');
        let (before, after) =
            (text[..at].chars().next_back(), text[at + word.len()..].chars().next());
        !letter(before) && !letter(after)
    })
}

/// The texts that people read: name of the file and text.
fn texts() -> Vec<(String, String)> {
    let mut all = Vec::new();
    for entry in WalkDir::new(root().join("src")) {
        let path = entry.unwrap().into_path();
        let name = path.strip_prefix(root().join("src")).unwrap().to_str().unwrap();
        let name = name.replace('\\', "/");
        let is_tests = name.ends_with("tests.rs") || name.contains("/tests/");
        if name.starts_with("simulator/") || is_tests {
            continue;
        }
        let read = || fs::read_to_string(&path).unwrap();
        match path.extension().and_then(|e| e.to_str()) {
            Some("rs") => all.extend(library_texts(&read()).into_iter().map(|t| (name.clone(), t))),
            Some("html") => all.push((name, read())),
            Some("js") => {
                let code = read();
                let lines = code.lines().filter(|l| !l.trim_start().starts_with("//"));
                all.push((name, lines.collect::<Vec<_>>().join("\n")));
            }
            _ => {}
        }
    }
    // `docs/commands.md` is the help of every command.
    for entry in WalkDir::new(root().join("docs")) {
        let path = entry.unwrap().into_path();
        if path.extension().is_some_and(|e| e == "md") {
            let name = path.strip_prefix(root()).unwrap().to_str().unwrap().to_owned();
            all.push((name, fs::read_to_string(&path).unwrap()));
        }
    }
    all.push(("README.md".to_owned(), fs::read_to_string(root().join("README.md")).unwrap()));
    all
}

#[test]
fn no_old_or_foreign_word_is_left() {
    let texts = texts();
    assert!(texts.len() > 1000, "{}", texts.len());
    let mut found = Vec::new();
    let mut read = READS_OLD.to_vec();
    for (name, text) in &texts {
        for word in OLD.iter().chain(&FOREIGN).filter(|w| has(text, w)) {
            let known = READS_OLD.iter().any(|r| r == &(name.as_str(), *word));
            read.retain(|r| r != &(name.as_str(), *word));
            if !known {
                found.push(format!("{name}: {word}: {}", text.lines().next().unwrap_or_default()));
            }
        }
    }
    assert!(found.is_empty(), "{found:#?}");
    assert!(read.is_empty(), "not needed any more: {read:#?}");
}

#[test]
fn the_finder_of_words_has_two_sides() {
    assert!(has("Verdict: Cannot say.", "cannot say") && has("cut_by", "cut_by"));
    assert!(!has("cannot saying", "cannot say") && !has("is_cut_by", "cut_by"));
}
