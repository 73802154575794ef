//! The words of a judgement, and how a blur becomes one: the same for stills, clips, the log and
//! a person's decisions.
//!
//! A frame is graded by its blur over a reference: the sharpest frame of its burst or clip, or
//! the sharpest its settings allow where none is sharp. The limits are conventions of this
//! project: at 1.3 the difference begins to show beside the reference, and a frame at 2 is as
//! sharp as the reference once it is shown at half the size.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// Largest blur over the reference at which a frame is a hit.
pub const HIT_RATIO: f64 = 1.3;
/// Largest blur over the reference at which a frame is near.
pub const NEAR_RATIO: f64 = 2.0;
/// No reference is finer than this: a file resolves nothing below half a pixel, px.
pub const REFERENCE_FLOOR_PX: f64 = 0.5;
/// Where the sharpest frame is this many times softer than the settings, or the sharpest area
/// anywhere, allow, nothing is sharp.
pub const SOFT_RATIO: f64 = 2.5;

/// A frame's grade by its blur over the reference.
pub fn grade(ratio: f64) -> Verdict {
    if ratio <= HIT_RATIO {
        Verdict::Hit
    } else if ratio <= NEAR_RATIO {
        Verdict::Near
    } else {
        Verdict::Miss
    }
}

/// How sharp a frame is at its subject.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Verdict {
    /// As sharp at the subject as these settings allow.
    #[serde(rename = "hit")]
    Hit,
    /// A little short; usable small.
    #[serde(rename = "near")]
    Near,
    /// Clearly short.
    #[serde(rename = "miss")]
    Miss,
    /// The data do not support an answer.
    #[serde(rename = "unclear", alias = "cannot say")]
    Unclear,
}

impl Verdict {
    /// All of them, best first.
    pub const ALL: [Verdict; 4] = [Verdict::Hit, Verdict::Near, Verdict::Miss, Verdict::Unclear];

    /// The word shown to people.
    pub fn word(self) -> &'static str {
        match self {
            Verdict::Hit => "hit",
            Verdict::Near => "near",
            Verdict::Miss => "miss",
            Verdict::Unclear => "unclear",
        }
    }

    /// Whether it is near or a miss: the same trouble, more or less of it.
    pub fn is_short(self) -> bool {
        matches!(self, Verdict::Near | Verdict::Miss)
    }
}

/// Why sharpness was lost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cause {
    /// Something else in the frame is sharp.
    #[serde(alias = "plane-off")]
    Misfocused,
    /// Movement in one direction everywhere.
    Shake,
    /// Movement in one direction at the subject only.
    SubjectMotion,
    /// Nothing is sharp, no direction.
    Soft,
    /// Detail is drowned in noise.
    Noise,
    /// The settings themselves cost it.
    Diffraction,
    /// Flash plus ambient double image.
    Ghosted,
    /// Too dark to judge.
    UnderExposed,
    /// The subject is clipped.
    Clipped,
    /// Nothing to measure at the subject.
    NoTexture,
}

impl Cause {
    /// All of them.
    pub const ALL: [Cause; 10] = [
        Cause::Misfocused,
        Cause::Shake,
        Cause::SubjectMotion,
        Cause::Soft,
        Cause::Noise,
        Cause::Diffraction,
        Cause::Ghosted,
        Cause::UnderExposed,
        Cause::Clipped,
        Cause::NoTexture,
    ];

    /// The word shown to people.
    pub fn word(self) -> &'static str {
        match self {
            Cause::Misfocused => "misfocused",
            Cause::Shake => "shake",
            Cause::SubjectMotion => "subject-motion",
            Cause::Soft => "soft",
            Cause::Noise => "noise",
            Cause::Diffraction => "diffraction",
            Cause::Ghosted => "ghosted",
            Cause::UnderExposed => "under-exposed",
            Cause::Clipped => "clipped",
            Cause::NoTexture => "no-texture",
        }
    }

    /// Whether the camera or the subject moved.
    pub fn is_movement(self) -> bool {
        matches!(self, Cause::Shake | Cause::SubjectMotion | Cause::Ghosted)
    }
}

