//! `clip` in text: a heading, a time line, a table of stretches and the findings of each clip.

use crate::clips::columns::SPAN_COLUMNS;
use crate::clips::record::{ClipRecord, SpanVerdict};
use crate::clips::table as clip_table;
use crate::report::parts::SkippedRecord;
use crate::report::sentences::{Medium, paragraphs};
use crate::report::term::Style;
use crate::report::term::table::{table, text_columns, wrapped};
use crate::report::wording;

/// Columns of the text time line.
const LINE_WIDTH: usize = 64;

/// One clip.
pub fn clip(clip: &ClipRecord, style: Style) -> String {
    let mut text = String::new();
    let name = style.signs(&wording::visible(&clip.path));
    for line in wrapped(&name, style.columns(), 0).lines() {
        text.push_str(&format!("{}\n", style.bold(line)));
    }
    let facts = style.signs(&clip_table::facts(clip).join(" · "));
    for line in wrapped(&facts, style.columns(), 0).lines() {
        text.push_str(&format!("{}\n", style.dim(line)));
    }
    text.push_str(&format!("  {}\n", time_line(clip, style)));
    let end = format!("{} s", wording::fixed(clip.length_s, 1));
    let fill = line_width(style).saturating_sub(1 + end.len());
    let key = key(style);
    text.push_str(&format!("  {}\n", style.dim(&format!("0{}{end}", " ".repeat(fill)))));
    text.push_str(&style.dim(&wrapped(&key, style.columns(), 2)));
    let mut columns = text_columns(SPAN_COLUMNS, &clip.spans, style);
    columns.retain(|c| c.cells.iter().any(|cell| !cell.is_empty()));
    text.push_str(&table(columns, style, |row, _, cell| match clip.spans[row].verdict {
        SpanVerdict::InFocus => style.bold(cell),
        SpanVerdict::Near => cell.to_owned(),
        SpanVerdict::Out | SpanVerdict::Unclear => style.dim(cell),
    }));
    if let Some(stretch) = clip_table::stretch(clip) {
        text.push_str(&wrapped(&style.signs(&stretch), style.columns(), 2));
    }
    for line in paragraphs(&clip.findings, Medium::Terminal) {
        text.push_str(&wrapped(&style.signs(&line), style.columns(), 2));
    }
    text
}

/// Files passed over, and where the page is.
pub fn clips_end(
    skipped: &[SkippedRecord],
    page: Option<&std::path::Path>,
    style: Style,
) -> String {
    let mut text = String::new();
    for s in skipped {
        let line = format!("skipped {}: {}", wording::visible(&s.path), s.in_terminal());
        text.push_str(&wrapped(&style.signs(&line), style.columns(), 0));
    }
    if let Some(page) = page {
        text.push_str(&format!("page: {}\n", page.display()));
    }
    text
}

fn line_width(style: Style) -> usize {
    LINE_WIDTH.min(style.columns().saturating_sub(2))
}

fn sign(verdict: SpanVerdict, style: Style) -> char {
    match (verdict, style.utf8) {
        (SpanVerdict::InFocus, true) => '█',
        (SpanVerdict::Near, true) => '▄',
        (SpanVerdict::Out, true) => '▁',
        (SpanVerdict::InFocus, false) => '#',
        (SpanVerdict::Near, false) => '=',
        (SpanVerdict::Out, false) => '_',
        (SpanVerdict::Unclear, _) => '?',
    }
}

fn key(style: Style) -> String {
    let kinds = [SpanVerdict::InFocus, SpanVerdict::Near, SpanVerdict::Out, SpanVerdict::Unclear];
    let parts: Vec<String> =
        kinds.iter().map(|k| format!("{} {}", sign(*k, style), k.word())).collect();
    parts.join("  ")
}

/// The stretches drawn along the clip.
fn time_line(clip: &ClipRecord, style: Style) -> String {
    let width = line_width(style);
    let start = clip.spans.first().map_or(0.0, |s| s.start_s);
    (0..width)
        .map(|i| {
            let t = start + clip.length_s * (i as f64 + 0.5) / width as f64;
            let span = clip.spans.iter().find(|s| t >= s.start_s && t < s.end_s);
            span.map_or(' ', |s| sign(s.verdict, style))
        })
        .collect()
}
