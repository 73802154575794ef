//! What a raw file says about its exposure: its own Exif structure first, then what the decoder
//! knows to find in the maker's containers.
#![cfg_attr(not(test), deny(clippy::arithmetic_side_effects))]

use std::io::Cursor;

use rawler::decoders::{Decoder, RawDecodeParams, RawMetadata};
use rawler::exif::Exif;
use rawler::formats::tiff::{Rational, SRational};
use rawler::rawsource::RawSource;

use super::super::Orientation;
use super::super::exposure::{Body, Exposure, Flash, LensTag, TakenAt, apex};
use crate::core::Known;

/// What stands in a 16-bit sensitivity that did not fit.
const ISO_TOO_LARGE: u32 = 65535;

/// Exposure of a raw file; `None` when it tells nothing that can be read.
pub(super) fn exposure(
    source: &RawSource,
    decoder: &dyn Decoder,
    size_px: (u32, u32),
) -> Option<Exposure> {
    let own = Exposure::from_reader(&mut Cursor::new(source.buf()), size_px);
    let found = decoder.raw_metadata(source, &RawDecodeParams::default()).ok().map(|m| of(&m));
    match (own, found) {
        (Some(own), Some(found)) => Some(filled(own, found)),
        (own, found) => own.or(found),
    }
    .filter(|e| *e != Exposure::default())
}

/// The first, with what it lacks taken from the second.
fn filled(own: Exposure, found: Exposure) -> Exposure {
    Exposure {
        exposure_time_s: own.exposure_time_s.or(found.exposure_time_s),
        f_number: own.f_number.or(found.f_number),
        iso: own.iso.or(found.iso),
        exposure_bias_ev: own.exposure_bias_ev.or(found.exposure_bias_ev),
        flash: own.flash.or(found.flash),
        focal_mm: own.focal_mm.or(found.focal_mm),
        taken_at: own.taken_at.or(found.taken_at),
        body: Body {
            make: own.body.make.or(found.body.make),
            model: own.body.model.or(found.body.model),
            serial: own.body.serial.or(found.body.serial),
        },
        lens: LensTag {
            make: own.lens.make.or(found.lens.make),
            model: own.lens.model.or(found.lens.model),
        },
        orientation: own.orientation.or(found.orientation),
        ..own
    }
}

fn of(data: &RawMetadata) -> Exposure {
    let e = &data.exif;
    let text = |t: &str| {
        let t = t.trim().trim_end_matches('\0');
        (!t.is_empty()).then(|| Known::from_file(t.to_owned()))
    };
    let maybe = |t: &Option<String>| t.as_deref().and_then(text);
    let code = |c: Option<u16>| c.map(u32::from);
    Exposure {
        exposure_time_s: e
            .exposure_time
            .and_then(positive)
            .or_else(|| {
                let tv = e.shutter_speed_value.and_then(signed);
                tv.filter(|tv| e.exposure_time.is_none() || tv.abs() > 0.0).map(apex::t_from_tv)
            })
            .map(Known::from_file),
        f_number: e
            .fnumber
            .and_then(positive)
            .or_else(|| e.aperture_value.and_then(positive).map(apex::n_from_av))
            .map(Known::from_file),
        iso: iso(e).map(Known::from_file),
        exposure_bias_ev: e.exposure_bias.and_then(signed).map(Known::from_file),
        flash: code(e.flash).map(|bits| Known::from_file(Flash::from_bits(bits))),
        focal_mm: e.focal_length.and_then(positive).map(Known::from_file),
        taken_at: e
            .date_time_original
            .as_deref()
            .and_then(|date| {
                TakenAt::from_exif(
                    date,
                    e.sub_sec_time_original.as_deref(),
                    e.offset_time_original.as_deref(),
                )
            })
            .map(Known::from_file),
        body: Body {
            make: text(&data.make),
            model: text(&data.model),
            serial: maybe(&e.serial_number),
        },
        lens: LensTag { make: maybe(&e.lens_make), model: maybe(&e.lens_model) },
        orientation: code(e.orientation).and_then(Orientation::from_code).map(Known::from_file),
        ..Exposure::default()
    }
}

fn iso(e: &Exif) -> Option<f64> {
    let short = e.iso_speed_ratings.map(u32::from).filter(|v| *v != ISO_TOO_LARGE);
    [short, e.recommended_exposure_index, e.iso_speed]
        .into_iter()
        .flatten()
        .find(|v| *v > 0)
        .map(f64::from)
}

/// A ratio above 0; 0 stands for "not known" in raw files too.
fn positive(r: Rational) -> Option<f64> {
    (r.n > 0 && r.d > 0).then(|| f64::from(r.n) / f64::from(r.d))
}

fn signed(r: SRational) -> Option<f64> {
    (r.d != 0).then(|| f64::from(r.n) / f64::from(r.d))
}
