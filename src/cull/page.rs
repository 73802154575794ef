//! The report of `cull`, written burst by burst so that memory stays flat.

use std::collections::BTreeMap;
use std::io::{self, BufWriter, Read, Seek, Write};
use std::path::{Path, PathBuf};

use askama::Template;
use tempfile::NamedTempFile;

use super::columns::COLUMNS;
use super::page_data::BurstPage;
use super::paging::{Counted, MAX_PIECE_BYTES, PagesView, Piece, later_pages, paged};
use super::record::{FrameRecord, OutingRecord};
use super::summary;
use super::view::BurstView;
use crate::core::Flag;
use crate::core::verdict::Verdict;
use crate::error::Result;
use crate::report::atomic_file::{can_write, failed, keep, temp_file_for};
use crate::report::column::Column;
use crate::report::html::page_frame::{BODY_PLACE, PageFrame, filled_around};
use crate::report::parts::SkippedRecord;
use crate::report::sentences::{Medium, paragraphs};
use crate::report::svg::{self, Stops};
use crate::report::wording;

#[derive(Template)]
#[template(path = "burst.html")]
struct BurstTemplate {
    burst: BurstView,
}

/// The first page.
#[derive(Template)]
#[template(path = "report.html")]
struct ReportTemplate<'a> {
    page: PageFrame,
    facts: String,
    heading: &'static str,
    rate: String,
    interval: Option<String>,
    judged: String,
    note: String,
    rate_ruler: Option<String>,
    findings: Vec<String>,
    causes: Option<String>,
    aperture: Option<String>,
    shutter: Option<String>,
    index: &'a [IndexRow],
    px_per_px: u32,
    pages: Option<PagesView>,
    /// Where the bursts are copied in.
    body: &'static str,
    cautions: Vec<(&'static str, String)>,
    skipped: Vec<(String, String)>,
    columns: &'static [Column<FrameRecord>],
}

/// A page after the first.
#[derive(Template)]
#[template(path = "report_page.html")]
struct LaterPageTemplate<'a> {
    page: PageFrame,
    first: &'a str,
    pages: PagesView,
    px_per_px: u32,
    /// Where the bursts are copied in.
    body: &'static str,
}

/// One burst in the list of contents.
#[derive(Debug)]
struct IndexRow {
    id: u32,
    /// File of the page where it begins; empty for the page that lists it.
    page: String,
    clock: String,
    tally: String,
}

/// Writes a report: [`create`](Self::create), then [`burst`](Self::burst) as the bursts come,
/// then [`finish`](Self::finish). Until the last step nothing stands at the path asked for, and
/// an older report there stays whole; dropping the writer leaves nothing behind.
#[derive(Debug)]
pub struct ReportWriter {
    path: PathBuf,
    title: String,
    body: BufWriter<NamedTempFile>,
    index: Vec<IndexRow>,
    pieces: Vec<Piece>,
    days: Option<(String, String)>,
    cautions: BTreeMap<u32, u32>,
}

impl ReportWriter {
    /// Starts a report that will stand at `path`; its working file lies beside it.
    ///
    /// # Errors
    /// [`Error::Write`](crate::Error::Write) when the folder does not take files.
    pub fn create(path: &Path, title: &str) -> Result<Self> {
        can_write(path)?;
        let body = temp_file_for(path).map_err(|e| failed(path, e))?;
        Ok(ReportWriter {
            path: path.to_owned(),
            title: wording::visible(title),
            body: BufWriter::new(body),
            index: Vec::new(),
            pieces: Vec::new(),
            days: None,
            cautions: BTreeMap::new(),
        })
    }

    /// Adds a burst.
    ///
    /// # Errors
    /// [`Error::Write`](crate::Error::Write) when the disk is full or gone,
    /// [`Error::Encode`](crate::Error::Encode) when a map does not fit its own size.
    pub fn burst(&mut self, page: &BurstPage) -> Result<()> {
        self.note(page);
        let burst = BurstView::new(page)?;
        self.index.push(IndexRow {
            id: burst.id,
            page: String::new(),
            clock: first_clock(page),
            tally: burst.tally.clone(),
        });
        for burst in burst.parts(MAX_PIECE_BYTES) {
            let id = burst.id;
            let mut counted = Counted { out: &mut self.body, bytes: 0 };
            let template = BurstTemplate { burst };
            template.write_into(&mut counted).map_err(|e| failed(&self.path, e))?;
            let bytes = counted.bytes;
            self.pieces.push(Piece { burst: id, bytes });
        }
        Ok(())
    }

    /// Puts head, summary and bursts together and moves the whole to its path. A report of more
    /// than about 14 MB goes on in further pages beside it: `report-2.html` and so on.
    ///
    /// # Errors
    /// [`Error::Write`](crate::Error::Write) when that fails; the path then holds what it held
    /// before.
    pub fn finish(self, outing: &OutingRecord, skipped: &[SkippedRecord]) -> Result<PathBuf> {
        let path = self.path.clone();
        self.assemble(outing, skipped).map_err(|e| failed(&path, e))?;
        Ok(path)
    }

