//! From what was measured on the frames of a burst to verdicts and causes.
//!
//! Pure: nothing is read here. Three steps. Every frame's still blur comes from its ring spectrum
//! against the anchor's, or, where the subject has none, from its edges and its energy against the
//! lead's; movement is added. The sharpest frame is the reference, and ratios to it make the
//! verdicts, unless the burst never reached focus.

use super::burst_verdict::{BurstVerdict, FrameVerdict, Movement};
use super::elsewhere::is_sharp_elsewhere;
use super::record::CauseShare;
use super::subject_boxes::MAX_CLIPPED;
use crate::core::verdict::{
    BlurBy, Cause, HIT_RATIO, NEAR_RATIO, REFERENCE_FLOOR_PX, SOFT_RATIO, Verdict, grade,
};
use crate::core::{Flag, FlagSet, Measured};
use crate::report::parts::SubjectFound;
use crate::sharpness::blur::S1_SQUARED;
use crate::sharpness::focus_map::Tile;
use crate::sharpness::sharp_area::sharp_cluster;
use crate::sharpness::subject::SubjectBox;
use crate::sharpness::subject_blur::{
    Attainable, BlurRange, ENERGY_SEEN, Reached, SOFT_FLOOR_PX, SURE_FINE, SubjectBlur,
};

/// Without settings and without a sharp area, a sharpest blur above this is soft, px.
const SOFT_UNKNOWN_PX: f64 = 4.0;
/// Share of the Laplacian energy from which noise alone explains what is seen.
const NOISE_DROWNS: f64 = 0.90;
/// Energy below this share of what the edges promise is a veil over a sharp picture.
const VEILED: f64 = 0.7;
/// Mean luma of the subject below which it is too dark to judge, 8-bit steps.
const DARK_DN: f64 = 10.0;
/// Scatter of ratios between spectra that their own error does not contain, ln.
const RATIO_SD_LN: f64 = 0.02;
/// The least that energy says of a ratio, whatever the subject is made of: what the law of edges
/// makes of it, raised to the first, times the second. Noise, blocks of compression and bright
/// discs reach the finest rings, but hardly the band of the ranking energy.
const ENERGY_BOUND: (f64, f64) = (0.48, 0.8);
/// Scatter of ratios that edges and energy read, ln.
const ENERGY_RATIO_SD_LN: f64 = 0.2;
/// Error of a ratio from which a frame's blur is not told, ln.
const MAX_RATIO_SD_LN: f64 = 0.5;
/// Error of a blur that only edges tell, ln (see [`crate::sharpness::subject_blur`]).
const EDGE_ERROR_LN: f64 = 0.28;
/// A ghost longer than this many periods of the subject's pattern must explain more: blurred
/// facets alone explain up to 0.33 there (nine simulated days).
const GHOST_PERIODS: f64 = 2.3;
/// See [`GHOST_PERIODS`].
const GHOST_EXPLAINED: f64 = 0.4;
/// Share of the directional scatter that a whole smear must explain, and any movement where no
/// pattern makes the spectrum's directions plain.
const WHOLE_EXPLAINED: f64 = 0.4;
/// Part of a smear's variance along its direction that the mean over all directions reads: 0.37 at
/// the middle of 38 simulated moved frames (0.0 to 0.75 from 10 to 90 %).
const SMEAR_READ: f64 = 0.37;
/// Share of the loss that a second cause must make to be named.
const SECOND_CAUSE: f64 = 0.25;

/// What a frame's subject shows before it is compared.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Still {
    /// Blur of the still picture on the scale of edges, px, and the error, ln.
    Blur { px: f64, error_ln: f64 },
    /// At least this much.
    AtLeast { px: f64 },
    /// Nothing can be said, for this cause.
    Nothing(Cause),
}

/// Blur of one frame on the absolute scale.
#[derive(Debug, Clone, Copy, PartialEq)]
struct ScaledBlur {
    /// Blur, px.
    px: f64,
    /// Error of its ratio to other frames, ln.
    ratio_sd_ln: f64,
}

