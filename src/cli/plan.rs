//! `stopwise plan`.

use anyhow::bail;
use stopwise::optics::{MountedLens, Optics};
use stopwise::plan::record::{LightKind, PlanWish};
use stopwise::plan::{self, PlanJob, page, terminal};
use stopwise::report::json;
use stopwise::store::equipment::mounted_lens;

use super::args::PlanArgs;
use super::outputs::{Outcome, Output, Outputs};
use super::{chart, overrides, screen};

/// Plans settings and shows them.
pub fn run(typed: &PlanArgs) -> anyhow::Result<Outcome> {
    let (json, report) = (typed.json.as_deref(), typed.report.as_deref());
    let mut outputs = Outputs::new(&[Output::record("JSON", json), Output::file(report)])?;
    let job = job(typed)?;
    // Own limits count for the rig that they were found with.
    let charted = match &typed.rig {
        Some(name) => {
            Some(chart::of_log(typed.log.as_deref(), Some(name), Some(job.wish.magnification))?)
        }
        None => None,
    };
    let record = plan::plan(&job, charted.as_ref());
    outputs.write(json, |out| json::write(&record, out));
    if let Some(path) = report {
        let grid = plan::grid::PlanGrid::of(&job, charted.as_ref());
        outputs.page(path, page::page(&record, &grid));
    }
    outputs.print(&terminal::plan(&record, screen::style()));
    Ok(outputs.outcome(Outcome::of_files(false, !record.settings.is_empty(), true)))
}

/// The plan to make, with the rig when one is named.
fn job(typed: &PlanArgs) -> anyhow::Result<PlanJob> {
    let light = match (typed.flash, typed.lamp) {
        (true, _) => LightKind::Flash,
        (_, true) => LightKind::Lamp,
        _ => LightKind::Ambient,
    };
    let rig = typed.rig.as_deref().map(overrides::rig).transpose()?;
    let mut lens =
        rig.as_ref().map_or_else(MountedLens::default, |r| mounted_lens(r, typed.magnification));
    let Some(magnification) =
        typed.magnification.or(Optics::of(&lens).magnification.map(|m| m.value))
    else {
        match &typed.rig {
            Some(name) => bail!("the rig {name:?} has no magnification: give --magnification"),
            None => bail!("give --magnification, or --rig with a rig that has one"),
        }
    };
    lens.magnification = Some(magnification);
    if typed.pupil_ratio.is_some() {
        (lens.pupil_ratio, lens.is_reversed) = (typed.pupil_ratio, false);
    }
    Ok(PlanJob {
        rig: typed.rig.clone(),
        wish: PlanWish {
            depth_mm: typed.depth,
            magnification,
            light,
            light_ev: typed.light.or(plan::usual_ev(light)),
            light_typed: typed.light.is_some(),
            shutter_s: typed.shutter,
            motion_mm_s: typed.motion,
            output_width_px: typed.output_width,
            crop: typed.crop,
            video_fps: typed.video,
            play_fps: typed.play,
        },
        pitch_um: typed.pitch.or(rig.as_ref().and_then(|r| r.pixel_pitch_um)),
        frame_width_px: typed.frame_width,
        lens,
    })
}
