//! `scale` in text: the numbers, the depths, what to know.

use crate::report::sentences::{Medium, paragraphs};
use crate::report::term::Style;
use crate::report::term::table::{padded, table, text_columns, wrapped};
use crate::report::wording;
use crate::ruler::columns::COLUMNS;
use crate::ruler::record::ScaleRecord;
use crate::ruler::table::{depth_heading, numbers};

/// One frame of a ruler.
pub fn scale(record: &ScaleRecord, style: Style) -> String {
    let mut text = String::new();
    let name = style.signs(&wording::visible(&record.path));
    for line in wrapped(&name, style.columns(), 0).lines() {
        text.push_str(&format!("{}\n", style.bold(line)));
    }
    let rows = numbers(record);
    let wide = rows.iter().map(|r| r.0.chars().count()).max().unwrap_or(0);
    let room = style.columns().saturating_sub(wide + 4);
    for (heading, value) in rows {
        let value = style.signs(&value);
        for (i, line) in wrapped(value.trim_end(), room, 0).lines().enumerate() {
            let heading = if i == 0 { heading } else { "" };
            text.push_str(&format!("  {}  {line}\n", padded(heading, wide, false)));
        }
    }
    if let Some(heading) = depth_heading(record) {
        text.push('\n');
        text.push_str(&wrapped(&style.signs(&heading), style.columns(), 0));
        let columns = text_columns(COLUMNS, &record.depths, style);
        text.push_str(&table(columns, style, |_, _, cell| cell.to_owned()));
    }
    if !record.findings.is_empty() {
        text.push('\n');
    }
    for finding in paragraphs(&record.findings, Medium::Terminal) {
        text.push_str(&wrapped(&style.signs(&finding), style.columns(), 0));
    }
    text
}
