//! The house's shape: which folder may use which. A new edge fails here first.

use std::fs;
use std::path::{Path, PathBuf};

/// Folder and what it may use.
const MAY_USE: &[(&str, &[&str])] = &[
    ("base", &[]),
    ("measure", &["base"]),
    ("frames", &["base", "error"]),
    ("records", &["base", "error"]),
    ("demo", &["base", "measure", "error"]),
    ("sets", &["base", "measure", "frames", "records", "report", "error"]),
    ("report", &["base", "error"]),
    ("render", &["base", "report", "error"]),
];

fn sources(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(sources(&path));
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
    found.sort();
    found
}

/// Every `crate::folder` named in code (comments left out).
fn used(text: &str) -> Vec<String> {
    let code: String = text
        .lines()
        .filter(|l| !l.trim_start().starts_with("//"))
        .map(|l| format!("{l}\n"))
        .collect();
    let mut found = Vec::new();
    for part in code.split("crate::").skip(1) {
        if let Some(inner) = part.strip_prefix('{') {
            let inner = inner.split('}').next().unwrap_or_default();
            found.extend(inner.split(',').map(|p| p.trim().split("::").next().unwrap().to_owned()));
        } else {
            let name: String =
                part.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
            found.push(name);
        }
    }
    found
}

#[test]
fn folders_use_only_what_they_may() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let folders: Vec<&str> = MAY_USE.iter().map(|(f, _)| *f).collect();
    let mut checked = 0;
    for (folder, may) in MAY_USE {
        let path = root.join(folder);
        if !path.exists() {
            continue;
        }
        for file in sources(&path) {
            let text = fs::read_to_string(&file).unwrap();
            for name in used(&text) {
                let ours = folders.contains(&name.as_str()) || name == "error";
                let allowed = name == *folder || may.contains(&name.as_str());
                assert!(!ours || allowed, "{} uses crate::{name}", file.display());
            }
            checked += 1;
        }
    }
    assert!(checked > 10, "only {checked} files were looked at");
}

#[test]
fn measure_is_pure() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/measure");
    for file in sources(&root) {
        let text = fs::read_to_string(&file).unwrap();
        for word in ["std::fs", "std::path", "std::thread", "std::time", "rayon", "println!"] {
            assert!(!text.contains(word), "{} names {word}", file.display());
        }
    }
}

#[test]
fn the_reader_of_uses_sees_every_form() {
    let text = "use crate::base::Plane;\nuse crate::{frames, sets::x};\n// crate::cli\n";
    assert_eq!(used(text), ["base", "frames", "sets"]);
}
