//! `stopwise rig`.

use std::path::Path;

use stopwise::Error;
use stopwise::core::Measured;
use stopwise::image;
use stopwise::report::wording;
use stopwise::store::equipment;
use stopwise::store::paths;
use stopwise::store::rig::{self, Mounted, Rig, RigBody, RigLens, Rigs};

use super::args::{RigAddArgs, RigArgs, RigCommand};
use super::outputs::Outcome;
use super::screen;

/// Does what was asked with the rigs.
pub fn run(typed: &RigArgs) -> anyhow::Result<Outcome> {
    let place = paths::rigs_place()?;
    match &typed.what {
        RigCommand::List => list(&place),
        RigCommand::Show { name } => shown(&place, name),
        RigCommand::Add(add) => {
            let rig = described(add)?;
            rig::add(&place, &add.name, &rig)?;
            screen::print_note(&format!("Added to {}", place.display()));
            shown(&place, &add.name)
        }
        RigCommand::Remove { name } => {
            rig::remove(&place, name)?;
            screen::print_note(&format!(
                "Removed {} from {}",
                wording::visible(name),
                place.display()
            ));
            Ok(Outcome::Whole)
        }
    }
}

fn list(place: &Path) -> anyhow::Result<Outcome> {
    let rigs = Rigs::read(place)?;
    let mut text = String::new();
    for (name, rig) in &rigs.0 {
        let m = equipment::optics(rig, None).magnification.map(|m| magnification(rig, &m));
        let parts: Vec<String> = [body(rig), rig.lens.model.clone(), mounted(&rig.mounted), m]
            .into_iter()
            .flatten()
            .map(|part| wording::visible(&part))
            .collect();
        text.push_str(&format!("{}: {}\n", wording::visible(name), parts.join(" · ")));
    }
    if rigs.0.is_empty() {
        text.push_str("No rigs yet. See `stopwise rig add --help`.\n");
    }
    text.push_str(&format!("file: {}\n", place.display()));
    screen::print(&text)?;
    Ok(Outcome::Whole)
}

fn shown(place: &Path, name: &str) -> anyhow::Result<Outcome> {
    let rigs = Rigs::read(place)?;
    let rig = rigs.get(name).map_err(|problem| Error::Rigs { path: place.to_owned(), problem })?;
    let optics = equipment::optics(rig, None);
    let mut lines: Vec<(&str, String)> = Vec::new();
    lines.extend(body(rig).map(|b| ("body", b)));
    lines.extend(rig.lens.model.clone().map(|l| ("lens", l)));
    lines.extend(rig.lens.focal_mm.map(|f| ("focal length", format!("{} mm", wording::short(f)))));
    lines.extend(mounted(&rig.mounted).map(|m| ("mounted", m)));
    lines.extend(rig.pixel_pitch_um.map(|p| ("pixel pitch", format!("{} µm", wording::short(p)))));
    lines.extend(
        rig.clip_pixel_pitch_um.map(|p| ("pitch of clips", format!("{} µm", wording::short(p)))),
    );
    lines.extend(rig.wavelength_um.map(|w| ("light", format!("{} µm", wording::short(w)))));
    if let Some(m) = &optics.magnification {
        lines.push(("magnification", magnification(rig, m)));
    }
    if let Some(um) = rig.pixel_pitch_um.and_then(|pitch| optics.object_um_per_px(pitch)) {
        let um = wording::number(um.value);
        lines.push(("on the subject", format!("{um} µm per pixel")));
    }
    match (rig.records_working_f_number, optics.working_per_marked()) {
        (true, _) => lines.push(("working f-number", "as recorded in the files".to_owned())),
        (false, Some(times)) => {
            let assumed = match optics.pupil_ratio {
                Some(_) => "",
                None => ", pupil ratio 1 assumed",
            };
            let value = match rig.lens.f_number {
                Some(n) => format!(
                    "f/{} with the lens at {}{assumed}",
                    wording::short((n * times.value * 10.0).round() / 10.0),
                    wording::f_number(n)
                ),
                None => format!("{} × the marked f-number{assumed}", wording::number(times.value)),
            };
            lines.push(("working f-number", value));
        }
        (false, None) => {
            lines.push(("working f-number", equipment::missing(rig).advice_text().to_owned()))
        }
    }
    let mut text = format!("{}\n", wording::visible(name));
    for (what, value) in lines {
        text.push_str(&format!("  {what:<18}{}\n", wording::visible(&value)));
    }
    screen::print(&text)?;
    Ok(Outcome::Whole)
}

