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
                "Nobody has decided on a frame yet: there is nothing to hold the verdicts against."
                    .to_owned()
            }
            AgreementFinding::NoVerdicts => {
                "The program had no verdict on any frame that was decided on: it cannot be said \
                 how often it is right."
                    .to_owned()
            }
            AgreementFinding::Agreed { agreed, swapped } => format!(
                "The verdict was the person's in {} frames, {}; hit and miss were swapped in {}, \
                 {}.",
                of(agreed),
                wording::share(agreed),
                of(swapped),
                wording::share(swapped),
            ),
            AgreementFinding::FewDecisions { decisions } => format!(
                "That is from {}: the interval says how little it tells.",
                wording::count(*decisions, "decision", "decisions")
            ),
            AgreementFinding::LeastAgreed { key, agreed } => format!(
                "Least agreement is where it says {key}: {} frames, {}.",
                of(agreed),
                wording::share(agreed)
            ),
        }
    }

    fn advice_text(&self, _: Medium) -> Option<String> {
        let text = match self.advice()? {
            AgreementAdvice::Decide => "Decide on frames in `stopwise review FOLDER`.",
            AgreementAdvice::DecideInOrder => {
                "Decide on frames as they come and not only on those that look wrong."
            }
            AgreementAdvice::LookFirst => "Look at such frames before you go by the verdict.",
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
        assert!(text.starts_with("Least agreement is where it says shake: 17 of 25"), "{text}");
        check(&[
            AgreementFinding::NoDecisions,
            AgreementFinding::NoVerdicts,
            AgreementFinding::Agreed { agreed: share, swapped: Proportion::wilson(1, 25) },
            AgreementFinding::FewDecisions { decisions: 4 },
            least,
        ]);
    }
}
