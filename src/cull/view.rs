//! Frames and bursts turned into the strings that the templates place. Escaping is left to the
//! templates.

use super::columns::{COLUMNS, by_key};
use super::page_data::{BurstPage, FramePictures};
use super::record::{FrameRecord, MapRecord, Sharpest, SubjectAt};
use super::summary;
use super::wording::{at_output, first_cause, tally};
use crate::core::Flag;
use crate::error::Result;
use crate::report::column::Column;
use crate::report::html::data_uri;
use crate::report::html::view::PictureView;
use crate::report::sentences::{Medium, paragraphs};
use crate::report::svg::{self, BlurBar};
use crate::report::{map, wording};

/// Width of a frame's place when there is no crop to set it, CSS px: the blur bar fits.
const NARROWEST_PX: u32 = 300;

/// Height of the place of a missing crop when the whole burst has none, CSS px.
const CROP_HEIGHT_WITHOUT_CROP_PX: u32 = 240;

/// The whole frame with its map and marks.
pub struct WhereView {
    pub picture: Option<PictureView>,
    pub map: Option<MapView>,
    pub marks: String,
    pub has_subject: bool,
    pub has_sharpest: bool,
    pub ratio: String,
    pub legend: String,
    pub alt: String,
}

/// The map over the picture: its share of the picture's width and height, per cent.
pub struct MapView {
    pub uri: String,
    pub width_percent: String,
    pub height_percent: String,
}

/// A row of evidence.
pub struct EvidenceRow {
    pub heading: &'static str,
    pub value: String,
    pub unit: &'static str,
}

/// One frame.
pub struct FrameView {
    pub name: String,
    pub place: usize,
    pub of: usize,
    pub settings: String,
    pub verdict: &'static str,
    pub cause: Option<&'static str>,
    pub at_output: Option<String>,
    pub best: bool,
    /// Best for another place that could be the subject.
    pub other: bool,
    pub blur: Option<String>,
    pub ratio: Option<String>,
    pub bar: Option<String>,
    pub because: String,
    pub crop: Option<PictureView>,
    pub crop_note: Option<String>,
    pub crop_alt: String,
    pub where_sharp: Option<WhereView>,
    pub evidence: Vec<EvidenceRow>,
    pub cautions: Vec<&'static str>,
}