impl ScaledBlur {
    /// Without the part of a movement that a mean over all directions reads as blur, but not
    /// sharper than the burst's sharpest frame.
    fn without(self, movement: Option<&Movement>, floor_px: f64) -> ScaledBlur {
        let square = self.px.powi(2) - SMEAR_READ * smear_px(movement).powi(2);
        ScaledBlur { px: square.max(floor_px.powi(2)).sqrt(), ..self }
    }
}

/// What is known of the burst's lead: the frame with most energy at the subject.
#[derive(Clone, Copy)]
struct Lead<'a> {
    subject: &'a SubjectBox,
    /// Blur at its edges, px.
    edge_px: f64,
}

impl<'a> Lead<'a> {
    fn of(subject: &'a SubjectBox) -> Option<Lead<'a>> {
        Some(Lead { subject, edge_px: subject.tile.edge_px()?.max(REFERENCE_FLOOR_PX) })
    }
}

/// Blur of a burst's frames without movement, by which movement is looked for and frames ranked.
#[derive(Debug, Clone)]
pub struct Ranking {
    /// Frame with most energy.
    lead: Option<usize>,
    /// In which frames something sparse was taken out of the energy.
    sparse: Vec<bool>,
    stills: Vec<Option<Still>>,
    scaled: Vec<Option<ScaledBlur>>,
    /// The sharpest frame and its blur, px; of frames alike the one with most energy.
    pub sharpest: Option<(usize, f64)>,
}

impl Ranking {
    /// Ranks frames by their subjects. `lead` is the frame with most energy, `sparse` says in which
    /// frames something sparse was taken out of the energy.
    pub fn of(burst: &BurstVerdict, lead: Option<usize>, sparse: Vec<bool>) -> Ranking {
        let blur = burst.blur.as_ref();
        let boxes: Vec<Option<&SubjectBox>> =
            burst.frames.iter().map(|f| f.subject.as_ref()).collect();
        let led = lead.and_then(|i| Lead::of(boxes[i]?));
        let alone = boxes.len() == 1;
        let mut stills: Vec<Option<Still>> = boxes
            .iter()
            .zip(&sparse)
            .map(|(b, sparse)| Some(still((*b)?, led, *sparse, alone)))
            .collect();
        let energies: Vec<Option<f64>> = boxes
            .iter()
            .map(|b| b.map(|b| b.energy.max(0.0) + ENERGY_SEEN * b.energy_std_err))
            .collect();
        let mut scaled = bounded(scaled(&stills, lead, blur), &energies, lead);
        let shows_fine = blur.is_some_and(|b| b.fine.iter().flatten().any(|f| *f >= SURE_FINE));
        let is_sparse = |b: &&SubjectBox| b.flags.has(Flag::Sparse);
        if !shows_fine && boxes.iter().flatten().all(is_sparse) && alike(&scaled) {
            // A mirror image or a single edge, the same in all frames: what is sharp there may not
            // be the subject.
            stills.iter_mut().flatten().for_each(|s| *s = Still::Nothing(Cause::NoTexture));
            scaled.fill(None);
        }
        let sharpest = finest(scaled.iter().map(|s| Some(s.as_ref()?.px)), lead);
        Ranking { lead, sparse, stills, scaled, sharpest }
    }
}

/// Fills in verdicts, causes, blur and the best frame of a burst. `moved` holds every frame's
/// movement against the sharpest of the ranking.
pub fn decide(
    burst: &mut BurstVerdict,
    ranking: Ranking,
    mut moved: Vec<Option<Movement>>,
    attainable: Option<Attainable>,
) {
    let Ranking { lead, sparse, stills, scaled, sharpest } = ranking;
    let blur = burst.blur.clone();
    let blur = blur.as_ref();
    let boxes: Vec<Option<SubjectBox>> = burst.frames.iter().map(|f| f.subject.clone()).collect();
    let led = lead.and_then(|i| Lead::of(boxes[i].as_ref()?));
    let alone = burst.frames.len() == 1;
    for (m, sparse) in moved.iter_mut().zip(&sparse) {
        // Hairs across a soft eye have directions of their own.
        let flash = attainable.is_some_and(|a| a.flash);
        *m = m.filter(|m| !sparse && is_credible(m, burst.reached, blur, flash));
    }
    let floor_px = sharpest.map_or(0.0, |s| s.1);
    // A shaken burst has one smear for all frames, of which each reads its own part.
    let within = |m: &Option<Movement>| m.filter(|_| !burst.is_shaken);
    let scaled: Vec<Option<ScaledBlur>> = scaled
        .into_iter()
        .zip(&moved)
        .map(|(s, m)| s.map(|s| s.without(within(m).as_ref(), floor_px)))
        .collect();
    let totals: Vec<Option<f64>> = scaled
        .iter()
        .zip(&moved)
        .map(|(s, m)| Some(s.as_ref()?.px.hypot(smear_px(m.as_ref()))))
        .collect();
    let finest = finest(totals.iter().copied(), lead);
    let elsewhere = burst.frames.iter().filter_map(|f| f.sharpest).map(|s| s.2.value);
    let elsewhere = elsewhere.min_by(f64::total_cmp);
    let limits = finest.map(|(_, px)| {
        let still_px = sharpest.map_or(px, |s| s.1);
        Limits::of(px, still_px, burst.reached, attainable.map(|a| a.sigma_px), elsewhere, alone)
    });
    burst.reference_px = limits.map(|l| l.reference_px);
    burst.best_is_soft = limits.is_some_and(|l| l.soft);
    // Maps hold what edges read; their limit is on that scale. Nothing at a subject that never
    // reached focus says how sharp an edge can be: the settings do.
    let allowed_px = attainable.map(|a| a.sigma_px.max(REFERENCE_FLOOR_PX));
    let edge_hit_px = match allowed_px.filter(|_| burst.best_is_soft) {
        Some(allowed_px) => Some(HIT_RATIO * allowed_px),
        None => led.map(|l| HIT_RATIO * l.edge_px),
    };
    for i in 0..burst.frames.len() {
        let frame = &mut burst.frames[i];
        if let Some(hit_px) = edge_hit_px {
            let judged: Vec<f32> = burst.maps[i].tiles.iter().filter_map(Tile::sigma_px).collect();
            let sharp = judged.iter().filter(|s| f64::from(**s) <= hit_px).count();
            frame.sharp_area = (!judged.is_empty()).then(|| sharp as f64 / judged.len() as f64);
            frame.sharp_cluster = sharp_cluster(&burst.maps[i], hit_px);
        }
        let Some(subject) = &boxes[i] else {
            frame.flags.raise(Flag::SubjectLost);
            continue;
        };
        frame.flags = frame.flags.union(subject.flags);
        if burst.best_is_soft {
            frame.flags.raise(Flag::BestIsSoft);
        }
        let still = stills[i].unwrap_or(Still::Nothing(Cause::NoTexture));
        let parts = Parts {
            subject,
            still,
            scaled: scaled[i],
            moved: moved[i],
            led,
            limits,
            anchor: blur.filter(|b| b.anchor == i).map(|b| b.anchor_range),
            scale: blur.map(|b| b.anchor_range),
            attainable,
            sparse: sparse[i],
            guessed_alone: alone && burst.found != SubjectFound::Marked,
        };
        parts.judge(frame);
    }
    burst.best = finest.map(|f| f.0).filter(|i| burst.frames[*i].verdict == Verdict::Hit && !alone);
}

/// Takes back the hits of frames that were made smaller after capture: a smaller file shows less
/// blur than the capture had.
pub fn withhold_hits(burst: &mut BurstVerdict, made_small: &[bool]) {
    for (frame, small) in burst.frames.iter_mut().zip(made_small) {
        if *small {
            frame.flags.raise(Flag::Resized);
            if frame.verdict == Verdict::Hit {
                frame.verdict = Verdict::Unclear;
                frame.causes.clear();
            }
        }
    }
    burst.best = burst.best.filter(|i| burst.frames[*i].verdict == Verdict::Hit);
    burst.other = burst.other.filter(|_| burst.best.is_some());
}

/// Whether a movement found from spectra is one. A ghost needs flash, and it is weak evidence: none
/// is believed where nothing is in focus, and the lattice of a regular pattern looks like a long one.
fn is_credible(m: &Movement, reached: Reached, blur: Option<&SubjectBlur>, flash: bool) -> bool {
    let pattern = blur.is_some_and(|b| b.pattern_cy_px.is_some());
    if m.share >= 1.0 || flash && !pattern {
        return m.explained > WHOLE_EXPLAINED;
    }
    if !flash {
        return false;
    }
    let periods = blur.and_then(|b| b.pattern_cy_px).map_or(0.0, |f| f * m.smear.length_px);
    reached != Reached::No && (periods < GHOST_PERIODS || m.explained > GHOST_EXPLAINED)
}

/// Standard deviation of a movement along its direction, px.
fn smear_px(movement: Option<&Movement>) -> f64 {
    movement.map_or(0.0, |m| m.smear.length_px * (m.share / 12.0).sqrt())
}

fn still(subject: &SubjectBox, led: Option<Lead<'_>>, sparse: bool, alone: bool) -> Still {
    if subject.mean_dn < DARK_DN {
        return Still::Nothing(Cause::UnderExposed);
    }
    if subject.clipped > MAX_CLIPPED {
        return Still::Nothing(Cause::Clipped);
    }
    if alone && subject.flags.has(Flag::Sparse) {
        // Hairs across a soft eye and the one edge on a smooth eye look alike.
        return Still::Nothing(Cause::NoTexture);
    }
    let Some(led) = led else {
        let drowned = subject.noise_share > NOISE_DROWNS;
        return Still::Nothing(if drowned { Cause::Noise } else { Cause::NoTexture });
    };
    let by_energy = |energy| energy_px(led.edge_px, led.subject.energy, energy);
    let near_px = NEAR_RATIO * led.edge_px;
    let seen = subject.energy > ENERGY_SEEN * subject.energy_std_err;
    // The edges of something sparse say nothing of the subject.
    let edge = subject.tile.edge_px().filter(|_| !sparse).map(|e| e.max(REFERENCE_FLOOR_PX));
    let px = match (edge, by_energy(subject.energy), seen) {
        (Some(a), Some(e), true) => (a * e).sqrt(),
        (None, Some(e), true) => e,
        // Coarse edges that are wide beyond doubt, though the fine scale is drowned.
        (Some(a), _, false) if a > near_px => a,
        _ => {
            // Nothing above noise: the most energy that may hide there bounds blur from below.
            let most = subject.energy.max(0.0) + ENERGY_SEEN * subject.energy_std_err;
            return match by_energy(most) {
                Some(px) if px > near_px => Still::AtLeast { px },
                _ => Still::Nothing(Cause::Noise),
            };
        }
    };
    let edge_error = match subject.tile {
        Tile::Blur { sigma_px, std_err_px } => f64::from(std_err_px / sigma_px.max(0.1)),
        _ => 0.15,
    };
    let energy_error =
        if subject.energy > 0.0 { subject.energy_std_err / subject.energy / 3.0 } else { 0.3 };
    let error_ln = (0.5 * edge_error).hypot(0.5 * energy_error);
    Still::Blur { px, error_ln }
}

/// Blur of every frame: from the spectra, and where there is none from edges and energy against the
/// anchor's, or on the scale of edges.
fn scaled(
    stills: &[Option<Still>],
    lead: Option<usize>,
    blur: Option<&SubjectBlur>,
) -> Vec<Option<ScaledBlur>> {
    let px = |s: &Option<Still>| match s {
        Some(Still::Blur { px, error_ln }) => Some((*px, *error_ln)),
        Some(Still::AtLeast { px }) => Some((*px, EDGE_ERROR_LN)),
        _ => None,
    };
    // Energy ranks frames better than edges do: none is sharper than the lead.
    let lead_px = lead.and_then(|i| px(stills.get(i)?)).map_or(0.0, |l| l.0);
    let own_px = |s: &Option<Still>| px(s).map(|(px, error_ln)| (px.max(lead_px), error_ln));
    let anchor_px = blur.and_then(|b| own_px(stills.get(b.anchor)?)).map(|a| a.0);
    let by_energy = |i: usize| {
        let (own_px, error_ln) = own_px(&stills[i])?;
        let scale = match (blur, anchor_px) {
            (Some(b), Some(anchor_px)) => b.anchor_range.sigma_px / anchor_px,
            (Some(_), None) => return None,
            (None, _) => 1.0,
        };
        Some(ScaledBlur { px: scale * own_px, ratio_sd_ln: error_ln.hypot(ENERGY_RATIO_SD_LN) })
    };
    let by_spectrum = |i: usize| {
        let ratio = blur?.ratios.get(i).copied().flatten()?;
        (ratio.sd_ln <= MAX_RATIO_SD_LN).then(|| ScaledBlur {
            px: blur.map_or(1.0, |b| b.anchor_range.sigma_px) * ratio.ln.exp(),
            ratio_sd_ln: ratio.sd_ln.hypot(RATIO_SD_LN),
        })
    };
    (0..stills.len())
        .map(|i| {
            match stills[i] {
                Some(Still::Nothing(Cause::UnderExposed | Cause::Clipped)) => None,
                // Nothing to compare with.
                Some(Still::Nothing(_)) if stills.len() == 1 => None,
                _ => by_spectrum(i).or_else(|| by_energy(i)),
            }
        })
        .collect()
}

/// No frame is sharper than its energy allows against the lead's: `energies` are the most that each
/// may have.
fn bounded(
    mut scaled: Vec<Option<ScaledBlur>>,
    energies: &[Option<f64>],
    lead: Option<usize>,
) -> Vec<Option<ScaledBlur>> {
    let of_lead = lead.and_then(|i| Some((scaled[i]?.px, energies[i]?)));
    let Some((lead_px, lead_energy)) = of_lead else { return scaled };
    for (s, energy) in scaled.iter_mut().zip(energies) {
        let least = energy.and_then(|e| energy_px(REFERENCE_FLOOR_PX, lead_energy, e));
        if let (Some(s), Some(least)) = (s, least) {
            let (exponent, share) = ENERGY_BOUND;
            s.px = s.px.max(share * lead_px * (least / REFERENCE_FLOOR_PX).powf(exponent));
        }
    }
    scaled
}

/// Whether no frame differs from another by more than a hit does.
fn alike(scaled: &[Option<ScaledBlur>]) -> bool {
    let px = || scaled.iter().flatten().map(|s| s.px);
    let (least, most) = (px().fold(f64::INFINITY, f64::min), px().fold(0.0, f64::max));
    most <= HIT_RATIO * least
}

/// The frame of least blur and that blur, px; among equals the lead.
fn finest(px: impl Iterator<Item = Option<f64>>, lead: Option<usize>) -> Option<(usize, f64)> {
    px.enumerate()
        .filter_map(|(i, px)| Some((i, px?)))
        .min_by(|a, b| a.1.total_cmp(&b.1).then((Some(b.0) == lead).cmp(&(Some(a.0) == lead))))
}

/// Blur from energy: at edges the level-1 Laplacian energy falls with the third power of the
/// total width, so the lead's blur and the two energies give this frame's.
fn energy_px(lead_px: f64, lead_energy: f64, energy: f64) -> Option<f64> {
    if energy <= 0.0 || lead_energy <= 0.0 {
        return None;
    }
    let s1 = S1_SQUARED[1];
    let square = (lead_px * lead_px + s1) * (lead_energy / energy).powf(2.0 / 3.0) - s1;
    Some(square.max(REFERENCE_FLOOR_PX * REFERENCE_FLOOR_PX).sqrt())
}

/// Whether a subject's energy (as a share of the lead's) falls short of what its edges promise:
/// sharp edges in a picture of less contrast, as haze or a smeared second exposure makes it.
fn is_veiled(edge_px: f64, lead_px: f64, energy_share: f64) -> bool {
    let s1 = S1_SQUARED[1];
    let promised = (lead_px * lead_px + s1) / (edge_px.max(lead_px).powi(2) + s1);
    edge_px <= HIT_RATIO * lead_px && energy_share < VEILED * promised.powf(1.5)
}

/// What verdicts of a burst are relative to.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Limits {
    reference_px: f64,
    soft: bool,
}

