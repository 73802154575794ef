//! `stopwise review`: look at an outing in the browser, and decide.

use std::path::PathBuf;
use std::sync::Arc;

use anyhow::{Context, bail};
use stopwise::core::progress::Progress;
use stopwise::cull::outing;
use stopwise::cull::record::CullRecord;
use stopwise::report::parts::SkippedRecord;
use stopwise::report::wording;
use stopwise::store::decisions::Decisions;
use stopwise::store::paths;
use stopwise::store::record_places::{RecordOrigin, RecordPlaces};

use super::args::ReviewArgs;
use super::outputs::Outcome;
use super::screen::{self, Screen};
use super::{cache, overrides};
use stopwise::review::server::{self, ReviewSource, Session};

/// Serves the page until it is interrupted.
pub fn run(typed: &ReviewArgs) -> anyhow::Result<Outcome> {
    let decisions = Decisions::open(&paths::decisions_place()?)?;
    let screen = Screen::new(false);
    let (source, refused) = source(typed, &screen)?;
    screen.done();
    if screen.stopped() {
        return Ok(Outcome::Stopped);
    }
    if source.frames.is_empty() {
        bail!("no frames to review");
    }
    for SkippedRecord { path, reason, .. } in &refused {
        screen::print_note(&format!("skipped {}: {reason}", wording::visible(path)));
    }
    let listening = server::listen(typed.port.unwrap_or(0)).context("cannot serve the page")?;
    let session = Arc::new(Session::new(source, decisions)?);
    screen::print(&format!("{}\n", listening.address))?;
    if typed.no_open {
        screen::print_note("Open this address in a browser on this machine. Press Ctrl-C to stop.");
    } else if let Err(error) = open::that_detached(&listening.address) {
        screen::print_note(&format!("Cannot start a browser ({error}). Open the address above."));
    } else {
        screen::print_note(
            "Opened in your browser. Decisions are saved immediately. Press Ctrl-C to stop.",
        );
    }
    listening.run(&session, screen::stop_flag());
    Ok(if refused.is_empty() { Outcome::Whole } else { Outcome::Partly })
}

/// The outing, and what its record names but must not be shown.
fn source(
    typed: &ReviewArgs,
    screen: &Screen,
) -> anyhow::Result<(ReviewSource, Vec<SkippedRecord>)> {
    let path = &typed.outing;
    let whole = std::path::absolute(path).unwrap_or_else(|_| path.clone());
    let key = whole.display().to_string();
    let title = path.file_name().unwrap_or(whole.as_os_str()).to_string_lossy().into_owned();
    let job = overrides::outing(std::slice::from_ref(path), &typed.known, false)?;
    let (cull, origin) = if path.is_dir() {
        let kept = cache::open();
        let done = outing::cull_with(&job, kept.as_ref(), screen, &mut |_| Ok(()));
        cache::tell(kept.as_ref());
        let (record, _) = done?;
        (record, RecordOrigin::Folder(path))
    } else {
        let text = std::fs::read_to_string(path)
            .with_context(|| format!("cannot read {}", path.display()))?;
        let record =
            CullRecord::read(&text).with_context(|| format!("cannot use {}", path.display()))?;
        (record, path.parent().map_or(RecordOrigin::Input, RecordOrigin::FileIn))
    };
    let asked = &cull.outing.paths;
    let places = RecordPlaces::new(asked, typed.folder.as_deref(), origin, typed.follow_links);
    let mut refused = Vec::new();
    let mut files: Vec<Vec<PathBuf>> = Vec::with_capacity(cull.frames.len());
    for frame in &cull.frames {
        let found = places.files(&frame.path, frame.partner.as_deref());
        // What is gone is shown as gone on the page.
        refused.extend(found.refused.into_iter().filter(|r| r.reason.starts_with("refused")));
        files.push(found.files);
    }
    let CullRecord { bursts, frames, .. } = cull;
    Ok((ReviewSource { title, key, bursts, frames, files, job }, refused))
}
