//! How often the program agreed with people, from the decisions that they made in `review`.
//!
//! A frame counts once, with the latest word said of it and what the program said at that moment.
//! "Unclear" is no answer: such frames have their row and are in no share of agreement.

use std::collections::BTreeMap;

use crate::core::verdict::{Cause, Verdict};
use crate::report::header::Header;
use crate::report::parts::Proportion;
use crate::review::agreement_record::{
    AGREEMENT_SCHEMA, AgreementFinding, AgreementRecord, AgreementRow, PeopleSaid,
};
use crate::store::decisions::VerdictPair;

/// Decisions below which a share says next to nothing.
const FEW: u32 = 20;

#[derive(Debug, Default)]
struct Count {
    agreed: u32,
    of: u32,
    people: PeopleSaid,
}

impl Count {
    fn add(&mut self, j: &VerdictPair) {
        self.of += 1;
        self.agreed += u32::from(j.person == j.program);
        let count = match j.person {
            Verdict::Hit => &mut self.people.hit,
            Verdict::Near => &mut self.people.near,
            Verdict::Miss => &mut self.people.miss,
            Verdict::Unclear => &mut self.people.unclear,
        };
        *count += 1;
    }

    fn row(self, key: &str) -> AgreementRow {
        AgreementRow {
            key: key.to_owned(),
            agreed: Proportion::wilson(self.agreed, self.of),
            people: self.people,
        }
    }
}

/// Counts the decisions.
pub fn agreement(judgements: &[VerdictPair], subjects_placed: u32) -> AgreementRecord {
    let mut verdicts: BTreeMap<Verdict, Count> = BTreeMap::new();
    let mut causes: BTreeMap<Option<Cause>, Count> = BTreeMap::new();
    let mut all = Count::default();
    let mut swapped = 0;
    for j in judgements {
        verdicts.entry(j.program).or_default().add(j);
        if j.program == Verdict::Unclear {
            continue;
        }
        all.add(j);
        let both = (j.program, j.person);
        let is_swapped =
            matches!(both, (Verdict::Hit, Verdict::Miss) | (Verdict::Miss, Verdict::Hit));
        swapped += u32::from(is_swapped);
        if j.program != Verdict::Hit {
            causes.entry(j.cause).or_default().add(j);
        }
    }
    let answered = all.of;
    let by_verdict = verdicts.into_iter().map(|(v, count)| count.row(v.word())).collect();
    let cause_row = |(cause, count): (Option<Cause>, Count)| {
        count.row(cause.map_or("no cause found", Cause::word))
    };
    let mut by_cause: Vec<AgreementRow> = causes.into_iter().map(cause_row).collect();
    by_cause.sort_by(|a, b| b.agreed.of.cmp(&a.agreed.of).then(a.key.cmp(&b.key)));
    let mut record = AgreementRecord {
        header: Header::new(AGREEMENT_SCHEMA),
        decided: judgements.len() as u32,
        agreed: Proportion::wilson(all.agreed, answered),
        swapped: Proportion::wilson(swapped, answered),
        by_verdict,
        by_cause,
        subjects_placed,
        findings: Vec::new(),
    };
    record.findings = findings(&record);
    record
}

fn findings(record: &AgreementRecord) -> Vec<AgreementFinding> {
    if record.decided == 0 {
        return vec![AgreementFinding::NoDecisions];
    }
    if record.agreed.of == 0 {
        return vec![AgreementFinding::NoVerdicts];
    }
    let mut out = vec![AgreementFinding::Agreed { agreed: record.agreed, swapped: record.swapped }];
    if record.agreed.of < FEW {
        out.push(AgreementFinding::FewDecisions { decisions: record.agreed.of });
    }
    let agreed_rate = |s: &Proportion| f64::from(s.count) / f64::from(s.of.max(1));
    // A cause is named when its interval lies below the whole's share.
    let worst = record
        .by_cause
        .iter()
        .filter(|row| row.agreed.high.is_some_and(|high| high < agreed_rate(&record.agreed)))
        .min_by(|a, b| agreed_rate(&a.agreed).total_cmp(&agreed_rate(&b.agreed)));
    out.extend(
        worst.map(|row| AgreementFinding::LeastAgreed { key: row.key.clone(), agreed: row.agreed }),
    );
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn judged(person: Verdict, program: Verdict, cause: Option<Cause>) -> VerdictPair {
        VerdictPair { person, program, cause }
    }

    #[test]
    fn shares_are_counted_by_verdict_and_cause() {
        let mut all = vec![judged(Verdict::Hit, Verdict::Hit, None); 8];
        all.extend(vec![judged(Verdict::Miss, Verdict::Hit, None); 2]);
        all.extend(vec![judged(Verdict::Miss, Verdict::Miss, Some(Cause::Shake)); 9]);
        all.extend(vec![judged(Verdict::Hit, Verdict::Miss, Some(Cause::Misfocused)); 6]);
        all.extend(vec![judged(Verdict::Near, Verdict::Unclear, None); 5]);
        let r = agreement(&all, 3);
        assert_eq!((r.decided, r.agreed.count, r.agreed.of), (30, 17, 25));
        assert_eq!((r.swapped.count, r.swapped.of), (8, 25));
        let row = |rows: &[AgreementRow], key: &str| {
            rows.iter().find(|r| r.key == key).map(|r| (r.agreed.count, r.agreed.of)).unwrap()
        };
        assert_eq!(row(&r.by_verdict, "hit"), (8, 10));
        assert_eq!(row(&r.by_verdict, "unclear"), (0, 5));
        assert_eq!(r.by_verdict[0].people, PeopleSaid { hit: 8, miss: 2, ..Default::default() });
        assert_eq!(row(&r.by_cause, "shake"), (9, 9));
        assert_eq!(row(&r.by_cause, "misfocused"), (0, 6));
        assert_eq!(r.by_cause[0].key, "shake");
        // Wilson 1927 for 17 of 25, computed by hand to three digits.
        let (low, high) = (r.agreed.low.unwrap(), r.agreed.high.unwrap());
        assert!((low - 0.484).abs() < 5e-4 && (high - 0.828).abs() < 5e-4, "{low} {high}");
        assert!(matches!(
            r.findings.last(),
            Some(AgreementFinding::LeastAgreed { key, .. }) if key == Cause::Misfocused.word()
        ));
        assert_eq!(r.lines().len(), 5);
    }

    #[test]
    fn without_decisions_or_verdicts_nothing_is_claimed() {
        let none = agreement(&[], 0);
        assert_eq!((none.agreed.low, none.decided), (None, 0));
        assert_eq!(none.findings, [AgreementFinding::NoDecisions]);
        let unsaid = agreement(&[judged(Verdict::Hit, Verdict::Unclear, None)], 0);
        assert_eq!(unsaid.agreed.of, 0);
        assert_eq!(unsaid.findings, [AgreementFinding::NoVerdicts]);
    }
}
