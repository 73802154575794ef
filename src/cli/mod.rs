//! The command line. What was typed (`args`) is resolved once (`job`); nothing below looks at
//! options or defaults.

mod args;
mod cache;
mod chart;
mod clip;
mod compare;
mod cull;
mod demo;
mod inspect;
mod job;
mod log;
mod mark;
mod noise;
mod places;
mod plan;
mod review;
mod rig;
mod scale;
mod show;

use std::io;
use std::process::ExitCode;

use clap::Parser;

use args::{Args, Command};

/// How a run ended, as an exit code.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Ended {
    /// Everything was measured.
    Whole,
    /// Some frames were skipped, or the demo disagreed with its truth.
    Partly,
    /// Nothing was done.
    Nothing,
    /// Stopped by the user; what was measured until then was written.
    Stopped,
}

impl Ended {
    fn code(self) -> u8 {
        match self {
            Ended::Whole => 0,
            Ended::Partly => 1,
            Ended::Nothing => 2,
            // What shells report for an interrupted command.
            Ended::Stopped => 130,
        }
    }
}

/// Runs the program.
pub fn run() -> ExitCode {
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(error) => {
            // Help and version are asked for; everything else is a mistake.
            let code = if error.use_stderr() { Ended::Nothing } else { Ended::Whole };
            let _ = error.print();
            if error.kind() == clap::error::ErrorKind::DisplayVersion
                && std::env::args_os().any(|a| a == "--version")
            {
                let _ = show::result(&formats());
            }
            return ExitCode::from(code.code());
        }
    };
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
    };
    match done {
        Ok(ended) => ExitCode::from(ended.code()),
        // A closed pipe is a normal end: the reader has seen enough.
        Err(error) if is_closed_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => {
            show::error(&error);
            ExitCode::from(Ended::Nothing.code())
        }
    }
}

/// The file formats that this build reads; after the long form of the version.
fn formats() -> String {
    #[cfg(feature = "raw")]
    let raw = format!(
        "Reads raw files ({}) of cameras by {}, and DNG whoever made the camera.",
        stopwise::frames::raw::raw_formats().join(", "),
        stopwise::frames::raw::raw_makers().join(", ")
    );
    #[cfg(not(feature = "raw"))]
    let raw = "Built without raw files.";
    format!("Reads JPEG, TIFF, PNG and WebP pictures.\n{raw}\n")
}

fn is_closed_pipe(error: &anyhow::Error) -> bool {
    error.chain().any(|cause| {
        cause.downcast_ref::<io::Error>().is_some_and(|e| e.kind() == io::ErrorKind::BrokenPipe)
    })
}
