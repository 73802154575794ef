//! Findings are data; their sentences are made for the place where they are read.

use serde::{Serialize, Serializer};

use super::wording;
use crate::error::{Hint, SkipReason};

/// Where a sentence is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Medium {
    /// The terminal, and records written for other programs: options may be named.
    Terminal,
    /// A page written to a file: nothing can be typed or pressed there.
    Report,
    /// The page of `review`: its keys may be named.
    ReviewPage,
}

impl Medium {
    /// Every medium.
    pub const ALL: [Medium; 3] = [Medium::Terminal, Medium::Report, Medium::ReviewPage];
}

/// A finding in sentences.
pub trait Sentences {
    /// What was found.
    fn message(&self, medium: Medium) -> String;

    /// What to do about it, if anything.
    fn advice_text(&self, medium: Medium) -> Option<String>;
}

/// A finding with its advice as one paragraph, with everything invisible in names spelt out.
pub fn paragraph(finding: &impl Sentences, medium: Medium) -> String {
    let message = finding.message(medium);
    let text = match finding.advice_text(medium) {
        Some(advice) => format!("{message} {advice}"),
        None => message,
    };
    wording::visible(&text)
}

/// The paragraphs of several findings.
pub fn paragraphs(findings: &[impl Sentences], medium: Medium) -> Vec<String> {
    findings.iter().map(|f| paragraph(f, medium)).collect()
}

/// What to do about a skipped frame or clip, in the words of the terminal.
pub fn skip_advice(reason: &SkipReason) -> Option<String> {
    match reason.hint()? {
        Hint::AllowMemory => Some("allow more with --memory".to_owned()),
        _ => None,
    }
}

/// A finding as records hold it: its key and values, so that a program that reads them need not read
/// sentences, and its sentences for the terminal.
#[derive(Serialize)]
struct WrittenFinding<'a, F> {
    #[serde(flatten)]
    finding: &'a F,
    message: String,
    advice: Option<String>,
}

impl<'a, F: Sentences> WrittenFinding<'a, F> {
    fn of(finding: &'a F) -> Self {
        WrittenFinding {
            finding,
            message: finding.message(Medium::Terminal),
            advice: finding.advice_text(Medium::Terminal),
        }
    }
}

/// Writes findings into a record.
///
/// # Errors
/// Those of the serializer.
pub fn serialize<F: Sentences + Serialize, S: Serializer>(
    findings: &[F],
    serializer: S,
) -> Result<S::Ok, S::Error> {
    serializer.collect_seq(findings.iter().map(WrittenFinding::of))
}

/// Writes one finding into a record.
///
/// # Errors
/// Those of the serializer.
pub fn serialize_one<F: Sentences + Serialize, S: Serializer>(
    finding: &F,
    serializer: S,
) -> Result<S::Ok, S::Error> {
    WrittenFinding::of(finding).serialize(serializer)
}

/// Writes a finding into a record, or `null` where there is none.
///
/// # Errors
/// Those of the serializer.
pub fn serialize_optional<F: Sentences + Serialize, S: Serializer>(
    finding: &Option<F>,
    serializer: S,
) -> Result<S::Ok, S::Error> {
    finding.as_ref().map(WrittenFinding::of).serialize(serializer)
}

/// Holds every finding of a command against what its sentences promise: nothing unfilled, a full
/// stop at the end, and no option on a page.
#[cfg(test)]
pub(crate) fn check(findings: &[impl Sentences]) {
    for finding in findings {
        for medium in Medium::ALL {
            let text = paragraph(finding, medium);
            assert!(text.ends_with('.'), "no full stop: {text}");
            assert!(text.starts_with(|c: char| c.is_uppercase() || c.is_ascii_digit()), "{text}");
            assert!(!text.contains(['{', '}']) && !text.contains("  "), "{text}");
            let names_option = text.contains("--");
            assert!(medium == Medium::Terminal || !names_option, "an option on a page: {text}");
        }
    }
}
