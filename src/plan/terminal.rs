//! `plan` in text: what was asked, the ranked table, why, video, and what to keep in mind.

use crate::plan::columns;
use crate::plan::record::PlanRecord;
use crate::plan::sentences;
use crate::report::sentences::{Medium, paragraph, paragraphs};
use crate::report::term::Style;
use crate::report::term::table::{TextColumn, table, text_columns, wrapped};

/// The plan.
pub fn plan(record: &PlanRecord, style: Style) -> String {
    let line = |text: &str| wrapped(&style.signs(text), style.columns(), 0);
    let mut text = String::new();
    for head in line(&sentences::heading(record)).lines() {
        text.push_str(&format!("{}\n", style.bold(head)));
    }
    // Narrow screens show fewer columns; only what is shown is explained.
    let mut shown = Vec::new();
    let mut tabled = |text: &mut String, columns: Vec<TextColumn>| {
        let headings: Vec<String> = columns.iter().map(|c| c.heading.clone()).collect();
        let table = text_table(columns, style);
        let head = table.lines().next().unwrap_or_default();
        shown.extend(headings.into_iter().filter(|h| head.contains(h.as_str())));
        text.push_str(&table);
    };
    if !record.settings.is_empty() {
        let columns = columns::settings(record);
        tabled(&mut text, text_columns(&columns, &record.settings, style));
        text.push('\n');
    }
    if let Some(because) = &record.first_because {
        text.push_str(&line(&paragraph(because, Medium::Terminal)));
    }
    if !record.video.is_empty() {
        text.push('\n');
        tabled(&mut text, text_columns(columns::VIDEO, &record.video, style));
    }
    text.push('\n');
    if !record.settings.is_empty() {
        text.push_str(&line(&columns::key(shown.iter().map(String::as_str))));
    }
    text.push_str(&line(&paragraph(&record.model_basis, Medium::Terminal)));
    for finding in paragraphs(&record.findings, Medium::Terminal) {
        text.push_str(&line(&finding));
    }
    text
}

/// Words stand at the left in the first column and the last; the best row comes first.
fn text_table(mut columns: Vec<TextColumn>, style: Style) -> String {
    let last = columns.len() - 1;
    for (i, c) in columns.iter_mut().enumerate() {
        c.right = i > 0 && i < last || c.cells.iter().all(|t| !t.contains(char::is_alphabetic));
    }
    table(columns, style, |row, _, cell| if row == 0 { style.bold(cell) } else { cell.to_owned() })
}
