//! `mark` in text: what every sidecar says now and will say, then the counts.

use super::sentences;
use crate::marks::record::{ChangeRow, FilePlacing, FileState, MarkRecord};
use crate::report::term::Style;
use crate::report::term::table::{display_width, padded, shortened, wrapped};
use crate::report::wording;

/// Widest column of file names.
const WIDEST_NAME: usize = 44;

/// The record.
pub fn mark(record: &MarkRecord, style: Style) -> String {
    let mut text = String::new();
    let rows: Vec<[String; 3]> = record
        .sidecars
        .iter()
        .filter(|s| s.state != FileState::Same || !s.notes.is_empty())
        .map(|s| {
            let whose = if s.decided { " (decided)" } else { "" };
            let mut says = changes(&s.changes);
            says.extend(s.notes.iter().map(|n| wording::visible(n)));
            let state = match s.state {
                FileState::New => "new",
                FileState::Changed => "changes",
                FileState::Same => "stays",
            };
            let call = format!("{}{whose}", s.verdict.word());
            [wording::visible(&s.path), call, format!("{state}: {}", says.join("; "))]
        })
        .chain(record.placed.iter().filter(|p| p.state == FileState::New).map(|p| {
            let how = match p.placing {
                FilePlacing::HardLink => "linked",
                FilePlacing::Copy => "copied",
            };
            [wording::visible(&p.from), how.to_owned(), format!("to {}", wording::visible(&p.to))]
        }))
        .collect();
    let widest = |column: usize| rows.iter().map(|r| display_width(&r[column])).max().unwrap_or(0);
    let name = widest(0).min(WIDEST_NAME).min(style.columns() / 2);
    let call = widest(1);
    let indent = 2 + name + 2 + call + 2;
    for [path, word, says] in &rows {
        let path = padded(&shortened(path, name, style), name, false);
        let head = format!("  {}  {}  ", style.signs(&path), padded(word, call, false));
        let body = wrapped(&style.signs(says), style.columns(), indent);
        text.push_str(&format!("{head}{}", body.trim_start()));
    }
    if !rows.is_empty() {
        text.push('\n');
    }
    for s in &record.skipped {
        let line = format!("skipped {}: {}", wording::visible(&s.path), s.in_terminal());
        text.push_str(&wrapped(&style.signs(&line), style.columns(), 0));
    }
    text.push_str(&wrapped(&style.signs(&ending(record)), style.columns(), 0));
    text
}

/// The changes of a sidecar: "rating 2 to 5", "+ keywords stopwise:near, stopwise:misfocused".
fn changes(rows: &[ChangeRow]) -> Vec<String> {
    let mut says = Vec::new();
    for (property, word) in [("xmp:Rating", "rating"), ("xmp:Label", "label")] {
        for row in rows.iter().filter(|r| r.property == property) {
            let to = row.to.as_deref().map(wording::visible).unwrap_or_default();
            says.push(match row.from.as_deref().map(wording::visible) {
                Some(from) => format!("{word} {from} to {to}"),
                None => format!("+ {word} {to}"),
            });
        }
    }
    let words = |side: fn(&ChangeRow) -> Option<&String>| {
        let of_list = rows.iter().filter(|r| r.property == "dc:subject");
        of_list.filter_map(side).map(|w| wording::visible(w)).collect::<Vec<_>>()
    };
    for (sign, words) in [("-", words(|r| r.from.as_ref())), ("+", words(|r| r.to.as_ref()))] {
        match words.len() {
            0 => {}
            1 => says.push(format!("{sign} keyword {}", words[0])),
            _ => says.push(format!("{sign} keywords {}", words.join(", "))),
        }
    }
    says
}

fn ending(record: &MarkRecord) -> String {
    let state = |wanted| record.sidecars.iter().filter(|s| s.state == wanted).count();
    let (new, changed) = (state(FileState::New), state(FileState::Changed));
    let placed = record.placed.iter().filter(|p| p.state == FileState::New).count();
    let mut parts = Vec::new();
    if !record.sidecars.is_empty() {
        let same = state(FileState::Same);
        parts.push(format!("sidecars: {new} new, {changed} changed, {same} unchanged"));
    }
    if !record.placed.is_empty() {
        let there = record.placed.len() - placed;
        parts.push(format!("links and copies: {placed} new, {there} there already"));
    }
    let frames = if record.frames == 1 { "frame" } else { "frames" };
    let counts = format!("{} {frames}; {}.", record.frames, parts.join("; "));
    let counts = if parts.is_empty() { format!("{} {frames}.", record.frames) } else { counts };
    let asked = new + changed + placed > 0;
    match (record.written, asked) {
        (true, true) => format!("{counts} Sidecars written; pictures unchanged."),
        (false, true) => sentences::nothing_written(&counts),
        (_, false) => format!("{counts} Nothing to write."),
    }
}
