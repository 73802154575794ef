//! The scale of a picture from the ticks of a ruler in it.
//!
//! What it estimates: the distance of neighbouring ticks in px in the middle of the picture, with
//! its error, and the ruler's direction. How: for directions 3° apart the picture is cut into
//! strips; even runs of thin marks that go on from strip to strip are ticks (1); each of their
//! marks is placed to a fraction of a px and one least-squares fit gives period, direction and,
//! where they show, changes of scale along and across the ruler (2); the spectrum of the ticks'
//! profile gives the period a second time, and both must agree within 1 %. The finest even run
//! whose coarser companions are whole multiples of it is the ticks' own, so that longer 5 and
//! 10 mm ticks do not count as the period.
//!
//! Assumes straight ticks of one spacing, at least [`MIN_TICKS`] of them, each at least as long
//! as they are apart unless the frame ends. Valid from about 6 px a tick on (after the picture is
//! made no larger than 2000 px); blur up to a third of the spacing. Regular stripes that are no
//! ruler (blinds, brickwork laid by machine) cannot be told from one.
//!
//! Source: written for this program; checked on simulated rulers of known scale
//! (`benches/accuracy.rs`, `rulers`). Sums of least squares as in `core::stats`.

mod comb;
mod fit;
mod groups;
mod profile;
mod turned;

use crate::core::stats::median;
use crate::core::{Luma, Measured};
use fit::RulerFit;
use groups::TickGroup;
use profile::near;
use turned::{LogPicture, Strip, strips};

/// Fewest ticks that are believed.
pub const MIN_TICKS: usize = 5;
/// Ticks and spectrum agree within this share: twice the accuracy that is aimed for.
pub const AGREE: f64 = 0.01;
/// Ticks may lie off an even spacing by this share of it (standard deviation). Printed rulers hold
/// 1 %; bricks, ribs and cloth scatter by 4 % and more.
pub const MAX_SCATTER: f64 = 0.025;
/// The same with fewer than [`TICKS_FEW`] ticks, where chance makes even rows more easily.
pub const MAX_SCATTER_FEW: f64 = 0.012;
/// Fewer ticks than this are few.
pub const TICKS_FEW: usize = 10;
/// A scale less sure than this (one standard error) is none.
pub const MAX_UNSURE: f64 = 0.02;
/// The row of ticks runs over at least this share of the frame.
pub const MIN_SPAN: f64 = 0.25;
/// Share of the ticks between the first and the last that must be found.
pub const MIN_FOUND: f64 = 0.75;
/// Share of the brightness across the marks that their mean shape has to explain: ticks are printed
/// alike (0.8 and more in simulated frames that are partly out of focus), shadows and letters not.
pub const MIN_ALIKE: f64 = 0.6;
/// Points of a mark's shape.
const SHAPE_POINTS: usize = 24;
/// Groups of marks that are looked at along one direction.
const GROUPS_TRIED: usize = 4;
/// Ticks are at least this many times as long as they are apart.
const MIN_LONG: f64 = 1.0;
/// Another run of ticks with this share of the best one's weight makes two scales.
const RIVAL: f64 = 0.6;
/// Periods whose ratio is this near a whole number belong to one ruler.
const WHOLE: f64 = 0.03;
/// A finer run counts when its marks have this share of the coarser one's height ...
const FINER_HEIGHT: f64 = 0.4;
/// ... and this share of its weight: the strokes of numbers are finer, too, but few.
const FINER_SCORE: f64 = 0.15;
/// Longest side of the picture that is measured, px.
const SIDE_PX: usize = 2000;
/// Step of the search for the direction, degrees.
const ANGLE_STEP_DEG: f64 = 3.0;
/// Directions that are looked at closely.
const ANGLES_TRIED: usize = 3;
/// Height of a strip and distance between them, samples.
const STRIP: (usize, usize) = (12, 6);
/// The same while looking for the direction.
const SEARCH_STRIP_PX: usize = 10;
/// Fewest strips with the same marks.
const MIN_STRIPS: usize = 4;
/// Every second tick is longer when it goes on in this share more strips.
const LONGER: f64 = 1.2;

