//! `noise` in text: a table a body, then its findings.

use crate::body_noise::columns::tables;
use crate::body_noise::record::NoiseRecord;
use crate::report::sentences::{Medium, paragraphs};
use crate::report::term::Style;
use crate::report::term::table::{TextColumn, table, text_columns, wrapped};
use crate::report::wording;

/// Every body.
pub fn noise(record: &NoiseRecord, style: Style) -> String {
    let mut text = String::new();
    for body in &record.bodies {
        let name = style.signs(&wording::visible(&body.body));
        for line in wrapped(&name, style.columns(), 0).lines() {
            text.push_str(&format!("{}\n", style.bold(line)));
        }
        for t in tables(body) {
            text.push_str(&wrapped(t.heading, style.columns(), 0));
            let columns = text_columns(&t.columns, &t.rows, style);
            let columns = columns.into_iter().map(|c| TextColumn { right: true, ..c });
            text.push_str(&table(columns.collect(), style, |row, _, cell| {
                if t.rows[row].trusted { cell.to_owned() } else { style.dim(cell) }
            }));
        }
        for line in paragraphs(&body.findings, Medium::Terminal) {
            text.push_str(&wrapped(&style.signs(&line), style.columns(), 2));
        }
        text.push('\n');
    }
    for s in &record.skipped {
        let line = format!("skipped {}: {}", wording::visible(&s.path), s.in_terminal());
        text.push_str(&wrapped(&style.signs(&line), style.columns(), 0));
    }
    text
}
