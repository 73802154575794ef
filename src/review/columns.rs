//! The columns of the agreement of verdicts with decisions, for CSV and the reference.

use super::agreement_record::AgreementLine;
use crate::report::column::Decimals::ByError;
use crate::report::column::{Cell, Column};

/// All columns, in order.
#[rustfmt::skip]
pub static COLUMNS: &[Column<AgreementLine>] = &[
    Column::new("by", "by", "", ByError, |l| Cell::Text(l.by.to_owned()),
        "What the row is about: a verdict or a cause."),
    Column::new("key", "word", "", ByError, |l| Cell::Text(l.row.key.clone()),
        "The verdict's or the cause's word."),
    Column::new("decided", "decided", "", ByError, |l| Cell::Whole(u64::from(l.row.agreed.of)),
        "Frames that people decided on."),
    Column::new("agreed", "agreed", "", ByError, |l| Cell::Whole(u64::from(l.row.agreed.count)),
        "Frames on which both agreed."),
    Column::new("agreed_low", "agreed, low", "", ByError, |l| Cell::number(l.row.agreed.low),
        "Lower end of Wilson's interval of 95 % on the share agreed."),
    Column::new("agreed_high", "agreed, high", "", ByError, |l| Cell::number(l.row.agreed.high),
        "Upper end of the same."),
    Column::new("people_hit", "people: hit", "", ByError, |l| Cell::Whole(u64::from(l.row.people.hit)),
        "Frames that people called hit."),
    Column::new("people_near", "people: near", "", ByError, |l| Cell::Whole(u64::from(l.row.people.near)),
        "Frames that people called near."),
    Column::new("people_miss", "people: miss", "", ByError, |l| Cell::Whole(u64::from(l.row.people.miss)),
        "Frames that people called miss."),
    Column::new("people_unclear", "people: unclear", "", ByError, |l| Cell::Whole(u64::from(l.row.people.unclear)),
        "Frames that people called unclear."),
];
