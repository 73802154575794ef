//! What can be typed.

use std::path::PathBuf;

use clap::{Parser, Subcommand};
use stopwise::core::verdict::Verdict;

use super::values;

/// Which close-up frames hit focus at the subject, why the others missed, and how much detail is
/// left. Originals are only ever read.
#[derive(Debug, Parser)]
#[command(name = "stopwise", version, max_term_width = 100)]
pub struct Args {
    #[command(subcommand)]
    pub command: Command,
    /// Memory for decoding, all frames at work together, in MB [default: a quarter of the machine's]
    #[arg(long, global = true, value_name = "MB", value_parser = clap::value_parser!(u64).range(64..=1 << 24), help_heading = "Resources")]
    pub memory: Option<u64>,
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// Judge an outing's frames: hit, near, miss or cannot say, and why
    Cull(CullArgs),
    /// Show everything measured on one frame
    Inspect(InspectArgs),
    /// Compare a series of one still subject: what each step shows, and what closing the aperture
    /// or raising the ISO cost
    Compare(CompareArgs),
    /// Measure the noise of a body at each ISO, from whatever frames of it there are
    Noise(NoiseArgs),
    /// Find the seconds of video worth keeping, and say what spoils the rest
    Clip(ClipArgs),
    /// The shooter's own limits, from the log: detail by aperture and ISO, the hand, the season
    Chart(ChartArgs),
    /// Settings for next time: aperture, ISO and shutter for a depth, ranked
    Plan(PlanArgs),
    /// Show or clear what was measured before and is kept so that it need not be again
    Cache(CacheArgs),
    /// Describe equipment: body, lens, what is mounted, magnification
    Rig(RigArgs),
    /// Look at, correct, export or merge the record of outings
    Log(LogArgs),
    /// Read the scale from a frame of a ruler: micrometres a pixel, magnification, depths
    Scale(ScaleArgs),
    /// Write decisions and verdicts into sidecars, where other software reads them; says first
    /// what would change
    Mark(MarkArgs),
    /// Look at an outing's frames in the browser, on this machine only, and decide
    Review(ReviewArgs),
    /// Make a small invented outing with known truth, cull it, and compare
    Demo(DemoArgs),
}

/// What the files may not say.
#[derive(Debug, Clone, clap::Args)]
#[command(next_help_heading = "What the files do not say")]
pub struct KnownArgs {
    /// Subject point in the first frame of each burst: fractions of the upright picture from the
    /// left and the top; a width and height may follow
    #[arg(long, value_name = "X,Y[,W,H]", value_parser = values::subject)]
    pub subject: Option<values::Subject>,
    /// Magnification on the sensor (1 is life size)
    #[arg(long, value_name = "M", value_parser = values::positive)]
    pub magnification: Option<f64>,
    /// Rig that the frames were taken with (see `stopwise rig`); without it the one that fits
    /// body and lens
    #[arg(long, value_name = "NAME")]
    pub rig: Option<String>,
    /// Marked f-number, for lenses that do not tell theirs
    #[arg(long, value_name = "N", value_parser = values::positive)]
    pub aperture: Option<f64>,
    /// Pixel pitch of the sensor in micrometres
    #[arg(long, value_name = "UM", value_parser = values::positive)]
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
    pub known: KnownArgs,
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
    #[command(flatten)]
    pub keep: LogOptions,
    /// Print no tables and no progress
    #[arg(long, short, help_heading = "Output")]
    pub quiet: bool,
    /// Number of frames measured at a time (default: one a processor)
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256), help_heading = "Output")]
    pub threads: Option<u16>,
    /// Measure everything anew, and keep nothing for the next run
    #[arg(long, help_heading = "Output")]
    pub no_cache: bool,
}

#[derive(Debug, clap::Args)]
pub struct CacheArgs {
    #[command(subcommand)]
    pub what: CacheWhat,
}

/// `STOPWISE_CACHE` names another folder for it; "off" does without.
#[derive(Debug, Clone, Copy, Subcommand)]
pub enum CacheWhat {
    /// Tell where it is and how much it holds
    Show,
    /// Remove it; everything is then measured anew once
    Clear,
}