/// Why a picture gives no scale.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NoRuler {
    /// Nothing like ticks.
    #[error("no evenly spaced ticks were found")]
    NoTicks,
    /// Not enough of them.
    #[error("only {found} ticks in a row were found; {} are needed", MIN_TICKS)]
    TooFew {
        /// Ticks found.
        found: usize,
    },
    /// Stripes that are not evenly spaced.
    #[error(
        "the stripes found are not evenly spaced: they scatter by {:.1} % of their distance, a \
         ruler's by less than {:.1} %",
        100.0 * scatter,
        100.0 * most
    )]
    Uneven {
        /// Scatter over the spacing.
        scatter: f64,
        /// What is let pass for as many ticks.
        most: f64,
    },
    /// A row that is lost in the frame.
    #[error(
        "the row of {found} marks runs over {:.0} % of the frame only: fill it with the ruler, \
         {:.0} % at least",
        100.0 * share,
        100.0 * MIN_SPAN
    )]
    Small {
        /// Ticks found.
        found: usize,
        /// Share of the frame along the row.
        share: f64,
    },
    /// Gaps in the row.
    #[error("only {found} of {expected} ticks in a row were found")]
    Gaps {
        /// Ticks found.
        found: usize,
        /// Ticks there should be between the first and the last.
        expected: usize,
    },
    /// Marks of different kinds.
    #[error(
        "the marks found are not alike: their mean shape explains {:.0} % of them, a ruler's at \
         least {:.0} %",
        100.0 * explained,
        100.0 * MIN_ALIKE
    )]
    Unlike {
        /// Share of the profile's variance that the mean mark explains.
        explained: f64,
    },
    /// Marks too short for their distance.
    #[error("the marks found are shorter than they are apart: not the ticks of a ruler")]
    Short,
    /// A scale that changes too much over the frame, or ticks that scatter too much.
    #[error(
        "the scale is uncertain by {:.1} % (limit {:.1} %): lay the ruler flat in the focus plane",
        100.0 * error,
        100.0 * MAX_UNSURE
    )]
    Unsure {
        /// Standard error over the scale.
        error: f64,
    },
    /// Ticks and spectrum tell different periods.
    #[error("tick spacing is {ticks_px:.2} px by position but {spectrum_px:.2} px by spectrum")]
    Disagree {
        /// By the places of the ticks.
        ticks_px: f64,
        /// By the spectrum.
        spectrum_px: f64,
    },
    /// Two scales.
    #[error(
        "two scales that do not fit each other: ticks {first_px:.1} px and {second_px:.1} px apart"
    )]
    Ambiguous {
        /// The stronger.
        first_px: f64,
        /// The other.
        second_px: f64,
    },
}

/// A tick as it was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tick {
    /// One end, px of the picture from the left and the top.
    pub from_px: (f64, f64),
    /// The other end.
    pub to_px: (f64, f64),
}

/// A ruler's ticks and what they say.
#[derive(Debug, Clone, PartialEq)]
pub struct RulerReading {
    /// Distance of neighbouring ticks in the middle of the picture, px; `n` ticks.
    ///
    /// The error holds the scatter of the ticks and, where the scale changes across the frame,
    /// its standard deviation over the frame; not how well the ruler itself was made.
    pub period_px: Measured,
    /// The same by the spectrum, brought to the middle of the picture.
    pub spectrum_px: f64,
    /// Direction of the ruler, counter-clockwise from the horizontal, degrees in 0..180.
    pub angle_deg: f64,
    /// Relative change of scale from one side of the frame to the other along the ruler; `None`
    /// when none is seen.
    pub change_along: Option<f64>,
    /// The same across the ruler.
    pub change_across: Option<f64>,
    /// Whether every second tick is longer, as where half millimetres lie between millimetres.
    pub every_second_longer: bool,
    /// The ticks.
    pub ticks: Vec<Tick>,
    /// Brightness across the ticks: px along the ruler from the middle of the picture, and
    /// logarithm of the brightness in steps of the 8-bit scale.
    pub profile: Vec<(f64, f64)>,
    /// Where the ticks lie on that profile, px.
    pub tick_places_px: Vec<f64>,
}

