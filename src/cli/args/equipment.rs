//! Options of the commands for equipment and for the log of outings.

use std::path::PathBuf;

use clap::Subcommand;

use super::values;

#[derive(Debug, clap::Args)]
pub struct RigArgs {
    #[command(subcommand)]
    pub what: RigCommand,
}

#[derive(Debug, Subcommand)]
pub enum RigCommand {
    /// List the rigs and show the file they are stored in
    List,
    /// Show a rig and the values derived from it
    Show {
        /// Its name
        name: String,
    },
    /// Add a rig; the file can be edited afterwards
    Add(Box<RigAddArgs>),
    /// Remove a rig from the file
    Remove {
        /// Its name
        name: String,
    },
}

#[derive(Debug, clap::Args)]
pub struct RigAddArgs {
    /// A name for it
    pub name: String,
    /// Read body and lens from this frame
    #[arg(long, value_name = "FRAME")]
    pub like: Option<PathBuf>,
    /// Maker of the body, as recorded in the files
    #[arg(long, value_name = "TEXT")]
    pub make: Option<String>,
    /// Model of the body, as recorded in the files
    #[arg(long, value_name = "TEXT")]
    pub model: Option<String>,
    /// Serial number of the body, as recorded in the files
    #[arg(long, value_name = "TEXT")]
    pub serial: Option<String>,
    /// The lens, as recorded in the files
    #[arg(long, value_name = "TEXT")]
    pub lens: Option<String>,
    /// The lens has no electronic contacts
    #[arg(long)]
    pub no_contacts: bool,
    /// Focal length of the lens, mm
    #[arg(long, value_name = "MM", value_parser = values::positive)]
    pub focal: Option<f64>,
    /// Marked f-number, for a lens without electronic contacts
    #[arg(long, value_name = "N", value_parser = values::positive)]
    pub aperture: Option<f64>,
    /// Magnification that the lens itself is set to (0 is infinity)
    #[arg(long, value_name = "M")]
    pub lens_magnification: Option<f64>,
    /// Magnification of the whole rig [default: derived from the parts]
    #[arg(long, value_name = "M", value_parser = values::positive)]
    pub magnification: Option<f64>,
    /// Power of a close-up lens in front, dioptres
    #[arg(long, value_name = "D", value_parser = values::positive)]
    pub close_up: Option<f64>,
    /// Focal length of a reversed lens in front, mm
    #[arg(long, value_name = "MM", value_parser = values::positive, conflicts_with = "close_up")]
    pub reversed_lens: Option<f64>,
    /// Length of tubes or bellows, mm
    #[arg(long, value_name = "MM", value_parser = values::positive)]
    pub tube: Option<f64>,
    /// Factor of a teleconverter
    #[arg(long, value_name = "X", value_parser = values::positive)]
    pub teleconverter: Option<f64>,
    /// The lens is mounted in reverse
    #[arg(long)]
    pub reversed: bool,
    /// Pupil ratio of the lens (exit pupil over entrance pupil)
    #[arg(long, value_name = "P", value_parser = values::positive)]
    pub pupil_ratio: Option<f64>,
    /// The files record the working f-number instead of the marked one
    #[arg(long)]
    pub records_working: bool,
    /// Pixel pitch of the sensor, µm
    #[arg(long, value_name = "UM", value_parser = values::positive)]
    pub pitch: Option<f64>,
    /// Distance on the sensor between pixels of its clips, µm (sensor width divided by clip width
    /// if the whole width is recorded)
    #[arg(long, value_name = "UM", value_parser = values::positive)]
    pub clip_pitch: Option<f64>,
    /// Wavelength of the light, µm, if it is not white
    #[arg(long, value_name = "UM", value_parser = values::positive)]
    pub wavelength: Option<f64>,
}

