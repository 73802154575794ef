//! From what was measured on a burst to its verdicts, in the order of the steps. Pure: nothing is
//! read here.

use super::burst_verdict::{BurstVerdict, FrameVerdict, Movement};
use super::decide::{self, Ranking};
use super::subject_boxes::SubjectBoxes;
use super::unmarked;
use crate::core::Flag;
use crate::report::parts::SubjectFound;
use crate::sharpness::direction::Smear;
use crate::sharpness::focus_map::FocusMap;
use crate::sharpness::sharp_area::sharpest_area;
use crate::sharpness::subject::SubjectBox;
use crate::sharpness::subject_blur::{Attainable, Reached, subject_blur};
use crate::tracking::burst_noise::BurstNoise;
use crate::tracking::burst_planes::OverlaidBurst;
use crate::tracking::frame_features::FrameFeatures;
use crate::tracking::locate::{BurstPlaces, LocatedSubject};
use crate::tracking::subject_hints::SubjectHints;
use crate::tracking::unmarked_subject::UnmarkedSubject;
use crate::tracking::whole_frames;

/// All that is measured on a burst before its frames are ranked.
#[derive(Debug)]
pub struct BurstEvidence<'a> {
    /// Its frames.
    pub shots: &'a [&'a FrameFeatures],
    /// Their noise.
    pub noise: BurstNoise,
    /// Their focus maps.
    pub maps: Vec<FocusMap>,
    /// The burst laid over itself.
    pub places: Option<&'a BurstPlaces>,
    /// Where the subject is.
    pub located: LocatedSubject,
    /// Without a mark, what the planes say of it.
    pub unmarked: Option<UnmarkedSubject<'a>>,
    /// What lies there.
    pub subjects: SubjectBoxes,
    /// What was known of the subject.
    pub hints: &'a SubjectHints,
    /// What each frame's settings can give at best, where known.
    pub attainable: &'a [Option<Attainable>],
}

/// A burst whose frames are ranked; movement is missing for its verdicts.
#[derive(Debug)]
pub struct RankedBurst<'a> {
    burst: BurstVerdict,
    ranking: Ranking,
    /// The usual smear of a burst that was shaken all the time.
    shake: Option<Smear>,
    nothing_sharp: bool,
    unmarked: Option<UnmarkedSubject<'a>>,
    overlaid: Option<&'a OverlaidBurst>,
    hints: &'a SubjectHints,
    attainable: Option<Attainable>,
}

impl<'a> RankedBurst<'a> {
    /// Ranks the frames of a burst.
    pub fn of(evidence: BurstEvidence<'a>) -> RankedBurst<'a> {
        let BurstEvidence { shots, noise, maps, places, located, unmarked, .. } = evidence;
        let BurstEvidence { subjects, hints, attainable, .. } = evidence;
        let SubjectBoxes { boxes, sparse, lead } = subjects;
        let is_marked = hints.mark.is_some();
        let of_any = attainable.iter().flatten().next().copied();
        let of_burst = lead.and_then(|i| attainable.get(i).copied().flatten());
        let found = match (is_marked, located.is_found) {
            (true, _) => SubjectFound::Marked,
            (false, true) => SubjectFound::Automatic,
            (false, false) => SubjectFound::None,
        };
        let missed = BurstPlaces::is_missed(places, &located.positions, &maps, of_any);
        let is_missed = missed.filter(|_| is_marked);
        let own_noise: Vec<_> = shots.iter().map(|s| s.rendered_noise.as_ref()).collect();
        let blur = subject_blur(&boxes, &sparse, &own_noise, &noise.noise, of_burst, is_missed);
        let in_plane = places
            .and_then(BurstPlaces::fitted)
            .map(|(overlaid, planes)| overlaid.in_plane_px2(planes));
        let frames = boxes
            .into_iter()
            .enumerate()
            .map(|(i, subject)| FrameVerdict {
                place: located.positions[i],
                sharpest: sharpest_area(&maps[i]),
                in_plane_px2: in_plane.as_ref().map(|a| a[i]),
                ..FrameVerdict::unjudged(subject)
            })
            .collect();
        let shake = whole_frames::shake(shots);
        let mut burst = BurstVerdict {
            frames,
            best: None,
            found,
            noise: noise.noise,
            noise_seen: noise.is_seen,
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
            burst.is_shaken || !is_marked && whole_frames::is_blurred(&burst.maps, of_any);
        match unmarked.as_ref().and_then(|u| u.is_reached(of_any)) {
            _ if nothing_sharp => burst.reached = Reached::No,
            Some(false) => burst.reached = Reached::No,
            // The place is a guess, and what is smooth there may be sharp at the subject.
            Some(true) => burst.reached = Reached::Yes,
            None => {}
        }
        let ranking = Ranking::of(&burst, lead, sparse);
        RankedBurst {
            burst,
            ranking,
            shake,
            nothing_sharp,
            unmarked,
            overlaid: places.map(|p| &p.overlaid),
            hints,
            attainable: of_burst,
        }
    }

    /// What the settings of the frame with the sharpest subject can give at best, where known.
    pub fn attainable(&self) -> Option<Attainable> {
        self.attainable
    }

    /// The usual smear of a burst that was shaken all the time.
    pub fn shake(&self) -> Option<Smear> {
        self.shake
    }

    /// The subjects in all frames, and the sharpest frame with its blur, px, where movement is to be
    /// measured against it.
    pub fn to_be_measured(&self) -> Option<(Vec<Option<&SubjectBox>>, usize, f64)> {
        let (sharpest, px) = self.ranking.sharpest?;
        let boxes = self.burst.frames.iter().map(|f| f.subject.as_ref()).collect();
        Some((boxes, sharpest, px))
    }

    /// Decides, with the movement of every frame where it was measured.
    pub fn decided(self, measured: Option<Vec<Option<Movement>>>) -> BurstVerdict {
        let RankedBurst { mut burst, ranking, unmarked, overlaid, hints, attainable, .. } = self;
        let moved = measured.unwrap_or_else(|| vec![None; burst.frames.len()]);
        decide::decide(&mut burst, ranking, moved, attainable);
        if self.nothing_sharp && !burst.best_is_soft {
            unmarked::tell_unreached(&mut burst);
        }
        if burst.is_shaken {
            unmarked::tell_shaken(&mut burst);
        }
        let alone = burst.frames.len() == 1;
        match &unmarked {
            _ if burst.best_is_soft || hints.mark.is_some() || alone => {}
            Some(subject) => unmarked::restate(&mut burst, subject, attainable),
            None => unmarked::withhold_disputed(&mut burst, overlaid, hints),
        }
        let guessed = burst.found == SubjectFound::Automatic;
        for frame in &mut burst.frames {
            if guessed {
                frame.flags.raise(Flag::SubjectGuessed);
            }
            if alone {
                frame.flags.raise(Flag::Alone);
            }
        }
        burst
    }
}