#[derive(Debug, clap::Args)]
pub struct InspectArgs {
    /// The frame
    #[arg(value_name = "FRAME")]
    pub frame: PathBuf,
    #[command(flatten)]
    pub known: KnownArgs,
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
pub struct CompareArgs {
    /// Folders or files: one still subject, two frames or more a step
    #[arg(required = true, value_name = "PATH")]
    pub paths: Vec<PathBuf>,
    /// Where to measure: fractions of the upright picture from the left and the top; a width and
    /// height may follow
    #[arg(long, value_name = "X,Y[,W,H]", value_parser = values::subject, help_heading = "What the files do not say")]
    pub region: Option<values::Subject>,
    /// Depth on the subject that has to be sharp, mm
    #[arg(long, value_name = "MM", value_parser = values::positive, help_heading = "What the files do not say")]
    pub depth: Option<f64>,
    /// Marked f-numbers, one a frame in order of time or names, or one a step
    #[arg(long, value_name = "LIST", value_delimiter = ',', value_parser = values::positive, help_heading = "What the files do not say")]
    pub aperture: Vec<f64>,
    /// Magnification on the sensor (1 is life size)
    #[arg(long, value_name = "M", value_parser = values::positive, help_heading = "What the files do not say")]
    pub magnification: Option<f64>,
    /// Rig that the frames were taken with: its magnification, working f-numbers and pixel pitch
    #[arg(long, value_name = "NAME", help_heading = "What the files do not say")]
    pub rig: Option<String>,
    /// A straight edge (ruler, chart, plate) to measure in every step: its middle, width and
    /// height, fractions of the upright picture; unfit for living subjects
    #[arg(long, value_name = "X,Y,W,H", value_parser = values::edge, help_heading = "What the files do not say")]
    pub edge: Option<values::Subject>,
    /// Pixel pitch of the sensor in micrometres
    #[arg(long, alias = "pitch", value_name = "UM", value_parser = values::positive, help_heading = "What the files do not say")]
    pub pixel_pitch: Option<f64>,
    /// Where the page goes
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
    /// Write the record as JSON to a file, or to the output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub json: Option<PathBuf>,
    /// Write a row a step as CSV to a file, or to the output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub csv: Option<PathBuf>,
}

#[derive(Debug, clap::Args)]
pub struct NoiseArgs {
    /// Folders or files; best are two raw frames of one still scene at each ISO
    #[arg(required = true, value_name = "PATH")]
    pub paths: Vec<PathBuf>,
    /// Rig that the frames were taken with: names the body of files that do not
    #[arg(long, value_name = "NAME")]
    pub rig: Option<String>,
    #[command(flatten)]
    pub keep: LogOptions,
    /// Write a page with the photon-transfer curves
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub report: Option<PathBuf>,
    /// Write the record as JSON to a file, or to the output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub json: Option<PathBuf>,
}

/// Whether the run is kept in the log.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Output")]
pub struct LogOptions {
    /// Add what was measured to the log, or to another log
    #[arg(long, value_name = "FILE", num_args = 0..=1, require_equals = true)]
    pub log: Option<Option<PathBuf>>,
    /// Keep this run out of the log where STOPWISE_LOG_RUNS=yes puts every run in it
    #[arg(long, conflicts_with = "log")]
    pub no_log: bool,
}

#[derive(Debug, clap::Args)]
pub struct RigArgs {
    #[command(subcommand)]
    pub what: RigCommand,
}

#[derive(Debug, Subcommand)]
pub enum RigCommand {
    /// List the rigs, and say in which file they are
    List,
    /// Show a rig with what is worked out from it
    Show {
        /// Its name
        name: String,
    },
    /// Describe a rig; the file can be edited afterwards
    Add(Box<RigAddArgs>),
    /// Take a rig out of the file
    Remove {
        /// Its name
        name: String,
    },
}

#[derive(Debug, clap::Args)]
pub struct RigAddArgs {
    /// A name for it
    pub name: String,
    /// A frame taken with it: body and lens are read from the file
    #[arg(long, value_name = "FRAME")]
    pub like: Option<PathBuf>,
    /// Maker of the body, as the files have it
    #[arg(long, value_name = "TEXT")]
    pub make: Option<String>,
    /// Model of the body, as the files have it
    #[arg(long, value_name = "TEXT")]
    pub model: Option<String>,
    /// Serial number of the body, as the files have it
    #[arg(long, value_name = "TEXT")]
    pub serial: Option<String>,
    /// The lens, as the files have it
    #[arg(long, value_name = "TEXT")]
    pub lens: Option<String>,
    /// The lens tells the body nothing
    #[arg(long)]
    pub no_contacts: bool,
    /// Focal length of the lens, mm
    #[arg(long, value_name = "MM", value_parser = values::positive)]
    pub focal: Option<f64>,
    /// Marked f-number of a lens that tells nothing
    #[arg(long, value_name = "N", value_parser = values::positive)]
    pub aperture: Option<f64>,
    /// Magnification that the lens itself is set to (0 is infinity)
    #[arg(long, value_name = "M")]
    pub lens_magnification: Option<f64>,
    /// Magnification of the whole rig, when known; else it is worked out
    #[arg(long, value_name = "M", value_parser = values::positive)]
    pub magnification: Option<f64>,
    /// Strength of a close-up lens in front, dioptres
    #[arg(long, value_name = "D", value_parser = values::positive)]
    pub close_up: Option<f64>,
    /// Focal length of a lens reversed in front, mm
    #[arg(long, value_name = "MM", value_parser = values::positive, conflicts_with = "close_up")]
    pub reversed_lens: Option<f64>,
    /// Length of tubes or bellows, mm
    #[arg(long, value_name = "MM", value_parser = values::positive)]
    pub tube: Option<f64>,
    /// Factor of a teleconverter
    #[arg(long, value_name = "X", value_parser = values::positive)]
    pub teleconverter: Option<f64>,
    /// The lens is mounted the wrong way round
    #[arg(long)]
    pub reversed: bool,
    /// Pupil ratio of the lens (exit over entrance pupil)
    #[arg(long, value_name = "P", value_parser = values::positive)]
    pub pupil_ratio: Option<f64>,
    /// The files hold the working f-number, not the marked one
    #[arg(long)]
    pub records_working: bool,
    /// Pixel pitch, micrometres
    #[arg(long, value_name = "UM", value_parser = values::positive)]
    pub pitch: Option<f64>,
    /// Distance on the sensor between pixels of its clips, micrometres (sensor width over clip
    /// width when the whole width is used)
    #[arg(long, value_name = "UM", value_parser = values::positive)]
    pub clip_pitch: Option<f64>,
    /// Wavelength of the light, micrometres, where it is not white
    #[arg(long, value_name = "UM", value_parser = values::positive)]
    pub wavelength: Option<f64>,
}

#[derive(Debug, clap::Args)]
pub struct LogArgs {
    /// Another log than the usual one
    #[arg(long, value_name = "FILE", global = true)]
    pub log: Option<PathBuf>,
    #[command(subcommand)]
    pub what: LogCommand,
}

/// What the frames of an outing are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum KindArg {
    /// Stills of living subjects
    Field,
    /// Frames taken to measure equipment
    Test,
    /// Frames of clips
    Clip,
}

