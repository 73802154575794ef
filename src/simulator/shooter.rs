//! A simulated shooter with known optics, noise and hand: a season of frames as they would be
//! measured, without pictures. Truth for charts of one's own limits.
//!
//! Every burst has a subject of its own contrast; every frame its own distance from the focus and
//! its own smear. Detail is that of the model of [`crate::optics::imaging_model`] averaged over the
//! directions of the smear, blur the quadrature of its parts, both with the scatter that measured
//! frames have.

use crate::core::random::SplitMix64;
use crate::core::units::GREEN;
use crate::core::verdict::{Cause, Verdict};
use crate::optics::imaging_model::{CaptureSettings, HIGHEST_CY_PX, ImagingSystem, contrast_power};
use crate::optics::{light, motion};

/// Blur over a burst's best that still is a hit, and that still is near.
const HIT: f64 = 1.3;
const NEAR: f64 = 2.0;
/// A smear is seen when it is longer than this, px, and its swing is this share of the variance of
/// blur (as [`crate::sharpness::direction`] sees it); one is told where it alone spoils a hit.
const SEEN_PX: f64 = 2.0;
const SEEN_SHARE: f64 = 0.3;
/// Scatter of the measured length, share.
const LENGTH_SCATTER: f64 = 0.1;
/// A burst whose best is softer than this over its settings holds no hit.
const BEST_IS_SOFT: f64 = 1.6;

/// Marked f-numbers that are used.
const F_NUMBERS: [f64; 6] = [2.8, 4.0, 5.6, 8.0, 11.0, 16.0];

/// Who shoots, with what.
#[derive(Debug, Clone, PartialEq)]
pub struct Shooter {
    /// Optics, noise and the contrast of a middling subject.
    pub kit: ImagingSystem,
    /// Magnification.
    pub magnification: f64,
    /// Speed of the hand along each direction, standard deviation on the subject, mm/s.
    pub hand_mm_s: f64,
    /// Distance of focus, standard deviation, mm.
    pub focus_spread_mm: f64,
    /// Scatter of the subjects' contrast power, standard deviation of its logarithm.
    pub subjects: f64,
    /// Scatter of measured detail, share.
    pub detail_scatter: f64,
    /// Scatter of measured blur, share.
    pub blur_scatter: f64,
}

/// One frame as measured.
#[derive(Debug, Clone, PartialEq)]
pub struct SimulatedFrame {
    /// Outing, from 1.
    pub outing: i64,
    /// Burst in the outing, from 1.
    pub burst: u32,
    /// Whether the outing is a test.
    pub test: bool,
    /// Marked f-number.
    pub f_number: f64,
    /// Working f-number.
    pub n_eff: f64,
    /// ISO.
    pub iso: u32,
    /// Exposure time, s.
    pub shutter_s: f64,
    /// Detail, bits per pixel.
    pub detail_bits_px: f64,
    /// Blur, px; with the smear where one is told.
    pub blur_sigma_px: f64,
    /// That over what verdicts of the burst are relative to; none in a test.
    pub blur_ratio: Option<f64>,
    /// Smear, px, where it is told.
    pub motion_px: Option<f64>,
    /// Hit, near or miss.
    pub verdict: Verdict,
    /// What cost the most, when not a hit.
    pub cause: Option<Cause>,
}

impl Shooter {
    /// A shooter of one's own: everything within what is usual.
    pub fn of(seed: u64) -> Shooter {
        let mut r = SplitMix64::new(seed ^ 0x5709);
        let pitch_um = r.between(3.3, 6.0);
        let electrons = 300.0 * pitch_um * pitch_um * r.between(0.7, 1.4);
        let read_e = r.between(1.5, 6.0);
        Shooter {
            kit: ImagingSystem {
                pitch_um,
                wavelength: GREEN,
                aberration_um: r.between(8.0, 36.0),
                contrast_power: contrast_power(r.between(0.05, 0.14)),
                shot: 1.0 / electrons,
                read: (read_e / electrons).powi(2),
            },
            magnification: r.between(0.8, 2.5),
            hand_mm_s: r.between(2.0, 7.0),
            focus_spread_mm: r.between(0.3, 0.7),
            subjects: 0.25,
            detail_scatter: 0.03,
            blur_scatter: 0.05,
        }
    }

