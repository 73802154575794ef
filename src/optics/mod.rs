//! Light through a lens: diffraction, defocus, depth, exposure, movement of hand and subject.

pub mod closeup;
pub mod defocus;
pub mod depth;
pub mod diffraction;
pub mod imaging_model;
pub mod light;
pub mod motion;
pub mod movement;
pub mod resolved;

pub use resolved::{MountedLens, Optics};
