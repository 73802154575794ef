//! How often people agreed with the verdicts, in sentences.

use super::agreement_record::{AgreementAdvice, AgreementFinding};
use crate::report::parts::Proportion;
use crate::report::sentences::{Medium, Sentences};
use crate::report::wording;

fn of(share: &Proportion) -> String {
    format!("{} of {}", share.count, share.of)
}

impl Sentences for AgreementFinding {
    fn message(&self, _: Medium) -> String {
        match self {
            AgreementFinding::NoDecisions => {
                "No decisions yet, so there is nothing to compare the verdicts with.".to_owned()
            }
            AgreementFinding::NoVerdicts => {
                "All decided frames were unclear, so agreement cannot be given.".to_owned()
            }
            AgreementFinding::Agreed { agreed, swapped } => format!(
                "The verdict agrees with the decision in {} frames ({}); hit and miss were \
                 swapped in {} ({}).",
                of(agreed),
                wording::share(agreed),
                of(swapped),
                wording::share(swapped),
            ),
            AgreementFinding::FewDecisions { decisions } => format!(
                "This is based on only {}; the interval is wide.",
                wording::count(*decisions, "decision", "decisions")
            ),
            AgreementFinding::LeastAgreed { key, agreed } => format!(
                "Agreement is lowest for {key}: {} frames ({}).",
                of(agreed),
                wording::share(agreed)
            ),
        }
    }

    fn advice_text(&self, _: Medium) -> Option<String> {
        let text = match self.advice()? {
            AgreementAdvice::Decide => "Decide on frames in `stopwise review FOLDER`.",
            AgreementAdvice::DecideInOrder => {
                "Decide on every frame in order, not only on those that look wrong."
            }
            AgreementAdvice::LookFirst => "Check these frames yourself.",
        };
        Some(text.to_owned())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sentences::{check, paragraph};

    #[test]
    fn every_finding_reads_well_wherever_it_is_shown() {
        let share = Proportion::wilson(17, 25);
        let least = AgreementFinding::LeastAgreed { key: "shake".to_owned(), agreed: share };
        let text = paragraph(&least, Medium::Terminal);
        assert!(text.starts_with("Agreement is lowest for shake: 17 of 25"), "{text}");
        check(&[
            AgreementFinding::NoDecisions,
            AgreementFinding::NoVerdicts,
            AgreementFinding::Agreed { agreed: share, swapped: Proportion::wilson(1, 25) },
            AgreementFinding::FewDecisions { decisions: 4 },
            least,
        ]);
    }
}
