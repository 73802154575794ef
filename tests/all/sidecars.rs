//! Sidecars of every RDF form, marked: held against files that two other readers of XMP were run
//! over (`testdata/check_xmp.py`), and byte by byte against what stood there before.

use std::fs;
use std::path::{Path, PathBuf};

use stopwise::render::xmp::{Keywords, Marks, Rating, marked, read};

fn folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("testdata/xmp").join(name)
}

fn marks() -> Marks {
    let wanted = vec!["stopwise:near".to_owned(), "stopwise:plane-off".to_owned()];
    Marks {
        rating: Some(4),
        label: Some("look & <keep>".to_owned()),
        keywords: Some(Keywords { prefix: "stopwise:".to_owned(), wanted }),
        only_unset: false,
    }
}

fn befores() -> Vec<(String, String)> {
    let mut found: Vec<(String, String)> = fs::read_dir(folder("before"))
        .unwrap()
        .map(|e| e.unwrap().path())
        .map(|p| {
            let name = p.file_name().unwrap().to_str().unwrap().to_owned();
            (name, fs::read_to_string(&p).unwrap())
        })
        .collect();
    found.sort();
    found
}

#[test]
fn marked_sidecars_are_those_that_were_checked() {
    let all = befores();
    assert!(all.len() >= 10, "{}", all.len());
    for (name, before) in all {
        let after = marked(Some(&before), &marks()).unwrap_or_else(|e| panic!("{name}: {e}"));
        let golden = folder("after").join(&name);
        if std::env::var_os("STOPWISE_BLESS").is_some() {
            fs::write(&golden, &after.text).unwrap();
        }
        assert_eq!(after.text, fs::read_to_string(golden).unwrap(), "{name}");
        let said = read(&after.text).unwrap();
        assert_eq!(said.rating, Some(Rating::Is(4.0)), "{name}");
        assert_eq!(said.label.as_deref(), Some("look & <keep>"), "{name}");
        assert!(!said.keywords.iter().any(|k| k == "stopwise:miss"), "{name}");
        let again = marked(Some(&after.text), &marks()).unwrap();
        assert!(again.changes.is_empty() && again.text == after.text, "{name}");
    }
}
