//! What can be typed.

use std::path::PathBuf;

use clap::{Parser, Subcommand};

/// Which close-up frames hit focus at the subject, why the others missed, and how much detail is
/// left. Originals are only ever read.
#[derive(Debug, Parser)]
#[command(name = "stopwise", version, max_term_width = 100)]
pub struct Args {
    #[command(subcommand)]
    pub command: Command,
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// Judge an outing's frames: hit, near, miss or cannot say, and why
    Cull(CullArgs),
    /// Show everything measured on one frame
    Inspect(InspectArgs),
    /// Measure the noise of a body at each ISO, from whatever frames of it there are
    Noise(NoiseArgs),
    /// Find the seconds of video worth keeping, and say what spoils the rest
    Clip(ClipArgs),
    /// Make a small invented outing with known truth, cull it, and compare
    Demo(DemoArgs),
}

/// What the files may not say.
#[derive(Debug, Clone, clap::Args)]
#[command(next_help_heading = "What the files do not say")]
pub struct Known {
    /// Subject point in the first frame of each burst: fractions of the upright picture from the
    /// left and the top; a width and height may follow
    #[arg(long, value_name = "X,Y[,W,H]", value_parser = super::job::subject)]
    pub subject: Option<super::job::Subject>,
    /// Magnification on the sensor (1 is life size)
    #[arg(long, value_name = "M", value_parser = super::job::positive)]
    pub magnification: Option<f64>,
    /// Marked f-number, for lenses that do not tell theirs
    #[arg(long, value_name = "N", value_parser = super::job::positive)]
    pub aperture: Option<f64>,
    /// Pixel pitch of the sensor in micrometres
    #[arg(long, value_name = "UM", value_parser = super::job::positive)]
    pub pitch: Option<f64>,
    /// Repeat the verdict for a picture this many pixels wide
    #[arg(long, value_name = "PX", value_parser = clap::value_parser!(u32).range(16..=200_000))]
    pub output_width: Option<u32>,
}

#[derive(Debug, clap::Args)]
pub struct CullArgs {
    /// Folders or files
    #[arg(required = true, value_name = "PATH")]
    pub paths: Vec<PathBuf>,
    #[command(flatten)]
    pub known: Known,
    /// A file with one marked frame a line, as "file name,X,Y"; one a burst is enough
    #[arg(long, value_name = "FILE", help_heading = "What the files do not say")]
    pub subjects: Option<PathBuf>,
    /// Where the report goes
    #[arg(
        long,
        value_name = "FILE",
        default_value = "stopwise-report.html",
        help_heading = "Output"
    )]
    pub report: PathBuf,
    /// Write no report (a little faster)
    #[arg(long, conflicts_with = "report", help_heading = "Output")]
    pub no_report: bool,
    /// Write the record as JSON to a file, or to the output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub json: Option<PathBuf>,
    /// Write a row a frame as CSV to a file, or to the output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub csv: Option<PathBuf>,
    /// Print no tables and no progress
    #[arg(long, short, help_heading = "Output")]
    pub quiet: bool,
    /// Number of frames measured at a time (default: one a processor)
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256), help_heading = "Output")]
    pub threads: Option<u16>,
}

#[derive(Debug, clap::Args)]
pub struct InspectArgs {
    /// The frame
    #[arg(value_name = "FRAME")]
    pub frame: PathBuf,
    #[command(flatten)]
    pub known: Known,
    /// Where the page goes
    #[arg(
        long,
        value_name = "FILE",
        default_value = "stopwise-frame.html",
        help_heading = "Output"
    )]
    pub report: PathBuf,
    /// Write no page
    #[arg(long, conflicts_with = "report", help_heading = "Output")]
    pub no_report: bool,
    /// Write the focus map as a PNG picture
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub map: Option<PathBuf>,
    /// Write the record with the tile map as JSON to a file, or to the output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub json: Option<PathBuf>,
}