    fn n_eff(&self, f_number: f64) -> f64 {
        f_number * (1.0 + self.magnification)
    }

    fn setting(&self, f_number: f64, iso: u32) -> CaptureSettings {
        CaptureSettings {
            n_eff: self.n_eff(f_number),
            iso: f64::from(iso),
            defocus_um: 0.0,
            smear_px: 0.0,
            soft_px: 0.0,
        }
    }

    /// Detail that a setting gives of a middling subject at its best, bits per pixel.
    pub fn true_detail(&self, n_eff: f64, iso: f64) -> f64 {
        let at = CaptureSettings { n_eff, iso, ..self.setting(8.0, 100) };
        self.kit.shows(&at, HIGHEST_CY_PX, None).detail_bits_px
    }

    /// Shutter at which half of the frames that hit or moved are hits, by the same verdicts, over a
    /// season so long that chance is gone, s.
    pub fn true_half_shutter_s(&self, seed: u64) -> Option<f64> {
        /// Bursts of the long season, spread over the shutters.
        const BURSTS: u32 = 6000;
        const FASTEST: f64 = 13.0;
        const PER_STOP: f64 = 2.0;
        let mut r = SplitMix64::new(seed);
        let mut bins = vec![(0u32, 0u32); 30];
        for _ in 0..BURSTS {
            let stops = r.between(0.0, 14.0);
            let f_number = F_NUMBERS[1 + r.below(5)];
            let mut burst: Vec<SimulatedFrame> = (0..10)
                .map(|_| self.taken(&mut r, f_number, 400, (stops - FASTEST).exp2(), true).0)
                .collect();
            self.judge(&mut burst);
            let bin = &mut bins[(stops * PER_STOP) as usize];
            for t in &burst {
                bin.0 += u32::from(t.verdict == Verdict::Hit);
                bin.1 += u32::from(t.verdict == Verdict::Hit || t.cause == Some(Cause::Shake));
            }
        }
        let shares: Vec<(f64, f64)> = bins
            .iter()
            .enumerate()
            .filter(|(_, (_, of))| *of > 50)
            .map(|(i, (hits, of))| {
                ((i as f64 + 0.5) / PER_STOP - FASTEST, f64::from(*hits) / f64::from(*of))
            })
            .collect();
        let (fast, slow) =
            shares.iter().zip(shares.iter().skip(1)).find(|(a, b)| a.1 >= 0.5 && b.1 < 0.5)?;
        Some((fast.0 + (slow.0 - fast.0) * (fast.1 - 0.5) / (fast.1 - slow.1)).exp2())
    }

    /// A season: outings of bursts of ten in the field, and `tests` frames of one still subject
    /// on a stand in which aperture and ISO step; `frames` in all.
    pub fn season(&self, seed: u64, frames: usize, tests: usize) -> Vec<SimulatedFrame> {
        let mut r = SplitMix64::new(seed);
        let mut all = Vec::with_capacity(frames);
        for i in 0..tests.min(frames) {
            let f_number = F_NUMBERS[i % 6];
            let iso = 100 << (2 * (i / 6 % 3));
            let mut one = self.frame(&mut r, f_number, iso, 1.0 / 30.0, false, 1.0);
            (one.outing, one.test, one.burst) = (1, true, 1 + i as u32);
            all.push(one);
        }
        let mut burst = 0;
        while all.len() < frames {
            burst += 1;
            let f_number = F_NUMBERS[1 + r.below(5)];
            // The light of the day and a shutter that is liked decide the ISO.
            let ev = r.between(9.0, 15.0);
            let liked_s = [1.0 / 60.0, 1.0 / 125.0, 1.0 / 250.0, 1.0 / 500.0][r.below(4)];
            let n_eff = self.n_eff(f_number);
            let wanted = light::iso(n_eff, liked_s, ev).clamp(100.0, 6400.0);
            let iso = (100.0 * (wanted / 100.0).log2().round().exp2()) as u32;
            let shutter_s = light::shutter_s(n_eff, f64::from(iso), ev).clamp(1.0 / 4000.0, 0.25);
            let subject = (self.subjects * r.normal()).exp();
            let from = all.len();
            for _ in 0..10.min(frames - from) {
                let mut one = self.frame(&mut r, f_number, iso, shutter_s, true, subject);
                one.outing = 2 + i64::from(burst / 8);
                one.burst = burst;
                all.push(one);
            }
            self.judge(&mut all[from..]);
        }
        all
    }

