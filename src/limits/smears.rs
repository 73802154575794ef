//! The limit of the hand from how far frames smeared: far more is in a length than in hit or miss.
//!
//! The speed of the hand is fitted to the lengths ([`crate::limits::hand_speed`]); a frame in
//! which no movement is told bounds its speed from above, by the shortest smear that would have
//! been told at its blur. With that speed the own bursts are taken over again in thought, every
//! frame with the blur that the frames without a smear had, at one shutter after the other, and
//! judged as bursts are: the limit is where half of those that hit or moved are hits, as in the
//! fit of the verdicts, but it may lie where few frames were taken. Error by leaving out one part
//! of the bursts after the other (Efron & Stein, Ann. Stat. 9:586, 1981, DOI
//! 10.1214/aos/1176345462), since frames of a burst share their reference, and what the taking
//! over again itself is off by.

use std::collections::BTreeMap;

use super::entry::LimitFrame;
use crate::core::random::SplitMix64;
use crate::core::search::bisect;
use crate::core::stats::Z95;
use crate::core::verdict::HIT_RATIO;
use crate::limits::hand_speed::{HandSpeed, Speed};
use crate::limits::record::{HandLimit, SmearLimit};
use crate::report::value::WithError;
use crate::sharpness::direction::MOVEMENT;

/// Movement is told from this length on, px, where its swing is this share of the variance.
const TOLD_PX: f64 = MOVEMENT.1;
const TOLD_SHARE: f64 = MOVEMENT.2;
/// Below this the absence of a smear is no bound: in simulated bursts half of those of 3 px are
/// found.
const SEEN_PX: f64 = 3.0;
/// Variance of blur that a told smear adds, over its length squared: 1/24 as the mean over
/// directions, 1/12 as the verdict counts it.
const TOLD_ADDS: f64 = 1.0 / 8.0;
const UNTOLD_ADDS: f64 = 1.0 / 24.0;
/// Frames that are used at most, evenly: more do not narrow it.
const MAX_SMEARS: usize = 4000;
/// Parts of the bursts that are left out in turn; fewer bursts than the least give no error.
const PARTS: usize = 20;
const MIN_PARTS: usize = 5;
/// Bursts that are taken over again in thought, and where their dice start.
const BURSTS: usize = 400;
const SEED: u64 = 0x5eed;
/// Frames without a told smear that the blur is taken from at least, and the least chance that a
/// good frame of their burst shows none: beyond it only softer frames would be left.
const MIN_POOL: usize = 12;
const MIN_CENSORED: f64 = 0.2;
/// What the taking over again may be off by, stops: simulated shooters of 5000 frames (seeds 100
/// to 119), whose chance is gone, are off by 0.15 in the middle.
const MODEL_STOPS: f64 = 0.15;
/// How far beyond the shutters that were used a limit may lie, stops.
const BEYOND: f64 = 1.0;

/// A smear's length squared over the variance of the rest of the blur, from which on it is told:
/// L²/24 = share·(rest² + L²/24).
fn told_over_blur2() -> f64 {
    TOLD_SHARE / (1.0 - TOLD_SHARE) / UNTOLD_ADDS
}

/// What one frame says.
#[derive(Debug, Clone, Copy)]
struct CensoredSmear {
    burst: (i64, u32),
    shutter_s: f64,
    /// mm/s for a pixel of smear.
    mm_s_px: f64,
    length_px: Option<f64>,
    /// Blur with the smear, and the blur at which a frame of the burst still is a hit, px.
    blur_px: f64,
    hit_px: f64,
    /// Blur that the settings give at best, px; 1 where that is not known.
    allowed_px: f64,
}

impl CensoredSmear {
    fn of(e: &LimitFrame, magnification: f64) -> Option<CensoredSmear> {
        let sound = |v: Option<f64>, low: f64, high: f64| {
            v.filter(|v| v.is_finite() && (low..=high).contains(v))
        };
        let shutter_s = sound(e.shutter_s, 1e-5, 120.0)?;
        let blur_px = sound(e.blur_sigma_px, 1e-3, 1e3)?;
        let ratio = sound(e.blur_ratio, 1e-2, 1e3)?;
        let pitch_um = sound(e.pixel_pitch_um, 0.1, 100.0)?;
        Some(CensoredSmear {
            burst: (e.outing, e.burst),
            shutter_s,
            mm_s_px: pitch_um / magnification / shutter_s / 1000.0,
            length_px: sound(e.motion_length_px, 1e-3, 1e4),
            blur_px,
            hit_px: HIT_RATIO * blur_px / ratio,
            allowed_px: sound(e.attainable_blur_px, 1e-2, 1e3).unwrap_or(1.0),
        })
    }

