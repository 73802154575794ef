//! Where things are from frame to frame: registration, a subject, planes of focus, shake.

pub mod frame_chances;
pub mod frame_features;
pub mod frame_motion;
pub mod place_chances;
pub mod planes;
pub mod registration;
pub mod shake;
pub mod similarity;
pub mod subject_depth;
pub mod subject_tracking;
pub mod template;
