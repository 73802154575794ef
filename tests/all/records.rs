//! Records of `cull` that are read from files, of this form and of earlier ones.

use std::path::Path;

use stopwise::Error;
use stopwise::core::verdict::Verdict;
use stopwise::cull::findings::BurstFinding;
use stopwise::cull::record::CullRecord;
use stopwise::report::sentences::{Medium, paragraphs};

use crate::harness::{golden, json_of};
use crate::invented;

/// Reads the golden record of `cull` with something in it replaced.
fn read_golden(from: &str, to: &str) -> stopwise::Result<CullRecord> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("testdata/golden/cull.json");
    let text = std::fs::read_to_string(path).unwrap();
    assert!(text.contains(from), "{from}");
    CullRecord::read(&text.replacen(from, to, 1))
}

#[test]
fn a_written_record_is_read_to_the_last_digit() {
    let read = read_golden("", "").unwrap();
    golden("cull.json", &json_of(&read));
    // An earlier form, and words of another version.
    let earlier = read_golden(r#""schema": 3"#, r#""schema": 1"#).unwrap();
    assert_eq!(earlier.frames, read.frames);
    let other = read_golden(r#""cause": "misfocused""#, r#""cause": "plane-off""#).unwrap();
    assert_eq!(other, read);
}

/// `testdata/records/cull-2.json` was written in form 2, with the words and keys of that time.
#[test]
fn a_record_of_form_2_is_read_as_it_was() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("testdata/records/cull-2.json");
    let old = std::fs::read_to_string(path).unwrap();
    for word in ["plane-off", "cannot_say", "blur_allowed_px", "cut_by", "lasts_s", "says", "next"]
    {
        assert!(old.contains(&format!("\"{word}\"")), "{word}");
    }
    let was = CullRecord::read(&old).unwrap();
    let mut now = read_golden("", "").unwrap();
    now.header = was.header.clone();
    // Form 2 holds findings and reasons as sentences: they are shown as they were written.
    let value: serde_json::Value = serde_json::from_str(&old).unwrap();
    let text = |finding: &serde_json::Value| match finding["next"].as_str() {
        Some(next) => format!("{} {next}", finding["says"].as_str().unwrap()),
        None => finding["says"].as_str().unwrap().to_owned(),
    };
    let texts = |of: &serde_json::Value| -> Vec<String> {
        of["findings"].as_array().unwrap().iter().map(text).collect()
    };
    let terminal = Medium::Terminal;
    for (i, frame) in now.frames.iter_mut().enumerate() {
        let because = value["frames"][i]["because"].as_str().unwrap();
        assert_eq!(was.frames[i].because.sentence(terminal), because);
        frame.because = was.frames[i].because.clone();
    }
    for (i, burst) in now.bursts.iter_mut().enumerate() {
        burst.findings = was.bursts[i].findings.clone();
        assert_eq!(paragraphs(&burst.findings, terminal), texts(&value["bursts"][i]));
    }
    assert_eq!(paragraphs(&was.outing.findings, terminal), texts(&value["outing"]));
    now.outing.findings = was.outing.findings.clone();
    // Reason and advice of skipped files were one text.
    now.skipped.iter_mut().for_each(|s| s.advice = None);
    assert_eq!(was, now);
    let unclear = old.replacen(r#""verdict": "hit""#, r#""verdict": "cannot say""#, 1);
    let verdicts = CullRecord::read(&unclear).unwrap().frames;
    assert!(verdicts.iter().any(|f| f.verdict == Verdict::Unclear));
}

/// A record holds the findings themselves, so that the page that shows it makes its own sentences.
#[test]
fn findings_are_read_as_they_were_found() {
    let made = invented::outing(7, &[8, 12, 1], false).record;
    let text = json_of(&made);
    let read = CullRecord::read(&text).unwrap();
    assert!(!made.outing.findings.is_empty());
    assert_eq!(read.outing.findings, made.outing.findings);
    for (read, made) in read.bursts.iter().zip(&made.bursts) {
        assert_eq!(read.findings, made.findings);
    }
    for (read, made) in read.frames.iter().zip(&made.frames) {
        assert_eq!(read.because, made.because);
    }
    // One that is not known here is shown in its words.
    let other = text.replace(r#""key": "nothing-sharp""#, r#""key": "not-known-here""#);
    assert_ne!(other, text);
    let read = CullRecord::read(&other).unwrap();
    let (read, made) = (&read.bursts[0].findings, &made.bursts[0].findings);
    assert!(matches!(read[0], BurstFinding::AsRead(_)));
    assert_eq!(paragraphs(read, Medium::Terminal), paragraphs(made, Medium::Terminal));
}

#[test]
fn what_is_no_record_of_cull_is_refused_with_the_reason() {
    for (from, to, says) in [
        (r#""program": "stopwise""#, r#""program": "other""#, "another program wrote it"),
        (r#""schema": 3"#, r#""schema": 4"#, "its schema is 4; this version reads up to 3"),
        (r#""verdict": "hit""#, r#""verdict": "maybe""#, "unknown variant `maybe`"),
        (r#""bursts": ["#, r#""burst": ["#, "missing field `bursts`"),
    ] {
        match read_golden(from, to) {
            Err(Error::NoCullRecord(why)) => assert!(why.contains(says), "{why}"),
            other => panic!("{from}: {other:?}"),
        }
    }
    assert!(matches!(CullRecord::read("[]"), Err(Error::NoCullRecord(_))));
}
