//! Movement in the frames of a burst: by the spectra about the subject against those of the burst,
//! and where those cannot tell by edges sorted by direction.

use rayon::prelude::*;

use super::burst_verdict::Movement;
use super::subject_boxes::MAX_CLIPPED;
use crate::core::stats::median;
use crate::sharpness::direction::{Smear, smear};
use crate::sharpness::smear_spectrum::{self, PatchSpectrum, SpectralSmear};
use crate::sharpness::subject::SubjectBox;
use crate::sharpness::subject_blur::Attainable;
use crate::tracking::frame_features::FrameFeatures;

/// How well the directions of a frame's boxes must agree (length of the mean of e^2iθ).
const AGREE: f64 = 0.85;
/// Boxes that must agree.
const AGREE_BOXES: usize = 2;
/// Share of a frame's readable boxes that must show movement when the subject's does not.
const AGREE_SHARE: f64 = 0.5;
/// Share of the directional scatter that a movement must explain, and its least length, px.
const MIN_EXPLAINED: f64 = 0.2;
/// See [`MIN_EXPLAINED`].
const MIN_MOVED_PX: f64 = 2.5;
/// A box shows a direction when its swing exceeds this many of its errors.
const DIRECTION_SEEN_Z: f64 = 2.5;
/// Share of the directional scatter that a smear must explain in a burst that was shaken all the
/// time, and the share of the frames of which the spectra must tell that.
const SHAKEN_EXPLAINED: f64 = 0.4;
/// See [`SHAKEN_EXPLAINED`].
const SHAKEN_TOLD: f64 = 0.5;
/// What such a length is multiplied by: the envelope of smeared frames is smeared as well. Lengths
/// read 0.75 to 0.85 of the true ones in 6 simulated bursts.
const SHAKEN_STRETCH: f64 = 1.25;
/// Directions nearer than this are one, degrees.
const SAME_DIRECTION_DEG: f64 = 25.0;

/// Movement of every frame against the sharpest and its blur, px.
pub fn movements(
    shots: &[&FrameFeatures],
    boxes: &[Option<&SubjectBox>],
    (sharpest, px): (usize, f64),
    attainable: Option<Attainable>,
) -> Vec<Option<Movement>> {
    let shares = match attainable {
        Some(Attainable { flash: false, .. }) => smear_spectrum::BY_LAMP,
        _ => smear_spectrum::BY_FLASH,
    };
    let reference = BestFrame::of(boxes, sharpest, px, shares);
    (0..shots.len())
        .into_par_iter()
        .map(|i| movement(shots[i], boxes[i], reference.as_ref(), i == sharpest))
        .collect()
}

/// The same for a burst that was shaken all the time, whose usual smear edges show: what the spectra
/// tell against the burst's envelope, where they tell of most frames.
pub fn shaken_movements(
    boxes: &[Option<&SubjectBox>],
    (sharpest, px): (usize, f64),
    usual: Smear,
) -> Vec<Option<Movement>> {
    let reference = BestFrame::of(boxes, sharpest, px, smear_spectrum::BY_LAMP);
    let told = boxes
        .par_iter()
        .enumerate()
        .map(|(i, subject)| reference.as_ref()?.smear((*subject)?, i == sharpest))
        .collect();
    of_shaken(told, px, usual)
}

/// Every frame's movement from what the spectra tell of it. Where they tell of too few frames, all
/// have the `usual` one; else the others have it in the middle of the lengths that are told.
fn of_shaken(
    told: Vec<Option<SpectralSmear>>,
    sharpest_px: f64,
    usual: Smear,
) -> Vec<Option<Movement>> {
    let own = |told: Option<SpectralSmear>| {
        let found = told.filter(|t| t.explained > SHAKEN_EXPLAINED)?;
        let length_px = SHAKEN_STRETCH * found.length_px;
        let moved = by_spectrum(&SpectralSmear { length_px, ..found }, sharpest_px, &[])?;
        Some(Movement { whole_frame: true, ..moved })
    };
    let frames = told.len();
    let own: Vec<Option<Movement>> = told.into_iter().map(own).collect();
    let mut lengths: Vec<f64> = own.iter().flatten().map(|m| m.smear.length_px).collect();
    if (lengths.len() as f64) < SHAKEN_TOLD * frames as f64 {
        return vec![Some(Movement::of_all(usual)); frames];
    }
    let of_rest = median(&mut lengths).map_or(usual, |length_px| usual.of_length(length_px));
    own.into_iter().map(|m| m.or(Some(Movement::of_all(of_rest)))).collect()
}

/// What the movement of a frame is judged against.
struct BestFrame<'a> {
    /// The subject in the sharpest frame.
    subject: &'a SubjectBox,
    /// Its blur, px.
    px: f64,
    /// The burst's envelope, where there are frames enough.
    envelope: Option<PatchSpectrum>,
    /// Shares of the light that may have been smeared.
    shares: &'static [f64],
}