    fn assemble(mut self, outing: &OutingRecord, skipped: &[SkippedRecord]) -> io::Result<()> {
        let pages = paged(&self.path, &self.pieces);
        for row in &mut self.index {
            let home = pages.iter().find(|p| p.pieces.iter().any(|i| i.burst == row.id));
            if let Some(page) = home.filter(|p| p.number > 1) {
                row.page.clone_from(&page.href);
            }
        }
        let mut old = later_pages(&self.path);
        let full = old.iter().find(|(path, ours)| !ours && pages.iter().any(|p| p.path == *path));
        if let Some((path, _)) = full {
            let says = format!(
                "its next page would replace {}, which is a different file: move that file away",
                path.display()
            );
            return Err(io::Error::new(io::ErrorKind::AlreadyExists, says));
        }
        old.retain(|(path, ours)| *ours && pages.iter().all(|p| p.path != *path));
        let body = std::mem::replace(&mut self.body, BufWriter::new(temp_file_for(&self.path)?));
        let mut body = body.into_inner().map_err(io::IntoInnerError::into_error)?;
        body.rewind()?;
        let several = |number| (pages.len() > 1).then(|| PagesView::new(&pages, number));
        let mut done = Vec::with_capacity(pages.len());
        for page in &pages {
            let mut whole = BufWriter::new(temp_file_for(&self.path)?);
            let halves = match several(page.number).filter(|_| page.number > 1) {
                None => filled_around(&self.first_page(outing, skipped, several(1))),
                Some(pages) => filled_around(&self.later_page(pages)),
            };
            let (before, after) = halves.map_err(io::Error::other)?;
            whole.write_all(before.as_bytes())?;
            let bytes = page.pieces.iter().map(|p| p.bytes).sum();
            io::copy(&mut body.as_file_mut().take(bytes), &mut whole)?;
            whole.write_all(after.as_bytes())?;
            whole.flush()?;
            done.push((whole, &page.path));
        }
        // All are whole by now; the first page, which leads to the others, comes last.
        for (whole, path) in done.into_iter().rev() {
            keep(whole, path)?;
        }
        // Pages of a longer report that was here before lead to nothing of this one.
        for (path, _) in old {
            let _ = std::fs::remove_file(path);
        }
        Ok(())
    }

    fn later_page(&self, pages: PagesView) -> LaterPageTemplate<'_> {
        let title = format!("{}, page {}", self.title, pages.number);
        LaterPageTemplate {
            page: PageFrame::new(title).with_colour_scale(),
            first: self.path.file_name().and_then(|n| n.to_str()).unwrap_or_default(),
            pages,
            px_per_px: svg::PX_PER_PX as u32,
            body: BODY_PLACE,
        }
    }

    fn first_page(
        &self,
        outing: &OutingRecord,
        skipped: &[SkippedRecord],
        pages: Option<PagesView>,
    ) -> ReportTemplate<'_> {
        let mut facts = vec![
            wording::count(outing.frames, "frame", "frames"),
            wording::count(outing.bursts, "burst", "bursts"),
        ];
        if let Some((first, last)) = &self.days {
            let days = if first == last { first.clone() } else { format!("{first} to {last}") };
            facts.push(days);
        }
        let mut judged = format!(
            "{} of {}; {} near, {} miss",
            outing.hits.count,
            wording::count(outing.hits.of, "judged frame", "judged frames"),
            outing.near,
            outing.misses
        );
        if outing.unclear > 0 {
            judged.push_str(&format!("; {} {}", outing.unclear, Verdict::Unclear.word()));
        }
        let no_rate = summary::no_rate_because(outing);
        let has_rate = no_rate.is_none();
        ReportTemplate {
            page: PageFrame::new(&self.title).with_colour_scale(),
            facts: facts.join(" · "),
            heading: if has_rate { "Hit rate" } else { "Hits" },
            rate: if has_rate {
                wording::share_alone(&outing.hits)
            } else {
                outing.hits.count.to_string()
            },
            interval: wording::interval(&outing.hits).filter(|_| has_rate),
            judged,
            note: no_rate.unwrap_or_else(|| "95\u{a0}% interval".to_owned()),
            rate_ruler: svg::share_ruler(&outing.hits).filter(|_| has_rate),
            findings: paragraphs(&outing.findings, Medium::Report),
            causes: svg::cause_bars(&outing.by_cause),
            aperture: svg::share_chart(&outing.by_aperture, Stops::Aperture).filter(|_| has_rate),
            shutter: svg::share_chart(&outing.by_shutter, Stops::Shutter).filter(|_| has_rate),
            index: &self.index,
            px_per_px: svg::PX_PER_PX as u32,
            pages,
            body: BODY_PLACE,
            cautions: self.cautions(),
            skipped: skipped
                .iter()
                .map(|s| (wording::visible(&s.path), wording::visible(&s.reason)))
                .collect(),
            columns: COLUMNS,
        }
    }

    /// Each caution with the frames that have it.
    fn cautions(&self) -> Vec<(&'static str, String)> {
        let counted = |flag: &Flag| {
            let n = self.cautions.get(&(*flag as u32))?;
            Some((flag.says(), wording::count(*n, "frame", "frames")))
        };
        Flag::ALL.iter().filter_map(counted).collect()
    }

    /// Keeps what the first page will need: days and cautions.
    fn note(&mut self, page: &BurstPage) {
        for (frame, _) in &page.frames {
            for flag in frame.flags.iter() {
                *self.cautions.entry(flag as u32).or_default() += 1;
            }
            let Some(day) = frame.exposure.taken_at.as_deref().and_then(wording::day) else {
                continue;
            };
            let (first, last) = self.days.get_or_insert_with(|| (day.to_owned(), day.to_owned()));
            if day < first.as_str() {
                day.clone_into(first);
            }
            if day > last.as_str() {
                day.clone_into(last);
            }
        }
    }
}

fn first_clock(page: &BurstPage) -> String {
    let clock =
        page.frames.iter().find_map(|(f, _)| wording::clock(f.exposure.taken_at.as_deref()?));
    clock.unwrap_or_default().to_owned()
}
