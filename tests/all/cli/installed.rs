//! Completions and manual pages, which are made from the same options as the help.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use super::Place;

/// Long options of a text, with an ordinary hyphen.
fn long_options(text: &str) -> BTreeSet<String> {
    let plain = text.replace("\\-", "-");
    plain
        .split(|c: char| !(c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-'))
        .filter(|word| word.starts_with("--") && word.len() > 3)
        .map(|word| word.trim_end_matches('-').to_owned())
        .collect()
}

/// Options that the help of one command lists at the left.
fn listed(help: &str) -> BTreeSet<String> {
    let rows = help.lines().map(str::trim_start);
    let rows = rows.filter(|line| line.starts_with("--") || line.starts_with("-h,"));
    rows.filter_map(|line| long_options(line).into_iter().next()).collect()
}

/// Commands with their own below them, as the reference lists them.
fn commands() -> Vec<Vec<String>> {
    let page = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/commands.md");
    let page = fs::read_to_string(page).unwrap();
    let names = page.lines().filter_map(|line| line.strip_prefix("## "));
    names.map(|name| name.split(' ').map(str::to_owned).collect()).collect()
}

fn options_of(place: &Place, command: &[String]) -> BTreeSet<String> {
    let mut typed: Vec<&str> = command.iter().map(String::as_str).collect();
    typed.push("--help");
    let options = listed(&place.run(&typed).stdout);
    assert!(options.contains("--help"), "{command:?}: {options:?}");
    options
}

#[test]
fn every_command_and_option_has_its_place_on_a_manual_page() {
    let place = Place::new();
    let ran = place.run(&["man-pages", "man"]);
    assert_eq!(ran.code, Some(0), "{}", ran.stderr);
    let commands = commands();
    assert!(commands.len() > 20, "{commands:?}");
    for command in &commands {
        let name = format!("man/stopwise-{}.1", command.join("-"));
        let page = fs::read_to_string(place.path().join(&name)).expect(&name);
        let missing: Vec<_> =
            options_of(&place, command).difference(&long_options(&page)).cloned().collect();
        assert!(missing.is_empty(), "{name} lacks {missing:?}");
    }
    let pages = fs::read_dir(place.path().join("man")).unwrap().count();
    assert_eq!(pages, commands.len() + 1, "one page per command and one of the program");
    assert!(ran.stdout.contains(&format!("Wrote {pages} manual pages")), "{}", ran.stdout);
}

#[test]
fn completions_have_every_command_and_option() {
    let place = Place::new();
    let commands: Vec<_> = commands().into_iter().map(|c| (options_of(&place, &c), c)).collect();
    for shell in ["bash", "zsh", "fish"] {
        let script = place.run(&["completions", shell]);
        assert_eq!(script.code, Some(0), "{}", script.stderr);
        for (options, command) in &commands {
            assert!(script.stdout.contains(&command[0]), "{shell}: {command:?}");
            for option in options {
                let name = option.trim_start_matches('-');
                let written = if shell == "fish" { format!("-l {name}") } else { option.clone() };
                assert!(script.stdout.contains(&written), "{shell}: {command:?} {option}");
            }
        }
    }
    let unknown = place.run(&["completions", "abacus"]);
    assert_eq!(unknown.code, Some(2));
    assert!(unknown.stderr.contains("bash"), "{}", unknown.stderr);
}
