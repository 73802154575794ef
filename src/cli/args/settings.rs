//! Options of `chart` and `plan`: your limits, and settings for the next outing.

use std::path::PathBuf;

use super::values;

#[derive(Debug, clap::Args)]
pub struct ChartArgs {
    /// The rig [default: the one with the most frames in the log]
    #[arg(long, value_name = "NAME")]
    pub rig: Option<String>,
    /// The magnification [default: the one with the most frames]
    #[arg(long, value_name = "M", value_parser = values::positive)]
    pub magnification: Option<f64>,
    /// Use the log in this file [default: your log]
    #[arg(long, value_name = "FILE")]
    pub log: Option<PathBuf>,
    /// Write a page with the charts
    #[arg(long, value_name = "FILE", num_args = 0..=1, default_missing_value = "stopwise-chart.html", help_heading = "Output")]
    pub report: Option<PathBuf>,
    /// Write no page
    #[arg(long, conflicts_with = "report", hide = true)]
    pub no_report: bool,
    /// Write the chart of detail as an SVG drawing
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub svg: Option<PathBuf>,
    /// Write the record as JSON to a file, or to standard output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub json: Option<PathBuf>,
    /// Write CSV, one row per aperture and ISO, to a file, or to standard output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub csv: Option<PathBuf>,
}

#[derive(Debug, clap::Args)]
pub struct PlanArgs {
    /// Depth on the subject that has to be sharp, mm
    #[arg(long, value_name = "MM", value_parser = values::not_negative)]
    pub depth: f64,
    /// The rig: its magnification, pixels and pupil ratio, and your limits with it from the log
    #[arg(long, value_name = "NAME", help_heading = "Equipment")]
    pub rig: Option<String>,
    /// Magnification on the sensor (1 is life size); required without a rig that has one
    #[arg(long, value_name = "M", value_parser = values::positive, help_heading = "Equipment")]
    pub magnification: Option<f64>,
    /// Use the log in this file [default: your log]
    #[arg(long, value_name = "FILE", help_heading = "Equipment")]
    pub log: Option<PathBuf>,
    /// Pixel pitch of the sensor, µm
    #[arg(long, value_name = "UM", value_parser = values::positive, help_heading = "Equipment")]
    pub pitch: Option<f64>,
    /// Width of the frame, pixels
    #[arg(long, value_name = "PX", value_parser = clap::value_parser!(u32).range(64..=200_000), help_heading = "Equipment")]
    pub frame_width: Option<u32>,
    /// Pupil ratio of the lens (exit pupil over entrance pupil)
    #[arg(long, value_name = "P", value_parser = values::positive, help_heading = "Equipment")]
    pub pupil_ratio: Option<f64>,
    /// Light level, Ev at ISO 100 (open shade is about 12)
    #[arg(long, value_name = "EV", allow_negative_numbers = true, value_parser = values::light_ev, conflicts_with = "flash", help_heading = "Light and movement")]
    pub light: Option<f64>,
    /// Lit by flash
    #[arg(long, conflicts_with = "lamp", help_heading = "Light and movement")]
    pub flash: bool,
    /// Lit by a lamp (about Ev 9 unless --light is given)
    #[arg(long, help_heading = "Light and movement")]
    pub lamp: bool,
    /// Exposure time, as 1/250 or 0.004
    #[arg(long, value_name = "S", value_parser = values::exposure_time, help_heading = "Light and movement")]
    pub shutter: Option<f64>,
    /// Speed of the subject across the picture, mm per second
    #[arg(long, value_name = "MM/S", default_value_t = 0.0, value_parser = values::not_negative, help_heading = "Light and movement")]
    pub motion: f64,
    /// Width at which the picture will be used, pixels
    #[arg(long, value_name = "PX", value_parser = clap::value_parser!(u32).range(16..=200_000), help_heading = "Use")]
    pub output_width: Option<u32>,
    /// The picture will be cropped: rank by detail at 100 %
    #[arg(long, help_heading = "Use")]
    pub crop: bool,
    /// Also plan video at this frame rate
    #[arg(long, value_name = "FPS", value_parser = values::positive, help_heading = "Use")]
    pub video: Option<f64>,
    /// Frame rate of playback
    #[arg(long, value_name = "FPS", default_value_t = 25.0, value_parser = values::positive, requires = "video", help_heading = "Use")]
    pub play: f64,
    /// Write a page with sliders for depth, light and magnification
    #[arg(long, value_name = "FILE", num_args = 0..=1, default_missing_value = "stopwise-plan.html", help_heading = "Output")]
    pub report: Option<PathBuf>,
    /// Write no page
    #[arg(long, conflicts_with = "report", hide = true)]
    pub no_report: bool,
    /// Write the record as JSON to a file, or to standard output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub json: Option<PathBuf>,
}
