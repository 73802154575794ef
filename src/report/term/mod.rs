//! The terminal: the same instrument in text. Returns text; prints nothing.

pub mod table;

pub use table::display_width;

/// How the terminal wants it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Style {
    /// Whether bold and dim may be used. There is no other colour.
    pub colour: bool,
    /// Columns of the terminal; no line is longer (down to [`Style::NARROWEST`]).
    pub width: usize,
    /// Whether signs beyond ASCII can be shown.
    pub utf8: bool,
}

/// A word or two and what they hold, broken into lines that hang below each other.
pub fn paragraph(head: &str, text: &str, style: Style) -> String {
    const HANG: usize = 12;
    let lines = table::wrapped(&style.signs(text), style.columns(), HANG);
    let head = table::padded(&format!("  {head}"), HANG, false);
    format!("{head}{}", lines.get(HANG..).unwrap_or_default())
}

impl Style {
    /// Below this width lines may overrun.
    pub const NARROWEST: usize = 40;

    /// A file, a pipe or an unknown terminal: 80 columns, no colour, full signs.
    pub const PLAIN: Style = Style { colour: false, width: 80, utf8: true };

    pub(crate) fn bold(self, text: &str) -> String {
        self.wrapped("\u{1b}[1m", text)
    }

    pub(crate) fn dim(self, text: &str) -> String {
        self.wrapped("\u{1b}[2m", text)
    }

    pub(crate) fn wrapped(self, start: &str, text: &str) -> String {
        if self.colour && !text.trim().is_empty() {
            format!("{start}{text}\u{1b}[0m")
        } else {
            text.to_owned()
        }
    }

    pub(crate) fn columns(self) -> usize {
        self.width.max(Style::NARROWEST)
    }

    /// The text in signs that the terminal can show. File names keep their letters: a terminal
    /// that cannot show them gets `?`, so that columns stay aligned.
    pub(crate) fn signs(self, text: &str) -> String {
        if self.utf8 {
            return text.to_owned();
        }
        let mut plain = String::with_capacity(text.len());
        for c in text.chars() {
            match c {
                '±' => plain.push_str("+-"),
                '·' => plain.push('-'),
                '–' | '−' => plain.push('-'),
                '×' => plain.push('x'),
                '…' => plain.push('~'),
                '≤' => plain.push_str("<="),
                '°' => plain.push_str("deg"),
                '²' => plain.push('2'),
                'µ' => plain.push('u'),
                c if c.is_ascii() => plain.push(c),
                _ => plain.push('?'),
            }
        }
        plain
    }
}
