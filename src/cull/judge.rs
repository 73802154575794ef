//! The verdict on every frame of a burst: how sharp the subject is against the best that the
//! burst and its settings give, and what cost the rest.

use std::borrow::Borrow;

use rayon::prelude::*;

use super::burst_planes;
use super::record::CauseShare;
use super::unmarked::{self, GUESSED_CONFIDENCE, SubjectSpot, UnmarkedSubject};
use super::unreached;
use super::verdict;
use crate::core::verdict::Verdict;
use crate::core::{Flag, FlagSet, Measured};
use crate::report::parts::SubjectFound;
use crate::sharpness::band_noise::BandNoise;
use crate::sharpness::direction::{Smear, smear};
use crate::sharpness::focus_map::{FocusMap, TILE_PX};
use crate::sharpness::sharp_area::sharpest_area;
use crate::sharpness::smear_spectrum::{self, PatchSpectrum, SpectralSmear};
use crate::sharpness::subject::{BOX_PX, BOX_RANGE_PX, REACH_PX, SubjectBox, SubjectSums};
use crate::sharpness::subject_blur::{Attainable, BlurRange, Reached, SubjectBlur, subject_blur};
use crate::tracking::frame_features::{FrameFeatures, Patch, patch_corner};
use crate::tracking::subject_tracking::{self, SubjectPosition};

/// Energy must exceed this many of its standard errors to count as seen.
pub const ENERGY_SEEN: f64 = 2.0;
/// Dense energy must exceed this many standard errors of the energy to count as seen; it is less
/// certain than the energy itself.
const DENSE_SEEN: f64 = 5.0;
/// Energy over dense energy, against the burst's usual, from which a frame's is sparse: hairs
/// across soft eyes reach 10 to 40, noise and pose alone 2.5.
const SPARSE_RATIO: f64 = 4.0;
/// Dense energy below this share of the energy is no even texture (simulated subjects: 0.2-0.8).
const SPARSE_SHARE: f64 = 0.1;
/// Share of clipped pixels in the subject box from which nothing is said.
pub const MAX_CLIPPED: f64 = 0.5;
/// How well the directions of a frame's boxes must agree (length of the mean of e^2iθ).
const AGREE: f64 = 0.85;
/// Boxes that must agree.
const AGREE_BOXES: usize = 2;
/// Share of a frame's readable boxes that must show movement when the subject's does not.
const AGREE_SHARE: f64 = 0.5;
/// Readings of noise (variances) up to this much apart are those of the same noise.
const NOISE_ALIKE: f64 = 2.0;
/// Ratio of gradient variance before to after smoothing that is noise beyond doubt: white noise
/// gives 22, demosaiced or compressed less; fine regular texture gives less still, or far more.
const NOISE_PLAIN: std::ops::RangeInclusive<f32> = 8.0..=30.0;
/// Share of the directional scatter that a movement must explain, and its least length, px.
const MIN_EXPLAINED: f64 = 0.2;
/// See [`MIN_EXPLAINED`].
const MIN_MOVED_PX: f64 = 2.5;
/// A box shows a direction when its swing exceeds this many of its errors.
const DIRECTION_SEEN_Z: f64 = 2.5;
/// Directions nearer than this are one, degrees.
const SAME_DIRECTION_DEG: f64 = 25.0;
/// Noise assumed where none shows and no level can be read, 8-bit steps.
pub const UNSEEN_SIGMA_DN: f64 = 0.5;

/// Side of the patch around the subject: what measuring needs and a margin for the picture, px.
pub const PATCH_PX: usize = 448;

/// Fetches pixels of a frame again: frame, left, top, side.
pub type Fetch<'a> = dyn Fn(usize, usize, usize, usize) -> Option<Patch> + Sync + 'a;

/// A point marked by the user.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SubjectMark {
    /// Frame in which it is marked.
    pub frame: usize,
    /// Position, px of the file.
    pub x_px: f64,
    /// Position, px of the file.
    pub y_px: f64,
    /// Side of the box in which the subject is measured, px; the usual one when `None`.
    pub box_px: Option<usize>,
}

/// Side of the box for a subject of a width and height, px.
pub fn box_for(width_px: f64, height_px: f64) -> usize {
    let side = (width_px.max(height_px) / TILE_PX as f64).round() as usize * TILE_PX;
    side.clamp(*BOX_RANGE_PX.start(), *BOX_RANGE_PX.end())
}

