//! What the documents say about the program is what the program does.

use std::fs;
use std::path::Path;

use stopwise::core::Flag;
use stopwise::cull::columns::COLUMNS;
use stopwise::report::column::markdown_table;

fn document(name: &str) -> String {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(name)).unwrap()
}

#[test]
fn the_readme_has_the_columns_as_they_are() {
    let readme = document("README.md");
    let table = markdown_table(COLUMNS);
    assert!(readme.contains(&table), "README.md needs this table:\n{table}");
}

#[test]
fn the_readme_has_the_columns_of_clips_as_they_are() {
    let table = stopwise::clips::column::markdown_table();
    assert!(document("README.md").contains(&table), "README.md needs this table:\n{table}");
}

#[test]
fn the_readme_has_every_caution() {
    let readme = document("README.md");
    for flag in Flag::ALL {
        let row = format!("| `{}` | {} |", flag.key(), flag.says());
        assert!(readme.contains(&row), "README.md needs the row {row}");
    }
}

#[test]
fn the_readme_shows_options_that_exist() {
    let help = |command: &[&str]| {
        let out = std::process::Command::new(env!("CARGO_BIN_EXE_stopwise"))
            .args(command)
            .arg("--help")
            .output()
            .unwrap();
        String::from_utf8(out.stdout).unwrap()
    };
    let mut checked = 0;
    for line in document("README.md").lines().filter(|l| l.starts_with("$ stopwise ")) {
        let typed = line.split('#').next().unwrap();
        let words: Vec<&str> = typed.split_whitespace().skip(2).collect();
        // `rig` and `log` have commands of their own.
        let depth = if ["rig", "log"].contains(&words[0]) { 2 } else { 1 };
        let help = help(&words[..depth]);
        for option in typed.split_whitespace().filter(|w| w.starts_with("--")) {
            let option = option.split('=').next().unwrap();
            let there = |after: &str| help.contains(&format!("{option}{after}"));
            assert!([" <", "[=<", "  ", "\n"].into_iter().any(there), "{option} in {typed}");
            checked += 1;
        }
    }
    assert!(checked > 5, "only {checked} options were looked at");
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
