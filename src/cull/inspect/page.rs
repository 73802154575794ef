//! The page of `inspect`: one frame, large, with its map, spectrum and noise.

use askama::Template;

use crate::cull::columns::COLUMNS;
use crate::cull::page_data::FramePictures;
use crate::cull::record::{FrameRecord, InspectRecord};
use crate::cull::view::{FrameView, columns_with_values};
use crate::cull::wording::causes;
use crate::error::Result;
use crate::report::column::Column;
use crate::report::html::page_frame::{PageFrame, filled};
use crate::report::svg;
use crate::report::wording;

#[derive(Template)]
#[template(path = "inspect.html")]
struct InspectTemplate {
    page: PageFrame,
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
/// [`Error::Encode`](crate::Error::Encode) when the map does not fit its own size.
pub fn page(record: &InspectRecord, pictures: &FramePictures) -> Result<String> {
    let pictures = FramePictures { map: Some(record.map.clone()), ..pictures.clone() };
    let columns = columns_with_values(&[&record.frame]);
    let frame = FrameView::new(&record.frame, &pictures, 1, 1, false, &columns)?;
    let template = InspectTemplate {
        page: PageFrame::new(&frame.name).with_colour_scale(),
        frame,
        causes: causes(&record.frame),
        spectrum: svg::spectrum_chart(&record.spectrum, record.resolved_cy_px),
        resolved: record.resolved_cy_px.as_ref().map(wording::measured),
        noise: svg::noise_chart(&record.noise),
        columns: COLUMNS,
        px_per_px: svg::PX_PER_PX as u32,
        crop_height_px: pictures.crop.as_ref().map_or(0, |c| c.height_px),
    };
    filled(&template)
}
