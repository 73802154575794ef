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

/// Why a frame or clip was skipped.
pub fn skip_reason(reason: &SkipReason, medium: Medium) -> String {
    match (reason.hint(), medium) {
        (Some(Hint::AllowMemory), Medium::Terminal) => {
            format!("{reason}: allow more with --memory")
        }
        _ => reason.to_string(),
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

/// Writes findings into a record.
///
/// # Errors
/// Those of the serializer.
pub fn serialize<F: Sentences + Serialize, S: Serializer>(
    findings: &[F],
    serializer: S,
) -> Result<S::Ok, S::Error> {
    serializer.collect_seq(findings.iter().map(|finding| WrittenFinding {
        finding,
        message: finding.message(Medium::Terminal),
        advice: finding.advice_text(Medium::Terminal),
    }))
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