/// Reads the ticks of a ruler.
///
/// # Errors
/// [`NoRuler`], with the reason.
pub fn measure_ruler(luma: &Luma<'_>) -> Result<RulerReading, NoRuler> {
    let fine = LogPicture::new(luma, SIDE_PX);
    let coarse = fine.halved();
    let mut reason = NoRuler::NoTicks;
    let mut tried = Vec::new();
    for angle_deg in directions(&coarse) {
        match along(&fine, angle_deg) {
            Ok(found) => tried.push(found),
            Err(why) if weight(&why) > weight(&reason) => reason = why,
            Err(_) => {}
        }
    }
    tried.sort_by(|a, b| b.score.total_cmp(&a.score));
    let Some(best) = tried.first() else { return Err(reason) };
    // The same ticks seen from another direction are no rival.
    if let Some(other) = tried.iter().skip(1).find(|o| {
        o.score > RIVAL * best.score
            && turn_between(o.angle_deg, best.angle_deg) > ANGLE_STEP_DEG
            && !near(o.fitted.period_px, best.fitted.period_px, 2.0 * WHOLE)
    }) {
        return Err(NoRuler::Ambiguous {
            first_px: best.fitted.period_px * fine.factor as f64,
            second_px: other.fitted.period_px * fine.factor as f64,
        });
    }
    best.reading(&fine)
}

/// How much a reason tells: the nearer to a ruler, the better.
fn weight(why: &NoRuler) -> u8 {
    match why {
        NoRuler::NoTicks => 0,
        NoRuler::TooFew { .. } => 1,
        NoRuler::Short | NoRuler::Small { .. } => 2,
        NoRuler::Gaps { .. } => 3,
        NoRuler::Unlike { .. } => 4,
        NoRuler::Uneven { .. } => 5,
        NoRuler::Disagree { .. } | NoRuler::Unsure { .. } => 6,
        NoRuler::Ambiguous { .. } => 7,
    }
}

fn turn_between(a_deg: f64, b_deg: f64) -> f64 {
    let d = (a_deg - b_deg).rem_euclid(180.0);
    d.min(180.0 - d)
}

/// The directions along which most marks go on from strip to strip.
fn directions(picture: &LogPicture) -> Vec<f64> {
    let count = (180.0 / ANGLE_STEP_DEG) as usize;
    let mut scored: Vec<(f64, f64)> = (0..count)
        .map(|i| {
            let angle = i as f64 * ANGLE_STEP_DEG;
            let strips = strips(picture, angle, SEARCH_STRIP_PX, SEARCH_STRIP_PX);
            let best = groups::groups(&strips, 2).iter().map(TickGroup::score).fold(0.0, f64::max);
            (angle, best)
        })
        .filter(|(_, score)| *score > 0.0)
        .collect();
    scored.sort_by(|a, b| b.1.total_cmp(&a.1));
    let mut kept: Vec<f64> = Vec::new();
    for (angle, _) in scored {
        if kept.iter().all(|k| turn_between(*k, angle) > 2.5 * ANGLE_STEP_DEG) {
            kept.push(angle);
        }
        if kept.len() == ANGLES_TRIED {
            break;
        }
    }
    kept
}

/// Ticks along one direction.
struct RulerCandidate {
    angle_deg: f64,
    score: f64,
    group: TickGroup,
    fitted: RulerFit,
    strips: Vec<Strip>,
}

