//! Classic focus measures on three pictures in seven conditions: facts section 6.1, recomputed by
//! testdata/reference_values.py.

use stopwise::core::{Plane, Tone};
use stopwise::sharpness::laplacian;

use crate::synthetic::{add, gaussian, picture, white};

/// Picture, condition, then Laplacian variance (interior; mirrored), Tenengrad, modified
/// Laplacian, Brenner, Immerkær.
#[rustfmt::skip]
const TABLE: &[(&str, &str, [f64; 6])] = &[
    ("brick.png", "orig", [176.548, 178.087, 8707.48, 8.60404, 451.345, 0.808549]),
    ("brick.png", "G1", [37.6256, 38.1234, 5304.97, 3.87495, 268.971, 0.0463858]),
    ("brick.png", "G2", [8.17783, 8.27818, 2242.99, 1.93605, 110.476, 0.00555042]),
    ("brick.png", "G3", [2.03406, 2.0619, 979.444, 1.07898, 47.0836, 0.00156883]),
    ("brick.png", "N5", [680.924, 682.65, 9311.64, 23.267, 501.691, 5.12316]),
    ("brick.png", "N10", [2193.08, 2195.57, 11110.8, 41.5102, 651.935, 10.1088]),
    ("brick.png", "G2N5", [512.082, 512.451, 2839.21, 19.8667, 160.317, 5.0304]),
    ("chelsea_green.png", "orig", [410.195, 407.235, 4482.23, 13.1953, 180.603, 2.12297]),
    ("chelsea_green.png", "G1", [19.9612, 19.939, 2145.37, 3.31144, 72.0328, 0.139366]),
    ("chelsea_green.png", "G2", [2.51622, 2.52454, 1111.99, 1.23245, 36.7348, 0.0139151]),
    ("chelsea_green.png", "G3", [0.798443, 0.801371, 691.962, 0.705268, 22.9796, 0.00342081]),
    ("chelsea_green.png", "N5", [912.272, 909.676, 5094.96, 25.5644, 231.093, 5.74887]),
    ("chelsea_green.png", "N10", [2423.77, 2422.3, 6908.54, 43.0504, 381.719, 10.477]),
    ("chelsea_green.png", "G2N5", [507.216, 507.626, 1713.45, 19.7005, 86.8315, 5.0388]),
    ("gravel.png", "orig", [1645.7, 1654.13, 27145.2, 32.9311, 1049.55, 4.81317]),
    ("gravel.png", "G1", [144.101, 146.275, 12183.6, 10.4219, 403.813, 0.43244]),
    ("gravel.png", "G2", [17.7459, 18.0431, 4344.19, 3.92962, 136.018, 0.0526991]),
    ("gravel.png", "G3", [4.03665, 4.10467, 1810.86, 1.9514, 55.7903, 0.0128922]),
    ("gravel.png", "N5", [2151.96, 2159.87, 27752.6, 39.6383, 1100.06, 7.14947]),
    ("gravel.png", "N10", [3665.99, 3673.97, 29555.0, 53.1909, 1250.48, 11.3442]),
    ("gravel.png", "G2N5", [521.667, 522.213, 4940.39, 20.038, 185.987, 5.03062]),
];

fn in_condition(plane: &Plane, condition: &str) -> Plane {
    let (blur_px, noise) = match condition {
        "orig" => (0.0, 0.0),
        "G1" => (1.0, 0.0),
        "G2" => (2.0, 0.0),
        "G3" => (3.0, 0.0),
        "N5" => (0.0, 5.0),
        "N10" => (0.0, 10.0),
        "G2N5" => (2.0, 5.0),
        other => panic!("no condition {other}"),
    };
    let plane = if blur_px > 0.0 { gaussian(plane, blur_px) } else { plane.clone() };
    add(&plane, &white(plane.width_px, plane.height_px, 1.0, 42), noise)
}

fn measures(plane: &Plane) -> [f64; 6] {
    [
        laplacian::laplacian_variance(plane).unwrap(),
        laplacian::laplacian_variance_mirrored(plane).unwrap(),
        laplacian::tenengrad(plane).unwrap(),
        laplacian::modified_laplacian(plane).unwrap(),
        laplacian::brenner(plane).unwrap(),
        laplacian::immerkaer_sigma(plane).unwrap(),
    ]
}

#[test]
fn image_table() {
    for (name, condition, want) in TABLE {
        let got = measures(&in_condition(&picture(name), condition));
        for (i, (got, want)) in got.iter().zip(want).enumerate() {
            let tolerance = 1e-4 * want;
            assert!(
                (got - want).abs() <= tolerance,
                "{name} {condition} column {i}: {got} against {want}"
            );
        }
    }
}

// The trap all of them fall into (facts section 6.1): noise reads as sharpness.
#[test]
fn the_classic_measures_rank_a_noisy_blur_above_a_clean_one() {
    let chelsea = picture("chelsea_green.png");
    let noisy = measures(&in_condition(&chelsea, "G2N5"));
    let sharper = measures(&in_condition(&chelsea, "G1"));
    assert!(noisy[0] > 10.0 * sharper[0]);
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

#[test]
fn planes_without_an_interior_are_refused() {
    let narrow = Plane::zeros(2, 9, Tone::Encoded);
    assert_eq!(laplacian::laplacian_variance(&narrow), None);
    assert_eq!(laplacian::laplacian_variance_mirrored(&narrow), None);
    assert_eq!(laplacian::tenengrad(&narrow), None);
    assert_eq!(laplacian::modified_laplacian(&narrow), None);
    assert_eq!(laplacian::brenner(&narrow), None);
    assert_eq!(laplacian::immerkaer_sigma(&narrow), None);
}
