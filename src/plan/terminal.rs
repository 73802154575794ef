//! `plan` in text: what was asked, the ranked table, why, video, and what to keep in mind.

use crate::body_noise::table::NoiseColumn;
use crate::plan::record::PlanRecord;
use crate::plan::sentences;
use crate::plan::table as plan_table;
use crate::report::sentences::{Medium, paragraph, paragraphs};
use crate::report::term::Style;
use crate::report::term::table::{TextColumn, table, wrapped};

/// The plan.
pub fn plan(record: &PlanRecord, style: Style) -> String {
    let line = |text: &str| wrapped(&style.signs(text), style.columns(), 0);
    let mut text = String::new();
    for head in line(&sentences::heading(record)).lines() {
        text.push_str(&format!("{}\n", style.bold(head)));
    }
    // Narrow screens show fewer columns; only what is shown is explained.
    let mut shown = Vec::new();
    let mut tabled = |text: &mut String, columns: Vec<NoiseColumn>| {
        let headings: Vec<String> = columns.iter().map(|c| c.heading.clone()).collect();
        let table = text_table(columns, style);
        let head = table.lines().next().unwrap_or_default();
        shown.extend(headings.into_iter().filter(|h| head.contains(h.as_str())));
        text.push_str(&table);
    };
    if !record.settings.is_empty() {
        tabled(&mut text, plan_table::settings(record));
        text.push('\n');
    }
    if let Some(because) = &record.first_because {
        text.push_str(&line(&paragraph(because, Medium::Terminal)));
    }
    if !record.video.is_empty() {
        text.push('\n');
        tabled(&mut text, plan_table::video(&record.video));
    }
    text.push('\n');
    if !record.settings.is_empty() {
        text.push_str(&line(&plan_table::key(shown.iter().map(String::as_str))));
    }
    text.push_str(&line(&paragraph(&record.model_basis, Medium::Terminal)));
    for finding in paragraphs(&record.findings, Medium::Terminal) {
        text.push_str(&line(&finding));
    }
    text
}

fn text_table(columns: Vec<NoiseColumn>, style: Style) -> String {
    let last = columns.len() - 1;
    let columns = columns.into_iter().enumerate().map(|(i, c)| TextColumn {
        heading: c.heading,
        unit: style.signs(c.unit),
        right: i > 0 && i < last || c.cells.iter().all(|t| !t.contains(char::is_alphabetic)),
        drop_priority: c.drop_priority,
        cells: c.cells.iter().map(|cell| style.signs(cell)).collect(),
    });
    table(
        columns.collect(),
        style,
        |row, _, cell| {
            if row == 0 { style.bold(cell) } else { cell.to_owned() }
        },
    )
}