/// The ticks along a direction, which is made exact on the way.
fn along(picture: &LogPicture, angle_deg: f64) -> Result<RulerCandidate, NoRuler> {
    const ROUNDS: usize = 4;
    let mut angle = angle_deg;
    let mut rounds = 0;
    loop {
        let all = strips(picture, angle, STRIP.0, STRIP.1);
        let mut reason = NoRuler::NoTicks;
        let mut passed: Vec<(TickGroup, RulerFit)> = Vec::new();
        for group in candidates(groups::groups(&all, MIN_STRIPS)) {
            match checked(&group, &all, picture, angle) {
                Ok(fitted) => passed.push((group, fitted)),
                Err(why) if weight(&why) > weight(&reason) => reason = why,
                Err(_) => {}
            }
        }
        let Some((group, fitted)) = passed.first().cloned() else { return Err(reason) };
        rounds += 1;
        let turn = fitted.turn_deg;
        if turn.abs() > 0.05 && turn.abs() < 10.0 && rounds < ROUNDS {
            angle = (angle + turn).rem_euclid(180.0);
            continue;
        }
        let score = group.score();
        let rival = passed.iter().skip(1).find(|(g, f)| {
            let ratio = f.period_px / fitted.period_px;
            g.score() > RIVAL * score && !whole(ratio) && !whole(1.0 / ratio)
        });
        if let Some((_, rival)) = rival {
            let factor = picture.factor as f64;
            return Err(NoRuler::Ambiguous {
                first_px: fitted.period_px * factor,
                second_px: rival.period_px * factor,
            });
        }
        return Ok(RulerCandidate { angle_deg: angle, score, group, fitted, strips: all });
    }
}

/// Whether a ratio of two periods is that of one ruler's marks.
fn whole(ratio: f64) -> bool {
    ratio > 0.5 && (ratio - ratio.round()).abs() < WHOLE * ratio.round()
}

/// Size of the picture along and across a direction, through its middle, samples.
fn extent(picture: &LogPicture, angle_deg: f64) -> (f64, f64) {
    let (sin, cos) = angle_deg.to_radians().sin_cos();
    let (w, h) = (picture.width as f64, picture.height as f64);
    let through = |c: f64, s: f64| (w / c.abs().max(1e-9)).min(h / s.abs().max(1e-9));
    (through(cos, sin), through(sin, cos))
}

/// Groups that may be a ruler's finest ticks, likeliest first.
fn candidates(mut groups: Vec<TickGroup>) -> Vec<TickGroup> {
    groups.sort_by(|a, b| b.score().total_cmp(&a.score()));
    // The bright rims of dark ticks are lower than the ticks, and the other way round.
    let sure = |g: &&TickGroup| g.score() * g.height();
    let Some(sign) = groups.iter().max_by(|a, b| sure(a).total_cmp(&sure(b))).map(|g| g.sign)
    else {
        return Vec::new();
    };
    groups.retain(|g| g.sign * sign > 0.0);
    let Some(best) = groups.first() else { return Vec::new() };
    let finest = groups.iter().position(|g| {
        let ratio = best.period_px() / g.period_px();
        ratio > 1.5
            && whole(ratio)
            && g.marks_most() >= MIN_TICKS
            && g.height() > FINER_HEIGHT * best.height()
            && g.score() > FINER_SCORE * best.score()
            && groups.iter().all(|o| {
                // None finer that would do as well.
                let finer = g.period_px() / o.period_px();
                !(finer > 1.5
                    && whole(finer)
                    && o.marks_most() >= MIN_TICKS
                    && o.height() > FINER_HEIGHT * best.height()
                    && o.score() > FINER_SCORE * best.score())
            })
    });
    if let Some(finest) = finest {
        groups[..=finest].rotate_right(1);
    }
    groups.truncate(GROUPS_TRIED);
    groups
}

