//! Columns of tables. A command has one list of them; terminal, CSV, HTML and the README's table
//! read it, so a column has one key, one heading, one unit and one meaning everywhere.

use std::borrow::Borrow;

use super::wording;
use crate::core::Measured;

/// How many digits are shown to people. CSV and JSON carry the number as measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decimals {
    /// As many as the standard error allows; three significant digits without one.
    ByError,
    /// Always that many after the point.
    Fixed(usize),
    /// As many as the number has: values that were set, not measured.
    AsSet,
    /// An f-number as marked: "8", "5.6".
    FNumber,
    /// An f-number as written in running text: "f/8".
    WrittenFNumber,
    /// An exposure time as marked: "1/200".
    Shutter,
    /// An exposure time with its unit: "1/200 s".
    WrittenShutter,
    /// A share between 0 and 1 as per cent: "45 %".
    PerCent,
}

/// A value on its way into a cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// No value.
    Missing,
    /// Words.
    Text(String),
    /// A file path, relative where possible.
    Path(String),
    /// A count.
    Whole(u64),
    /// A number without error.
    Number(f64),
    /// A number with its error.
    Measured(f64, Option<f64>),
    /// A bound from above with its error.
    AtMost(f64, Option<f64>),
    /// A number with its error, shown by the range that holds it with 68 % probability.
    Range(f64, Option<f64>, f64, f64),
}

impl Cell {
    pub(crate) fn measured(m: Option<Measured>) -> Cell {
        m.map_or(Cell::Missing, |m| Cell::Measured(m.value, m.std_err))
    }

    pub(crate) fn number(n: Option<f64>) -> Cell {
        n.map_or(Cell::Missing, Cell::Number)
    }

    pub(crate) fn whole(n: Option<u32>) -> Cell {
        n.map_or(Cell::Missing, |n| Cell::Whole(u64::from(n)))
    }

    pub(crate) fn text(t: Option<String>) -> Cell {
        t.filter(|t| !t.is_empty()).map_or(Cell::Missing, Cell::Text)
    }

    pub(crate) fn yes_no(b: Option<bool>) -> Cell {
        b.map_or(Cell::Missing, |b| Cell::Text(if b { "yes" } else { "no" }.to_owned()))
    }
}

/// One column over rows of type `R`.
pub struct Column<R> {
    /// Stable key with the unit in it: the heading in CSV.
    pub key: &'static str,
    /// Key of the standard error's own column in CSV, for columns that have one.
    pub error_key: Option<&'static str>,
    /// Heading for people, without the unit.
    pub heading: &'static str,
    /// Unit as shown; empty for words and counts.
    pub unit: &'static str,
    /// Digits shown.
    pub decimals: Decimals,
    /// How dear it is where room is short: the highest number goes first; 0 stays.
    pub drop_priority: u8,
    /// What it means, in sentences.
    pub meaning: &'static str,
    /// What people see where there is no value; empty for nothing.
    pub missing: &'static str,
    /// Where the value is in the record.
    pub get: fn(&R) -> Cell,
}

// Derived, they would ask the same of the rows.
impl<R> Clone for Column<R> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<R> Copy for Column<R> {}

impl<R> Column<R> {
    /// A column without an error of its own.
    pub const fn new(
        key: &'static str,
        heading: &'static str,
        unit: &'static str,
        decimals: Decimals,
        get: fn(&R) -> Cell,
        meaning: &'static str,
    ) -> Column<R> {
        Column {
            key,
            error_key: None,
            heading,
            unit,
            decimals,
            drop_priority: 0,
            meaning,
            missing: "",
            get,
        }
    }

    /// A column whose standard error has a column of its own in CSV, `error_key`.
    pub const fn with_error(
        key: &'static str,
        error_key: &'static str,
        heading: &'static str,
        unit: &'static str,
        decimals: Decimals,
        get: fn(&R) -> Cell,
        meaning: &'static str,
    ) -> Column<R> {
        let column = Column::new(key, heading, unit, decimals, get, meaning);
        Column { error_key: Some(error_key), ..column }
    }

    /// The column with its place in the order in which columns go where room is short.
    pub const fn dropped(mut self, drop_priority: u8) -> Column<R> {
        self.drop_priority = drop_priority;
        self
    }

    /// The column with a dash where there is no value.
    pub const fn dashed(mut self) -> Column<R> {
        self.missing = wording::NOTHING;
        self
    }

    /// Heading and unit in one line: "blur, px".
    pub fn heading_with_unit(&self) -> String {
        match self.unit {
            "" => self.heading.to_owned(),
            unit => format!("{}, {unit}", self.heading),
        }
    }