/// What a blur was read from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BlurBy {
    /// The burst's sharpest frame, by ratio.
    Burst,
    /// The spectrum of a regular pattern.
    Pattern,
    /// The spectrum of any other texture.
    Texture,
    /// Edges.
    Edges,
}

impl BlurBy {
    /// The word shown to people.
    pub fn word(self) -> &'static str {
        match self {
            BlurBy::Burst => "burst",
            BlurBy::Pattern => "pattern",
            BlurBy::Texture => "texture",
            BlurBy::Edges => "edges",
        }
    }
}

/// A word that is no verdict, or no cause.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{word:?} is no {kind}")]
pub struct UnknownWord {
    word: String,
    kind: &'static str,
}

/// Reads the words of today and of earlier versions, with spaces or hyphens.
impl FromStr for Verdict {
    type Err = UnknownWord;

    fn from_str(word: &str) -> Result<Verdict, UnknownWord> {
        match word {
            "hit" => Ok(Verdict::Hit),
            "near" => Ok(Verdict::Near),
            "miss" => Ok(Verdict::Miss),
            "unclear" | "cannot say" | "cannot-say" => Ok(Verdict::Unclear),
            _ => Err(UnknownWord { word: word.to_owned(), kind: "verdict" }),
        }
    }
}

impl FromStr for Cause {
    type Err = UnknownWord;

    fn from_str(word: &str) -> Result<Cause, UnknownWord> {
        match word {
            "plane-off" => Ok(Cause::Misfocused),
            _ => Cause::ALL
                .into_iter()
                .find(|cause| cause.word() == word)
                .ok_or_else(|| UnknownWord { word: word.to_owned(), kind: "cause" }),
        }
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

impl fmt::Display for Cause {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_limit_belongs_to_the_better_grade() {
        for (ratio, verdict) in [
            (0.9, Verdict::Hit),
            (HIT_RATIO, Verdict::Hit),
            (HIT_RATIO.next_up(), Verdict::Near),
            (NEAR_RATIO, Verdict::Near),
            (NEAR_RATIO.next_up(), Verdict::Miss),
        ] {
            assert_eq!(grade(ratio), verdict, "{ratio}");
        }
    }

    #[test]
    fn every_word_is_read_back() {
        for verdict in Verdict::ALL {
            assert_eq!(verdict.word().parse(), Ok(verdict));
            let json = serde_json::to_string(&verdict).unwrap();
            assert_eq!(json, format!("{:?}", verdict.word()));
            assert_eq!(serde_json::from_str::<Verdict>(&json).unwrap(), verdict);
        }
        for cause in Cause::ALL {
            assert_eq!(cause.word().parse(), Ok(cause));
            let json = serde_json::to_string(&cause).unwrap();
            assert_eq!(json, format!("{:?}", cause.word()));
            assert_eq!(serde_json::from_str::<Cause>(&json).unwrap(), cause);
        }
        for by in [BlurBy::Burst, BlurBy::Pattern, BlurBy::Texture, BlurBy::Edges] {
            assert_eq!(serde_json::to_string(&by).unwrap(), format!("{:?}", by.word()));
        }
    }

    #[test]
    fn words_of_other_versions_are_read_too() {
        for word in ["unclear", "cannot say", "cannot-say"] {
            assert_eq!(word.parse(), Ok(Verdict::Unclear));
        }
        for word in ["misfocused", "plane-off"] {
            assert_eq!(word.parse(), Ok(Cause::Misfocused));
        }
        assert_eq!("Hit".parse::<Verdict>().unwrap_err().to_string(), r#""Hit" is no verdict"#);
        assert_eq!("".parse::<Cause>().unwrap_err().to_string(), r#""" is no cause"#);
    }
}