    /// Variance of blur without the smear, px², for a distribution of speeds when there is one.
    fn rest_px2(&self, hand: Option<&HandSpeed>) -> f64 {
        let square = self.blur_px * self.blur_px;
        let adds = match (self.length_px, hand) {
            (Some(l), _) => TOLD_ADDS * l * l,
            // The mean square of what stays below the bound, for a shape of 2.
            (None, Some(h)) => {
                let most = self.told_px(square, TOLD_PX);
                let usual = h.scale / self.mm_s_px;
                let q = (most / usual).powi(2);
                let share = if q < 1e-3 { 0.5 * q } else { 1.0 - q / q.exp_m1() };
                UNTOLD_ADDS * usual * usual * share
            }
            (None, None) => 0.0,
        };
        // Whatever the smear, something of the blur is not smear.
        (square - adds).max(0.1 * square.min(self.hit_px * self.hit_px))
    }

    /// Frames whose settings allow about the same blur share a pool: steps of a sixth of a doubling.
    fn pool(&self) -> i32 {
        (6.0 * self.allowed_px.log2()).round() as i32
    }

    /// Length from which a smear is told, px, over a blur of that variance.
    fn told_px(&self, rest_px2: f64, least_px: f64) -> f64 {
        let spoils = 12.0 * (self.hit_px * self.hit_px - rest_px2).max(0.0);
        least_px.max((told_over_blur2() * rest_px2).max(spoils).sqrt())
    }

    fn speed(&self, hand: Option<&HandSpeed>) -> Speed {
        match self.length_px {
            Some(l) => Speed::Seen(l * self.mm_s_px),
            None => Speed::Below(self.told_px(self.rest_px2(hand), SEEN_PX) * self.mm_s_px),
        }
    }
}

/// Speed and limit of some frames: (stops, speed).
fn fitted(told: &[CensoredSmear]) -> Option<(f64, HandSpeed)> {
    /// What untold smears add to the blur follows from the speed, and the bounds from the blur:
    /// a few rounds settle it.
    const ROUNDS: usize = 3;
    let mut hand: Option<HandSpeed> = None;
    for _ in 0..ROUNDS {
        let speeds: Vec<Speed> = told.iter().map(|t| t.speed(hand.as_ref())).collect();
        hand = Some(HandSpeed::fit(&speeds)?);
    }
    let hand = hand?;
    let x = half_still(&Replayed::of(told, &hand)?)?;
    Some((x, hand))
}

/// Blurs with their weights, summed up to each.
#[derive(Debug, Default)]
struct Pool {
    all: Vec<(f64, f64)>,
}

impl Pool {
    fn add(&mut self, weight: f64, ratio: f64) {
        self.all.push((self.sum() + weight, ratio));
    }

    fn sum(&self) -> f64 {
        self.all.last().map_or(0.0, |(sum, _)| *sum)
    }

    fn draw(&self, chance: f64) -> f64 {
        let at = chance * self.sum();
        let found = self.all.partition_point(|(sum, _)| *sum < at);
        self.all.get(found).or(self.all.last()).map_or(1.0, |(_, ratio)| *ratio)
    }
}

/// The own bursts taken over again: for every frame a blur without smear, px, and the smear of one
/// second, px.
#[derive(Debug)]
struct Replayed {
    bursts: Vec<Vec<(f64, f64)>>,
}

impl Replayed {
    fn of(told: &[CensoredSmear], hand: &HandSpeed) -> Option<Replayed> {
        // Blur without smear, over what the settings allow. Frames with a smear do not show it;
        // those without stand for them, each for as many as its blur would have left untold. Pools
        // by the allowed blur, since a lens adds to it at some apertures more than at others.
        let mut pools: BTreeMap<i32, Pool> = BTreeMap::new();
        let mut whole = Pool::default();
        for t in told.iter().filter(|t| t.length_px.is_none()) {
            let rest = t.rest_px2(Some(hand));
            let untold = hand.below(t.told_px(rest, TOLD_PX) * t.mm_s_px);
            // By the burst, not by the frame: else the softer ones would stand for all.
            let usual = t.told_px((t.hit_px / HIT_RATIO).powi(2), TOLD_PX);
            if hand.below(usual * t.mm_s_px) >= MIN_CENSORED {
                let ratio = rest.sqrt() / t.allowed_px;
                whole.add(1.0 / untold, ratio);
                pools.entry(t.pool()).or_default().add(1.0 / untold, ratio);
            }
        }
        if whole.all.len() < MIN_POOL {
            return None;
        }
        let mut random = SplitMix64::new(SEED);
        // A lone frame has no best but itself.
        let all: Vec<&[CensoredSmear]> =
            told.chunk_by(|a, b| a.burst == b.burst).filter(|b| b.len() > 1).collect();
        if all.is_empty() {
            return None;
        }
        let bursts = (0..BURSTS)
            .map(|i| {
                let like = all[i * all.len() / BURSTS];
                like.iter()
                    .map(|t| {
                        let own = pools.get(&t.pool()).filter(|p| p.all.len() >= MIN_POOL);
                        let ratio = own.unwrap_or(&whole).draw(random.uniform());
                        let speed = hand.quantile(random.uniform());
                        (ratio * t.allowed_px, speed / (t.mm_s_px * t.shutter_s))
                    })
                    .collect()
            })
            .collect();
        Some(Replayed { bursts })
    }