#[derive(Debug, Subcommand)]
pub enum LogCommand {
    /// List the outings
    List,
    /// Show an outing's frames
    Show {
        /// Number of the outing
        #[arg(value_parser = values::outing_number)]
        outing: i64,
    },
    /// Say what an outing is of, which rig it was, or leave it out of charts and plans
    Correct {
        /// Number of the outing
        #[arg(value_parser = values::outing_number)]
        outing: i64,
        /// What it is of; an empty text takes it away
        #[arg(long, value_name = "TEXT")]
        subject: Option<String>,
        /// Rig of the whole outing; an empty text takes it away
        #[arg(long, value_name = "NAME")]
        rig: Option<String>,
        /// What its frames are
        #[arg(long, value_name = "KIND", value_enum)]
        kind: Option<KindArg>,
        /// Leave it out of charts and plans
        #[arg(long)]
        exclude: bool,
        /// Take it in again
        #[arg(long, conflicts_with = "exclude")]
        include: bool,
    },
    /// Take outings out of the log; the pictures stay where they are
    Remove {
        /// Numbers of the outings
        #[arg(required = true, value_parser = values::outing_number)]
        outings: Vec<i64>,
    },
    /// Write everything that is in the log
    #[command(group = clap::ArgGroup::new("form").required(true).multiple(true).args(["json", "csv"]))]
    Export {
        /// Write it as JSON to a file, or to the output with "-"
        #[arg(long, value_name = "FILE")]
        json: Option<PathBuf>,
        /// Write a row a frame as CSV to a file, or to the output with "-"
        #[arg(long, value_name = "FILE")]
        csv: Option<PathBuf>,
    },
    /// How often the verdicts were what people decided in review, by verdict and cause
    Agreed {
        /// Write it as JSON to a file, or to the output with "-"
        #[arg(long, value_name = "FILE")]
        json: Option<PathBuf>,
        /// Write a row a verdict and cause as CSV to a file, or to the output with "-"
        #[arg(long, value_name = "FILE")]
        csv: Option<PathBuf>,
    },
    /// Take over everything from another log
    Merge {
        /// The other log; it is only read
        other: PathBuf,
    },
}