impl FrameView {
    pub fn new(
        frame: &FrameRecord,
        pictures: &FramePictures,
        place: usize,
        of: usize,
        best: bool,
        columns: &[&'static Column<FrameRecord>],
    ) -> Result<Self> {
        let name = wording::file_name(&frame.path);
        let shown = |key| {
            let column = by_key(key)?;
            Some((column.shown(frame)?, column.unit))
        };
        Ok(FrameView {
            place,
            of,
            settings: wording::settings(&frame.exposure),
            verdict: frame.verdict.word(),
            cause: first_cause(frame),
            at_output: frame.at_output.as_ref().map(at_output),
            best,
            other: false,
            blur: shown("blur_sigma_px").map(|(v, unit)| format!("{v} {unit}")),
            ratio: ratio(frame),
            bar: blur_bar(frame),
            because: wording::visible(&frame.because.sentence(Medium::Report)),
            crop: pictures.crop.as_ref().map(PictureView::new),
            crop_note: crop_note(pictures),
            crop_alt: format!("{name}: the subject, {}", frame.verdict.word()),
            where_sharp: where_sharp(frame, pictures)?,
            evidence: evidence(frame, columns),
            cautions: frame.flags.iter().map(Flag::says).collect(),
            name,
        })
    }
}

/// The blur drawn to scale; `None` when there is none.
fn blur_bar(frame: &FrameRecord) -> Option<String> {
    let blur = frame.blur_sigma_px.filter(|b| b.value.is_finite())?;
    Some(svg::blur_bar(&BlurBar {
        blur,
        range_px: frame.blur_low_px.zip(frame.blur_high_px),
        allowed_px: frame.attainable_blur_px,
        pixel_pitch_um: frame.exposure.pixel_pitch_um,
    }))
}

/// Blur over the yardstick, in words.
fn ratio(frame: &FrameRecord) -> Option<String> {
    let (value, _) = by_key("blur_ratio")?.shown_parts(frame)?;
    let over = if frame.flags.has(Flag::BestIsSoft) || frame.flags.has(Flag::Alone) {
        "× the sharpest these settings allow"
    } else {
        "× sharpest"
    };
    Some(format!("{value} {over}"))
}

/// Says so when a crop is not at 100 %.
fn crop_note(pictures: &FramePictures) -> Option<String> {
    let scale = pictures.crop_scale;
    let full = (scale - 1.0).abs() < 1e-6;
    let sound = scale.is_finite() && scale > 0.0;
    (pictures.crop.is_some() && sound && !full)
        .then(|| format!("shown at {}", wording::per_cent(1.0 / scale)))
}

fn where_sharp(frame: &FrameRecord, pictures: &FramePictures) -> Result<Option<WhereView>> {
    if pictures.thumb.is_none() && pictures.map.is_none() {
        return Ok(None);
    }
    let map = match &pictures.map {
        Some(map) => Some(map_view(map, frame)?),
        None => None,
    };
    let name = wording::file_name(&frame.path);
    Ok(Some(WhereView {
        picture: pictures.thumb.as_ref().map(PictureView::new),
        map,
        marks: marks(frame),
        has_subject: frame.subject.is_some(),
        has_sharpest: frame.sharpest.is_some(),
        ratio: format!("{} / {}", frame.width_px.max(1), frame.height_px.max(1)),
        legend: svg::map_legend(frame.exposure.pixel_pitch_um),
        alt: format!("{name}: the whole frame"),
    }))
}

fn map_view(map: &MapRecord, frame: &FrameRecord) -> Result<MapView> {
    // The last tiles may reach beyond the border: the page cuts them off.
    let percent = |tiles: u32, side: u32| {
        let share = f64::from(tiles) * f64::from(map.tile_px) / f64::from(side.max(1));
        format!("{:.3}%", share * 100.0)
    };
    Ok(MapView {
        uri: data_uri("image/png", &map::map_png((map.cols, map.rows), &map.blur_sigma_px, 1)?),
        width_percent: percent(map.cols, frame.width_px),
        height_percent: percent(map.rows, frame.height_px),
    })
}

/// A ring at the subject and a cross at the sharpest place, dark on light so that they show on
/// any picture.
fn marks(frame: &FrameRecord) -> String {
    let mut svg = String::new();
    let place = |x: f64, y: f64| {
        (x.is_finite() && y.is_finite()).then(|| {
            (
                x.clamp(0.0, 1.0) * f64::from(frame.width_px),
                y.clamp(0.0, 1.0) * f64::from(frame.height_px),
            )
        })
    };
    let size = f64::from(frame.width_px.max(frame.height_px)) / 40.0;
    if let Some(Sharpest { x, y, .. }) = frame.sharpest
        && let Some((x, y)) = place(x, y)
    {
        let (l, r, t, b) = (x - size, x + size, y - size, y + size);
        let path = format!("M{l:.0} {y:.0}H{r:.0}M{x:.0} {t:.0}V{b:.0}");
        svg.push_str(&format!(
            r#"<path class="under" d="{path}"/><path class="over" d="{path}"/>"#
        ));
    }
    if let Some(SubjectAt { x, y, .. }) = frame.subject
        && let Some((x, y)) = place(x, y)
    {
        let ring = format!(r#"cx="{x:.0}" cy="{y:.0}" r="{size:.0}""#);
        svg.push_str(&format!(r#"<circle class="under" {ring}/><circle class="over" {ring}/>"#));
    }
    format!(
        r#"<svg class="marks" aria-hidden="true" viewBox="0 0 {} {}">{svg}</svg>"#,
        frame.width_px, frame.height_px
    )
}

/// The columns that have a value in any of the frames, so that the evidence of frames side by
/// side lines up. `because` is the sentence above the evidence, `flags` the cautions below it.
pub fn columns_with_values(frames: &[&FrameRecord]) -> Vec<&'static Column<FrameRecord>> {
    let said = |key: &str| key == "because" || key == "flags";
    let any = |c: &&'static Column<FrameRecord>| {
        !said(c.key) && frames.iter().any(|f| c.shown(f).is_some())
    };
    COLUMNS.iter().filter(any).collect()
}

fn evidence(frame: &FrameRecord, columns: &[&'static Column<FrameRecord>]) -> Vec<EvidenceRow> {
    let row = |c: &&'static Column<FrameRecord>| {
        let value = c.shown(frame);
        let unit = if c.unit == "0..1" || value.is_none() { "" } else { c.unit };
        EvidenceRow {
            heading: c.heading,
            value: value.unwrap_or_else(|| wording::NOTHING.to_owned()),
            unit,
        }
    };
    columns.iter().map(row).collect()
}

/// One burst.
pub struct BurstView {
    pub id: u32,
    /// Its name in addresses: its number, and which part of it this is from the second on.
    pub anchor: String,
    pub facts: String,
    pub tally: String,
    pub findings: Vec<String>,
    pub frames: Vec<FrameView>,
    pub place_px: u32,
    pub crop_height_px: u32,
    pub likely_height_px: u32,
}

impl BurstView {
    pub fn new(page: &BurstPage) -> Result<Self> {
        let records: Vec<&FrameRecord> = page.frames.iter().map(|(f, _)| f).collect();
        let order = summary::best_first(page.burst.best.as_deref(), &records);
        let columns = columns_with_values(&records);
        let mut frames = Vec::with_capacity(order.len());
        for at in order {
            let (frame, pictures) = &page.frames[at];
            let best = page.burst.best.as_deref() == Some(frame.path.as_str());
            let other = page.burst.other.as_ref().is_some_and(|o| o.best == frame.path);
            let view = FrameView::new(frame, pictures, at + 1, records.len(), best, &columns)?;
            frames.push(FrameView { other, ..view });
        }
        let crops = || page.frames.iter().filter_map(|(_, p)| p.crop.as_ref());
        let place_px = crops().map(|c| c.width_px).max().unwrap_or(0).max(NARROWEST_PX);
        let tallest = crops().map(|c| c.height_px).max();
        let crop_height_px = tallest.unwrap_or(CROP_HEIGHT_WITHOUT_CROP_PX);
        Ok(BurstView {
            id: page.burst.id,
            anchor: page.burst.id.to_string(),
            facts: facts(page),
            tally: tally(records.iter().copied()),
            findings: paragraphs(&page.burst.findings, Medium::Report),
            likely_height_px: likely_height(records.len(), crop_height_px),
            frames,
            place_px,
            crop_height_px,
        })
    }
}

impl FrameView {
    /// Bytes of its pictures as they stand in the page.
    fn picture_bytes(&self) -> usize {
        let of = |p: &Option<PictureView>| p.as_ref().map_or(0, |p| p.uri.len());
        let place = self.where_sharp.as_ref();
        let map = place.and_then(|w| w.map.as_ref()).map_or(0, |m| m.uri.len());
        of(&self.crop) + place.map_or(0, |w| of(&w.picture)) + map
    }
}

impl BurstView {
    /// The burst in parts that take about `most_bytes` of a page each; as a rule it is one.
    pub fn parts(mut self, most_bytes: usize) -> Vec<BurstView> {
        let frames = std::mem::take(&mut self.frames);
        let mut parts: Vec<Vec<FrameView>> = vec![Vec::new()];
        let mut bytes = 0;
        for frame in frames {
            let own = frame.picture_bytes() + TEXT_BYTES;
            if bytes > 0 && bytes + own > most_bytes {
                parts.push(Vec::new());
                bytes = 0;
            }
            bytes += own;
            if let Some(part) = parts.last_mut() {
                part.push(frame);
            }
        }
        let count = parts.len();
        if count == 1 {
            self.frames = parts.pop().unwrap_or_default();
            return vec![self];
        }
        let numbered = parts.into_iter().enumerate();
        let view = |(at, frames): (usize, Vec<FrameView>)| BurstView {
            id: self.id,
            anchor: match at {
                0 => self.id.to_string(),
                _ => format!("{}-{}", self.id, at + 1),
            },
            facts: format!("{} · part {} of {count}", self.facts, at + 1),
            tally: self.tally.clone(),
            findings: if at == 0 { std::mem::take(&mut self.findings) } else { Vec::new() },
            likely_height_px: likely_height(frames.len(), self.crop_height_px),
            frames,
            place_px: self.place_px,
            crop_height_px: self.crop_height_px,
        };
        numbered.map(view).collect()
    }
}

/// Bytes of a frame's text and drawings in a page, by a generous guess.
const TEXT_BYTES: usize = 16 << 10;

/// How tall a burst is likely to be on a wide screen, so that scrolling past unseen ones is
/// steady. Only a guess: the browser remembers the true height once it has drawn it.
fn likely_height(frames: usize, crop_height_px: u32) -> u32 {
    const FRAMES_A_ROW: usize = 4;
    const TEXT_A_FRAME_PX: u32 = 330;
    const HEADING_PX: u32 = 200;
    let rows = frames.div_ceil(FRAMES_A_ROW) as u32;
    rows * (crop_height_px + TEXT_A_FRAME_PX) + HEADING_PX
}

/// "14 frames · 11:42:07, 5.2 s".
fn facts(page: &BurstPage) -> String {
    let mut parts = vec![wording::count(page.frames.len() as u32, "frame", "frames")];
    let clock =
        page.frames.iter().find_map(|(f, _)| wording::clock(f.exposure.taken_at.as_deref()?));
    let several = page.frames.len() > 1;
    let lasts =
        page.burst.duration_s.filter(|_| several).map(|s| format!("{} s", wording::fixed(s, 1)));
    match (clock, lasts) {
        (Some(clock), Some(lasts)) => parts.push(format!("{clock}, {lasts}")),
        (Some(clock), None) => parts.push(clock.to_owned()),
        (None, Some(lasts)) => parts.push(lasts),
        (None, None) => {}
    }
    parts.join(" · ")
}