/// One frame after its burst is judged.
#[derive(Debug, Clone)]
pub struct FrameVerdict {
    /// Where the subject is.
    pub place: Option<SubjectPosition>,
    /// What its box holds.
    pub subject: Option<SubjectBox>,
    /// Blur by which the verdict is made, px, with movement.
    pub judged_px: Option<Measured>,
    /// The same with the range that holds 68 % of the probability.
    pub range: Option<BlurRange>,
    /// Blur over the reference.
    pub ratio: Option<Measured>,
    /// Movement, when found.
    pub movement: Option<Movement>,
    /// The verdict.
    pub verdict: Verdict,
    /// What cost the rest, largest first.
    pub causes: Vec<CauseShare>,
    /// Sharpest area: centre in px of the file and blur.
    pub sharpest: Option<(f64, f64, Measured)>,
    /// Share of tiles with a value whose blur is within the hit limit.
    pub sharp_area: Option<f64>,
    /// Number of 64-px tiles in the largest connected sharp area.
    pub sharp_cluster: usize,
    /// Area that lies in the plane of the frame's focus, px², where the burst's planes are known.
    pub in_plane_px2: Option<f64>,
    /// Flags.
    pub flags: FlagSet,
}

/// Movement found in a frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Movement {
    /// The fit.
    pub smear: Smear,
    /// Whether the whole frame moved (else only the subject).
    pub whole_frame: bool,
    /// Share of the light that is smeared, 0..1: below 1 a sharp picture lies under the smear.
    pub share: f64,
    /// Share of the directional scatter that it explains, 0..1.
    pub explained: f64,
}

/// A judged burst.
#[derive(Debug, Clone)]
pub struct BurstVerdict {
    /// Its frames, in the order given.
    pub frames: Vec<FrameVerdict>,
    /// The best frame.
    pub best: Option<usize>,
    /// How the subject was found.
    pub found: SubjectFound,
    /// The noise model of the burst.
    pub noise: BandNoise,
    /// Whether any frame showed its noise.
    pub noise_seen: bool,
    /// Maps under that model.
    pub maps: Vec<FocusMap>,
    /// The blur that verdicts are relative to, px.
    pub reference_px: Option<f64>,
    /// Whether even the sharpest frame is soft.
    pub best_is_soft: bool,
    /// Whether nearly every frame is smeared.
    pub is_shaken: bool,
    /// Whether the burst reached focus at its subject.
    pub reached: Reached,
    /// Blur from the ring spectra, where the subject's could be read.
    pub blur: Option<SubjectBlur>,
    /// Without a mark: the frame and the place that could be meant instead of the best.
    pub other: Option<SubjectSpot>,
}

/// One noise model for the whole burst, and whether any frame showed its noise.
///
/// Frames of a burst share their noise and texture only adds to what a frame reads, so a frame
/// that reads much more than the quietest one reads texture. Of the others the one that shows
/// its noise best speaks for all. Where none shows it: white noise no stronger than the quietest
/// tiles allow.
pub fn burst_noise(shots: &[&FrameFeatures]) -> (BandNoise, bool) {
    let read = || shots.iter().filter_map(|s| s.noise);
    let Some(least) = read().map(|n| strength(&n)).min_by(f64::total_cmp) else {
        return (BandNoise::white(UNSEEN_SIGMA_DN), false);
    };
    let alike = read().filter(|n| n.is_seen() && strength(n) <= NOISE_ALIKE * least);
    if let Some(best) = alike.max_by(|a, b| a.ratio.total_cmp(&b.ratio)) {
        return (best, true);
    }
    let variance = |n: &BandNoise| n.levels[0].n1.at(128.0);
    let quietest = read().map(|n| variance(&n)).min_by(f64::total_cmp);
    (
        quietest.map_or_else(|| BandNoise::white(UNSEEN_SIGMA_DN), |v| BandNoise::white(v.sqrt())),
        false,
    )
}

/// Variance of noise in the band that ranks frames, at middle grey.
fn strength(noise: &BandNoise) -> f64 {
    noise.levels[1].lap.at(128.0)
}

