//! `log agreement` in text.

use super::agreement_record::{AgreementRecord, AgreementRow};
use crate::core::verdict::Verdict;
use crate::report::sentences::{Medium, paragraphs};
use crate::report::term::Style;
use crate::report::term::table::{TextColumn, table, wrapped};
use crate::report::wording;

/// How often people's decisions were the program's verdicts.
pub fn agreement(record: &AgreementRecord, style: Style) -> String {
    let mut text = String::new();
    for (heading, rows) in [("verdict", &record.by_verdict), ("cause", &record.by_cause)] {
        if rows.is_empty() {
            continue;
        }
        let cells = |get: &dyn Fn(&AgreementRow) -> String| -> Vec<String> {
            rows.iter().map(|r| style.signs(&get(r))).collect()
        };
        let some = |n: u32| if n == 0 { String::new() } else { n.to_string() };
        let agreed = |r: &AgreementRow| {
            if r.key == Verdict::Unclear.word() { String::new() } else { wording::share(&r.agreed) }
        };
        let columns = vec![
            TextColumn::new(heading, "", false, 0, cells(&|r| r.key.clone())),
            TextColumn::new("decided", "", true, 0, cells(&|r| r.agreed.of.to_string())),
            TextColumn::new("agreed", "(95 % interval)", false, 0, cells(&agreed)),
            TextColumn::new("people: hit", "", true, 1, cells(&|r| some(r.people.hit))),
            TextColumn::new("near", "", true, 1, cells(&|r| some(r.people.near))),
            TextColumn::new("miss", "", true, 1, cells(&|r| some(r.people.miss))),
            TextColumn::new("unclear", "", true, 2, cells(&|r| some(r.people.unclear))),
        ];
        text.push_str(&table(columns, style, |_, _, cell| cell.to_owned()));
        text.push('\n');
    }
    for says in paragraphs(&record.findings, Medium::Terminal) {
        text.push_str(&wrapped(&style.signs(&says), style.columns(), 0));
    }
    if record.subjects_placed > 0 {
        let line = format!(
            "The subject was placed by hand in {}.",
            wording::count(record.subjects_placed, "frame", "frames")
        );
        text.push_str(&wrapped(&line, style.columns(), 0));
    }
    text
}
