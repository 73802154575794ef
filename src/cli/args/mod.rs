//! The command line: commands and their options.

mod equipment;
mod install;
mod measure;
mod outing;
mod settings;

use std::path::PathBuf;

use clap::{Parser, Subcommand};

use super::values;

pub use equipment::{KindArg, LogArgs, LogCommand, RigAddArgs, RigArgs, RigCommand, ScaleArgs};
pub use install::{CompletionsArgs, ManPagesArgs};
pub use measure::{ClipArgs, CompareArgs, InspectArgs, NoiseArgs};
pub use outing::{CacheArgs, CacheWhat, CullArgs, DemoArgs, MarkArgs, ReviewArgs};
pub use settings::{ChartArgs, PlanArgs};

/// Find the close-up frames that are sharp on the subject, the reasons why others are not, and
/// your own limits. Originals are only read.
#[derive(Debug, Parser)]
#[command(name = "stopwise", version, max_term_width = 100)]
pub struct Args {
    #[command(subcommand)]
    pub command: Command,
    /// Memory for decoding, in MB, shared by all frames in work [default: a quarter of the
    /// machine's]
    #[arg(long, global = true, value_name = "MB", value_parser = clap::value_parser!(u64).range(64..=1 << 24), help_heading = "Resources")]
    pub memory: Option<u64>,
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// Judge the frames of an outing: hit, near, miss or unclear, with the causes
    Cull(CullArgs),
    /// View an outing in the browser, mark subjects and decide; on this machine only
    Review(ReviewArgs),
    /// Write decisions and verdicts to XMP sidecars, or link, copy or list the hits
    Mark(MarkArgs),
    /// Show all measurements of one frame
    Inspect(InspectArgs),
    /// Find the usable seconds of clips and the faults of the rest
    Clip(ClipArgs),
    /// Measure the scale from a frame of a ruler: µm per pixel, magnification, depths
    Scale(ScaleArgs),
    /// Measure the cost of aperture and ISO steps on a series of one still subject
    Compare(CompareArgs),
    /// Measure the noise of a body per ISO
    Noise(NoiseArgs),
    /// Show your limits from the log: detail by aperture and ISO, handheld shutter, hit rate
    Chart(ChartArgs),
    /// Rank settings for the next outing: aperture, ISO and shutter for a depth
    Plan(PlanArgs),
    /// Describe equipment: body, lens, attachments, magnification
    Rig(RigArgs),
    /// View, correct, export or merge the log of outings
    Log(LogArgs),
    /// Show or clear the cache of measurements
    Cache(CacheArgs),
    /// Render a synthetic outing with known ground truth, judge it and compare the two
    Demo(DemoArgs),
    /// Print the completions of a shell: options and commands at the tab key
    Completions(CompletionsArgs),
    /// Write the manual pages of all commands into a folder
    ManPages(ManPagesArgs),
}

/// Values that may be missing from the files.
#[derive(Debug, Clone, clap::Args)]
#[command(next_help_heading = "Values missing from the files")]
pub struct KnownArgs {
    /// Subject in the first frame of each burst, as fractions of the upright picture from the left
    /// and from the top, optionally with a width and height
    #[arg(long, value_name = "X,Y[,W,H]", value_parser = values::subject)]
    pub subject: Option<values::Subject>,
    /// Magnification on the sensor (1 is life size)
    #[arg(long, value_name = "M", value_parser = values::positive)]
    pub magnification: Option<f64>,
    /// Rig of the frames (see `stopwise rig`) [default: the one that matches body and lens]
    #[arg(long, value_name = "NAME")]
    pub rig: Option<String>,
    /// Marked f-number, for lenses without electronic contacts
    #[arg(long, value_name = "N", value_parser = values::positive)]
    pub aperture: Option<f64>,
    /// Pixel pitch of the sensor, µm
    #[arg(long, value_name = "UM", value_parser = values::positive)]
    pub pitch: Option<f64>,
    /// Also judge for a picture of this width in pixels
    #[arg(long, value_name = "PX", value_parser = clap::value_parser!(u32).range(16..=200_000))]
    pub output_width: Option<u32>,
}

/// Whether the run goes into the log.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Output")]
pub struct LogOptions {
    /// Add the measurements to your log, or to the log in FILE
    #[arg(long, value_name = "FILE", num_args = 0..=1, require_equals = true)]
    pub log: Option<Option<PathBuf>>,
    /// Keep this run out of the log when STOPWISE_LOG_RUNS=yes logs every run
    #[arg(long, conflicts_with = "log")]
    pub no_log: bool,
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_command_line_is_sound() {
        Args::command().debug_assert();
    }
}
