//! What fools a sharpness score, a row of the table a test: the plain Laplacian variance ranks
//! wrongly, ours ranks right or says that it is unclear.
//!
//! Frames are close-ups as they are taken: an eye of 170 px radius (facets and 1/f texture)
//! before a distance far out of focus, marked in the middle. Sharp means in focus, soft a defocus
//! disc of 8 px diameter, near one of 4 px.

mod light;
mod place;
mod rendering;
mod structure;

use stopwise::core::units::{GREEN, PitchUm};
use stopwise::core::verdict::{Cause, Verdict};
use stopwise::core::{Flag, Luma};
use stopwise::cull::burst_verdict::BurstVerdict;
use stopwise::cull::judge::judge;
use stopwise::sharpness::focus_map::Tile;
use stopwise::sharpness::subject_blur::Attainable;
use stopwise::simulator::RenderedPicture;
use stopwise::simulator::camera::LinearFrame;
use stopwise::simulator::encode::encoded;
use stopwise::simulator::file::jpeg;
use stopwise::simulator::traps::{LENS, SIZE_PX, eye};
use stopwise::tracking::frame_features::FrameFeatures;
use stopwise::tracking::subject_hints::SubjectMark;

use crate::synthetic::laplacian_variance;

/// Diameter of the defocus disc of a soft frame, px.
const SOFT_PX: f64 = 8.0;
/// Diameter of the defocus disc of a frame that is nearly there, px.
const NEAR_PX: f64 = 4.0;
/// Noise of an ordinary frame, 8-bit steps.
const NOISE_DN: f64 = 1.5;
/// Exposure that puts the eye's mean near the middle of the scale.
const EXPOSURE: f32 = 1.15;

/// What shows an eye in a round part of 170 px radius, and a blurred distance around it.
fn close_up(eye_frame: LinearFrame) -> LinearFrame {
    const RADIUS_PX: f32 = 170.0;
    let far = eye(90, 9.0, 60.0);
    let middle = SIZE_PX as f32 / 2.0;
    let mut frame = eye_frame;
    frame.mix(&far, |x, y| (((x - middle).hypot(y - middle) - RADIUS_PX) / 24.0).clamp(0.0, 1.0));
    frame
}

/// A close-up with a defocus disc of `disc_px`.
fn seen(disc_px: f64) -> LinearFrame {
    close_up(eye(1, 9.0, disc_px))
}

fn taken(light: &LinearFrame, noise_dn: f64, seed: u64) -> RenderedPicture {
    encoded(light, EXPOSURE, noise_dn, seed)
}

fn through_jpeg(picture: &RenderedPicture, quality: u8) -> RenderedPicture {
    let bytes = jpeg(picture, quality, true, None).unwrap();
    let grey = image::load_from_memory(&bytes).unwrap().to_luma8();
    RenderedPicture { channels: 1, data: grey.into_raw(), ..*picture }
}

/// A burst after both scores have had their say.
struct Scored {
    plain: Vec<f64>,
    burst: BurstVerdict,
}

/// Scores a burst whose subject is marked in the middle of its first frame.
fn scored(frames: &[RenderedPicture]) -> Scored {
    let lumas: Vec<Vec<u8>> = frames.iter().map(RenderedPicture::luma).collect();
    let views: Vec<Luma<'_>> = frames
        .iter()
        .zip(&lumas)
        .map(|(p, data)| Luma::U8 {
            data,
            channels: 1,
            width_px: p.width_px,
            height_px: p.height_px,
        })
        .collect();
    let shots: Vec<FrameFeatures> =
        views.iter().map(|v| FrameFeatures::measure(v).unwrap()).collect();
    let (x_px, y_px) = (frames[0].width_px as f64 / 2.0, frames[0].height_px as f64 / 2.0);
    let allowed =
        vec![Some(Attainable::new(LENS.n_eff, PitchUm(LENS.pitch_um), GREEN)); frames.len()];
    Scored {
        plain: frames.iter().map(|p| laplacian_variance(&p.luma_plane())).collect(),
        burst: judge(
            &shots,
            Some(SubjectMark { frame: 0, x_px, y_px, box_px: None }),
            &allowed,
            &views,
        ),
    }
}

impl Scored {
    fn call(&self, frame: usize) -> Verdict {
        self.burst.frames[frame].verdict
    }

    fn causes(&self, frame: usize) -> Vec<Cause> {
        self.burst.frames[frame].causes.iter().map(|c| c.cause).collect()
    }

    fn flagged(&self, frame: usize, flag: Flag) -> bool {
        self.burst.frames[frame].flags.has(flag)
    }

    fn energy(&self, frame: usize) -> f64 {
        self.burst.frames[frame].subject.as_ref().unwrap().energy
    }

    fn noise_share(&self, frame: usize) -> f64 {
        self.burst.frames[frame].subject.as_ref().unwrap().noise_share
    }

    fn edge_px(&self, frame: usize) -> f64 {
        match self.burst.frames[frame].subject.as_ref().unwrap().tile {
            Tile::Blur { sigma_px, .. } => f64::from(sigma_px),
            other => panic!("no blur but {other:?}: {}", self.line(frame)),
        }
    }

    /// One line for the message of a failed check.
    fn line(&self, frame: usize) -> String {
        let f = &self.burst.frames[frame];
        let keys: Vec<&str> = f.flags.iter().map(Flag::key).collect();
        format!(
            "frame {frame}: plain {:.1}, energy {:.0}, {:?}, {:?}, judged {:?}, {:?}, {keys:?}",
            self.plain[frame],
            self.energy(frame),
            f.subject.as_ref().unwrap().tile,
            f.verdict,
            f.judged_px.map(|m| m.value),
            self.causes(frame),
        )
    }

    fn lines(&self) -> String {
        (0..self.plain.len()).map(|i| self.line(i) + "\n").collect()
    }

    /// The plain score puts `worse` above `better`, ours the other way round: `better` is called
    /// a hit and is the best, `worse` is not a hit.
    fn only_plain_is_fooled(&self, better: usize, worse: usize) {
        let lines = self.lines();
        assert!(self.plain[worse] > self.plain[better], "the plain score is right\n{lines}");
        assert!(self.energy(better) > self.energy(worse), "{lines}");
        assert_eq!(self.burst.best, Some(better), "{lines}");
        assert_eq!(self.call(better), Verdict::Hit, "{lines}");
        assert!(matches!(self.call(worse), Verdict::Miss | Verdict::Unclear), "{lines}");
    }
}
