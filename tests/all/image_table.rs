//! The plain Laplacian variance on three pictures: facts section 6.1, recomputed by
//! testdata/reference_values.py.

use stopwise::core::{Luma, Plane};
use stopwise::sharpness::laplacian::plain_lap_var;

use crate::synthetic::{add, gaussian, picture, white};

fn plain(plane: &Plane) -> f64 {
    let data = plane.to_luma();
    let (width_px, height_px) = (plane.width_px, plane.height_px);
    plain_lap_var(&Luma::U8 { data: &data, channels: 1, width_px, height_px }, 1)
}

#[test]
fn image_table() {
    for (name, want) in
        [("brick.png", 176.548), ("chelsea_green.png", 410.195), ("gravel.png", 1645.7)]
    {
        approx::assert_relative_eq!(plain(&picture(name)), want, max_relative = 1e-4);
    }
}

// The trap (facts section 6.1): noise reads as sharpness.
#[test]
fn the_plain_measure_ranks_a_noisy_blur_above_a_clean_one() {
    let chelsea = picture("chelsea_green.png");
    let noise = white(chelsea.width_px, chelsea.height_px, 1.0, 42);
    let noisy = add(&gaussian(&chelsea, 2.0), &noise, 5.0);
    assert!(plain(&noisy) > 10.0 * plain(&gaussian(&chelsea, 1.0)));
}

// facts R4: standard normals of seed 42.
#[test]
fn r4_mean_and_deviation_of_the_noise() {
    let noise = white(512, 512, 1.0, 42);
    let n = noise.data.len() as f64;
    let mean = noise.data.iter().map(|v| f64::from(*v)).sum::<f64>() / n;
    let square = noise.data.iter().map(|v| f64::from(*v).powi(2)).sum::<f64>() / n;
    approx::assert_abs_diff_eq!(mean, -0.002563395, epsilon = 1e-7);
    approx::assert_abs_diff_eq!((square - mean * mean).sqrt(), 1.001212894, epsilon = 1e-7);
}
