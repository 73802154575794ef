//! Pictures of the region at each step.

use rayon::prelude::*;

use super::{Measuring, mean};
use crate::compare::RegisteredFrame;
use crate::compare::area::MARGIN_PX;
use crate::core::Tone;
use crate::core::tone::{decode_srgb, encode_srgb};
use crate::image::{CROP_QUALITY, Orientation, Picture, encode_jpeg};
use crate::tracking::registration::resampled;

/// Mean brightness of raw crops, share of white before the curve.
const CROP_LEVEL: f64 = 0.2;

impl Measuring<'_> {
    /// The middle of the region at each step, registered, at 100 % and equal brightness.
    pub(in crate::compare) fn crops(&self, turn: Orientation) -> Vec<Option<Picture>> {
        let firsts: Vec<Option<&RegisteredFrame>> =
            self.series.steps.iter().map(|s| self.placed[*s.frames.first()?].as_ref()).collect();
        let Some(wanted) = firsts.iter().flatten().next().map(|p| mean(&p.plane)) else {
            return Vec::new();
        };
        firsts
            .into_par_iter()
            .map(|placed| {
                let placed = placed?;
                let own = mean(&placed.plane);
                // Light is matched in raw frames, tones in rendered ones.
                let tone = |v: f32| -> u8 {
                    let v = f64::from(v);
                    let dn = match placed.plane.tone {
                        Tone::Linear => {
                            let light = decode_srgb((v / 255.0).clamp(0.0, 1.0)) * CROP_LEVEL / own;
                            255.0 * encode_srgb(light.clamp(0.0, 1.0))
                        }
                        _ => v * wanted / own,
                    };
                    dn.round().clamp(0.0, 255.0) as u8
                };
                let planes = placed.look.colour.as_ref()?;
                let [r, g, b] = planes.each_ref().map(|p| resampled(p, &placed.motion, MARGIN_PX));
                let rgb: Vec<u8> = (0..g.data.len())
                    .flat_map(|i| [r.data[i], g.data[i], b.data[i]].map(tone))
                    .collect();
                let (rgb, w, h) = turn.turn_rgb(&rgb, g.width_px, g.height_px);
                encode_jpeg(&rgb, w, h, CROP_QUALITY)
            })
            .collect()
    }
}