/// The model for one frame: that of the burst, unless the frame itself clearly shows more noise
/// (another ISO setting). Smaller differences are chance, and changing the model from frame to
/// frame costs more than they do.
fn frame_noise(shot: &FrameFeatures, burst: &BandNoise) -> BandNoise {
    match shot.noise {
        Some(own)
            if NOISE_PLAIN.contains(&own.ratio)
                && strength(&own) > NOISE_ALIKE * strength(burst) =>
        {
            own
        }
        _ => *burst,
    }
}

/// What is known of a burst's subject before its frames are judged.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SubjectHints {
    /// The user's mark.
    pub mark: Option<SubjectMark>,
    /// The place that the camera recorded.
    pub recorded: Option<SubjectSpot>,
}

impl From<Option<SubjectMark>> for SubjectHints {
    fn from(mark: Option<SubjectMark>) -> SubjectHints {
        SubjectHints { mark, ..SubjectHints::default() }
    }
}

/// Judges a burst.
///
/// `attainable[i]` is what frame i's settings can give at best, where known. `fetch` returns
/// pixels around a spot.
pub fn judge<S: Borrow<FrameFeatures>>(
    shots: &[S],
    hints: impl Into<SubjectHints>,
    attainable: &[Option<Attainable>],
    fetch: &Fetch<'_>,
) -> BurstVerdict {
    let hints: SubjectHints = hints.into();
    let mark = hints.mark;
    let shots: &[&FrameFeatures] = &shots.iter().map(Borrow::borrow).collect::<Vec<_>>();
    let (noise, noise_seen) = burst_noise(shots);
    let models: Vec<BandNoise> = shots.iter().map(|s| frame_noise(s, &noise)).collect();
    let maps: Vec<FocusMap> = shots.par_iter().zip(&models).map(|(s, n)| s.cells.map(n)).collect();
    let of_any = attainable.iter().flatten().next().copied();
    let fitted = burst_planes::fitted(shots, &noise);
    let unmarked_subject = fitted.as_ref().filter(|_| mark.is_none()).map(|fitted| {
        let blurred = unreached::blurred_chance(shots, &maps, of_any);
        UnmarkedSubject::find(fitted, &hints, blurred)
    });
    let spot = unmarked_subject.as_ref().map(|u| u.spot).or(hints.recorded);
    let spot = spot.map(|s| (s.frame, s.x_px, s.y_px));
    let sharpest =
        || subject_tracking::track_subject(shots, &maps).map(|f| (f.frame, f.x_px, f.y_px));
    let start = mark.map(|m| (m.frame, m.x_px, m.y_px)).or(spot).or_else(sharpest);
    let found = match (mark, start) {
        (Some(_), _) => SubjectFound::Marked,
        (None, Some(_)) => SubjectFound::Automatic,
        (None, None) => SubjectFound::None,
    };
    let mut places = match start {
        Some((frame, x, y)) => subject_tracking::track_template_through(shots, frame, x, y),
        None => vec![None; shots.len()],
    };
    if mark.is_none() {
        let places = places.iter_mut().flatten();
        places.for_each(|p| p.confidence = p.confidence.min(GUESSED_CONFIDENCE));
    }
    let box_px = mark.and_then(|m| m.box_px).unwrap_or(BOX_PX);
    let mut boxes: Vec<Option<SubjectBox>> = places
        .par_iter()
        .enumerate()
        .map(|(i, place)| subject_box(i, (*place)?, shots[i], (&models[i], box_px), fetch))
        .collect();
    let sparse = without_sparse(&mut boxes);
    let lead = boxes
        .iter()
        .enumerate()
        .filter_map(|(i, b)| Some((i, b.as_ref()?)))
        .filter(|(_, b)| b.energy > ENERGY_SEEN * b.energy_std_err && b.clipped < MAX_CLIPPED)
        .max_by(|a, b| a.1.energy.total_cmp(&b.1.energy).then(b.0.cmp(&a.0)))
        .map(|(i, _)| i);
    let own_noise: Vec<_> = shots.iter().map(|s| s.rendered_noise.as_ref()).collect();
    let of_burst = lead.and_then(|i| attainable.get(i).copied().flatten());
    let is_missed = match &fitted {
        _ if mark.is_none() || shots.len() < burst_planes::MIN_FRAMES => None,
        Some((overlaid, planes)) => {
            let spot = places[overlaid.middle].map(|p| (p.x_px, p.y_px));
            let beyond_px = spot.and_then(|spot| overlaid.beyond_px(planes, spot));
            Some(unreached::is_missed(beyond_px, &maps, of_any))
        }
        None => Some(true),
    };
    let blur = subject_blur(&boxes, &sparse, &own_noise, &noise, of_burst, is_missed);
    let sharpest: Vec<_> = maps.iter().map(sharpest_area).collect();
    let in_plane = fitted.as_ref().map(|(overlaid, planes)| overlaid.in_plane_px2(planes));
    let frames = (0..shots.len())
        .map(|i| FrameVerdict {
            place: places[i],
            subject: boxes[i].clone(),
            judged_px: None,
            range: None,
            ratio: None,
            movement: None,
            verdict: Verdict::Unclear,
            causes: Vec::new(),
            sharpest: sharpest[i],
            sharp_area: None,
            sharp_cluster: 0,
            in_plane_px2: in_plane.as_ref().map(|a| a[i]),
            flags: FlagSet::EMPTY,
        })
        .collect();
    let shake = unreached::shake(shots);
    let mut burst = BurstVerdict {
        frames,
        best: None,
        found,
        noise,
        noise_seen,
        maps,
        reference_px: None,
        best_is_soft: false,
        is_shaken: shake.is_some(),
        reached: blur.as_ref().map_or(Reached::Unknown, |b| b.reached),
        blur,
        other: None,
    };
    // What the whole frames say holds whatever the subject is; a mark knows better only where the
    // plane lay.
    let nothing_sharp =
        burst.is_shaken || mark.is_none() && unreached::is_blurred(&burst.maps, of_any);
    match unmarked_subject.as_ref().and_then(|u| u.is_reached(of_any)) {
        _ if nothing_sharp => burst.reached = Reached::No,
        Some(false) => burst.reached = Reached::No,
        // The place is a guess, and what is smooth there may be sharp at the subject.
        Some(true) => burst.reached = Reached::Yes,
        None => {}
    }
    let shares = match of_burst {
        Some(Attainable { flash: false, .. }) => smear_spectrum::BY_LAMP,
        _ => smear_spectrum::BY_FLASH,
    };
    let movements = |sharpest: usize, px: f64| -> Vec<Option<Movement>> {
        if shake.is_some() {
            return vec![shake; shots.len()];
        }
        let reference = BestFrame::of(&boxes, sharpest, px, shares);
        (0..shots.len())
            .into_par_iter()
            .map(|i| movement(shots[i], boxes[i].as_ref(), reference.as_ref(), i == sharpest))
            .collect()
    };
    verdict::decide(&mut burst, lead, &sparse, of_burst, &movements);
    if nothing_sharp && !burst.best_is_soft {
        unmarked::tell_unreached(&mut burst);
    }
    if burst.is_shaken {
        unreached::tell_shaken(&mut burst);
    }
    match &unmarked_subject {
        _ if burst.best_is_soft || mark.is_some() || shots.len() < 2 => {}
        Some(subject) => subject.restate(&mut burst, of_burst),
        None => unmarked::withhold_disputed(&mut burst, shots, &hints),
    }
    if found == SubjectFound::Automatic {
        burst.frames.iter_mut().for_each(|f| f.flags.raise(Flag::SubjectGuessed));
    }
    if shots.len() == 1 {
        burst.frames.iter_mut().for_each(|f| f.flags.raise(Flag::Alone));
    }
    burst
}