#[derive(Debug, clap::Args)]
pub struct ScaleArgs {
    /// The frame, with at least five ticks of a ruler in it
    #[arg(value_name = "FRAME")]
    pub frame: PathBuf,
    /// Distance of the closest ticks in millimetres (1 when not given)
    #[arg(long, value_name = "MM", value_parser = values::positive, help_heading = "What the file does not say")]
    pub ticks: Option<f64>,
    /// Pixel pitch of the sensor in micrometres
    #[arg(long, visible_alias = "pixel-pitch", value_name = "UM", value_parser = values::positive, help_heading = "What the file does not say")]
    pub pitch: Option<f64>,
    /// Pupil ratio of the lens, exit over entrance pupil (1 when not given)
    #[arg(long, value_name = "P", value_parser = values::positive, help_heading = "What the file does not say")]
    pub pupil: Option<f64>,
    /// Save the magnification in this rig (see `stopwise rig`), whose pixel pitch and mounts count
    #[arg(long, value_name = "RIG", help_heading = "Output")]
    pub save: Option<String>,
    /// Write a page with the frame, the ticks found and the table of depths
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub report: Option<PathBuf>,
    /// Write the record as JSON to a file, or to the output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub json: Option<PathBuf>,
}

#[derive(Debug, clap::Args)]
pub struct MarkArgs {
    /// A record of `cull --json`, "-" for the input, or a folder, which is judged first
    #[arg(value_name = "FILE|FOLDER")]
    pub source: PathBuf,
    /// Write; without it only what would change is listed
    #[arg(long)]
    pub write: bool,
    /// Where the frames are, when they are not in the folder of the record as it says
    #[arg(long, value_name = "DIR")]
    pub folder: Option<PathBuf>,
    /// Take frames that links lead to out of that folder
    #[arg(long)]
    pub follow_links: bool,
    /// Go by the verdicts alone, whatever was decided in `review`
    #[arg(long)]
    pub no_decisions: bool,
    /// What xmp:Rating says for a verdict (hit, near, miss, cannot-say): -1 to 5; none if not given
    #[arg(long, value_name = "VERDICT=N", value_delimiter = ',', value_parser = values::rating, help_heading = "Sidecars")]
    pub rating: Vec<(Verdict, i8)>,
    /// What xmp:Label says for a verdict; none if not given
    #[arg(long, value_name = "VERDICT=TEXT", value_parser = values::label, help_heading = "Sidecars")]
    pub label: Vec<(Verdict, String)>,
    /// What keywords for verdict and first cause start with; earlier ones that start so go
    #[arg(long, value_name = "TEXT", default_value = "stopwise:", value_parser = values::keyword_prefix, help_heading = "Sidecars")]
    pub prefix: String,
    /// Write no keywords
    #[arg(long, help_heading = "Sidecars")]
    pub no_keywords: bool,
    /// Leave a rating or label that is already set
    #[arg(long, help_heading = "Sidecars")]
    pub only_unset: bool,
    /// Name sidecars after the whole file name (a.jpg.xmp), one a file
    #[arg(long, help_heading = "Sidecars")]
    pub full_names: bool,
    /// Write no sidecars
    #[arg(long, help_heading = "Sidecars")]
    pub no_sidecars: bool,
    /// Give the hits a second name in this folder; takes no room
    #[arg(long, value_name = "DIR", help_heading = "Hits for other programs")]
    pub hard_links: Option<PathBuf>,
    /// Copy the hits into this folder
    #[arg(
        long,
        value_name = "DIR",
        conflicts_with = "hard_links",
        help_heading = "Hits for other programs"
    )]
    pub copies: Option<PathBuf>,
    /// Write the paths of the hits, one a line, to a file, or to the output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Hits for other programs")]
    pub list: Option<PathBuf>,
    /// Which verdicts are linked, copied or listed [default: hit]
    #[arg(long, value_name = "VERDICT", value_delimiter = ',', value_parser = values::verdict, help_heading = "Hits for other programs")]
    pub calls: Vec<Verdict>,
    /// Write what changes as JSON to a file, or to the output with "-"
    #[arg(long, value_name = "FILE")]
    pub json: Option<PathBuf>,
}