fn magnification(rig: &Rig, measured: &Measured) -> String {
    let (value, std_err) = (measured.value, measured.std_err);
    let how = match (rig.magnification, rig.magnification_from) {
        (None, _) => "worked out",
        (Some(_), Some(rig::MagnificationFrom::Ruler)) => "from a ruler frame",
        (Some(_), _) => "as given",
    };
    let value = match std_err {
        Some(_) => wording::plus_minus(value, std_err),
        None => wording::short(value),
    };
    format!("{value} × ({how})")
}

fn body(rig: &Rig) -> Option<String> {
    let serial = rig.body.serial.as_ref().map(|s| format!("serial {s}"));
    let parts: Vec<String> = [rig.body.name(), serial].into_iter().flatten().collect();
    (!parts.is_empty()).then(|| parts.join(" "))
}

fn mounted(m: &Mounted) -> Option<String> {
    let mut parts = Vec::new();
    parts.extend(m.close_up_dioptres.map(|d| format!("close-up lens {} dpt", wording::short(d))));
    parts.extend(
        m.reversed_lens_focal_mm.map(|f| format!("reversed {} mm in front", wording::short(f))),
    );
    parts.extend(m.tube_mm.map(|t| format!("tube {} mm", wording::short(t))));
    parts.extend(m.teleconverter.map(|k| format!("teleconverter {} ×", wording::short(k))));
    if m.reversed {
        parts.push("lens reversed".to_owned());
    }
    (!parts.is_empty()).then(|| parts.join(", "))
}

fn described(add: &RigAddArgs) -> anyhow::Result<Rig> {
    let mut rig = Rig {
        magnification: add.magnification,
        magnification_from: add.magnification.map(|_| rig::MagnificationFrom::Typed),
        magnification_std_err: None,
        pupil_ratio: add.pupil_ratio,
        records_working_f_number: add.records_working,
        pixel_pitch_um: add.pitch,
        clip_pixel_pitch_um: add.clip_pitch,
        wavelength_um: add.wavelength,
        body: RigBody {
            make: add.make.clone(),
            model: add.model.clone(),
            serial: add.serial.clone(),
        },
        lens: RigLens {
            model: add.lens.clone(),
            contacts: add.no_contacts.then_some(false),
            focal_mm: add.focal,
            magnification: add.lens_magnification,
            f_number: add.aperture,
        },
        mounted: Mounted {
            close_up_dioptres: add.close_up,
            reversed_lens_focal_mm: add.reversed_lens,
            tube_mm: add.tube,
            teleconverter: add.teleconverter,
            reversed: add.reversed,
        },
    };
    if let Some(frame) = &add.like {
        as_in(&mut rig, frame)?;
    }
    Ok(rig)
}

/// Fills in body, lens and focal length from a frame, where they were not typed.
fn as_in(rig: &mut Rig, path: &Path) -> anyhow::Result<()> {
    let unusable = |reason| Error::Unusable { path: path.to_owned(), reason };
    let found = image::find(&[path.to_owned()])?;
    let Some(item) = found.items.first() else {
        anyhow::bail!("{} is not a picture file", path.display());
    };
    let frame = image::read_header(item).map_err(unusable)?;
    let Some(e) = frame.exposure else {
        anyhow::bail!("{} names neither body nor lens", path.display());
    };
    let (b, l) = (&mut rig.body, &mut rig.lens);
    b.make = b.make.take().or(e.body.make.map(|k| k.value));
    b.model = b.model.take().or(e.body.model.map(|k| k.value));
    b.serial = b.serial.take().or(e.body.serial.map(|k| k.value));
    l.model = l.model.take().or(e.lens.model.map(|k| k.value));
    l.focal_mm = l.focal_mm.or(e.focal_mm.map(|k| k.value));
    Ok(())
}