fn subject_box(
    frame: usize,
    place: SubjectPosition,
    shot: &FrameFeatures,
    (noise, box_px): (&BandNoise, usize),
    fetch: &Fetch<'_>,
) -> Option<SubjectBox> {
    let size = (shot.width_px, shot.height_px);
    let (x0, y0) = patch_corner(place.x_px, place.y_px, 2 * REACH_PX, size);
    let patch = fetch(frame, x0, y0, 2 * REACH_PX)?;
    let (x, y) = (place.x_px - patch.x0 as f64, place.y_px - patch.y0 as f64);
    Some(SubjectSums::measure_box(&patch.luma(), x, y, box_px)?.under(noise))
}

/// Takes out of the ranking energies what hairs, specks or rims lying across the subject add to
/// them, and says in which frames that was done.
///
/// Energy over dense energy depends on the subject's texture, hardly on its blur (in simulated
/// bursts it stays within 2.5 of the usual): a frame where it is much larger owes its
/// energy to something sparse. A burst without even texture anywhere has nothing to compare with:
/// its sparse frames are flagged, no more.
fn without_sparse(boxes: &mut [Option<SubjectBox>]) -> Vec<bool> {
    let usable = |b: &&SubjectBox| b.clipped < MAX_CLIPPED;
    let even = |b: &&SubjectBox| {
        b.dense_energy > (DENSE_SEEN * b.energy_std_err).max(SPARSE_SHARE * b.energy)
    };
    let mut ratios: Vec<(f64, f64)> = boxes
        .iter()
        .flatten()
        .filter(usable)
        .filter(even)
        .map(|b| (b.energy / b.dense_energy, b.dense_energy))
        .collect();
    ratios.sort_by(|a, b| a.0.total_cmp(&b.0));
    let middle = ratios.get(ratios.len().saturating_sub(1) / 2).map(|r| r.0);
    let best = ratios.iter().max_by(|a, b| a.1.total_cmp(&b.1)).map(|r| r.0);
    let usual = middle.zip(best).map(|(m, b)| m.min(b));
    boxes
        .iter_mut()
        .map(|b| {
            let Some(b) = b.as_mut().filter(|b| b.energy > ENERGY_SEEN * b.energy_std_err) else {
                return false;
            };
            let most = b.dense_energy.max(0.0) + ENERGY_SEEN * b.energy_std_err;
            let Some(usual) = usual else {
                if most < SPARSE_SHARE * b.energy {
                    b.flags.raise(Flag::Sparse);
                }
                return false;
            };
            let sparse = b.energy > SPARSE_RATIO * usual * most;
            if sparse {
                b.energy = usual * b.dense_energy;
                b.flags.raise(Flag::Sparse);
            }
            sparse
        })
        .collect()
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
        boxes: &'a [Option<SubjectBox>],
        sharpest: usize,
        px: f64,
        shares: &'static [f64],
    ) -> Option<BestFrame<'a>> {
        let subject = boxes.get(sharpest)?.as_ref()?;
        let spectra: Vec<_> = boxes
            .iter()
            .flatten()
            .filter(|b| b.clipped < MAX_CLIPPED && b.mean_dn > 1.0)
            .filter_map(|b| Some((&*b.spectrum.as_ref()?.0, b.mean_dn)))
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
            None => &*reference.0,
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
        let moved = found.explained > MIN_EXPLAINED && found.length_px > MIN_MOVED_PX;
        return moved.then(|| {
            let swing = found.share * found.length_px.powi(2) / 24.0;
            let mean = reference.px * reference.px + swing;
            let smear = Smear {
                mean_px2: mean,
                swing_px2: swing,
                length_px: found.length_px,
                length_std_err_px: found.length_std_err_px,
                direction_deg: found.direction_deg,
                z: found.length_px / found.length_std_err_px,
                fraction: swing / mean,
            };
            Movement {
                smear,
                whole_frame: shared_by_frame(&boxes, found.direction_deg),
                share: found.share,
                explained: found.explained,
            }
        });
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
    let moving: Vec<&Smear> = boxes.iter().filter(|s| s.is_movement()).collect();
    let (mut c, mut s) = (0f64, 0f64);
    for m in &moving {
        let a = (2.0 * m.direction_deg).to_radians();
        c += a.cos();
        s += a.sin();
    }
    let n = moving.len() as f64;
    let agree = moving.len() >= AGREE_BOXES && c.hypot(s) / n > AGREE;
    match own.filter(Smear::is_movement) {
        Some(smear) => Some(Movement {
            smear,
            whole_frame: agree || moving.is_empty() && boxes.len() < AGREE_BOXES,
            share: 1.0,
            explained: 1.0,
        }),
        None if agree && n >= AGREE_SHARE * boxes.len() as f64 => {
            // The frame moved; the subject's own edges just do not show it.
            let mut lengths: Vec<&Smear> = moving;
            lengths.sort_by(|a, b| a.length_px.total_cmp(&b.length_px));
            Some(Movement {
                smear: *lengths[lengths.len() / 2],
                whole_frame: true,
                share: 1.0,
                explained: 1.0,
            })
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