#[derive(Debug, clap::Args)]
pub struct ReviewArgs {
    /// A folder, which is judged first, or a record of `cull --json`
    #[arg(value_name = "OUTING", default_value = ".")]
    pub outing: PathBuf,
    /// Open no browser, only say the address
    #[arg(long)]
    pub no_open: bool,
    /// Port to listen at [default: one that is free]
    #[arg(long, value_name = "N")]
    pub port: Option<u16>,
    /// Where the frames are, when they are not in the folder of the record as it says
    #[arg(long, value_name = "DIR")]
    pub folder: Option<PathBuf>,
    /// Take frames that links lead to out of that folder
    #[arg(long)]
    pub follow_links: bool,
    #[command(flatten)]
    pub known: KnownArgs,
}

#[derive(Debug, clap::Args)]
pub struct ClipArgs {
    /// Clips, or folders of them; decoded by the system's ffmpeg
    #[arg(required = true, value_name = "PATH")]
    pub paths: Vec<PathBuf>,
    /// Subject point in the first frame: fractions of the upright picture from the left and the
    /// top; a width and height may follow
    #[arg(long, value_name = "X,Y[,W,H]", value_parser = values::subject, help_heading = "What the clips do not say")]
    pub subject: Option<values::Subject>,
    /// The rig they were taken with (see `stopwise rig`); found by the camera in the clip if not
    /// given
    #[arg(long, value_name = "NAME", help_heading = "What the clips do not say")]
    pub rig: Option<String>,
    /// Magnification on the sensor (1 is life size)
    #[arg(long, value_name = "M", value_parser = values::positive, help_heading = "What the clips do not say")]
    pub magnification: Option<f64>,
    /// Marked f-number
    #[arg(long, value_name = "N", value_parser = values::positive, help_heading = "What the clips do not say")]
    pub aperture: Option<f64>,
    /// Distance on the sensor between pixels of the clip, in micrometres (sensor width over clip
    /// width when the whole width is used)
    #[arg(long, value_name = "UM", value_parser = values::positive, help_heading = "What the clips do not say")]
    pub pitch: Option<f64>,
    /// Exposure time of a frame, as 1/200 or 0.005
    #[arg(long, value_name = "S", value_parser = values::exposure_time, help_heading = "What the clips do not say")]
    pub shutter: Option<f64>,
    /// Frame rate at which the clip will be played
    #[arg(long, value_name = "FPS", value_parser = values::positive, help_heading = "What is wanted")]
    pub play: Option<f64>,
    /// Size it will be delivered at, as 1920x1080: says how far it can be cropped
    #[arg(long, value_name = "WxH", value_parser = values::size, help_heading = "What is wanted")]
    pub deliver: Option<(u32, u32)>,
    /// Find the best stretch of this many seconds
    #[arg(long, value_name = "S", value_parser = values::positive, help_heading = "What is wanted")]
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
    #[command(flatten)]
    pub keep: LogOptions,
    /// Print no tables and no progress
    #[arg(long, short, help_heading = "Output")]
    pub quiet: bool,
}

