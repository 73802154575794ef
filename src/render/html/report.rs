//! The report of `cull`, written burst by burst so that memory stays flat.

use std::collections::BTreeMap;
use std::io::{self, BufWriter, Seek};
use std::path::{Path, PathBuf};

use askama::Template;
use tempfile::NamedTempFile;

use super::colours::style_sheet;
use super::view::{BurstView, FindingView, findings};
use crate::base::Flag;
use crate::error::Result;
use crate::render::svg::{self, Stops};
use crate::render::whole::{beside, failed, keep};
use crate::report::column::{COLUMNS, Column};
use crate::report::page::BurstPage;
use crate::report::record::{Call, OutingRecord, SkippedRecord};
use crate::report::wording;

#[derive(Template)]
#[template(path = "burst.html")]
struct BurstTemplate {
    burst: BurstView,
}

#[derive(Template)]
#[template(path = "report_head.html")]
struct HeadTemplate<'a> {
    title: &'a str,
    style: String,
    gradient: String,
    facts: String,
    rate: String,
    interval: Option<String>,
    judged: String,
    rate_ruler: Option<String>,
    findings: Vec<FindingView>,
    causes: Option<String>,
    aperture: Option<String>,
    shutter: Option<String>,
    index: &'a [IndexRow],
    px_per_px: u32,
}

#[derive(Template)]
#[template(path = "report_foot.html")]
struct FootTemplate<'a> {
    cautions: Vec<(&'static str, String)>,
    skipped: Vec<(String, String)>,
    columns: &'static [Column],
    version: &'a str,
}

/// One burst in the list of contents.
#[derive(Debug)]
struct IndexRow {
    id: u32,
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
    days: Option<(String, String)>,
    cautions: BTreeMap<u32, u32>,
}

impl ReportWriter {
    /// Starts a report that will stand at `path`; its working file lies beside it.
    ///
    /// # Errors
    /// [`Error::Write`](crate::Error::Write) when the folder does not take files.
    pub fn create(path: &Path, title: &str) -> Result<Self> {
        let body = beside(path).map_err(|e| failed(path, e))?;
        Ok(ReportWriter {
            path: path.to_owned(),
            title: wording::visible(title),
            body: BufWriter::new(body),
            index: Vec::new(),
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
            clock: first_clock(page),
            tally: burst.tally.clone(),
        });
        let template = BurstTemplate { burst };
        template.write_into(&mut self.body).map_err(|e| failed(&self.path, e))
    }

    /// Puts head, summary and bursts together and moves the whole to its path.
    ///
    /// # Errors
    /// [`Error::Write`](crate::Error::Write) when that fails; the path then holds what it held
    /// before.
    pub fn finish(self, outing: &OutingRecord, skipped: &[SkippedRecord]) -> Result<PathBuf> {
        let path = self.path.clone();
        self.assemble(outing, skipped).map_err(|e| failed(&path, e))?;
        Ok(path)
    }

    fn assemble(self, outing: &OutingRecord, skipped: &[SkippedRecord]) -> io::Result<()> {
        let mut whole = BufWriter::new(beside(&self.path)?);
        self.head(outing).write_into(&mut whole)?;
        let mut body = self.body.into_inner().map_err(io::IntoInnerError::into_error)?;
        body.rewind()?;
        io::copy(body.as_file_mut(), &mut whole)?;
        let shown = |s: &SkippedRecord| (wording::visible(&s.path), wording::visible(&s.reason));
        let counted = |flag: &Flag| {
            let n = self.cautions.get(&(*flag as u32))?;
            Some((flag.says(), wording::count(*n, "frame", "frames")))
        };
        FootTemplate {
            cautions: Flag::ALL.iter().filter_map(counted).collect(),
            skipped: skipped.iter().map(shown).collect(),
            columns: COLUMNS,
            version: env!("CARGO_PKG_VERSION"),
        }
        .write_into(&mut whole)?;
        keep(whole, &self.path)
    }

    fn head<'a>(&'a self, outing: &OutingRecord) -> HeadTemplate<'a> {
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
        if outing.cannot_say > 0 {
            judged.push_str(&format!("; {} {}", outing.cannot_say, Call::CannotSay.word()));
        }
        HeadTemplate {
            title: &self.title,
            style: style_sheet(),
            gradient: svg::scale_gradient(),
            facts: facts.join(" · "),
            rate: wording::share_alone(&outing.hits),
            interval: wording::interval(&outing.hits),
            judged,
            rate_ruler: svg::share_ruler(&outing.hits),
            findings: findings(&outing.findings),
            causes: svg::cause_bars(&outing.by_cause),
            aperture: svg::share_chart(&outing.by_aperture, Stops::Aperture),
            shutter: svg::share_chart(&outing.by_shutter, Stops::Shutter),
            index: &self.index,
            px_per_px: svg::PX_PER_PX as u32,
        }
    }

    /// Keeps what head and foot will need: days and cautions.
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
