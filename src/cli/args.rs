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
    /// Settings for next time: aperture, ISO and shutter for a depth, ranked
    Plan(PlanArgs),
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
pub struct PlanArgs {
    /// Depth on the subject that is to be sharp, in millimetres
    #[arg(long, value_name = "MM", value_parser = super::job::not_negative)]
    pub depth: f64,
    /// Magnification on the sensor (1 is life size)
    #[arg(long, value_name = "M", value_parser = super::job::positive)]
    pub magnification: f64,
    /// Pixel pitch of the sensor in micrometres
    #[arg(long, value_name = "UM", value_parser = super::job::positive, help_heading = "Equipment")]
    pub pitch: Option<f64>,
    /// Width of the frame in pixels
    #[arg(long, value_name = "PX", value_parser = clap::value_parser!(u32).range(64..=200_000), help_heading = "Equipment")]
    pub frame_width: Option<u32>,
    /// Diameter of the lens's exit pupil over that of its entrance pupil
    #[arg(long, value_name = "P", value_parser = super::job::positive, help_heading = "Equipment")]
    pub pupil_ratio: Option<f64>,
    /// Level of the light in Ev at ISO 100 (open shade is about 12)
    #[arg(long, value_name = "EV", allow_negative_numbers = true, value_parser = super::job::light_ev, conflicts_with = "flash", help_heading = "Light and movement")]
    pub light: Option<f64>,
    /// A flash gives the light
    #[arg(long, conflicts_with = "lamp", help_heading = "Light and movement")]
    pub flash: bool,
    /// A lamp gives the light (about Ev 9 without --light)
    #[arg(long, help_heading = "Light and movement")]
    pub lamp: bool,
    /// Exposure time, as 1/250 or 0.004
    #[arg(long, value_name = "S", value_parser = super::job::shutter, help_heading = "Light and movement")]
    pub shutter: Option<f64>,
    /// Speed of the subject across the picture in millimetres a second
    #[arg(long, value_name = "MM/S", default_value_t = 0.0, value_parser = super::job::not_negative, help_heading = "Light and movement")]
    pub motion: f64,
    /// Width in pixels at which the picture will be used
    #[arg(long, value_name = "PX", value_parser = clap::value_parser!(u32).range(16..=200_000), help_heading = "Use")]
    pub output_width: Option<u32>,
    /// The picture will be cropped: detail counts at 100 %
    #[arg(long, help_heading = "Use")]
    pub crop: bool,
    /// Plan video too, at this many frames a second
    #[arg(long, value_name = "FPS", value_parser = super::job::positive, help_heading = "Use")]
    pub video: Option<f64>,
    /// Frames a second at which the video will be shown
    #[arg(long, value_name = "FPS", default_value_t = 25.0, value_parser = super::job::positive, requires = "video", help_heading = "Use")]
    pub play: f64,
    /// Write a page with sliders for depth, light and magnification
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub report: Option<PathBuf>,
    /// Write the record as JSON to a file, or to the output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub json: Option<PathBuf>,
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