impl Limits {
    /// From the blur of the sharpest frame with movement and of the sharpest without, what the
    /// settings allow and the sharpest area anywhere, px.
    fn of(
        finest_px: f64,
        still_px: f64,
        reached: Reached,
        allowed_px: Option<f64>,
        elsewhere_px: Option<f64>,
        alone: bool,
    ) -> Limits {
        let soft_over = match (allowed_px, elsewhere_px) {
            (Some(a), Some(e)) => (SOFT_RATIO * a).min(SOFT_RATIO * e.max(a)),
            (Some(a), None) => SOFT_RATIO * a,
            (None, Some(e)) => (SOFT_RATIO * e).min(SOFT_UNKNOWN_PX),
            (None, None) => SOFT_UNKNOWN_PX,
        }
        .max(SOFT_FLOOR_PX);
        let soft = match reached {
            // Focus was reached, but every frame moved.
            Reached::Yes => finest_px > NEAR_RATIO * still_px.max(allowed_px.unwrap_or(0.0)),
            Reached::No => true,
            Reached::Unknown => finest_px > soft_over,
        };
        let possible = allowed_px.or(elsewhere_px).unwrap_or(REFERENCE_FLOOR_PX);
        let possible = possible.max(REFERENCE_FLOOR_PX);
        let reference_px = if soft {
            possible
        } else if alone {
            // Nothing to compare with: what the settings or the rest of the frame can give, with
            // a lens a little short of perfect.
            possible.max(finest_px / SOFT_RATIO)
        } else {
            finest_px
        };
        Limits { reference_px, soft }
    }
}

