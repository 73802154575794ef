//! What fools a sharpness score.

use stopwise::base::Luma;
use stopwise::demo::Picture;
use stopwise::demo::camera::LinearFrame;
use stopwise::demo::encode::encoded;
use stopwise::demo::traps::{LENS, SIZE_PX};
use stopwise::measure::laplacian;
use stopwise::sets::judge::{BurstJudged, Mark, judge};
use stopwise::sets::shot::{Patch, Shot};

mod explore;

pub fn view(data: &[u8], p: &Picture) -> Vec<u8> { let _ = data; p.luma() }

pub fn plain(p: &Picture) -> f64 {
    laplacian::laplacian_variance(&p.luma_plane()).unwrap()
}

pub fn taken(light: &LinearFrame, noise_dn: f64, seed: u64) -> Picture {
    encoded(light, 1.15, noise_dn, seed)
}

pub fn judged_at(frames: &[Picture], at: (f64, f64)) -> BurstJudged {
    let lumas: Vec<Vec<u8>> = frames.iter().map(Picture::luma).collect();
    let views: Vec<Luma<'_>> = frames.iter().zip(&lumas).map(|(p, data)| Luma::U8 { data, channels: 1, width_px: p.width_px, height_px: p.height_px }).collect();
    let shots: Vec<Shot> = views.iter().map(|v| Shot::measure(v).unwrap()).collect();
    let fetch = |i: usize, x0: usize, y0: usize, side: usize| Some(Patch::cut(&views[i], x0, y0, side, side));
    let allowed = vec![Some(LENS.sigma_px(0.0)); frames.len()];
    judge(&shots, Some(Mark { frame: 0, x_px: at.0, y_px: at.1 }), &allowed, &fetch)
}

pub fn judged(frames: &[Picture]) -> BurstJudged {
    let c = SIZE_PX as f64 / 2.0;
    judged_at(frames, (c, c))
}
