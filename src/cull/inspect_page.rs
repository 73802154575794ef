//! The page of `inspect`: one frame, large, with its map, spectrum and noise.

use std::path::Path;

use askama::Template;

use super::columns::COLUMNS;
use super::page_data::FramePictures;
use super::record::{FrameRecord, InspectRecord};
use super::view::{FrameView, columns_with_values};
use super::wording::causes;
use crate::error::{Error, Result};
use crate::report::atomic_file::write_atomically;
use crate::report::column::Column;
use crate::report::html::colours::style_sheet;
use crate::report::svg;
use crate::report::wording;

#[derive(Template)]
#[template(path = "inspect.html")]
struct InspectTemplate {
    version: &'static str,
    style: String,
    gradient: String,
    frame: FrameView,
    causes: String,
    spectrum: Option<String>,
    resolved: Option<String>,
    noise: Option<String>,
    columns: &'static [Column<FrameRecord>],
    px_per_px: u32,
    crop_height_px: u32,
}

/// The page as text. The map shown is the record's own.
///
/// # Errors
/// [`Error::Encode`] when the map does not fit its own size.
pub fn inspect(record: &InspectRecord, pictures: &FramePictures) -> Result<String> {
    let pictures = FramePictures { map: Some(record.map.clone()), ..pictures.clone() };
    let columns = columns_with_values(&[&record.frame]);
    let template = InspectTemplate {
        version: env!("CARGO_PKG_VERSION"),
        style: style_sheet(),
        gradient: svg::scale_gradient(),
        frame: FrameView::new(&record.frame, &pictures, 1, 1, false, &columns)?,
        causes: causes(&record.frame),
        spectrum: svg::spectrum_chart(&record.spectrum, record.resolved_cy_px),
        resolved: record.resolved_cy_px.as_ref().map(wording::measured),
        noise: svg::noise_chart(&record.noise),
        columns: COLUMNS,
        px_per_px: svg::PX_PER_PX as u32,
        crop_height_px: pictures.crop.as_ref().map_or(0, |c| c.height_px),
    };
    template.render().map_err(|e| Error::Record(e.to_string()))
}

/// Writes the page to a path in one step.
///
/// # Errors
/// As [`inspect`], and [`Error::Write`] when the file cannot be written.
pub fn write_inspect(path: &Path, record: &InspectRecord, pictures: &FramePictures) -> Result<()> {
    let page = inspect(record, pictures)?;
    write_atomically(path, |out| out.write_all(page.as_bytes()))
}
