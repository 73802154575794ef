//! The coded values of Exif as types. Codes as in the Exif tables (CIPA DC-008).

use serde::{Deserialize, Serialize};

macro_rules! coded {
    ($(#[$doc:meta])* $name:ident { $($code:literal => $variant:ident, $label:literal;)* }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
        pub enum $name { $(#[doc = concat!("Code ", stringify!($code), ": ", $label, ".")] $variant),* }

        impl $name {
            /// The meaning of a code; `None` when it is 0 for unknown, or not in the tables.
            pub fn from_code(code: u32) -> Option<Self> {
                match code { $($code => Some($name::$variant),)* _ => None }
            }
            /// In words.
            pub fn label(self) -> &'static str {
                match self { $($name::$variant => $label),* }
            }
        }
    };
}

coded! {
    /// How aperture and time were chosen.
    ExposureProgram {
        1 => Manual, "manual";
        2 => Program, "program";
        3 => AperturePriority, "aperture priority";
        4 => ShutterPriority, "shutter priority";
        5 => Creative, "depth-biased program";
        6 => Action, "speed-biased program";
        7 => Portrait, "portrait program";
        8 => Landscape, "landscape program";
    }
}

coded! {
    /// Whether the exposure was set by hand, by the camera, or bracketed.
    ExposureMode {
        0 => Auto, "automatic";
        1 => Manual, "manual";
        2 => Bracket, "automatic bracket";
    }
}

coded! {
    /// What the recorded sensitivity is, in the terms of ISO 12232.
    SensitivityType {
        1 => Sos, "standard output sensitivity";
        2 => Rei, "recommended exposure index";
        3 => Iso, "ISO speed";
        4 => SosRei, "standard output sensitivity and recommended exposure index";
        5 => SosIso, "standard output sensitivity and ISO speed";
        6 => ReiIso, "recommended exposure index and ISO speed";
        7 => All, "standard output sensitivity, recommended exposure index and ISO speed";
    }
}

coded! {
    /// The light the camera was set to.
    LightSource {
        1 => Daylight, "daylight";
        2 => Fluorescent, "fluorescent";
        3 => Tungsten, "tungsten";
        4 => Flash, "flash";
        9 => FineWeather, "fine weather";
        10 => Cloudy, "cloudy";
        11 => Shade, "shade";
        12 => DaylightFluorescent, "daylight fluorescent";
        13 => DayWhiteFluorescent, "day white fluorescent";
        14 => CoolWhiteFluorescent, "cool white fluorescent";
        15 => WhiteFluorescent, "white fluorescent";
        17 => StandardA, "standard light A";
        18 => StandardB, "standard light B";
        19 => StandardC, "standard light C";
        20 => D55, "D55";
        21 => D65, "D65";
        22 => D75, "D75";
        24 => StudioTungsten, "studio tungsten";
        255 => Other, "other";
    }
}

coded! {
    /// Gain applied to the picture beyond the sensitivity.
    GainControl {
        0 => None, "none";
        1 => LowUp, "low gain up";
        2 => HighUp, "high gain up";
        3 => LowDown, "low gain down";
        4 => HighDown, "high gain down";
    }
}

coded! {
    /// The camera's sharpening.
    Sharpening {
        0 => Normal, "normal";
        1 => Soft, "soft";
        2 => Hard, "hard";
    }
}

coded! {
    /// Whether the frame is made of several exposures (Exif 2.32); an in-camera focus stack is.
    Composite {
        1 => Single, "not a composite";
        2 => General, "composite";
        3 => WhileShooting, "composite made while shooting";
    }
}

/// Whether the picture was rendered out of the ordinary.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum RenderingCode {
    /// Code 0.
    Normal,
    /// Code 1.
    Custom,
    /// A code outside the tables; phones write some for merged or portrait pictures.
    Other(u32),
}

impl RenderingCode {
    /// The meaning of a code.
    pub fn from_code(code: u32) -> Self {
        match code {
            0 => RenderingCode::Normal,
            1 => RenderingCode::Custom,
            other => RenderingCode::Other(other),
        }
    }
}

/// What the flash sensor of the camera saw come back.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum ReturnLight {
    /// Not seen.
    NotDetected,
    /// Seen.
    Detected,
}

/// How the flash was set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum FlashMode {
    /// Always on.
    ForcedOn,
    /// Always off.
    ForcedOff,
    /// As the camera chose.
    Auto,
}

/// What the camera knew of the flash.
///
/// A flash in the hand, on a dumb trigger or set off by another flash is unknown to the camera:
/// `fired == false` does not prove ambient light.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Flash {
    /// The camera fired a flash it knows of (bit 0).
    pub fired: bool,
    /// Light that came back (bits 1 and 2); `None` without a detector.
    pub return_light: Option<ReturnLight>,
    /// How it was set (bits 3 and 4); `None` when unknown.
    pub mode: Option<FlashMode>,
    /// The body has no flash (bit 5).
    pub no_function: bool,
    /// Red-eye reduction (bit 6).
    pub red_eye: bool,
}

impl Flash {
    /// From the bits of the Exif tag Flash.
    pub fn from_bits(bits: u32) -> Self {
        Flash {
            fired: bits & 1 != 0,
            return_light: match bits >> 1 & 3 {
                2 => Some(ReturnLight::NotDetected),
                3 => Some(ReturnLight::Detected),
                _ => None,
            },
            mode: match bits >> 3 & 3 {
                1 => Some(FlashMode::ForcedOn),
                2 => Some(FlashMode::ForcedOff),
                3 => Some(FlashMode::Auto),
                _ => None,
            },
            no_function: bits >> 5 & 1 != 0,
            red_eye: bits >> 6 & 1 != 0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // facts E1, E2, E3 (Exif tag Flash; tables of libexif).
    #[test]
    fn flash_bits() {
        for bits in [0x00, 0x10, 0x18, 0x20] {
            let flash = Flash::from_bits(bits);
            assert!(!flash.fired && flash.return_light.is_none());
            assert_eq!(flash.no_function, bits == 0x20);
        }
        for (bits, mode, red_eye) in [
            (0x01, None, false),
            (0x09, Some(FlashMode::ForcedOn), false),
            (0x19, Some(FlashMode::Auto), false),
            (0x41, None, true),
        ] {
            let want = Flash { fired: true, return_light: None, mode, no_function: false, red_eye };
            assert_eq!(Flash::from_bits(bits), want);
        }
        for bits in [0x05, 0x0d, 0x1d] {
            let flash = Flash::from_bits(bits);
            assert_eq!(flash.return_light, Some(ReturnLight::NotDetected));
            assert!(flash.fired);
        }
        for bits in [0x07, 0x0f, 0x1f, 0x5f] {
            let flash = Flash::from_bits(bits);
            assert_eq!(flash.return_light, Some(ReturnLight::Detected));
            assert!(flash.fired);
        }
        assert_eq!(Flash::from_bits(0x10).mode, Some(FlashMode::ForcedOff));
    }

    #[test]
    fn zero_means_unknown_where_the_tables_say_so() {
        assert_eq!(ExposureProgram::from_code(0), None);
        assert_eq!(LightSource::from_code(0), None);
        assert_eq!(Composite::from_code(0), None);
        assert_eq!(ExposureMode::from_code(0), Some(ExposureMode::Auto));
        assert_eq!(GainControl::from_code(0), Some(GainControl::None));
        assert_eq!(RenderingCode::from_code(6), RenderingCode::Other(6));
    }
}