    /// Share of hits among hits and told movements, with every frame at one shutter.
    fn still(&self, shutter_s: f64) -> f64 {
        let over2 = told_over_blur2();
        let (mut hits, mut all) = (0u32, 0u32);
        for burst in &self.bursts {
            let blur2 = |f: &(f64, f64)| {
                let l = f.1 * shutter_s;
                f.0 * f.0 + UNTOLD_ADDS * l * l
            };
            let best = burst.iter().map(blur2).fold(f64::INFINITY, f64::min);
            let hit2 = HIT_RATIO * HIT_RATIO * best;
            for f in burst {
                let l2 = (f.1 * shutter_s).powi(2);
                let told = l2 > TOLD_PX * TOLD_PX
                    && l2 > over2 * f.0 * f.0
                    && f.0 * f.0 + l2 / 12.0 > hit2;
                let hit = blur2(f) + if told { l2 / 12.0 } else { 0.0 } <= hit2;
                hits += u32::from(hit);
                all += u32::from(hit || told);
            }
        }
        f64::from(hits) / f64::from(all.max(1))
    }
}

/// Where half of them hold still, stops of shutter. `None` where that is nowhere.
fn half_still(replayed: &Replayed) -> Option<f64> {
    let at = |x: f64| replayed.still((-x).exp2());
    let (slow, fast) = (-3.0, 16.0);
    if at(slow) >= 0.5 || at(fast) < 0.5 {
        return None;
    }
    let (slow, fast) = bisect((slow, fast), 14, |x| at(x) < 0.5);
    Some(0.5 * (slow + fast))
}

/// The limit that the smears of some frames give. `None` where too few were seen, or where it
/// lies beyond the shutters that were used.
pub fn limit(entries: &[&LimitFrame], magnification: f64) -> Option<SmearLimit> {
    let mut told: Vec<CensoredSmear> = entries
        .iter()
        .filter(|e| e.judged())
        .filter_map(|e| CensoredSmear::of(e, magnification))
        .collect();
    if told.len() > MAX_SMEARS {
        // Whole bursts: frames are judged by the best of theirs.
        let bursts: Vec<&[CensoredSmear]> = told.chunk_by(|a, b| a.burst == b.burst).collect();
        let keep = (bursts.len() * MAX_SMEARS / told.len()).max(1);
        told = super::spread(&bursts, keep).concat();
    }
    let (x, hand) = fitted(&told)?;
    let stops = told.iter().map(|t| -t.shutter_s.log2());
    let ends = (stops.clone().fold(f64::INFINITY, f64::min), stops.fold(-1e9, f64::max));
    if x < ends.0 - BEYOND || x > ends.1 + BEYOND {
        return None;
    }
    let mut bursts: Vec<(i64, u32)> = told.iter().map(|t| t.burst).collect();
    bursts.sort_unstable();
    bursts.dedup();
    let parts = bursts.len().min(PARTS);
    if parts < MIN_PARTS {
        return None;
    }
    let part_of = |burst: &(i64, u32)| bursts.binary_search(burst).map_or(0, |at| at % parts);
    let without: Vec<(f64, f64)> = (0..parts)
        .filter_map(|part| {
            let rest: Vec<CensoredSmear> =
                told.iter().filter(|t| part_of(&t.burst) != part).copied().collect();
            fitted(&rest).map(|(x, hand)| (x, hand.median().ln()))
        })
        .collect();
    // Where leaving a part out leaves nothing to fit, everything rests on that part.
    if without.len() < parts {
        return None;
    }
    let err = |of: &dyn Fn(&(f64, f64)) -> f64| {
        let n = parts as f64;
        let mean = without.iter().map(of).sum::<f64>() / n;
        let sum: f64 = without.iter().map(|w| (of(w) - mean).powi(2)).sum();
        (sum * (n - 1.0) / n).sqrt()
    };
    let (x_err, ln_err) = (err(&|w| w.0).hypot(MODEL_STOPS), err(&|w| w.1));
    Some(SmearLimit {
        limit: HandLimit {
            half_hit_shutter_s: (-x).exp2(),
            low: (-(x + Z95 * x_err)).exp2(),
            high: (-(x - Z95 * x_err)).exp2(),
            n: told.len() as u32,
        },
        seen: hand.seen,
        speed_mm_s: WithError { value: hand.median(), std_err: Some(hand.median() * ln_err) },
        shape: hand.shape,
    })
}
