//! `stopwise clip`.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use stopwise::clips::page;
use stopwise::clips::terminal;
use stopwise::report::atomic_file;
use stopwise::report::map;

use anyhow::Context;
use stopwise::clips::log_entry;
use stopwise::clips::page_data::ClipPage;
use stopwise::clips::record::{ClipRecord, ClipsRecord};
use stopwise::clips::{self, ClipJob, ClipSink};
use stopwise::clips::{chapters, columns, edit_timeline};
use stopwise::error::Result as LibResult;
use stopwise::image::clip::{RgbPicture, Tools};
use stopwise::report::wording;
use stopwise::report::{csv, json, term};

use super::args::ClipArgs;
use super::outputs::{Outcome, Output, Outputs};
use super::screen::{self, Screen};
use super::{log_options, overrides};

/// Finds what is worth keeping of clips.
pub fn run(typed: &ClipArgs) -> anyhow::Result<Outcome> {
    let (json, csv, otio) = (typed.json.as_deref(), typed.csv.as_deref(), typed.otio.as_deref());
    let report = (!typed.no_report).then_some(typed.report.as_path());
    let mut outputs = Outputs::new(&[
        Output::record("JSON", json),
        Output::record("CSV", csv),
        Output::record("the timeline", otio),
        Output::file(report),
    ])?;
    for dir in [&typed.stills, &typed.chapters].into_iter().flatten() {
        std::fs::create_dir_all(dir).with_context(|| format!("cannot write {}", dir.display()))?;
    }
    let log = log_options::open(&typed.keep)?;
    let job = job(typed)?;
    let out = Out {
        quiet: typed.quiet || outputs.has_standard(),
        report,
        stills: typed.stills.as_deref(),
        chapters: typed.chapters.as_deref(),
    };
    let (record, stopped) = work(&job, &out, &mut outputs)?;
    outputs.write(json, |out| json::write(&record, out));
    outputs.write(csv, |out| csv::write(&columns::columns(), columns::frames(&record.clips), out));
    outputs.write(otio, |out| edit_timeline::write(&record.clips, out));
    let log_asked = log.is_some();
    let logged =
        log.is_none_or(|log| log_options::add(log, || log_entry::outing(&record), stopped));
    let known =
        |c: &ClipRecord| c.settings.shutter_s.is_some() && c.settings.magnification.is_some();
    if !(stopped || record.clips.is_empty()) && log_asked && !record.clips.iter().any(known) {
        screen::print_note(
            "Handheld limits need --shutter and a magnification (--magnification or a rig).",
        );
    }
    let broken = record.clips.iter().any(|c| c.broke_off.is_some());
    let all = record.skipped.is_empty() && !broken && logged;
    Ok(outputs.outcome(Outcome::of_files(stopped, !record.clips.is_empty(), all)))
}

