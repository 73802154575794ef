//! stopwise measures close-up photographs: which frames hit focus at the subject, why the
//! others missed, and how much detail is left.
//!
//! The program `stopwise` is a thin cover over this library. A command is one folder: [`cull`],
//! [`clips`], [`compare`], [`body_noise`], [`limits`], [`plan`], [`review`], [`marks`], [`ruler`].
//! They read files with [`image`], measure with [`sharpness`], [`noise`], [`detail`], [`tracking`]
//! and [`optics`], keep things in [`store`] and write with [`report`]. [`simulator`] makes frames
//! with known truth.
//!
//! # Example
//!
//! The focus map of a simulated frame whose blur is known:
//!
//! ```
//! use stopwise::core::{Luma, stats::median};
//! use stopwise::simulator::patch::{PatchKind, patch};
//! use stopwise::sharpness::focus_map::FrameCells;
//! use stopwise::sharpness::pyramid::Pyramid;
//!
//! // 320 x 320 px of edges with a Gaussian blur of 1.2 px and noise of one 8-bit step.
//! let grey = patch(PatchKind::Edges, 1.2, 1.0, 7, 320).to_luma();
//! let luma = Luma::U8 { data: &grey, channels: 1, width_px: 320, height_px: 320 };
//!
//! let cells = FrameCells::measure(&luma, &Pyramid::new(&luma)).expect("64 px at least");
//! let map = cells.map(&cells.noise().expect("quiet tiles"));
//! let mut blur_px: Vec<f64> =
//!     map.corrected_tiles.iter().filter_map(|tile| Some(f64::from(tile.sigma_px()?))).collect();
//! let middle_px = median(&mut blur_px).expect("tiles with edges");
//! assert!((middle_px - 1.2).abs() < 0.12, "{middle_px} px");
//! ```
//!
//! A whole outing is [`cull::outing::cull`]; one frame is [`cull::inspect::inspect`].
//!
//! # Features
//!
//! `cli` (default) brings in what only the program needs: the command line, colours and the
//! progress bar. `default-features = false` leaves the library alone.
#![forbid(unsafe_code)]
#![deny(clippy::print_stdout, clippy::print_stderr)]

pub mod body_noise;
pub mod clips;
pub mod compare;
pub mod core;
pub mod cull;
pub mod detail;
pub mod error;
pub mod image;
pub mod limits;
pub mod marks;
pub mod noise;
pub mod optics;
pub mod plan;
pub mod report;
pub mod review;
pub mod ruler;
pub mod sharpness;
pub mod simulator;
pub mod store;
pub mod tracking;

pub use error::{Error, Result, SidecarFault, SkipReason};
