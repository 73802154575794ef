//! The one table of flags: what can make a number shaky, and the sentence that says so.

use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

macro_rules! flags {
    ($($(#[$doc:meta])* $name:ident = $bit:literal, $key:literal, $says:literal;)*) => {
        /// Something that makes a measured number shaky. Serialised by its key.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
        pub enum Flag { $($(#[$doc])* $name = $bit),* }

        impl Flag {
            /// Every flag, in the order of the table.
            pub const ALL: &'static [Flag] = &[$(Flag::$name),*];
            /// Short stable key, used in JSON and CSV.
            pub fn key(self) -> &'static str { match self { $(Flag::$name => $key),* } }
            /// One sentence for people.
            pub fn says(self) -> &'static str { match self { $(Flag::$name => $says),* } }
        }
    };
}

flags! {
    /// Too little structure to say anything about sharpness.
    NoTexture = 0, "no-texture", "too little texture here to judge sharpness";
    /// Noise hides the fine scale: only a bound is known.
    NoiseHides = 1, "noise-hides", "noise hides the fine scale, so blur is only a bound";
    /// Clipped pixels were left out.
    Clipped = 2, "clipped", "clipped pixels were left out";
    /// Noise could not be seen in this frame alone.
    NoiseUnseen = 3, "noise-unseen", "noise and texture could not be separated in this frame";
    /// Noise level taken from another frame of the burst.
    BurstNoise = 4, "burst-noise", "noise level taken from the burst's best frame for noise";
    /// Every flat place is textured: the noise figure is an upper bound.
    AllTexture = 5, "all-texture", "no flat area in the frame: the noise figure is an upper bound";
    /// The noise spectrum falls steeply: the camera smoothed the noise.
    NoiseReduced = 6, "noise-reduced", "the camera smoothed the noise: detail can only be ranked, not quoted";
    /// The subject was not found in this frame.
    SubjectLost = 7, "subject-lost", "the subject could not be followed into this frame";
    /// The subject was found without a mark from the user.
    SubjectGuessed = 8, "subject-guessed", "the subject point was found from the burst, not marked";
    // 9 was "direction-not-observable", which nothing raised.
    /// The best frame of the burst is itself soft for its settings.
    BestIsSoft = 10, "best-is-soft", "even the best frame of this burst is softer than its settings allow";
    /// Only one frame: nothing to compare with.
    Alone = 11, "alone", "single frame: judged only against the sharpest its settings allow";
    /// No exposure data in the file.
    NoExposure = 12, "no-exposure", "no exposure data in the file";
    /// No capture time in the file; order taken from file names.
    NoTime = 13, "no-time", "no capture time in the file: order taken from the file names";
    /// Subject box cut by the border of the frame.
    AtBorder = 14, "at-border", "the subject box is cut by the border of the frame";
    /// Fine structure beyond the pixel grid.
    Aliased = 15, "aliased", "fine structure near the pixel limit may be false (aliasing)";
    /// Sharpness at or beyond the resolution of the file.
    AtFloor = 16, "at-floor", "as sharp as this file can show: blur is at or below the floor";
    /// The frame holds more noise than detail at the subject.
    MostlyNoise = 17, "mostly-noise", "more noise than detail at the subject";
    /// Pixel count differs from the full-size capture.
    Resized = 18, "resized", "the file was resized after capture";
    /// What is sharp in the subject box is sparse: hairs, specks or rims.
    Sparse = 19, "sparse", "only a few hairs, specks or rims are sharp here";
    /// Edges are sharp but carry less contrast than their sharpness allows.
    Veiled = 20, "veiled", "edges are sharp but weaker than in the best frame: haze, or flash and ambient light mixed";
}

/// A set of [`Flag`]s. Serialised as the list of their keys.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash)]
pub struct FlagSet(u32);

impl FlagSet {
    /// No flag raised.
    pub const EMPTY: FlagSet = FlagSet(0);

    /// Raises a flag.
    pub fn raise(&mut self, flag: Flag) {
        self.0 |= 1 << flag as u32;
    }

    /// The set with one more flag.
    #[must_use]
    pub fn with(mut self, flag: Flag) -> Self {
        self.raise(flag);
        self
    }

    /// Everything raised in either set.
    #[must_use]
    pub fn union(self, other: FlagSet) -> Self {
        FlagSet(self.0 | other.0)
    }

    /// Whether a flag is raised.
    pub fn has(self, flag: Flag) -> bool {
        self.0 & (1 << flag as u32) != 0
    }

    /// Whether no flag is raised.
    pub fn is_empty(&self) -> bool {
        self.0 == 0
    }

    /// The raised flags in the order of the table.
    pub fn iter(self) -> impl Iterator<Item = Flag> {
        Flag::ALL.iter().copied().filter(move |f| self.has(*f))
    }
}

impl FromIterator<Flag> for FlagSet {
    fn from_iter<I: IntoIterator<Item = Flag>>(iter: I) -> Self {
        iter.into_iter().fold(FlagSet::EMPTY, FlagSet::with)
    }
}

impl Serialize for FlagSet {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        // A form without names of fields has to know how many there are.
        self.iter().map(Flag::key).collect::<Vec<_>>().serialize(serializer)
    }
}

impl<'de> Deserialize<'de> for FlagSet {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let keys = Vec::<String>::deserialize(deserializer)?;
        let flag = |key: &String| Flag::ALL.iter().copied().find(|f| f.key() == key);
        keys.iter()
            .map(|key| flag(key).ok_or_else(|| D::Error::custom(format!("no caution {key:?}"))))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_are_unique_and_bits_do_not_collide() {
        let mut keys: Vec<_> = Flag::ALL.iter().map(|f| f.key()).collect();
        keys.sort_unstable();
        keys.dedup();
        assert_eq!(keys.len(), Flag::ALL.len());
        let all: FlagSet = Flag::ALL.iter().copied().collect();
        assert_eq!(all.iter().count(), Flag::ALL.len());
    }

    #[test]
    fn a_set_serialises_as_keys_in_table_order() {
        let set = FlagSet::EMPTY.with(Flag::Clipped).with(Flag::NoTexture);
        assert_eq!(serde_json::to_string(&set).unwrap(), r#"["no-texture","clipped"]"#);
        assert_eq!(serde_json::from_str::<FlagSet>(r#"["clipped","no-texture"]"#).unwrap(), set);
        assert!(serde_json::from_str::<FlagSet>(r#"["sunburnt"]"#).is_err());
    }
}