#[derive(Debug, clap::Args)]
pub struct ScaleArgs {
    /// The frame, with five or more ticks of a ruler
    #[arg(value_name = "FRAME")]
    pub frame: PathBuf,
    /// Distance between the closest ticks, mm [default: 1]
    #[arg(long, value_name = "MM", value_parser = values::positive, help_heading = "Values missing from the file")]
    pub ticks: Option<f64>,
    /// Pixel pitch of the sensor, µm
    #[arg(long, alias = "pixel-pitch", value_name = "UM", value_parser = values::positive, help_heading = "Values missing from the file")]
    pub pitch: Option<f64>,
    /// Pupil ratio of the lens (exit pupil over entrance pupil) [default: 1]
    #[arg(long, alias = "pupil", value_name = "P", value_parser = values::positive, help_heading = "Values missing from the file")]
    pub pupil_ratio: Option<f64>,
    /// Save the magnification in this rig (see `stopwise rig`), using its pixel pitch and
    /// attachments
    #[arg(long, value_name = "RIG", help_heading = "Output")]
    pub save: Option<String>,
    /// Write a page with the frame, the ticks found and the table of depths
    #[arg(long, value_name = "FILE", num_args = 0..=1, default_missing_value = "stopwise-scale.html", help_heading = "Output")]
    pub report: Option<PathBuf>,
    /// Write no page
    #[arg(long, conflicts_with = "report", hide = true)]
    pub no_report: bool,
    /// Write the record as JSON to a file, or to standard output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub json: Option<PathBuf>,
}

#[derive(Debug, clap::Args)]
pub struct LogArgs {
    /// Use the log in this file [default: your log]
    #[arg(long, value_name = "FILE", global = true)]
    pub log: Option<PathBuf>,
    #[command(subcommand)]
    pub what: LogCommand,
}

/// Kind of an outing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum KindArg {
    /// Stills of living subjects
    Field,
    /// Frames for measuring equipment
    Test,
    /// Frames of clips
    Clip,
}

#[derive(Debug, Subcommand)]
pub enum LogCommand {
    /// List the outings
    List,
    /// Show the frames of an outing
    Show {
        /// Number of the outing
        #[arg(value_parser = values::outing_number)]
        outing: i64,
    },
    /// Correct the subject, rig or kind of an outing, or exclude it from charts and plans
    Correct {
        /// Number of the outing
        #[arg(value_parser = values::outing_number)]
        outing: i64,
        /// Subject of the outing; an empty text removes it
        #[arg(long, value_name = "TEXT")]
        subject: Option<String>,
        /// Rig of the whole outing; an empty text removes it
        #[arg(long, value_name = "NAME")]
        rig: Option<String>,
        /// Kind of its frames
        #[arg(long, value_name = "KIND", value_enum)]
        kind: Option<KindArg>,
        /// Exclude it from charts and plans
        #[arg(long)]
        exclude: bool,
        /// Include it again
        #[arg(long, conflicts_with = "exclude")]
        include: bool,
    },
    /// Remove outings from the log; the pictures are not touched
    Remove {
        /// Numbers of the outings
        #[arg(required = true, value_parser = values::outing_number)]
        outings: Vec<i64>,
    },
    /// Export the whole log
    #[command(group = clap::ArgGroup::new("form").required(true).multiple(true).args(["json", "csv"]))]
    Export {
        /// Write JSON to a file, or to standard output with "-"
        #[arg(long, value_name = "FILE")]
        json: Option<PathBuf>,
        /// Write CSV, one row per frame, to a file, or to standard output with "-"
        #[arg(long, value_name = "FILE")]
        csv: Option<PathBuf>,
    },
    /// Compare the verdicts with your decisions, by verdict and cause
    #[command(alias = "agreed")]
    Agreement {
        /// Write JSON to a file, or to standard output with "-"
        #[arg(long, value_name = "FILE")]
        json: Option<PathBuf>,
        /// Write CSV, one row per verdict and cause, to a file, or to standard output with "-"
        #[arg(long, value_name = "FILE")]
        csv: Option<PathBuf>,
    },
    /// Add everything from another log
    Merge {
        /// The other log, which is only read
        other: PathBuf,
    },
}
