//! The command line. Options (`args`, with values read by `values`) become the job of a command once,
//! in the file of that command; nothing below looks at options or defaults.

mod args;
mod cache;
mod chart;
mod clip;
mod compare;
mod completions;
mod cull;
mod demo;
mod inspect;
mod log;
mod log_options;
mod man_pages;
mod mark;
mod noise;
mod outputs;
mod overrides;
mod plan;
mod review;
mod rig;
mod scale;
mod screen;
mod values;

use std::ffi::OsString;
use std::io;
use std::process::ExitCode;

use clap::Parser;

use args::{Args, Command};
use outputs::{Outcome, is_closed_pipe};
use stopwise::report::term::{self, Style};

/// Widest paragraph that reads well.
const READABLE: usize = 80;

/// Runs the program.
pub fn run() -> ExitCode {
    quieten_decoders();
    let typed: Vec<OsString> = std::env::args_os().skip(1).collect();
    #[cfg(all(feature = "raw", unix))]
    {
        use stopwise::image::raw::{DECODING_CHILD, decode_in_children, serve_decoding};
        if let [only] = &typed[..]
            && only == DECODING_CHILD
        {
            // The output as a plain file: the usual one looks for ends of lines in all it is given.
            use std::os::fd::AsFd;
            let Ok(output) = io::stdout().as_fd().try_clone_to_owned() else {
                return ExitCode::from(Outcome::Nothing.code());
            };
            // A pipe that breaks means that the program is gone.
            let _ = serve_decoding(io::stdin().lock(), std::fs::File::from(output));
            return ExitCode::SUCCESS;
        }
        if let Some(program) = itself() {
            decode_in_children(&program);
        }
    }
    if let Some(verbose) = version_asked(&typed) {
        return match screen::print(&version(verbose)) {
            Err(e) if e.kind() != io::ErrorKind::BrokenPipe => ExitCode::from(2),
            _ => ExitCode::SUCCESS,
        };
    }
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(error) => {
            // Help and version are asked for; everything else is a mistake.
            let code = if error.use_stderr() { Outcome::Nothing } else { Outcome::Whole };
            let _ = error.print();
            return ExitCode::from(code.code());
        }
    };
    if let Some(mb) = args.memory {
        stopwise::image::set_memory_budget(mb * 1_000_000);
    }
    let done = match &args.command {
        Command::Cull(typed) => cull::run(typed),
        Command::Inspect(typed) => inspect::run(typed),
        Command::Compare(typed) => compare::run(typed),
        Command::Noise(typed) => noise::run(typed),
        Command::Chart(typed) => chart::run(typed),
        Command::Plan(typed) => plan::run(typed),
        Command::Clip(typed) => clip::run(typed),
        Command::Cache(typed) => cache::run(typed),
        Command::Rig(typed) => rig::run(typed),
        Command::Log(typed) => log::run(typed),
        Command::Scale(typed) => scale::run(typed),
        Command::Mark(typed) => mark::run(typed),
        Command::Review(typed) => review::run(typed),
        Command::Demo(typed) => demo::run(typed),
        Command::Completions(typed) => completions::run(typed),
        Command::ManPages(typed) => man_pages::run(typed),
    };
    match done {
        Ok(outcome) => ExitCode::from(outcome.code()),
        // A closed pipe is a normal end: the reader has seen enough.
        Err(error) if is_closed_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => {
            screen::print_problem(&error);
            ExitCode::from(Outcome::Nothing.code())
        }
    }
}

/// This program, to be started again. On Linux the running one, even when its file was replaced.
#[cfg(all(feature = "raw", unix))]
fn itself() -> Option<std::path::PathBuf> {
    let running = std::path::PathBuf::from("/proc/self/exe");
    if running.exists() { Some(running) } else { std::env::current_exe().ok() }
}

/// Panics of a raw decoder at work are caught and told as a reason for skipping its file; nothing
/// else is to be said of them.
fn quieten_decoders() {
    #[cfg(feature = "raw")]
    {
        let usual = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |panic| {
            let of_decoder = panic
                .location()
                .is_some_and(|place| stopwise::image::raw::is_of_decoder(place.file()));
            if !of_decoder {
                usual(panic);
            }
        }));
    }
}

/// Whether only the version is asked for, and if so whether with every camera.
fn version_asked(typed: &[OsString]) -> Option<bool> {
    let is = |word: &str| typed.iter().any(|t| t == word);
    let only = typed.iter().all(|t| t == "--version" || t == "--verbose");
    (only && is("--version")).then(|| is("--verbose"))
}

/// The version and what this build reads; `verbose` lists every camera.
fn version(verbose: bool) -> String {
    let style = screen::style();
    let style = Style { width: style.width.min(READABLE), ..style };
    let mut text = format!("stopwise {}\n\n", env!("CARGO_PKG_VERSION"));
    text += &term::paragraph("pictures", "JPEG, TIFF, PNG, WebP", style);
    #[cfg(feature = "raw")]
    {
        use stopwise::image::raw::{raw_cameras, raw_formats, raw_makers};
        text += &term::paragraph("raw files", &raw_formats().join(", "), style);
        text += &term::paragraph(
            "",
            "DNG from any camera; other formats for the cameras listed below",
            style,
        );
        if verbose {
            for (maker, models) in raw_cameras() {
                let models: Vec<String> = models.into_iter().collect();
                text += &format!("\n{maker}\n");
                text += &term::paragraph("", &models.join(", "), style);
            }
        } else {
            text += &term::paragraph("made by", &raw_makers().join(", "), style);
            text += "\nstopwise --version --verbose lists the cameras.\n";
        }
    }
    #[cfg(not(feature = "raw"))]
    {
        let _ = verbose;
        text += &term::paragraph("raw files", "not in this build", style);
    }
    text
}
