//! Alignment, shortening and wrapping by what a terminal shows, not by bytes.

use super::Style;

/// How many terminal columns a text takes: wide East Asian signs and emoji take two, combining
/// marks none (after Unicode Standard Annex 11 and the general category Mn, main blocks).
pub fn display_width(text: &str) -> usize {
    text.chars().map(sign_width).sum()
}

fn sign_width(c: char) -> usize {
    match u32::from(c) {
        0x0300..=0x036F
        | 0x0483..=0x0489
        | 0x0591..=0x05BD
        | 0x064B..=0x065F
        | 0x20D0..=0x20FF
        | 0xFE00..=0xFE0F
        | 0xFE20..=0xFE2F
        | 0xE0100..=0xE01EF => 0,
        0x1100..=0x115F
        | 0x2E80..=0x303E
        | 0x3041..=0xA4CF
        | 0xA960..=0xA97F
        | 0xAC00..=0xD7A3
        | 0xF900..=0xFAFF
        | 0xFE30..=0xFE6F
        | 0xFF00..=0xFF60
        | 0xFFE0..=0xFFE6
        | 0x1F300..=0x1F64F
        | 0x1F680..=0x1F6FF
        | 0x1F900..=0x1F9FF
        | 0x20000..=0x3FFFD => 2,
        _ => 1,
    }
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
    let room = width.saturating_sub(indent).max(8);
    let mut lines: Vec<String> = vec![String::new()];
    let mut used = 0;
    for word in text.split_whitespace() {
        let wide = display_width(word);
        if used > 0 && used + 1 + wide > room {
            lines.push(String::new());
            used = 0;
        }
        let Some(line) = lines.last_mut() else { continue };
        if used > 0 {
            line.push(' ');
            used += 1;
        }
        if wide <= room {
            line.push_str(word);
            used += wide;
            continue;
        }
        for c in word.chars() {
            if used + sign_width(c) > room {
                lines.push(String::new());
                used = 0;
            }
            if let Some(line) = lines.last_mut() {
                line.push(c);
            }
            used += sign_width(c);
        }
    }
    let space = " ".repeat(indent);
    lines.iter().map(|l| format!("{space}{l}\n")).collect()
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