fn job(typed: &ClipArgs) -> anyhow::Result<ClipJob> {
    Ok(ClipJob {
        equipment: overrides::equipment(typed.rig.as_ref())?,
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
pub fn work(
    job: &ClipJob,
    out: &Out<'_>,
    outputs: &mut Outputs,
) -> anyhow::Result<(ClipsRecord, bool)> {
    let style = screen::style();
    let screen = Screen::new(out.quiet);
    let mut sink = Sink {
        out,
        screen: &screen,
        style,
        pages: Vec::new(),
        names: Names::default(),
        printed: Ok(()),
        outputs,
    };
    let (record, stopped) = clips::clips(job, &screen, &mut sink)?;
    screen.done();
    let Sink { pages, printed, .. } = sink;
    let mut place = out.report.filter(|_| !pages.is_empty());
    if let Some(path) = place
        && !outputs.page(path, page::page(&pages, &record.skipped))
    {
        place = None;
    }
    if out.quiet {
        for s in &record.skipped {
            screen::print_note(&format!(
                "skipped {}: {}",
                wording::visible(&s.path),
                s.in_terminal()
            ));
        }
    } else {
        let end = terminal::clips_end(&record.skipped, place, style);
        outputs.tried(printed.and_then(|()| screen::print(&end)));
    }
    if stopped {
        screen::print_note(
            "Interrupted. The record and the page contain everything measured so far.",
        );
    }
    Ok((record, stopped))
}

struct Sink<'a> {
    out: &'a Out<'a>,
    screen: &'a Screen,
    style: term::Style,
    pages: Vec<ClipPage>,
    names: Names,
    printed: std::io::Result<()>,
    outputs: &'a mut Outputs,
}

impl ClipSink for Sink<'_> {
    fn clip(&mut self, page: &ClipPage) -> LibResult<()> {
        if let Some(dir) = self.out.chapters {
            let path = dir.join(format!("{}.chapters.txt", self.names.of(&page.clip.path)));
            let text = chapters::chapters(&page.clip);
            let done = atomic_file::write_atomically(&path, |out| out.write_all(text.as_bytes()));
            self.outputs.tried(done);
        }
        if self.out.report.is_some() {
            self.pages.push(page.clone());
        }
        if !self.out.quiet && self.printed.is_ok() {
            let text = terminal::clip(&page.clip, self.style);
            self.printed = self.screen.print_above(&format!("{text}\n"));
        }
        Ok(())
    }

    fn still(&mut self, clip: &ClipRecord, t_s: f64, picture: &RgbPicture) -> LibResult<()> {
        let Some(dir) = self.out.stills else { return Ok(()) };
        let path: PathBuf = dir.join(format!("{}-{t_s:08.3}s.png", self.names.of(&clip.path)));
        let png = map::rgb_png(&picture.rgb, picture.width_px, picture.height_px)?;
        self.outputs.tried(atomic_file::write_atomically(&path, |out| out.write_all(&png)));
        Ok(())
    }
}

/// Names for files made from clips; no two clips share one.
#[derive(Default)]
struct Names {
    /// Each name, in small letters as some file systems compare them, and the clip that has it.
    taken: BTreeMap<String, String>,
}

/// Hexadecimal digits that tell clips apart whose names would be the same.
const TELLS_APART: usize = 8;

impl Names {
    /// The name for a clip: its path below the folder with its ending, without what a file name
    /// cannot hold. In folders below, and where another clip has that name, some digits follow
    /// that come from the path, so that a later run over fewer clips gives the same names.
    fn of(&mut self, path: &str) -> String {
        let safe: String = path
            .chars()
            .map(|c| if c.is_alphanumeric() || "-_.".contains(c) { c } else { '_' })
            .collect();
        let safe = safe.trim_start_matches(['.', '-', '_']);
        let safe = if safe.is_empty() { "clip" } else { safe };
        let digits = &blake3::hash(path.as_bytes()).to_hex()[..TELLS_APART];
        let long = format!("{safe}-{digits}");
        let own = |taken: &str| taken == path;
        let is_free = |name: &str| self.taken.get(&name.to_lowercase()).is_none_or(|t| own(t));
        let name =
            if path.contains(['/', '\\']) || !is_free(safe) { long } else { safe.to_owned() };
        self.taken.insert(name.to_lowercase(), path.to_owned());
        name
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_two_clips_share_a_name() {
        let paths = [
            "x.mp4",
            "x.mkv",
            "X.MP4",
            "a/b.mp4",
            "a_b.mp4",
            "a\\b.mp4",
            "a b.mp4",
            "a?b.mp4",
            ".mp4",
            "-.mp4",
            "..",
            "/",
            "é.mp4",
            "a/b.mp4-1",
        ];
        let mut names = Names::default();
        let first: Vec<String> = paths.iter().map(|p| names.of(p)).collect();
        let small: std::collections::BTreeSet<String> =
            first.iter().map(|n| n.to_lowercase()).collect();
        assert_eq!(small.len(), paths.len(), "{first:?}");
        assert_eq!(first[0], "x.mp4");
        // The same clip keeps its name, its chapters and stills as well as in a later run.
        assert_eq!(paths.map(|p| names.of(p)).to_vec(), first);
        assert_eq!(Names::default().of("a/b.mp4"), first[3]);
        assert!(first.iter().all(|n| !n.contains(['/', '\\']) && !n.starts_with(['.', '-'])));
    }
}