#[derive(Debug, clap::Args)]
pub struct NoiseArgs {
    /// Folders or files; best are two raw frames of one still scene at each ISO
    #[arg(required = true, value_name = "PATH")]
    pub paths: Vec<PathBuf>,
    /// Write a page with the photon-transfer curves
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub report: Option<PathBuf>,
    /// Write the record as JSON to a file, or to the output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub json: Option<PathBuf>,
}

#[derive(Debug, clap::Args)]
pub struct ClipArgs {
    /// Clips, or folders of them; decoded by the system's ffmpeg
    #[arg(required = true, value_name = "PATH")]
    pub paths: Vec<PathBuf>,
    /// Subject point in the first frame: fractions of the upright picture from the left and the
    /// top; a width and height may follow
    #[arg(long, value_name = "X,Y[,W,H]", value_parser = super::job::subject, help_heading = "What the clips do not say")]
    pub subject: Option<super::job::Subject>,
    /// Magnification on the sensor (1 is life size)
    #[arg(long, value_name = "M", value_parser = super::job::positive, help_heading = "What the clips do not say")]
    pub magnification: Option<f64>,
    /// Marked f-number
    #[arg(long, value_name = "N", value_parser = super::job::positive, help_heading = "What the clips do not say")]
    pub aperture: Option<f64>,
    /// Distance on the sensor between pixels of the clip, in micrometres (sensor width over clip
    /// width when the whole width is used)
    #[arg(long, value_name = "UM", value_parser = super::job::positive, help_heading = "What the clips do not say")]
    pub pitch: Option<f64>,
    /// Exposure time of a frame, as 1/200 or 0.005
    #[arg(long, value_name = "S", value_parser = super::job::seconds, help_heading = "What the clips do not say")]
    pub shutter: Option<f64>,
    /// Frame rate at which the clip will be played
    #[arg(long, value_name = "FPS", value_parser = super::job::positive, help_heading = "What is wanted")]
    pub play: Option<f64>,
    /// Size it will be delivered at, as 1920x1080: says how far it can be cropped
    #[arg(long, value_name = "WxH", value_parser = super::job::size, help_heading = "What is wanted")]
    pub deliver: Option<(u32, u32)>,
    /// Find the best stretch of this many seconds
    #[arg(long, value_name = "S", value_parser = super::job::positive, help_heading = "What is wanted")]
    pub stretch: Option<f64>,
    /// Where the page goes
    #[arg(
        long,
        value_name = "FILE",
        default_value = "stopwise-clips.html",
        help_heading = "Output"
    )]
    pub report: PathBuf,
    /// Write no page
    #[arg(long, conflicts_with = "report", help_heading = "Output")]
    pub no_report: bool,
    /// Write the record as JSON to a file, or to the output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub json: Option<PathBuf>,
    /// Write a row a frame as CSV to a file, or to the output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub csv: Option<PathBuf>,
    /// Write the stretches in focus as an OpenTimelineIO file, or to the output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub otio: Option<PathBuf>,
    /// Write the stretches of each clip as chapters into a folder (text that ffmpeg reads)
    #[arg(long, value_name = "DIR", help_heading = "Output")]
    pub chapters: Option<PathBuf>,
    /// Write the best frame of every stretch in focus as PNG into a folder
    #[arg(long, value_name = "DIR", help_heading = "Output")]
    pub stills: Option<PathBuf>,
    /// Print no tables and no progress
    #[arg(long, short, help_heading = "Output")]
    pub quiet: bool,
}

#[derive(Debug, clap::Args)]
pub struct DemoArgs {
    /// Folder for the invented outing and its report
    #[arg(long, value_name = "DIR", default_value = "stopwise-demo")]
    pub dir: PathBuf,
    /// Another seed makes another outing
    #[arg(long, value_name = "N", default_value_t = 7)]
    pub seed: u64,
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
