//! A seeded physical simulator of handheld close-up photography: scenes with depth, a lens with
//! diffraction and defocus, an unsteady hand, a sensor and its rendering, with the truth about
//! every frame. It feeds the demonstration, the tests and the benches.

pub mod burst;
pub mod camera;
pub mod causes;
pub mod clip;
mod creature;
pub mod dng;
pub mod encode;
pub mod field;
pub mod file;
pub mod layer;
pub mod optics;
pub mod outing;
pub mod patch;
mod pose;
pub mod ruler;
pub mod scene;
pub mod score;
pub mod sensor;
pub mod series;
pub mod shooter;
mod skin;
mod solid;
mod spectrum;
pub mod surface;
mod texture;
pub mod traps;

pub use burst::{BurstSpec, SimFrame, SimulatedBurst, SimulatedShot, TrueCall, TrueCause, Truth};
pub use camera::{Camera, HandMotion, LinearFrame, Pose};
pub use encode::RenderedPicture;
pub use optics::{SimulatedLens, sigma_true_px};
pub use scene::{Scene, SceneKind, SceneSpec};
pub use surface::{Surface, SurfaceLook, SurfacePlacing};
