//! Stretches as chapters, in the text form that ffmpeg reads (its documentation, "Metadata").

use std::fmt::Write;

use crate::clips::record::ClipRecord;

/// The chapters of a clip: every stretch, named by what it is.
pub fn chapters(clip: &ClipRecord) -> String {
    let mut text = String::from(";FFMETADATA1\n");
    for (i, s) in clip.spans.iter().enumerate() {
        let ms = |t: f64| (t * 1000.0).round() as i64;
        // Writing to a String cannot fail.
        let _ = write!(
            text,
            "[CHAPTER]\nTIMEBASE=1/1000\nSTART={}\nEND={}\ntitle={}\n",
            ms(s.start_s),
            ms(s.end_s),
            escaped(&format!("{}. {}", i + 1, s.verdict.word()))
        );
    }
    text
}

/// `=`, `;`, `#`, `\` and a newline are kept from being read as form.
fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for c in text.chars() {
        if matches!(c, '=' | ';' | '#' | '\\' | '\n') {
            safe.push('\\');
        }
        safe.push(c);
    }
    safe
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn form_is_escaped() {
        assert_eq!(escaped("a=b;c#d\\e"), "a\\=b\\;c\\#d\\\\e");
    }
}
