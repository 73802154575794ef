//! The terminal: results go to standard output, notes, problems and progress to standard error.

use std::io::{self, IsTerminal, Write};
use std::sync::atomic::{AtomicBool, Ordering};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use stopwise::core::progress::{Progress, ProgressStep};
use stopwise::error::{Hint, KeptFile};
use stopwise::report::term::Style;

/// Widest table: beyond it rows are hard to follow.
const WIDEST: usize = 160;

/// Prints an error with its causes on one line; a cause that was already told is not repeated.
pub fn print_problem(error: &anyhow::Error) {
    let mut text = String::new();
    for cause in error.chain().map(ToString::to_string) {
        if text.is_empty() {
            text = cause;
        } else if !text.contains(&cause) {
            text = format!("{text}: {cause}");
        }
    }
    let hint = error.chain().find_map(|e| e.downcast_ref::<stopwise::Error>()?.hint());
    if let Some(hint) = hint {
        text = format!("{text}: {}", advice(hint));
    }
    anstream::eprintln!("stopwise: {text}");
}

/// What to do about an error, by its option or variable.
fn advice(hint: Hint) -> String {
    match hint {
        Hint::NameFile(KeptFile::Log) => "name its file with --log".to_owned(),
        Hint::NameFile(KeptFile::Rigs) => "name its file with STOPWISE_RIGS".to_owned(),
        Hint::NameFile(KeptFile::Decisions) => "name its file with STOPWISE_DECISIONS".to_owned(),
        Hint::GiveFNumbers => "give them with --aperture, one per frame in order of time or name, \
                               or one per step, such as --aperture 4,5.6,8,11"
            .to_owned(),
        Hint::GiveRegion { least_px } => format!(
            "give one of at least {least_px} px per side with some texture, not clipped, with \
             --region X,Y,W,H"
        ),
        Hint::LogOuting => "run cull with --log".to_owned(),
        Hint::AllowMemory => "allow more with --memory".to_owned(),
    }
}

/// Prints a remark that is no result.
pub fn print_note(text: &str) {
    anstream::eprintln!("{text}");
}

/// Prints results to standard output.
pub fn print(text: &str) -> io::Result<()> {
    let mut out = anstream::stdout().lock();
    out.write_all(text.as_bytes())?;
    out.flush()
}

/// How text on standard output is set.
pub fn style() -> Style {
    if !io::stdout().is_terminal() {
        return Style::PLAIN;
    }
    let colour = std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty())
        && std::env::var_os("TERM").is_none_or(|t| t != "dumb");
    let utf8 = ["LC_ALL", "LC_CTYPE", "LANG"]
        .iter()
        .find_map(|k| std::env::var(k).ok().filter(|v| !v.is_empty()))
        .is_none_or(|v| {
            let v = v.to_lowercase();
            v.contains("utf-8") || v.contains("utf8")
        });
    let columns = usize::from(console::Term::stdout().size().1);
    Style { colour, width: columns.clamp(Style::NARROWEST, WIDEST), utf8 }
}

/// Whether the user has interrupted.
pub fn stop_flag() -> &'static AtomicBool {
    &STOP
}

/// Opens nothing and shows progress on a terminal only.
pub struct Screen {
    bar: ProgressBar,
    stop: &'static AtomicBool,
}

static STOP: AtomicBool = AtomicBool::new(false);

impl Screen {
    /// A screen; `quiet` shows nothing.
    pub fn new(quiet: bool) -> Screen {
        let bar = ProgressBar::with_draw_target(
            None,
            if quiet { ProgressDrawTarget::hidden() } else { ProgressDrawTarget::stderr() },
        );
        let style = ProgressStyle::with_template("{pos}/{len} frames {wide_bar} {eta} left")
            .unwrap_or_else(|_| ProgressStyle::default_bar())
            .progress_chars("=> ");
        bar.set_style(style);
        // A second interrupt ends the program at once.
        let _ = ctrlc::set_handler(|| {
            if STOP.swap(true, Ordering::Relaxed) {
                std::process::exit(130);
            }
        });
        Screen { bar, stop: &STOP }
    }

    /// Prints while the bar is out of the way.
    pub fn print_above(&self, text: &str) -> io::Result<()> {
        self.bar.suspend(|| print(text))
    }

    /// Takes the bar away.
    pub fn done(&self) {
        self.bar.finish_and_clear();
    }
}

impl Progress for Screen {
    fn progress(&self, progress: ProgressStep) {
        self.bar.set_length(progress.total as u64);
        self.bar.set_position(progress.done as u64);
    }

    fn stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }
}
