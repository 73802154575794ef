//! The page of `clip`: each clip along its time, its best frames at 100 %, its stretches, what to
//! do.

use crate::clips::time_line;
use askama::Template;

use super::page_data::{ClipPage, ClipPicture};
use crate::clips::columns::SPAN_COLUMNS;
use crate::clips::record::SpanVerdict;
use crate::clips::table;
use crate::error::Result;
use crate::report::column::html_table;
use crate::report::html::page_frame::{PageFrame, filled};
use crate::report::html::view::data_uri;
use crate::report::parts::SkippedRecord;
use crate::report::sentences::{Medium, paragraphs};
use crate::report::wording;

#[derive(Template)]
#[template(path = "clip.html")]
struct ClipsTemplate {
    page: PageFrame,
    clips: Vec<ClipView>,
    skipped: Vec<String>,
}

struct ClipView {
    name: String,
    facts: String,
    keep_s: String,
    of_s: String,
    stretch: Option<String>,
    lines: Vec<String>,
    thumbs: Vec<ClipPictureView>,
    crops: Vec<ClipPictureView>,
    head: Vec<String>,
    rows: Vec<RowView>,
    findings: Vec<String>,
}

struct RowView {
    in_focus: bool,
    cells: Vec<String>,
}

struct ClipPictureView {
    uri: String,
    width: u32,
    height: u32,
    at: String,
    alt: String,
    note: String,
}

impl ClipView {
    fn new(page: &ClipPage) -> Self {
        let clip = &page.clip;
        let (head, cells) = html_table(SPAN_COLUMNS, &clip.spans);
        let rows = clip
            .spans
            .iter()
            .zip(cells)
            .map(|(s, cells)| RowView { in_focus: s.verdict == SpanVerdict::InFocus, cells });
        ClipView {
            name: wording::visible(&clip.path),
            facts: table::facts(clip).join(" · "),
            keep_s: wording::fixed(clip.in_focus_s(), 1),
            of_s: wording::fixed(clip.length_s, 1),
            stretch: table::stretch(clip),
            lines: time_line::WIDTHS
                .iter()
                .filter_map(|w| time_line::time_line(clip, *w))
                .collect(),
            thumbs: page.thumbs.iter().map(|p| picture(p, 1, "The clip", String::new())).collect(),
            crops: page
                .crops
                .iter()
                .map(|p| {
                    let row = clip.frames_table.iter().find(|f| (f.t_s - p.t_s).abs() < 1e-9);
                    let blur = row.and_then(|f| f.blur_sigma_px);
                    let note = match (row, blur) {
                        (Some(f), Some(b)) => {
                            format!("{} · blur {} px", f.verdict.word(), wording::measured(&b))
                        }
                        (Some(f), None) => f.verdict.word().to_owned(),
                        _ => String::new(),
                    };
                    picture(p, 3, "The subject at 100 %", note)
                })
                .collect(),
            head,
            rows: rows.collect(),
            findings: paragraphs(&clip.findings, Medium::Report),
        }
    }
}

fn picture(p: &ClipPicture, decimals: usize, what: &str, note: String) -> ClipPictureView {
    let at = format!("{} s", wording::fixed(p.t_s, decimals));
    ClipPictureView {
        uri: data_uri("image/jpeg", &p.picture.jpeg),
        width: p.picture.width_px,
        height: p.picture.height_px,
        alt: format!("{what} at {at}"),
        at,
        note,
    }
}

/// The page as text.
///
/// # Errors
/// [`Error::Record`](crate::Error::Record) when the page cannot be put together.
pub fn page(pages: &[ClipPage], skipped: &[SkippedRecord]) -> Result<String> {
    let template = ClipsTemplate {
        page: PageFrame::new("Clips"),
        clips: pages.iter().map(ClipView::new).collect(),
        skipped: skipped
            .iter()
            .map(|s| format!("{}: {}", wording::visible(&s.path), s.reason))
            .collect(),
    };
    filled(&template)
}