#[derive(Debug, clap::Args)]
pub struct ChartArgs {
    /// The rig; without it the one with the most frames in the log
    #[arg(long, value_name = "NAME")]
    pub rig: Option<String>,
    /// Magnification to chart; without it the one with the most frames
    #[arg(long, value_name = "M", value_parser = values::positive)]
    pub magnification: Option<f64>,
    /// Another log than the usual one
    #[arg(long, value_name = "FILE")]
    pub log: Option<PathBuf>,
    /// Write a page with the charts
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub report: Option<PathBuf>,
    /// Write the chart of detail as an SVG drawing
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub svg: Option<PathBuf>,
    /// Write the record as JSON to a file, or to the output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub json: Option<PathBuf>,
    /// Write a row a place of the chart as CSV to a file, or to the output with "-"
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    pub csv: Option<PathBuf>,
}

#[derive(Debug, clap::Args)]
pub struct PlanArgs {
    /// Depth on the subject that is to be sharp, in millimetres
    #[arg(long, value_name = "MM", value_parser = values::not_negative)]
    pub depth: f64,
    /// The rig: its magnification, pixels and pupils, and its own limits where the log shows them
    #[arg(long, value_name = "NAME", help_heading = "Equipment")]
    pub rig: Option<String>,
    /// Magnification on the sensor (1 is life size); needed unless the rig has one
    #[arg(long, value_name = "M", value_parser = values::positive, help_heading = "Equipment")]
    pub magnification: Option<f64>,
    /// Another log than the usual one
    #[arg(long, value_name = "FILE", help_heading = "Equipment")]
    pub log: Option<PathBuf>,
    /// Pixel pitch of the sensor in micrometres
    #[arg(long, value_name = "UM", value_parser = values::positive, help_heading = "Equipment")]
    pub pitch: Option<f64>,
    /// Width of the frame in pixels
    #[arg(long, value_name = "PX", value_parser = clap::value_parser!(u32).range(64..=200_000), help_heading = "Equipment")]
    pub frame_width: Option<u32>,
    /// Diameter of the lens's exit pupil over that of its entrance pupil
    #[arg(long, value_name = "P", value_parser = values::positive, help_heading = "Equipment")]
    pub pupil_ratio: Option<f64>,
    /// Level of the light in Ev at ISO 100 (open shade is about 12)
    #[arg(long, value_name = "EV", allow_negative_numbers = true, value_parser = values::light_ev, conflicts_with = "flash", help_heading = "Light and movement")]
    pub light: Option<f64>,
    /// A flash gives the light
    #[arg(long, conflicts_with = "lamp", help_heading = "Light and movement")]
    pub flash: bool,
    /// A lamp gives the light (about Ev 9 without --light)
    #[arg(long, help_heading = "Light and movement")]
    pub lamp: bool,
    /// Exposure time, as 1/250 or 0.004
    #[arg(long, value_name = "S", value_parser = values::exposure_time, help_heading = "Light and movement")]
    pub shutter: Option<f64>,
    /// Speed of the subject across the picture in millimetres a second
    #[arg(long, value_name = "MM/S", default_value_t = 0.0, value_parser = values::not_negative, help_heading = "Light and movement")]
    pub motion: f64,
    /// Width in pixels at which the picture will be used
    #[arg(long, value_name = "PX", value_parser = clap::value_parser!(u32).range(16..=200_000), help_heading = "Use")]
    pub output_width: Option<u32>,
    /// The picture will be cropped: detail counts at 100 %
    #[arg(long, help_heading = "Use")]
    pub crop: bool,
    /// Plan video too, at this many frames a second
    #[arg(long, value_name = "FPS", value_parser = values::positive, help_heading = "Use")]
    pub video: Option<f64>,
    /// Frames a second at which the video will be shown
    #[arg(long, value_name = "FPS", default_value_t = 25.0, value_parser = values::positive, requires = "video", help_heading = "Use")]
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