/// Everything that decides on one frame.
struct Parts<'a> {
    subject: &'a SubjectBox,
    still: Still,
    scaled: Option<ScaledBlur>,
    moved: Option<Movement>,
    led: Option<Lead<'a>>,
    limits: Option<Limits>,
    /// The anchor's range, where this frame is the anchor.
    anchor: Option<BlurRange>,
    /// The anchor's range: the scale of all.
    scale: Option<BlurRange>,
    attainable: Option<Attainable>,
    sparse: bool,
    guessed_alone: bool,
}

impl Parts<'_> {
    fn judge(&self, frame: &mut FrameVerdict) {
        let cannot = |frame: &mut FrameVerdict, cause: Cause| {
            frame.verdict = Verdict::Unclear;
            frame.causes = vec![CauseShare { cause, share: None }];
            match cause {
                Cause::NoTexture => frame.flags.raise(Flag::NoTexture),
                Cause::Noise => frame.flags.raise(Flag::MostlyNoise),
                _ => {}
            }
        };
        let (limits, scaled) = match (self.still, self.limits, self.scaled) {
            (_, Some(limits), Some(scaled)) => (limits, scaled),
            (Still::Nothing(cause), _, _) => return cannot(frame, cause),
            _ => return cannot(frame, Cause::NoTexture),
        };
        let hit_px = HIT_RATIO * limits.reference_px;
        let moved = self.moved.filter(|m| m.smear.worst_px() > hit_px);
        // One too small to be named blurs all the same, as it did when frames were compared.
        let total = scaled.px.hypot(smear_px(self.moved.as_ref()));
        let of_tile = match self.subject.blur {
            Tile::Bound(_) => FlagSet::EMPTY.with(Flag::NoiseHides),
            _ => FlagSet::EMPTY,
        };
        frame.flags = frame.flags.union(of_tile);
        self.tell_blur(frame, total, scaled, moved.is_some(), of_tile);
        if let (Some(led), Some(edge)) = (self.led, self.subject.tile.edge_px())
            && self.subject.energy > ENERGY_SEEN * self.subject.energy_std_err
            && !self.sparse
            && is_veiled(edge, led.edge_px, self.subject.energy / led.subject.energy)
        {
            frame.flags.raise(Flag::Veiled);
        }
        let ratio = total / limits.reference_px;
        let is_reference = (total - limits.reference_px).abs() < 1e-9;
        let sd = if is_reference { 0.0 } else { scaled.ratio_sd_ln };
        frame.ratio = if is_reference {
            Measured::without_error(ratio, 2)
        } else {
            Measured::new(ratio, ratio * sd, 2)
        };
        frame.verdict = if limits.soft { Verdict::Miss } else { grade(ratio) };
        if frame.verdict == Verdict::Hit && self.guessed_alone {
            // Sharp somewhere: whether the subject is, nobody has said.
            frame.verdict = Verdict::Unclear;
            frame.causes = Vec::new();
            return;
        }
        frame.movement = moved;
        frame.causes = self.causes(frame, total, limits);
    }

    /// The stated blur with its range.
    fn tell_blur(
        &self,
        frame: &mut FrameVerdict,
        total: f64,
        scaled: ScaledBlur,
        moved: bool,
        flags: FlagSet,
    ) {
        // What the smear's length may be off, as far as the smear makes the blur.
        let of_smear = self.moved.map_or(0.0, |m| {
            let share = (smear_px(Some(&m)) / total).powi(2).min(1.0);
            share * m.smear.length_std_err_px / m.smear.length_px.max(1.0)
        });
        let (down, up, by) = match (self.anchor.filter(|_| !moved), self.scale) {
            (Some(r), _) => ((r.sigma_px / r.low_px).ln(), (r.high_px / r.sigma_px).ln(), r.by),
            (None, Some(r)) => (
                (r.sigma_px / r.low_px).ln().hypot(scaled.ratio_sd_ln),
                (r.high_px / r.sigma_px).ln().hypot(scaled.ratio_sd_ln),
                BlurBy::Burst,
            ),
            (None, None) => (EDGE_ERROR_LN, EDGE_ERROR_LN, BlurBy::Edges),
        };
        let (down, up) = (down.hypot(of_smear), up.hypot(of_smear));
        let allowed = self.attainable.map_or(0.0, |a| a.sigma_px);
        let low_px = (total * (-down).exp()).max(allowed);
        let high_px = (total * up.exp()).max(low_px);
        let sigma_px = total.max(low_px);
        frame.range = Some(BlurRange { sigma_px, low_px, high_px, by });
        let std_err = (high_px - low_px) / 2.0;
        frame.judged_px = Measured::new(sigma_px, std_err, 2).map(|m| m.flagged(flags));
    }

    fn causes(&self, frame: &FrameVerdict, total: f64, limits: Limits) -> Vec<CauseShare> {
        if frame.verdict == Verdict::Hit {
            return Vec::new();
        }
        let lost = (total.powi(2) - limits.reference_px.powi(2)).max(1e-6);
        let mut causes = Vec::new();
        let mut rest = 1.0;
        if let Some(m) = frame.movement {
            let share = (smear_px(Some(&m)).powi(2) / lost).clamp(0.0, 1.0);
            let cause = match m {
                Movement { share, .. } if share < 1.0 => Cause::Ghosted,
                Movement { whole_frame: true, .. } => Cause::Shake,
                _ => Cause::SubjectMotion,
            };
            causes.push(CauseShare { cause, share: Some(share) });
            rest -= share;
        }
        let sharp_edges = self
            .led
            .zip(self.subject.tile.edge_px())
            .is_some_and(|(led, edge)| edge <= HIT_RATIO * led.edge_px);
        let elsewhere = self.sparse && sharp_edges || is_sharp_elsewhere(frame);
        let cause = if elsewhere { Cause::Misfocused } else { Cause::Soft };
        if rest > SECOND_CAUSE || causes.is_empty() {
            causes.push(CauseShare { cause, share: Some(rest) });
        }
        causes.sort_by(|a, b| b.share.unwrap_or(0.0).total_cmp(&a.share.unwrap_or(0.0)));
        causes
    }
}

#[cfg(test)]
mod tests;
