//! `stopwise clip`.

use std::path::{Path, PathBuf};

use anyhow::Context;
use stopwise::error::Result as LibResult;
use stopwise::frames::clip::{RgbPicture, Tools};
use stopwise::records::log::Log;
use stopwise::render::{self, chapters, csv, json, term, timeline};
use stopwise::report::clip_record::{ClipRecord, ClipsRecord};
use stopwise::report::page::ClipPage;
use stopwise::report::wording;
use stopwise::sets::logged;
use stopwise::sets::spans::{self, ClipJob, ClipSink};

use super::args::ClipArgs;
use super::{Ended, job, keep, show};

/// Finds what is worth keeping of clips.
pub fn run(typed: &ClipArgs) -> anyhow::Result<Ended> {
    for path in [&typed.json, &typed.csv, &typed.otio].into_iter().flatten() {
        show::check_writable(path)?;
    }
    let outputs = [&typed.json, &typed.csv, &typed.otio];
    let to_output = outputs.into_iter().flatten().filter(|p| p.as_os_str() == "-").count();
    if to_output > 1 {
        anyhow::bail!("only one record can go to the output: give the others files");
    }
    let report = (!typed.no_report).then_some(typed.report.as_path());
    if let Some(path) = report {
        show::check_writable(path)?;
    }
    for dir in [&typed.stills, &typed.chapters].into_iter().flatten() {
        std::fs::create_dir_all(dir).with_context(|| format!("cannot write {}", dir.display()))?;
    }
    // Opened before the work: a log that cannot be written is told at once.
    let log = job::log_path(&typed.keep)?.map(|path| Log::open(&path)).transpose()?;
    let job = job(typed)?;
    let out = Out {
        quiet: typed.quiet || to_output > 0,
        report,
        stills: typed.stills.as_deref(),
        chapters: typed.chapters.as_deref(),
    };
    let (record, stopped) = work(&job, &out)?;
    if let Some(path) = &typed.json {
        show::to_file(path, |out| json::write(&record, out))?;
    }
    if let Some(path) = &typed.csv {
        show::to_file(path, |out| csv::write_clips(&record.clips, out))?;
    }
    if let Some(path) = &typed.otio {
        show::to_file(path, |out| timeline::write(&record.clips, out))?;
    }
    let log_asked = log.is_some();
    let logged = log.is_none_or(|log| keep::add(log, || logged::clips(&record), stopped));
    let known =
        |c: &ClipRecord| c.settings.shutter_s.is_some() && c.settings.magnification.is_some();
    if !(stopped || record.clips.is_empty()) && log_asked && !record.clips.iter().any(known) {
        show::remark(
            "Without --shutter and a magnification (typed or of a rig) these frames say nothing of \
             the hand.",
        );
    }
    let broken = record.clips.iter().any(|c| c.broke_off.is_some());
    Ok(match (stopped, record.clips.is_empty(), record.skipped.is_empty() && !broken) {
        (true, _, _) => Ended::Stopped,
        (_, true, _) => Ended::Nothing,
        (_, _, false) => Ended::Partly,
        _ if !logged => Ended::Partly,
        _ => Ended::Whole,
    })
}

fn job(typed: &ClipArgs) -> anyhow::Result<ClipJob> {
    Ok(ClipJob {
        equipment: job::equipment(typed.rig.as_ref())?,
        subject: typed.subject.map(|s| (s.x, s.y)),
        subject_size: typed.subject.and_then(|s| s.size),
        f_number: typed.aperture,
        magnification: typed.magnification,
        pixel_pitch_um: typed.pitch,
        shutter_s: typed.shutter,
        play_fps: typed.play,
        deliver_px: typed.deliver,
        stretch_s: typed.stretch,
        pictures: !typed.no_report,
        stills: typed.stills.is_some(),
        ..ClipJob::new(typed.paths.clone(), Tools::of_environment())
    })
}

/// Where everything goes.
pub struct Out<'a> {
    /// Print no tables.
    pub quiet: bool,
    /// The page.
    pub report: Option<&'a Path>,
    /// Folder of best frames.
    pub stills: Option<&'a Path>,
    /// Folder of chapter lists.
    pub chapters: Option<&'a Path>,
}

/// Works through clips, with a table as each is done and the page at the end.
pub fn work(job: &ClipJob, out: &Out<'_>) -> anyhow::Result<(ClipsRecord, bool)> {
    let style = show::style();
    let screen = show::Screen::new(out.quiet);
    let mut sink = Sink { out, screen: &screen, style, pages: Vec::new(), print_failed: None };
    let (record, stopped) = spans::clips(job, &screen, &mut sink)?;
    screen.done();
    let Sink { pages, print_failed, .. } = sink;
    if let Some(error) = print_failed {
        return Err(error.into());
    }
    let place = out.report.filter(|_| !pages.is_empty());
    if let Some(path) = place {
        render::html::write_clips(path, &pages, &record.skipped)?;
    }
    if out.quiet {
        for s in &record.skipped {
            show::remark(&format!("skipped {}: {}", wording::visible(&s.path), s.reason));
        }
    } else {
        show::result(&term::clips_end(&record.skipped, place, style))?;
    }
    if stopped {
        show::remark("Stopped: what was read until then is in the record and on the page.");
    }
    Ok((record, stopped))
}

struct Sink<'a> {
    out: &'a Out<'a>,
    screen: &'a show::Screen,
    style: term::Style,
    pages: Vec<ClipPage>,
    print_failed: Option<std::io::Error>,
}

impl ClipSink for Sink<'_> {
    fn clip(&mut self, page: &ClipPage) -> LibResult<()> {
        if let Some(dir) = self.out.chapters {
            let path = dir.join(format!("{}.chapters.txt", stem(&page.clip)));
            let text = chapters::chapters(&page.clip);
            render::write_whole(&path, |out| out.write_all(text.as_bytes()))?;
        }
        if self.out.report.is_some() {
            self.pages.push(page.clone());
        }
        if !self.out.quiet && self.print_failed.is_none() {
            let text = term::clip(&page.clip, self.style);
            self.print_failed = self.screen.print(&format!("{text}\n")).err();
        }
        Ok(())
    }

    fn still(&mut self, clip: &ClipRecord, t_s: f64, picture: &RgbPicture) -> LibResult<()> {
        let Some(dir) = self.out.stills else { return Ok(()) };
        let path: PathBuf = dir.join(format!("{}-{t_s:08.3}s.png", stem(clip)));
        let png = render::rgb_png(&picture.rgb, picture.width_px, picture.height_px)?;
        render::write_whole(&path, |out| out.write_all(&png))
    }
}

/// A name for files made from a clip: its path below the folder, without what a file name cannot
/// hold, so that clips of one name in two folders stay apart.
fn stem(clip: &ClipRecord) -> String {
    let path = Path::new(&clip.path);
    let whole = path.with_extension("").to_string_lossy().into_owned();
    let safe: String = whole
        .chars()
        .map(|c| if c.is_alphanumeric() || "-_.".contains(c) { c } else { '_' })
        .collect();
    let safe = safe.trim_start_matches(['.', '-', '_']);
    if safe.is_empty() { "clip".to_owned() } else { safe.to_owned() }
}