/// The ticks of a group, if they are those of a ruler.
fn checked(
    group: &TickGroup,
    strips: &[Strip],
    picture: &LogPicture,
    angle_deg: f64,
) -> Result<RulerFit, NoRuler> {
    let fitted = fit::fitted(group, strips, extent(picture, angle_deg))
        .ok_or(NoRuler::TooFew { found: group.marks_most() })?;
    let found = fitted.ticks.len();
    if found < MIN_TICKS {
        return Err(NoRuler::TooFew { found });
    }
    let expected = (fitted.ticks[found - 1] - fitted.ticks[0] + 1) as usize;
    if (found as f64) < MIN_FOUND * expected as f64 {
        return Err(NoRuler::Gaps { found, expected });
    }
    let scatter = fitted.scatter_px / fitted.period_px;
    let most = if found < TICKS_FEW { MAX_SCATTER_FEW } else { MAX_SCATTER };
    if scatter > most {
        return Err(NoRuler::Uneven { scatter, most });
    }
    let share = (expected as f64 - 1.0) * fitted.period_px / extent(picture, angle_deg).0;
    if share < MIN_SPAN {
        return Err(NoRuler::Small { found, share });
    }
    let long = fitted.band_px.1 - fitted.band_px.0 + STRIP.0 as f64;
    let room = extent(picture, angle_deg).1;
    if long < (MIN_LONG * fitted.period_px).min(0.5 * room) {
        return Err(NoRuler::Short);
    }
    let explained = alike(&fitted, &profile(group, &fitted, strips));
    if explained < MIN_ALIKE {
        return Err(NoRuler::Unlike { explained });
    }
    Ok(fitted)
}

/// Share of the variance about each mark, slopes of the light taken off, that is their mean shape.
fn alike(fitted: &RulerFit, profile: &[(f64, f64)]) -> f64 {
    let Some(first) = profile.first().map(|p| p.0) else { return 0.0 };
    let middle = 0.5 * (fitted.band_px.0 + fitted.band_px.1);
    let value = |u: f64| {
        let at = (u - first).max(0.0);
        let i = (at as usize).min(profile.len() - 1);
        let next = profile[(i + 1).min(profile.len() - 1)].1;
        profile[i].1 + (at - i as f64).min(1.0) * (next - profile[i].1)
    };
    let mut shape = [0.0; SHAPE_POINTS];
    let mut square = 0.0;
    for k in &fitted.ticks {
        let centre = fitted.along(*k, middle);
        let phase = |j: usize| (j as f64 + 0.5) / SHAPE_POINTS as f64 - 0.5;
        let own: Vec<f64> =
            (0..SHAPE_POINTS).map(|j| value(centre + phase(j) * fitted.period_px)).collect();
        let mean = own.iter().sum::<f64>() / SHAPE_POINTS as f64;
        let (mut up, mut wide) = (0.0, 0.0);
        for (j, v) in own.iter().enumerate() {
            up += phase(j) * v;
            wide += phase(j) * phase(j);
        }
        for (j, v) in own.iter().enumerate() {
            let rest = v - mean - up / wide * phase(j);
            shape[j] += rest;
            square += rest * rest;
        }
    }
    let n = fitted.ticks.len() as f64;
    shape.iter().map(|s| s * s / n).sum::<f64>() / square.max(1e-12)
}

/// Mean profile of the group's strips, each shifted so that the ticks lie on one another, from
/// half a period before the first tick to half a period after the last.
fn profile(group: &TickGroup, fitted: &RulerFit, strips: &[Strip]) -> Vec<(f64, f64)> {
    let (first, last) = (fitted.ticks[0], fitted.ticks[fitted.ticks.len() - 1]);
    let middle = 0.5 * (fitted.band_px.0 + fitted.band_px.1);
    let half = 0.5 * fitted.period_px;
    let from = (fitted.along(first, middle) - half).ceil() as i64;
    let to = (fitted.along(last, middle) + half).floor() as i64;
    let k_mid = (first + last) / 2;
    (from..=to)
        .filter_map(|u| {
            let (mut sum, mut n) = (0.0, 0.0);
            for (i, _) in &group.members {
                let strip = &strips[*i];
                let shift = fitted.along(k_mid, strip.across_px) - fitted.along(k_mid, middle);
                let at = u as f64 + shift - strip.profile.first_px;
                let whole = at.floor();
                if whole < 0.0 || whole as usize + 1 >= strip.profile.data.len() {
                    continue;
                }
                let (a, b) =
                    (strip.profile.data[whole as usize], strip.profile.data[whole as usize + 1]);
                sum += a + (at - whole) * (b - a);
                n += 1.0;
            }
            (n > 0.0).then(|| (u as f64, sum / n))
        })
        .collect()
}

