//! What plans are made from, against values worked out elsewhere: facts sections 8 and 10, and
//! the logistic fits of section 9.

use approx::assert_abs_diff_eq as near;
use stopwise::core::logistic::{self, Trials};
use stopwise::core::units::{GREEN, PitchUm};
use stopwise::optics::resolved::working_f_number;
use stopwise::optics::{diffraction, motion};

// V1-V3, V10: geometry of movement.
#[test]
fn v1_to_v3_and_v10_smear_of_a_moving_subject() {
    let pitch_um = 36_000.0 / 8192.0;
    for (speed, time, m, want) in [
        (10.0, 1.0 / 200.0, 1.0, 11.3778),
        (1.0, 1.0 / 200.0, 2.0, 2.2756),
        (10.0, 1.0 / 1000.0, 2.0, 4.5511),
        (1.0, 1.0 / 250.0, 5.0, 4.5511),
    ] {
        near!(motion::smear_px(speed, time, m, pitch_um), want, epsilon = 1e-4);
    }
    near!(motion::smear_px(5.0, 1e-4, 3.0, 6.0), 0.25, epsilon = 1e-12);
    // V10: the same blur in pixels of a picture half as wide is half as long.
    let (wide, narrow) = (36_000.0 / 3840.0, 36_000.0 / 1920.0);
    let twice = motion::smear_px(1.0, 0.01, 1.0, wide) / motion::smear_px(1.0, 0.01, 1.0, narrow);
    near!(twice, 2.0, epsilon = 1e-12);
}

// V7: a shifting hand.
#[test]
fn v7_a_shifting_hand() {
    // In mm: a pitch of 1000 µm.
    near!(motion::smear_px(5.0, 0.01, 1.0, 1000.0), 0.05, epsilon = 1e-12);
    near!(motion::smear_px(5.0, 0.01, 5.0, 1000.0), 0.25, epsilon = 1e-12);
}

// V8, V9, V11: video.
#[test]
fn v8_v9_and_v11_video() {
    for (taken, shown, want) in [(120.0, 25.0, 4.8), (240.0, 30.0, 8.0), (59.94, 23.976, 2.5)] {
        near!(motion::slow_motion(taken, shown), want, epsilon = 1e-9);
    }
    near!(motion::readout_crop(6000.0, 3840.0), 1.5625, epsilon = 1e-4);
    near!(motion::readout_crop(8192.0, 3840.0), 2.1333, epsilon = 1e-4);
    near!(motion::shutter_of_angle_s(180.0, 59.94) * 1000.0, 8.3417, epsilon = 1e-4);
}

// X1-X6: what diffraction passes of a hexagonal lattice on the subject.
#[test]
fn x1_to_x6_facets() {
    let marked = [5.6, 8.0, 11.0, 16.0];
    let rows: [(f64, f64, [[f64; 4]; 3]); 6] = [
        (6.0, 192.45, [[0.0; 4], [0.044, 0.0, 0.0, 0.0], [0.178, 0.0, 0.0, 0.0]]),
        (
            16.0,
            72.17,
            [
                [0.453, 0.250, 0.053, 0.0],
                [0.583, 0.417, 0.230, 0.012],
                [0.664, 0.527, 0.365, 0.134],
            ],
        ),
        (
            20.0,
            57.74,
            [
                [0.557, 0.382, 0.189, 0.0],
                [0.664, 0.527, 0.365, 0.134],
                [0.730, 0.618, 0.482, 0.275],
            ],
        ),
        (
            25.0,
            46.19,
            [
                [0.643, 0.497, 0.327, 0.094],
                [0.730, 0.618, 0.482, 0.275],
                [0.784, 0.693, 0.581, 0.405],
            ],
        ),
        (
            30.0,
            38.49,
            [
                [0.701, 0.577, 0.429, 0.209],
                [0.775, 0.680, 0.564, 0.382],
                [0.819, 0.743, 0.649, 0.497],
            ],
        ),
        (
            50.0,
            23.09,
            [
                [0.819, 0.743, 0.649, 0.497],
                [0.864, 0.807, 0.735, 0.618],
                [0.891, 0.845, 0.788, 0.693],
            ],
        ),
    ];
    for (distance_um, cy_mm, wanted) in rows {
        let on_subject = 2000.0 / (3f64.sqrt() * distance_um);
        near!(on_subject, cy_mm, epsilon = 0.006);
        for (m, want) in [1.0, 2.0, 5.0].iter().zip(wanted) {
            for (n, want) in marked.iter().zip(want) {
                let n_eff = working_f_number(*n, *m, 1.0);
                let nu = on_subject / m / diffraction::cutoff_cy_px(n_eff, PitchUm(1000.0), GREEN);
                near!(diffraction::mtf_diffraction(nu), want, epsilon = 0.001);
            }
        }
    }
}

// W4 (Montgomery & Runger, ch. 11 supplement), W5 (Dalal, Fowlkes & Hoadley 1989) and simulated
// shutters, all against SciPy: testdata/logistic_values.csv, made by logistic_values.py.
#[test]
fn w4_and_w5_logistic_fits_match_scipy() {
    let table = include_str!("../../testdata/logistic_values.csv");
    let mut rows = 0;
    for line in table.lines() {
        let cells: Vec<&str> = line.split(',').collect();
        let trials: Vec<Trials> = cells[1]
            .split(' ')
            .map(|t| {
                let (x, rest) = t.split_once(':').unwrap();
                let (hits, of) = rest.split_once('/').unwrap();
                Trials {
                    x: x.parse().unwrap(),
                    hits: hits.parse().unwrap(),
                    of: of.parse().unwrap(),
                }
            })
            .collect();
        let got = logistic::fit(&trials).unwrap();
        let (even, even_err) = got.even();
        let [e0, e1] = got.std_err();
        let [b0, b1] = got.beta;
        let values = [b0, b1, e0, e1, got.log_likelihood, even, even_err];
        for (value, want) in values.iter().zip(&cells[2..]) {
            let want: f64 = want.parse().unwrap();
            assert!((value / want - 1.0).abs() < 1e-8, "{}: {value} for {want}", cells[0]);
        }
        rows += 1;
    }
    assert_eq!(rows, 8);
}

// W4 and W5 as printed, and W5's chance at 31 degrees.
#[test]
fn w4_and_w5_as_published() {
    let temperatures = [
        66, 70, 69, 68, 67, 72, 73, 70, 57, 63, 70, 78, 67, 53, 67, 75, 70, 81, 76, 79, 75, 76, 58,
    ];
    let damaged = [0, 1, 0, 0, 0, 0, 0, 0, 1, 1, 1, 0, 0, 1, 0, 0, 0, 0, 0, 0, 1, 0, 1];
    let trials: Vec<Trials> = temperatures
        .iter()
        .zip(damaged)
        .map(|(t, hits)| Trials { x: f64::from(*t), hits, of: 1 })
        .collect();
    let fit = logistic::fit(&trials).unwrap();
    near!(fit.beta[0], 15.042902, epsilon = 1e-5);
    near!(fit.beta[1], -0.2321627, epsilon = 1e-6);
    near!(fit.std_err()[0], 7.378636, epsilon = 1e-5);
    near!(fit.std_err()[1], 0.1082365, epsilon = 1e-6);
    near!(-2.0 * fit.log_likelihood, 20.315193, epsilon = 1e-5);
    near!(fit.even().0, 64.79464, epsilon = 1e-5);
    near!(fit.chance(31.0), 0.9996088, epsilon = 1e-6);
}