impl<'a> BestFrame<'a> {
    fn of(
        boxes: &[Option<&'a SubjectBox>],
        sharpest: usize,
        px: f64,
        shares: &'static [f64],
    ) -> Option<BestFrame<'a>> {
        let subject = (*boxes.get(sharpest)?)?;
        let spectra: Vec<_> = boxes
            .iter()
            .flatten()
            .filter(|b| b.clipped < MAX_CLIPPED && b.mean_dn > 1.0)
            .filter_map(|b| Some((&b.spectrum.as_ref()?.0, b.mean_dn)))
            .collect();
        let envelope = PatchSpectrum::envelope(&spectra, subject.mean_dn);
        Some(BestFrame { subject, px, envelope, shares })
    }

    /// The movement of a subject by the spectra; `None` where they cannot tell.
    fn smear(&self, subject: &SubjectBox, is_sharpest: bool) -> Option<SpectralSmear> {
        let (own, reference) = (subject.spectrum.as_ref()?, self.subject.spectrum.as_ref()?);
        let sharp = match &self.envelope {
            Some(envelope) => envelope,
            None if is_sharpest => return None,
            None => &reference.0,
        };
        smear_spectrum::against(
            (&own.0, &own.1, subject.mean_dn),
            (sharp, &reference.1, self.subject.mean_dn),
            self.shares,
        )
    }
}

/// Movement of a frame, judged first by the spectra about the subject against those of the burst,
/// and where those cannot tell by edges sorted by direction.
fn movement(
    shot: &FrameFeatures,
    subject: Option<&SubjectBox>,
    reference: Option<&BestFrame<'_>>,
    is_sharpest: bool,
) -> Option<Movement> {
    let boxes: Vec<Smear> = shot.boxes.iter().filter_map(|b| smear(&b.profile, None)).collect();
    if let (Some(subject), Some(reference)) = (subject, reference)
        && let Some(found) = reference.smear(subject, is_sharpest)
    {
        return by_spectrum(&found, reference.px, &boxes);
    }
    let best = reference.filter(|_| !is_sharpest).map(|r| r.subject);
    // Fine structure shows a short smear best, coarse structure a long one: a smear keeps just
    // those fine edges that lie along it. So either level may find it.
    let own = subject.and_then(|s| {
        [0, 1].iter().filter_map(|l| smear(&s.profiles[*l], best.map(|b| &b.profiles[*l]))).max_by(
            |a, b| {
                let key = |s: &Smear| (s.is_movement(), s.z);
                key(a).0.cmp(&key(b).0).then(key(a).1.total_cmp(&key(b).1))
            },
        )
    });
    by_edges(own, boxes)
}

/// The movement that the spectra about a subject show, over the blur of the sharpest frame, px.
fn by_spectrum(found: &SpectralSmear, sharpest_px: f64, boxes: &[Smear]) -> Option<Movement> {
    let moved = found.explained > MIN_EXPLAINED && found.length_px > MIN_MOVED_PX;
    if !moved {
        return None;
    }
    let swing = found.share * found.length_px.powi(2) / 24.0;
    let mean = sharpest_px * sharpest_px + swing;
    let smear = Smear {
        mean_px2: mean,
        swing_px2: swing,
        length_px: found.length_px,
        length_std_err_px: found.length_std_err_px,
        direction_deg: found.direction_deg,
        z: found.length_px / found.length_std_err_px,
        fraction: swing / mean,
    };
    Some(Movement {
        smear,
        whole_frame: shared_by_frame(boxes, found.direction_deg),
        share: found.share,
        explained: found.explained,
    })
}

/// The movement that edges show: `own` about the subject, `boxes` all over the frame.
fn by_edges(own: Option<Smear>, boxes: Vec<Smear>) -> Option<Movement> {
    let count = boxes.len();
    let mut moving: Vec<Smear> = boxes.into_iter().filter(Smear::is_movement).collect();
    let (mut c, mut s) = (0f64, 0f64);
    for m in &moving {
        let a = (2.0 * m.direction_deg).to_radians();
        c += a.cos();
        s += a.sin();
    }
    let n = moving.len() as f64;
    let agree = moving.len() >= AGREE_BOXES && c.hypot(s) / n > AGREE;
    let moved = |smear, whole_frame| Movement { smear, whole_frame, share: 1.0, explained: 1.0 };
    match own.filter(Smear::is_movement) {
        Some(smear) => Some(moved(smear, agree || moving.is_empty() && count < AGREE_BOXES)),
        None if agree && n >= AGREE_SHARE * count as f64 => {
            // The frame moved; the subject's own edges just do not show it.
            moving.sort_by(|a, b| a.length_px.total_cmp(&b.length_px));
            Some(moved(moving[moving.len() / 2], true))
        }
        None => None,
    }
}

/// Whether a movement at the subject is one of the whole frame: its boxes that show any direction
/// mostly show this one. Where too few do, the hand is the likelier cause.
fn shared_by_frame(boxes: &[Smear], direction_deg: f64) -> bool {
    let telling: Vec<&Smear> = boxes.iter().filter(|s| s.z > DIRECTION_SEEN_Z).collect();
    let off = |s: &Smear| {
        ((s.direction_deg - direction_deg + 90.0).rem_euclid(180.0) - 90.0).abs()
            < SAME_DIRECTION_DEG
    };
    let same = telling.iter().filter(|s| off(s)).count();
    telling.len() < AGREE_BOXES || 2 * same >= telling.len()
}

#[cfg(test)]
mod tests;