impl RulerCandidate {
    fn reading(&self, picture: &LogPicture) -> Result<RulerReading, NoRuler> {
        let fitted = &self.fitted;
        let factor = picture.factor as f64;
        let profile = profile(&self.group, fitted, &self.strips);
        let values: Vec<f64> = profile.iter().map(|p| p.1).collect();
        let spectrum = comb::period(&values, fitted.period_mid_px).ok_or(NoRuler::NoTicks)?;
        if !near(spectrum, fitted.period_mid_px, AGREE) {
            return Err(NoRuler::Disagree {
                ticks_px: fitted.period_mid_px * factor,
                spectrum_px: spectrum * factor,
            });
        }
        let extent = extent(picture, self.angle_deg);
        let change_along = fitted.along_per_px.map(|g| g * extent.0);
        let change_across = fitted.across_per_px.map(|g| g * extent.1);
        // A scale spread evenly over a range has a standard deviation of range / sqrt(12).
        let spread = change_along.unwrap_or(0.0).hypot(change_across.unwrap_or(0.0)) / 12f64.sqrt();
        let err = fitted.std_err_px.hypot(spread * fitted.period_px);
        if err > MAX_UNSURE * fitted.period_px {
            return Err(NoRuler::Unsure { error: err / fitted.period_px });
        }
        let n = fitted.ticks.len() as u32;
        let period_px =
            Measured::new(fitted.period_px * factor, err * factor, n).ok_or(NoRuler::NoTicks)?;
        let (sin, cos) = self.angle_deg.to_radians().sin_cos();
        let centre = picture.centre();
        // A sample of the smaller picture is the mean of `factor` px.
        let place = |u: f64, v: f64| {
            let (x, y) = (centre.0 + u * cos + v * sin, centre.1 - u * sin + v * cos);
            ((x + 0.5) * factor - 0.5, (y + 0.5) * factor - 0.5)
        };
        let half = 0.5 * STRIP.1 as f64;
        let (top, low) = (fitted.band_px.0 - half, fitted.band_px.1 + half);
        Ok(RulerReading {
            period_px,
            spectrum_px: spectrum * fitted.period_px / fitted.period_mid_px * factor,
            angle_deg: (self.angle_deg + fitted.turn_deg).rem_euclid(180.0),
            change_along,
            change_across,
            every_second_longer: self.every_second_longer(),
            ticks: fitted
                .ticks
                .iter()
                .map(|k| Tick {
                    from_px: place(fitted.along(*k, top), top),
                    to_px: place(fitted.along(*k, low), low),
                })
                .collect(),
            profile: profile.iter().map(|(u, v)| (u * factor, *v)).collect(),
            tick_places_px: fitted
                .ticks
                .iter()
                .map(|k| fitted.along(*k, 0.5 * (top + low)) * factor)
                .collect(),
        })
    }

    /// Whether every second tick goes on in clearly more strips.
    fn every_second_longer(&self) -> bool {
        let fitted = &self.fitted;
        let scale = self.group.members[0].1.scale_px;
        let bar = 0.35 * self.group.height();
        let (first, last) = (fitted.ticks[0], fitted.ticks[fitted.ticks.len() - 1]);
        let mut seen = vec![0.0; (last - first + 1) as usize];
        for strip in &self.strips {
            for mark in strip.profile.marks(scale, self.group.sign) {
                let (k, off) = fitted.nearest(mark.at_px, strip.across_px);
                if mark.height > bar
                    && off.abs() < 0.1 * fitted.period_px
                    && (first..=last).contains(&k)
                {
                    seen[(k - first) as usize] += 1.0;
                }
            }
        }
        let every = |start: usize| -> Vec<f64> {
            seen.iter().skip(start).step_by(2).copied().filter(|n| *n > 0.0).collect()
        };
        let (Some(even), Some(odd)) = (median(&mut every(0)), median(&mut every(1))) else {
            return false;
        };
        let (short, long) = (even.min(odd), even.max(odd));
        // Strips overlap, so a step of one is chance.
        long > LONGER * short && long - short > 2.0
    }
}
