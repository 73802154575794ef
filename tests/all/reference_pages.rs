//! The pages of `docs` that are generated, and those that list what the program has.

use std::collections::BTreeSet;
use std::fmt::Write;
use std::fs;
use std::path::Path;
use std::process::Command;

use stopwise::core::Flag;
use stopwise::cull::columns::COLUMNS;
use stopwise::report::column::markdown_table;
use stopwise::{clips, compare, limits, review};

use crate::cli::PROGRAM;
use crate::harness::generated;

/// Commands with commands of their own.
const NESTED: [&str; 3] = ["rig", "log", "cache"];

fn help(command: &[&str]) -> String {
    let out = Command::new(PROGRAM).args(command).arg("--help").output().unwrap();
    assert!(out.status.success(), "{command:?}");
    String::from_utf8(out.stdout).unwrap()
}

/// Names below "Commands:" of a help text.
fn commands(help: &str) -> Vec<String> {
    let rows = help.lines().skip_while(|l| *l != "Commands:").skip(1);
    rows.take_while(|l| !l.is_empty())
        .filter(|l| l.starts_with("  ") && !l.starts_with("   "))
        .filter_map(|l| l.split_whitespace().next().map(str::to_owned))
        .filter(|name| name != "help")
        .collect()
}

#[test]
fn every_command_is_in_the_reference() {
    let mut page = String::from(
        "# Commands and options\n\nGenerated from the program's help. `-h, --help` and `--memory` are \
         accepted by every command.\n",
    );
    let mut add = |command: &[&str]| {
        let text = help(command);
        let own: Vec<&str> = text
            .split("\n\n")
            .filter(|part| {
                !part.starts_with("Resources:\n      --memory") || part.contains("--no-cache")
            })
            .collect();
        let text = own.join("\n\n");
        let text: Vec<&str> = text.lines().map(str::trim_end).collect();
        let text = text.join("\n");
        writeln!(page, "\n## {}\n\n```text\n{}\n```", command.join(" "), text.trim_end()).unwrap();
    };
    let names = commands(&help(&[]));
    assert!(names.len() >= 14, "{names:?}");
    for name in &names {
        add(&[name]);
        if NESTED.contains(&name.as_str()) {
            for below in commands(&help(&[name])) {
                add(&[name, &below]);
            }
        }
    }
    generated("docs/commands.md", &page);
}

#[test]
fn every_column_is_in_the_reference() {
    let mut page = String::from(
        "# Columns of the CSV files\n\nGenerated. The same keys name the values in JSON records. Missing \
         values are empty cells. A key that ends in `_std_err…` is the standard error of the column \
         before it.\n",
    );
    let mut add = |title: &str, table: &str| {
        write!(page, "\n## {title}\n\n{table}").unwrap();
    };
    add("cull: one row per frame", &markdown_table(COLUMNS));
    add("clip: one row per frame", &markdown_table(&clips::columns::columns()));
    add("compare: one row per step", &markdown_table(compare::columns::COLUMNS));
    add("chart: one row per place of the grid", &markdown_table(limits::columns::COLUMNS));
    add("log agreement: one row per verdict or cause", &markdown_table(review::columns::COLUMNS));
    generated("docs/columns.md", &page);
}

#[test]
fn every_caution_is_in_the_reference() {
    let mut page = String::from(
        "# Cautions\n\nGenerated. Keys in `flags` of a frame, and their meaning on the report.\n\n\
         | key | meaning |\n|---|---|\n",
    );
    for flag in Flag::ALL {
        writeln!(page, "| `{}` | {} |", flag.key(), flag.says()).unwrap();
    }
    generated("docs/cautions.md", &page);
}

/// Names of environment variables in a text.
fn variables(text: &str) -> BTreeSet<String> {
    text.split(|c: char| !(c.is_ascii_uppercase() || c == '_'))
        .filter(|word| word.starts_with("STOPWISE_"))
        .map(str::to_owned)
        .collect()
}

#[test]
fn every_environment_variable_is_in_the_reference() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut named = BTreeSet::new();
    for entry in walkdir::WalkDir::new(root.join("src")) {
        let path = entry.unwrap().into_path();
        if path.extension().is_some_and(|e| e == "rs") {
            named.extend(variables(&fs::read_to_string(path).unwrap()));
        }
    }
    let listed = variables(&fs::read_to_string(root.join("docs/environment.md")).unwrap());
    assert_eq!(listed, named);
    assert!(named.len() > 5, "{named:?}");
}
