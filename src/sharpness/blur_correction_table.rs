//! Fitted numbers of [`super::blur_correction`], written by `benches/fit_blur.py`.

/// Terms of one level's own readings.
pub(super) const OWN_TERMS: usize = 18;
/// Terms of a neighbouring level.
pub(super) const PAIR_TERMS: usize = 9;
/// Terms of the error, of the level's own.
pub(super) const ERROR_OWN_TERMS: usize = 9;
/// Terms of the error, of a neighbouring level.
pub(super) const ERROR_PAIR_TERMS: usize = 3;

/// ln(blur) from a level's own readings.
pub(super) const OWN: [[f64; OWN_TERMS]; 3] = [
    [
        0.04559, 1.06884, 0.1808, -0.12846, 0.0, 0.27505, 0.0, 0.90697, 0.46231, -0.32447, 0.77502,
        0.0, 0.0, -0.26401, 0.0, 0.1198, 0.09528, 0.0,
    ],
    [
        -0.04832, 0.94443, 0.15389, -0.05584, 0.0, 0.0, 0.11215, 0.0, 0.48784, 0.0, 1.67214, 0.0,
        0.0, 0.0, 0.04621, 0.0, 0.0, 0.5385,
    ],
    [
        -0.35402, 0.91477, 0.25714, -0.07036, 0.0, 0.0, -0.10721, 0.0, 0.0, 0.0, 0.88991, 0.21297,
        0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
    ],
];
/// What the level below and the one above add to it.
pub(super) const PAIR: [[[f64; PAIR_TERMS]; 2]; 3] = [
    [
        [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        [0.0, 0.0, 0.19733, 0.25402, 0.0, -2.3397, 1.0306, 0.0, 0.0],
    ],
    [
        [0.0, 0.83309, 0.0, -0.1464, 0.17587, 0.0, -0.6043, 0.041, 0.0],
        [-0.07635, 0.0, 0.0909, 0.11083, 0.0, -0.65667, 0.0, 0.0, 0.0],
    ],
    [
        [0.0, 0.89974, 0.09969, 0.2008, 0.45944, 0.34943, -0.85944, 0.13469, 0.0],
        [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
    ],
];
/// ln of the error from a level's own readings.
pub(super) const ERROR_OWN: [[f64; ERROR_OWN_TERMS]; 3] = [
    [-1.18011, 0.06657, -0.14489, 0.08618, 0.00122, -0.04515, 0.26105, 0.09977, 0.33896],
    [-1.33901, 0.05433, -0.10291, 0.12792, -0.0713, 0.63506, -0.26478, -0.00703, 0.26324],
    [-0.79361, -0.15523, 0.12909, 0.08195, 0.00014, 0.37491, -0.01421, -0.04561, 0.26004],
];
/// What the level below and the one above add to it.
pub(super) const ERROR_PAIR: [[[f64; ERROR_PAIR_TERMS]; 2]; 3] = [
    [[0.0, 0.0, 0.0], [-0.82194, 0.4368, -0.18142]],
    [[-0.3113, 0.13857, -0.38036], [-0.19781, 0.21164, 0.00602]],
    [[-0.76938, 0.32752, -0.10468], [0.0, 0.0, 0.0]],
];
/// Makes the error one within which seven tiles of ten lie.
pub(super) const ERROR_SCALE: [f64; 3] = [1.59306, 1.55647, 1.58608];
