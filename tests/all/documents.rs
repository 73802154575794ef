//! What the documents say about the program is what the program does.

use std::fs;
use std::path::Path;

fn document(name: &str) -> String {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(name)).unwrap()
}

#[test]
fn the_code_map_has_every_folder() {
    let map = document("DEVELOPERS.md");
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    for entry in fs::read_dir(source).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        let shown = if name.ends_with(".rs") { name } else { format!("{name}/") };
        assert!(map.contains(&format!("| `{shown}` |")), "DEVELOPERS.md needs a row for {shown}");
    }
}

#[test]
fn the_changelog_has_this_version() {
    let log = document("CHANGELOG.md");
    assert!(log.contains(concat!("## ", env!("CARGO_PKG_VERSION"))));
    for part in ["### Added", "### Measured"] {
        assert!(log.contains(part), "{part}");
    }
}

/// Comments cite check values by their ids, which stand with their sources in `testdata/facts.md`,
/// and nothing that is not in the repository or published.
#[test]
fn facts_that_comments_name_are_in_the_table() {
    let table = document("testdata/facts.md");
    let has = |start: String| table.lines().any(|line| line.starts_with(&start));
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let (mut ids, mut sections) = (0, 0);
    for file in ["src", "tests/all", "benches"].iter().flat_map(|f| rust_files(&root.join(f))) {
        let text = fs::read_to_string(&file).unwrap();
        let comments = text.lines().filter_map(|line| line.split_once("//").map(|c| c.1));
        for comment in comments {
            for unpublished in ["prototype", "traps.md", "method.md"] {
                assert!(!comment.contains(unpublished), "{}: {comment}", file.display());
            }
            let Some((_, cited)) = comment.to_lowercase().split_once("facts ").map(|c| {
                let from = comment.len() - c.1.len();
                ((), comment.get(from..).unwrap_or_default().to_owned())
            }) else {
                continue;
            };
            for word in cited.split(|c: char| !c.is_alphanumeric() && c != '.') {
                let word = word.trim_end_matches('.');
                let (letters, digits) =
                    word.split_at(word.find(|c: char| c.is_ascii_digit()).unwrap_or(0));
                let is_number = !digits.is_empty() && digits.chars().all(|c| c.is_ascii_digit());
                if letters.len() == 1
                    && letters.chars().all(|c| c.is_ascii_uppercase())
                    && is_number
                {
                    assert!(has(format!("| {word} ")), "{word} of {} has no row", file.display());
                    ids += 1;
                }
            }
            let first = cited.trim_start_matches("section ").trim_start_matches("sections ");
            let number: String =
                first.chars().take_while(|c| c.is_ascii_digit() || *c == '.').collect();
            let number = number.trim_end_matches('.');
            if !number.is_empty() {
                let heading = has(format!("## {number} ")) || has(format!("### {number} "));
                assert!(heading, "section {number} of {} has no heading", file.display());
                sections += 1;
            }
        }
    }
    assert!(ids > 60 && sections > 10, "{ids} ids, {sections} sections");
}

fn rust_files(folder: &Path) -> Vec<std::path::PathBuf> {
    let entries = fs::read_dir(folder).unwrap().map(|e| e.unwrap().path());
    entries
        .flat_map(|path| if path.is_dir() { rust_files(&path) } else { vec![path] })
        .filter(|path| path.extension().is_some_and(|e| e == "rs"))
        // Its own words are no citation.
        .filter(|path| !path.ends_with("documents.rs"))
        .collect()
}
