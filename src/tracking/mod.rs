//! Where things are from frame to frame: registration, a subject, planes of focus, shake.

pub mod burst_noise;
pub mod burst_planes;
pub mod frame_chances;
pub mod frame_features;
pub mod frame_motion;
pub mod locate;
pub mod place_chances;
pub mod planes;
pub mod registration;
pub mod shake;
pub mod similarity;
pub mod subject_depth;
pub mod subject_hints;
pub mod subject_tracking;
pub mod template;
pub mod unmarked_subject;
pub mod whole_frames;
