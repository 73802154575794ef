//! Options of the commands that measure one frame, a clip, a series or a body.

use std::path::PathBuf;

use super::{KnownArgs, LogOptions, values};

#[derive(Debug, clap::Args)]
pub struct InspectArgs {
    /// The frame
    #[arg(value_name = "FRAME")]
    pub frame: PathBuf,
    #[command(flatten)]
    pub known: KnownArgs,
    /// Write the page to this file
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
    /// Write the record with its tile map as JSON to a file, or to standard output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub json: Option<PathBuf>,
}

#[derive(Debug, clap::Args)]
pub struct CompareArgs {
    /// Folders or files: one still subject, two or more frames per step
    #[arg(required = true, value_name = "PATH")]
    pub paths: Vec<PathBuf>,
    /// Region to measure, as fractions of the upright picture from the left and from the top,
    /// optionally with a width and height [default: the most detailed region]
    #[arg(long, value_name = "X,Y[,W,H]", value_parser = values::subject, help_heading = "Values missing from the files")]
    pub region: Option<values::Subject>,
    /// Depth on the subject that has to be sharp, mm
    #[arg(long, value_name = "MM", value_parser = values::positive, help_heading = "Values missing from the files")]
    pub depth: Option<f64>,
    /// Marked f-numbers: one per frame, in order of time or name, or one per step
    #[arg(long, value_name = "LIST", value_delimiter = ',', value_parser = values::positive, help_heading = "Values missing from the files")]
    pub aperture: Vec<f64>,
    /// Magnification on the sensor (1 is life size)
    #[arg(long, value_name = "M", value_parser = values::positive, help_heading = "Values missing from the files")]
    pub magnification: Option<f64>,
    /// Rig of the frames: gives magnification, working f-numbers and pixel pitch
    #[arg(long, value_name = "NAME", help_heading = "Values missing from the files")]
    pub rig: Option<String>,
    /// A straight edge (ruler, chart, plate) to measure in every step, by its centre, width and
    /// height as fractions of the upright picture; not for living subjects
    #[arg(long, value_name = "X,Y,W,H", value_parser = values::edge, help_heading = "Values missing from the files")]
    pub edge: Option<values::Subject>,
    /// Pixel pitch of the sensor, µm
    #[arg(long, alias = "pixel-pitch", value_name = "UM", value_parser = values::positive, help_heading = "Values missing from the files")]
    pub pitch: Option<f64>,
    /// Write the page to this file
    #[arg(
        long,
        value_name = "FILE",
        default_value = "stopwise-compare.html",
        help_heading = "Output"
    )]
    pub report: PathBuf,
    /// Write no page
    #[arg(long, conflicts_with = "report", help_heading = "Output")]
    pub no_report: bool,
    /// Write the record as JSON to a file, or to standard output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub json: Option<PathBuf>,
    /// Write CSV, one row per step, to a file, or to standard output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub csv: Option<PathBuf>,
}

#[derive(Debug, clap::Args)]
pub struct NoiseArgs {
    /// Folders or files; two raw frames of one still scene per ISO are best
    #[arg(required = true, value_name = "PATH")]
    pub paths: Vec<PathBuf>,
    /// Rig of the frames: names the body where the files do not
    #[arg(long, value_name = "NAME")]
    pub rig: Option<String>,
    #[command(flatten)]
    pub keep: LogOptions,
    /// Write a page with the photon-transfer curves
    #[arg(long, value_name = "FILE", num_args = 0..=1, default_missing_value = "stopwise-noise.html", help_heading = "Output")]
    pub report: Option<PathBuf>,
    /// Write no page
    #[arg(long, conflicts_with = "report", hide = true)]
    pub no_report: bool,
    /// Write the record as JSON to a file, or to standard output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub json: Option<PathBuf>,
}

#[derive(Debug, clap::Args)]
pub struct ClipArgs {
    /// Clips, or folders of clips; decoded by the system's ffmpeg
    #[arg(required = true, value_name = "PATH")]
    pub paths: Vec<PathBuf>,
    /// Subject in the first frame, as fractions of the upright picture from the left and from the
    /// top, optionally with a width and height
    #[arg(long, value_name = "X,Y[,W,H]", value_parser = values::subject, help_heading = "Values missing from the clips")]
    pub subject: Option<values::Subject>,
    /// Rig of the clips (see `stopwise rig`) [default: the one that matches the camera]
    #[arg(long, value_name = "NAME", help_heading = "Values missing from the clips")]
    pub rig: Option<String>,
    /// Magnification on the sensor (1 is life size)
    #[arg(long, value_name = "M", value_parser = values::positive, help_heading = "Values missing from the clips")]
    pub magnification: Option<f64>,
    /// Marked f-number
    #[arg(long, value_name = "N", value_parser = values::positive, help_heading = "Values missing from the clips")]
    pub aperture: Option<f64>,
    /// Distance on the sensor between pixels of the clip, µm (sensor width divided by clip width
    /// if the whole width is recorded)
    #[arg(long, value_name = "UM", value_parser = values::positive, help_heading = "Values missing from the clips")]
    pub pitch: Option<f64>,
    /// Exposure time per frame, as 1/200 or 0.005
    #[arg(long, value_name = "S", value_parser = values::exposure_time, help_heading = "Values missing from the clips")]
    pub shutter: Option<f64>,
    /// Frame rate of playback
    #[arg(long, value_name = "FPS", value_parser = values::positive, help_heading = "Delivery")]
    pub play: Option<f64>,
    /// Size of delivery, as 1920x1080; gives the room for cropping
    #[arg(long, value_name = "WxH", value_parser = values::size, help_heading = "Delivery")]
    pub deliver: Option<(u32, u32)>,
    /// Find the best stretch of this many seconds
    #[arg(long, value_name = "S", value_parser = values::positive, help_heading = "Delivery")]
    pub stretch: Option<f64>,
    /// Write the page to this file
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
    /// Write the record as JSON to a file, or to standard output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub json: Option<PathBuf>,
    /// Write CSV, one row per frame, to a file, or to standard output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub csv: Option<PathBuf>,
    /// Write the stretches in focus as OpenTimelineIO to a file, or to standard output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub otio: Option<PathBuf>,
    /// Write the stretches of each clip into a folder as chapters (text that ffmpeg reads)
    #[arg(long, value_name = "DIR", help_heading = "Output")]
    pub chapters: Option<PathBuf>,
    /// Write the best frame of every stretch in focus into a folder as PNG
    #[arg(long, value_name = "DIR", help_heading = "Output")]
    pub stills: Option<PathBuf>,
    #[command(flatten)]
    pub keep: LogOptions,
    /// Print no tables and no progress
    #[arg(long, short, help_heading = "Output")]
    pub quiet: bool,
}
