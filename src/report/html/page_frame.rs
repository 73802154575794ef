//! The frame that every page of its own has: policy, title, style, footer and, where there is one,
//! a script. The templates of pages extend `page_frame.html` and fill its blocks.

use std::path::Path;

use askama::Template;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde::Serialize;
use sha2::{Digest, Sha256};

use super::colours::style_sheet;
use crate::error::{Error, Result};
use crate::report::atomic_file::write_atomically;
use crate::report::svg;

/// What a page has around its body. Templates have it as their field `page`.
pub(crate) struct PageFrame {
    pub title: String,
    pub style: String,
    /// The colours that drawings refer to; empty on a page that has none.
    pub colour_scale: String,
    pub script: Option<PageScript>,
    pub version: &'static str,
}

/// The one script of a page. The content policy names it by its digest, so nothing else runs.
pub(crate) struct PageScript {
    /// Its name in the content policy.
    pub source: String,
    pub text: &'static str,
    /// Id of the element with its data.
    pub data_id: &'static str,
    pub data: String,
}

impl PageFrame {
    /// A page without colour scale and script, in the style that all share.
    pub fn new(title: impl Into<String>) -> PageFrame {
        PageFrame {
            title: title.into(),
            style: style_sheet(),
            colour_scale: String::new(),
            script: None,
            version: env!("CARGO_PKG_VERSION"),
        }
    }

    /// With rules of its own after those that all share.
    pub fn with_style(mut self, css: &str) -> PageFrame {
        self.style = format!("{}\n{css}", self.style);
        self
    }

    /// With the colours of the focus map, for drawings that refer to them.
    pub fn with_colour_scale(mut self) -> PageFrame {
        self.colour_scale = format!("{}\n", svg::scale_gradient());
        self
    }

    /// With a script and its data, in place of pictures.
    ///
    /// # Errors
    /// [`Error::Record`] when the data cannot be written as JSON.
    pub fn with_script(
        mut self,
        text: &'static str,
        data_id: &'static str,
        data: &impl Serialize,
    ) -> Result<PageFrame> {
        let source = source_of(text);
        self.script = Some(PageScript { source, text, data_id, data: as_data(data)? });
        Ok(self)
    }
}

/// A page as text.
///
/// # Errors
/// [`Error::Record`] when the page cannot be put together.
pub(crate) fn filled(page: &impl Template) -> Result<String> {
    page.render().map_err(|e| Error::Record(e.to_string()))
}

/// Where a page has the body that is copied into it. No other text of a page can be the same: `<`
/// is escaped there.
pub(crate) const BODY_PLACE: &str = "<!-- body -->";

/// A page before and after [`BODY_PLACE`].
///
/// # Errors
/// [`Error::Record`] when the page cannot be put together or has no such place.
pub(crate) fn filled_around(page: &impl Template) -> Result<(String, String)> {
    let text = filled(page)?;
    let halves = text.split_once(BODY_PLACE).map(|(a, b)| (a.to_owned(), b.to_owned()));
    halves.ok_or_else(|| Error::Record("the page has no place for its body".to_owned()))
}

/// Writes a page to a path in one step.
///
/// # Errors
/// [`Error::Write`] when the file cannot be written.
pub fn write_page(path: &Path, page: &str) -> Result<()> {
    write_atomically(path, |out| out.write_all(page.as_bytes()))
}

/// What a content policy calls a script: `sha256-…`.
fn source_of(script: &str) -> String {
    format!("sha256-{}", STANDARD.encode(Sha256::digest(script)))
}

/// JSON that cannot end the element it stands in: no `<` is left.
fn as_data(data: &impl Serialize) -> Result<String> {
    let json = serde_json::to_string(data).map_err(|e| Error::Record(e.to_string()))?;
    Ok(json.replace('<', "\\u003c"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Template)]
    #[template(
        source = r#"{% extends "page_frame.html" %}{% block main %}<main>{{ words }}{{ place|safe }}</main>{% endblock %}"#,
        ext = "html"
    )]
    struct Bare {
        page: PageFrame,
        words: &'static str,
        place: &'static str,
    }

    // FIPS 180-4's example of one block, ba7816bf…f20015ad, in base 64.
    #[test]
    fn a_script_is_named_by_its_sha_256() {
        assert_eq!(source_of("abc"), "sha256-ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0=");
    }

    #[test]
    fn a_page_has_what_its_frame_was_given_and_nothing_else() {
        let page = |frame| filled(&Bare { page: frame, words: "", place: "" }).unwrap();
        let plain = page(PageFrame::new("a < b"));
        assert!(plain.contains("<title>a &#60; b</title>") && plain.contains("<h1>a &#60; b</h1>"));
        assert!(plain.contains("default-src 'none'; img-src data:; style-src"), "{plain}");
        assert!(!plain.contains("<script") && !plain.contains("blur-scale"), "{plain}");
        assert!(page(PageFrame::new("").with_style("p{}")).contains("\np{}</style>"));
        assert!(page(PageFrame::new("").with_colour_scale()).contains("id=\"blur-scale\""));
        let framed = PageFrame::new("").with_script("abc", "grid", &["</script>"]).unwrap();
        let scripted = page(framed);
        assert!(scripted.contains("default-src 'none'; script-src 'sha256-ungW"), "{scripted}");
        assert!(scripted.contains(r#"id="grid">["\u003c/script>"]</script>"#), "{scripted}");
        assert!(scripted.contains("<script>abc</script>") && !scripted.contains("img-src"));
    }

    #[test]
    fn words_cannot_take_the_place_of_the_body() {
        let of = |place| Bare { page: PageFrame::new(BODY_PLACE), words: BODY_PLACE, place };
        let (before, after) = filled_around(&of(BODY_PLACE)).unwrap();
        assert!(before.ends_with("--&#62;"), "{before}");
        assert!(after.starts_with("</main>\n<footer"), "{after}");
        assert!(filled_around(&of("")).is_err());
    }
}
