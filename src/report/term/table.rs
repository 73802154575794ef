//! Alignment, shortening and wrapping by what a terminal shows, not by bytes.

use std::borrow::Borrow;

use textwrap::{WordSeparator, WordSplitter, WrapAlgorithm};
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

use super::Style;
use crate::report::column::{Cell, Column};

/// Text is wrapped to no fewer columns than this, however narrow the terminal.
const MIN_LINE: usize = 8;

/// How many terminal columns a text takes (Unicode Standard Annex 11).
pub fn display_width(text: &str) -> usize {
    text.width()
}

fn sign_width(c: char) -> usize {
    c.width().unwrap_or(1)
}

/// The text cut in the middle to at most `width` columns: both ends of a file name tell frames
/// apart.
pub fn shortened(text: &str, width: usize, style: Style) -> String {
    if display_width(text) <= width {
        return text.to_owned();
    }
    let mark = if style.utf8 { '…' } else { '~' };
    let room = width.saturating_sub(1);
    let (mut head, mut tail) = (String::new(), Vec::new());
    let mut used = 0;
    // The end carries the number and the suffix: it gets the larger half.
    for c in text.chars().rev() {
        if used + sign_width(c) > room.div_ceil(2) + room / 6 {
            break;
        }
        used += sign_width(c);
        tail.push(c);
    }
    for c in text.chars() {
        if used + sign_width(c) > room {
            break;
        }
        used += sign_width(c);
        head.push(c);
    }
    head.push(mark);
    head.extend(tail.iter().rev());
    head
}

/// Fills up to `width` columns.
pub fn padded(text: &str, width: usize, right: bool) -> String {
    let fill = " ".repeat(width.saturating_sub(display_width(text)));
    if right { format!("{fill}{text}") } else { format!("{text}{fill}") }
}

/// Words in lines of at most `width` columns, every line indented; a longer word is cut up.
pub fn wrapped(text: &str, width: usize, indent: usize) -> String {
    let options = textwrap::Options::new(width.saturating_sub(indent).max(MIN_LINE))
        .word_separator(WordSeparator::AsciiSpace)
        .word_splitter(WordSplitter::NoHyphenation)
        .wrap_algorithm(WrapAlgorithm::FirstFit);
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let space = " ".repeat(indent);
    textwrap::wrap(&words, options).iter().map(|line| format!("{space}{line}\n")).collect()
}

/// A column of a table under way.
#[derive(Debug)]
pub struct TextColumn {
    /// Heading.
    pub heading: String,
    /// What stands under the heading: the unit, or a ruler.
    pub unit: String,
    /// Whether it is set flush right.
    pub right: bool,
    /// How dear it is: the highest number is left out first when room is short; 0 stays.
    pub drop_priority: u8,
    /// One cell a row.
    pub cells: Vec<String>,
}

impl TextColumn {
    /// A column of `cells`, one per row.
    pub fn new(
        heading: &str,
        unit: &str,
        right: bool,
        drop_priority: u8,
        cells: Vec<String>,
    ) -> TextColumn {
        let (heading, unit) = (heading.to_owned(), unit.to_owned());
        TextColumn { heading, unit, right, drop_priority, cells }
    }

    fn width(&self) -> usize {
        let widest = self.cells.iter().map(|c| display_width(c)).max().unwrap_or(0);
        widest.max(display_width(&self.heading)).max(display_width(&self.unit))
    }

    fn is_empty(&self) -> bool {
        self.cells.iter().all(String::is_empty)
    }
}

/// The columns of a list over these rows; numbers are set flush right.
pub fn text_columns<R>(
    columns: &[Column<R>],
    rows: &[impl Borrow<R>],
    style: Style,
) -> Vec<TextColumn> {
    let is_word = |c: &Column<R>, r: &R| matches!((c.get)(r), Cell::Text(_) | Cell::Path(_));
    let words = |c: &Column<R>| rows.iter().any(|r| is_word(c, r.borrow()));
    let cell = |c: &Column<R>, r: &R| style.signs(&c.shown(r).unwrap_or_default());
    let column = |c: &Column<R>| TextColumn {
        heading: style.signs(c.heading),
        unit: style.signs(c.unit),
        right: !words(c),
        drop_priority: c.drop_priority,
        cells: rows.iter().map(|r| cell(c, r.borrow())).collect(),
    };
    columns.iter().map(column).collect()
}

/// Space between columns.
const GAP: usize = 2;

/// The table in at most `style.width` columns: columns without any value go, then the ones that
/// give way first, then the first column is shortened. `emphasis` dresses a row's finished text.
pub fn table(
    mut columns: Vec<TextColumn>,
    style: Style,
    emphasis: impl Fn(usize, usize, &str) -> String,
) -> String {
    columns.retain(|c| c.drop_priority == 0 || !c.is_empty());
    let total = |columns: &[TextColumn]| -> usize {
        columns.iter().map(|c| c.width() + GAP).sum::<usize>().saturating_sub(GAP)
    };
    // The first column may shrink to this before another column has to go.
    const MIN_NAME_COLUMNS: usize = 12;
    let over = |columns: &[TextColumn]| {
        let name = columns.first().map_or(0, TextColumn::width);
        (total(columns) - name + name.min(MIN_NAME_COLUMNS)) > style.columns()
    };
    while over(&columns) {
        let last = columns.iter().enumerate().filter(|(_, c)| c.drop_priority > 0);
        let Some((at, _)) = last.max_by_key(|(i, c)| (c.drop_priority, *i)) else { break };
        columns.remove(at);
    }
    if let Some(too_much) = total(&columns).checked_sub(style.columns())
        && let Some(first) = columns.first_mut()
    {
        let room = first.width().saturating_sub(too_much).max(4);
        first.heading = shortened(&first.heading, room, style);
        first.unit = shortened(&first.unit, room, style);
        first.cells = first.cells.iter().map(|c| shortened(c, room, style)).collect();
    }
    let widths: Vec<usize> = columns.iter().map(TextColumn::width).collect();
    let rows = columns.first().map_or(0, |c| c.cells.len());
    let mut text = String::new();
    let headings: [fn(&TextColumn) -> &str; 2] = [|c| &c.heading, |c| &c.unit];
    for part in headings {
        let cell = |(c, w): (&TextColumn, &usize)| padded(part(c), *w, c.right);
        if columns.iter().all(|c| part(c).is_empty()) {
            continue;
        }
        let line: Vec<String> = columns.iter().zip(&widths).map(cell).collect();
        text.push_str(&style.dim(line.join("  ").trim_end()));
        text.push('\n');
    }
    for row in 0..rows {
        let mut line = String::new();
        for (at, (column, width)) in columns.iter().zip(&widths).enumerate() {
            let last = at + 1 == columns.len();
            let cell = &column.cells[row];
            let cell = if last && !column.right {
                cell.clone()
            } else {
                padded(cell, *width, column.right)
            };
            line.push_str(&emphasis(row, at, &cell));
            if !last {
                line.push_str("  ");
            }
        }
        text.push_str(line.trim_end());
        text.push('\n');
    }
    text
}