    /// The value as shown to people, without the unit; `None` when there is none.
    pub fn shown(&self, row: &R) -> Option<String> {
        if let Cell::Range(value, _, low, high) = (self.get)(row)
            && [value, low, high].iter().all(|v| v.is_finite())
        {
            return Some(wording::range(value, low, high));
        }
        let (value, error) = self.shown_parts(row)?;
        Some(match error {
            Some(error) => format!("{value} ± {error}"),
            None => value,
        })
    }

    /// The value and its error as shown to people; `None` when there is nothing to show.
    pub fn shown_parts(&self, row: &R) -> Option<(String, Option<String>)> {
        let missing = || (!self.missing.is_empty()).then(|| (self.missing.to_owned(), None));
        self.value_parts(row).or_else(missing)
    }

    fn value_parts(&self, row: &R) -> Option<(String, Option<String>)> {
        match ((self.get)(row), self.decimals) {
            (Cell::Missing, _) => None,
            (Cell::Text(t) | Cell::Path(t), _) => Some((wording::visible(&t), None)),
            (Cell::Whole(n), _) => Some((n.to_string(), None)),
            (Cell::AtMost(v, e), _) => {
                let (value, error) = wording::value_and_error(v, e);
                Some((format!("≤ {value}"), error)).filter(|_| v.is_finite())
            }
            (Cell::Range(v, e, _, _), _) => {
                Some(wording::value_and_error(v, e)).filter(|_| v.is_finite())
            }
            (Cell::Number(v) | Cell::Measured(v, _), _) if !v.is_finite() => None,
            (Cell::Number(v), Decimals::ByError) => Some((wording::number(v), None)),
            (Cell::Number(v), Decimals::Fixed(d)) => Some((wording::fixed(v, d), None)),
            (Cell::Number(v) | Cell::Measured(v, _), Decimals::AsSet) => {
                Some((wording::short(v), None))
            }
            (Cell::Number(v) | Cell::Measured(v, _), Decimals::FNumber) => {
                Some((wording::f_number(v).trim_start_matches("f/").to_owned(), None))
            }
            (Cell::Number(v) | Cell::Measured(v, _), Decimals::WrittenFNumber) => {
                Some((wording::f_number(v), None))
            }
            (Cell::Number(v) | Cell::Measured(v, _), Decimals::WrittenShutter) => {
                Some((wording::shutter(v), None))
            }
            (Cell::Number(v) | Cell::Measured(v, _), Decimals::PerCent) => {
                Some((wording::per_cent(v), None))
            }
            (Cell::Number(v) | Cell::Measured(v, _), Decimals::Shutter) => {
                Some((wording::shutter(v).trim_end_matches(" s").to_owned(), None))
            }
            (Cell::Measured(v, e), Decimals::ByError) => Some(wording::value_and_error(v, e)),
            (Cell::Measured(v, e), Decimals::Fixed(d)) => {
                Some((wording::fixed(v, d), e.map(|e| wording::fixed(e, d))))
            }
        }
    }
}

/// The columns that show anything in these rows.
pub fn used<R>(columns: &[Column<R>], rows: &[impl Borrow<R>]) -> Vec<Column<R>> {
    let shows = |c: &&Column<R>| rows.iter().any(|r| c.shown(r.borrow()).is_some());
    columns.iter().filter(shows).copied().collect()
}

/// The table of a page: headings with units, and the cells of each row. Columns without any value
/// are left out.
pub fn html_table<R>(
    columns: &[Column<R>],
    rows: &[impl Borrow<R>],
) -> (Vec<String>, Vec<Vec<String>>) {
    let used = used(columns, rows);
    (heads(&used), cells(&used, rows))
}

/// The headings of columns with their units.
pub fn heads<R>(columns: &[Column<R>]) -> Vec<String> {
    columns.iter().map(Column::heading_with_unit).collect()
}

/// The cells of each row as shown to people.
pub fn cells<R>(columns: &[Column<R>], rows: &[impl Borrow<R>]) -> Vec<Vec<String>> {
    let row = |r: &R| columns.iter().map(|c| c.shown(r).unwrap_or_default()).collect();
    rows.iter().map(|r| row(r.borrow())).collect()
}

/// A list of columns as a Markdown table, for the README.
pub fn markdown_table<R>(columns: &[Column<R>]) -> String {
    let mut table = String::from("| key | heading | unit | meaning |\n|---|---|---|---|\n");
    for column in columns {
        let key = match column.error_key {
            Some(error) => format!("`{}`, `{error}`", column.key),
            None => format!("`{}`", column.key),
        };
        let line =
            format!("| {key} | {} | {} | {} |\n", column.heading, column.unit, column.meaning);
        table.push_str(&line);
    }
    table
}
