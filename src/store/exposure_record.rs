//! The exposure of a frame for the records: from its file, the user and the rigs.

use super::equipment;
use super::overrides::UserOverrides;
use crate::core::{Known, ValueSource};
use crate::image::exposure::body_name;
use crate::image::{Exposure, Frame};
use crate::report::parts::ExposureRecord;

/// The exposure of a frame. Values of the user and of the rig replace those of the file;
/// [`ExposureRecord::from`] names the source of each that is not the file.
pub fn exposure_record(frame: &Frame, typed: &UserOverrides) -> ExposureRecord {
    let settings = equipment::settings(frame, typed);
    let mut from = settings.from();
    let mut file = |name: &'static str, known: Option<&Known<f64>>| {
        if let Some(k) = known
            && k.from != ValueSource::File
        {
            from.insert(name.to_owned(), k.from);
        }
        known.map(|k| k.value)
    };
    let none = Exposure::default();
    let e = frame.exposure.as_ref().unwrap_or(&none);
    let name = |make: &Option<Known<String>>, model: &Option<Known<String>>| {
        let text = |k: &Option<Known<String>>| k.as_ref().map(|k| k.value.clone());
        body_name(text(make).as_deref(), text(model).as_deref())
    };
    ExposureRecord {
        f_number: settings.f_number.as_ref().map(|k| k.value),
        shutter_s: file("shutter_s", e.exposure_time_s.as_ref()),
        iso: e.iso.as_ref().map(|k| k.value.round() as u32).filter(|v| *v > 0),
        flash_fired: e.flash.as_ref().map(|k| k.value.fired),
        focal_mm: file("focal_mm", e.focal_mm.as_ref()),
        exposure_bias_ev: file("exposure_bias_ev", e.exposure_bias_ev.as_ref()),
        taken_at: e.taken_at.as_ref().map(|k| k.value.to_string()),
        body: name(&e.body.make, &e.body.model),
        lens: name(&e.lens.make, &e.lens.model),
        pixel_pitch_um: settings.pixel_pitch_um.as_ref().map(|k| k.value),
        rig: settings.rig.clone(),
        magnification: settings.optics.magnification,
        working_f_number: settings.working_f_number,
        object_um_per_px: settings.object_um_per_px(),
        from,
    }
}