    /// One frame, in the hand or on a stand in focus, without its detail; with its setting.
    fn taken(
        &self,
        r: &mut SplitMix64,
        f_number: f64,
        iso: u32,
        shutter_s: f64,
        hand: bool,
    ) -> (SimulatedFrame, CaptureSettings) {
        let mut at = self.setting(f_number, iso);
        let best = self.kit.blur_sigma_px(&at);
        let (m, pitch) = (self.magnification, self.kit.pitch_um);
        if hand {
            at.defocus_um = (self.focus_spread_mm * r.normal()).abs() * m * m * 1000.0;
            let speed = (self.hand_mm_s * r.normal()).hypot(self.hand_mm_s * r.normal());
            at.smear_px = motion::smear_px(speed, shutter_s, m, pitch);
        }
        let smear = at.smear_px;
        let disc_px = at.defocus_um / at.n_eff / pitch;
        // σ over both directions: movement softens one of them.
        let blur = (best.powi(2) + (0.265_77 * disc_px).powi(2) + smear * smear / 24.0).sqrt();
        let one = SimulatedFrame {
            outing: 0,
            burst: 0,
            test: false,
            f_number,
            n_eff: at.n_eff,
            iso,
            shutter_s,
            detail_bits_px: 0.0,
            blur_sigma_px: blur * (1.0 + self.blur_scatter * r.normal()),
            blur_ratio: None,
            motion_px: (smear > SEEN_PX && smear * smear / 24.0 > SEEN_SHARE * blur * blur)
                .then(|| smear * (1.0 + LENGTH_SCATTER * r.normal())),
            verdict: Verdict::Hit,
            cause: None,
        };
        (one, at)
    }

    /// One frame with its detail, averaged over the directions of the picture.
    fn frame(
        &self,
        r: &mut SplitMix64,
        f_number: f64,
        iso: u32,
        shutter_s: f64,
        hand: bool,
        subject: f64,
    ) -> SimulatedFrame {
        const DIRECTIONS: u32 = 4;
        let (mut one, at) = self.taken(r, f_number, iso, shutter_s, hand);
        let kit = ImagingSystem { contrast_power: self.kit.contrast_power * subject, ..self.kit };
        let detail = (0..DIRECTIONS)
            .map(|i| {
                let turn = f64::from(i) * std::f64::consts::FRAC_PI_2 / f64::from(DIRECTIONS - 1);
                let along = CaptureSettings { smear_px: at.smear_px * turn.cos(), ..at };
                kit.shows(&along, HIGHEST_CY_PX, None).detail_bits_px
            })
            .sum::<f64>()
            / f64::from(DIRECTIONS);
        one.detail_bits_px = detail * (1.0 + self.detail_scatter * r.normal());
        one
    }

    /// Verdicts of a burst, as `cull` gives them: over the best of the burst; movement is told
    /// where it alone spoils a hit, counts in its own direction, and is then the first cause.
    fn judge(&self, burst: &mut [SimulatedFrame]) {
        let Some(best) = burst.iter().map(|t| t.blur_sigma_px).reduce(f64::min) else { return };
        for t in burst.iter_mut() {
            let settings = self.kit.blur_sigma_px(&self.setting(t.f_number, t.iso));
            let soft = best > BEST_IS_SOFT * settings;
            let reference = if soft { BEST_IS_SOFT * settings / HIT } else { best };
            let still2 = t.blur_sigma_px.powi(2);
            t.motion_px = t.motion_px.filter(|l| still2 + l * l / 24.0 > (HIT * reference).powi(2));
            let l = t.motion_px.unwrap_or(0.0);
            t.blur_sigma_px = (still2 + l * l / 12.0).sqrt();
            let ratio = t.blur_sigma_px / reference;
            t.blur_ratio = Some(ratio);
            t.verdict = match ratio {
                r if r <= HIT => Verdict::Hit,
                r if r <= NEAR => Verdict::Near,
                _ => Verdict::Miss,
            };
            if t.verdict != Verdict::Hit {
                t.cause =
                    Some(if t.motion_px.is_some() { Cause::Shake } else { Cause::Misfocused });
            }
        }
    }
}
