//! Tests of the tests: every limit of a decision has one, and none waits on the clock.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use syn::visit::{self, Visit};

use super::{ItemNames, root, sources};

/// Files that decide. Both sides of their limits are tried in their tests: `tests.rs` in the folder
/// of their name, or a module `tests` at their end.
const DECIDED_IN: &[&str] = &[
    "clips/cut.rs",
    "clips/verdicts.rs",
    "compare/series.rs",
    "compare/steps/best_aperture.rs",
    "compare/steps/costs.rs",
    "compare/steps/noise.rs",
    "compare/steps/records.rs",
    "cull/decide.rs",
    "cull/elsewhere.rs",
    "cull/grouping.rs",
    "cull/movement.rs",
    "cull/subject_boxes.rs",
    "cull/unmarked.rs",
    "tracking/burst_noise.rs",
    "tracking/burst_planes.rs",
    "tracking/locate.rs",
    "tracking/subject_tracking.rs",
    "tracking/unmarked_subject.rs",
    "tracking/whole_frames.rs",
];

/// Constants of these files that decide nothing, and what they are. The list must be exact.
const UNDECIDING: &[(&str, &str, &str)] =
    &[("tracking/burst_planes.rs", "SPOTS", "a number: where frames are compared")];

/// The tests of a file below `src`.
fn tests_of(file: &str) -> String {
    let path = root().join(file);
    fs::read_to_string(path.with_extension("").join("tests.rs")).unwrap_or_else(|_| {
        let text = fs::read_to_string(&path).unwrap();
        let (_, tests) = text.split_once("#[cfg(test)]").expect(file);
        tests.to_owned()
    })
}

#[test]
fn every_limit_of_a_decision_has_its_test() {
    let mut undeciding = BTreeSet::new();
    let mut limits = 0;
    for file in DECIDED_IN {
        let mut names = ItemNames::default();
        names
            .visit_file(&syn::parse_file(&fs::read_to_string(root().join(file)).unwrap()).unwrap());
        assert!(!names.constants.is_empty(), "{file} has no limits");
        let tests = tests_of(file);
        let is_part = |c: char| c.is_alphanumeric() || c == '_';
        let tried: BTreeSet<&str> = tests.split(|c| !is_part(c)).collect();
        for name in names.constants {
            if tried.contains(name.as_str()) {
                limits += 1;
            } else {
                undeciding.insert(((*file).to_owned(), name));
            }
        }
    }
    let left: BTreeSet<(String, String)> = UNDECIDING
        .iter()
        .map(|(file, name, what)| {
            assert!(what.contains(": "), "{name} of {file}: say what it is and of what");
            ((*file).to_owned(), (*name).to_owned())
        })
        .collect();
    let new: Vec<_> = undeciding.difference(&left).collect();
    let gone: Vec<_> = left.difference(&undeciding).collect();
    assert!(new.is_empty() && gone.is_empty(), "no test names {new:#?}\nto be struck: {gone:#?}");
    assert!(limits > 80, "only {limits} limits were found");
}

/// Calls that ask or wait for the clock.
#[derive(Default)]
struct ClockCalls(usize);

impl Visit<'_> for ClockCalls {
    fn visit_path(&mut self, path: &syn::Path) {
        let names: Vec<String> = path.segments.iter().map(|s| s.ident.to_string()).collect();
        let last = names.iter().rev().map(String::as_str).collect::<Vec<_>>();
        let is_call = matches!(last[..], ["sleep", ..] | ["now", "Instant", ..]);
        self.0 += usize::from(is_call);
        visit::visit_path(self, path);
    }
}

fn clock_calls(text: &str) -> usize {
    let mut calls = ClockCalls::default();
    calls.visit_file(&syn::parse_file(text).unwrap());
    calls.0
}

#[test]
fn no_test_hangs_on_the_clock() {
    let of = |text: &str| clock_calls(&format!("fn f() {{ {text} }}"));
    assert_eq!(of("std::thread::sleep(x); let a = Instant::now(); asleep(); Timestamp::now();"), 2);
    let home = Path::new(env!("CARGO_MANIFEST_DIR"));
    let of_units = sources(&root()).into_iter().filter(|f| f.ends_with("tests.rs"));
    let files: Vec<PathBuf> = of_units.chain(sources(&home.join("tests"))).collect();
    assert!(files.len() > 50, "only {} files of tests were found", files.len());
    let name =
        |file: &PathBuf| file.strip_prefix(home).unwrap().to_str().unwrap().replace('\\', "/");
    let waits = |file: &&PathBuf| clock_calls(&fs::read_to_string(file).unwrap()) > 0;
    let found: Vec<String> = files.iter().filter(waits).map(name).collect();
    assert!(found.is_empty(), "{found:?}");
}
