//! The record of `log agreement`: how often people's decisions were the program's verdicts.

use crate::report::header::Header;
use serde::Serialize;

use crate::report::parts::Proportion;
use crate::report::sentences;

/// Number of the record's form; raised when a field changes its meaning.
pub const AGREEMENT_SCHEMA: u32 = 2;

/// How many frames people called what, of those that a row is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct PeopleSaid {
    /// "hit".
    pub hit: u32,
    /// "near".
    pub near: u32,
    /// "miss".
    pub miss: u32,
    /// "unclear".
    pub unclear: u32,
}

/// Frames that the program called alike, or gave the same first cause.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AgreementRow {
    /// The verdict's or the cause's word.
    pub key: String,
    /// Frames on which both agreed, of those that people decided on, with Wilson's interval.
    pub agreed: Proportion,
    /// What people said.
    pub people: PeopleSaid,
}

/// How often the program agreed with people.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AgreementRecord {
    /// Number of the form ([`AGREEMENT_SCHEMA`]), program and version.
    #[serde(flatten)]
    pub header: Header,
    /// Frames that people decided on.
    pub decided: u32,
    /// Agreed, of those that the program had an answer to: "unclear" is not counted.
    pub agreed: Proportion,
    /// A hit called a miss or a miss called a hit, of the same frames.
    pub swapped: Proportion,
    /// By the program's verdict.
    pub by_verdict: Vec<AgreementRow>,
    /// By its first cause, of near frames and misses; most frames first.
    pub by_cause: Vec<AgreementRow>,
    /// Frames in which people placed the subject.
    pub subjects_placed: u32,
    /// What that shows.
    #[serde(serialize_with = "sentences::serialize")]
    pub findings: Vec<AgreementFinding>,
}

/// What the decisions show.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "key", content = "values", rename_all = "kebab-case")]
pub enum AgreementFinding {
    /// Nobody has decided on a frame.
    NoDecisions,
    /// No frame that was decided on has a verdict.
    NoVerdicts,
    /// How often both agreed.
    Agreed {
        /// Frames on which both agreed.
        agreed: Proportion,
        /// Frames with hit and miss swapped.
        swapped: Proportion,
    },
    /// Too few decisions for a narrow interval.
    FewDecisions {
        /// How many.
        decisions: u32,
    },
    /// The cause on which both agree least.
    LeastAgreed {
        /// Its word.
        key: String,
        /// Frames on which both agreed.
        agreed: Proportion,
    },
}

/// What can be done about it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AgreementAdvice {
    /// Decide on frames.
    Decide,
    /// Decide on every frame.
    DecideInOrder,
    /// Look before the verdict is used.
    LookFirst,
}

impl AgreementFinding {
    /// What to do about it.
    pub fn advice(&self) -> Option<AgreementAdvice> {
        match self {
            AgreementFinding::NoDecisions => Some(AgreementAdvice::Decide),
            AgreementFinding::FewDecisions { .. } => Some(AgreementAdvice::DecideInOrder),
            AgreementFinding::LeastAgreed { .. } => Some(AgreementAdvice::LookFirst),
            AgreementFinding::NoVerdicts | AgreementFinding::Agreed { .. } => None,
        }
    }
}

/// A row and what it is by: "verdict" or "cause".
#[derive(Debug, Clone, PartialEq)]
pub struct AgreementLine {
    /// "verdict" or "cause".
    pub by: &'static str,
    /// The row.
    pub row: AgreementRow,
}

impl AgreementRecord {
    /// The rows by verdict, then those by cause.
    pub fn lines(&self) -> Vec<AgreementLine> {
        let of = |by, rows: &[AgreementRow]| -> Vec<AgreementLine> {
            rows.iter().map(|row| AgreementLine { by, row: row.clone() }).collect()
        };
        [of("verdict", &self.by_verdict), of("cause", &self.by_cause)].concat()
    }
}
