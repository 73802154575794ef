//! The classic plain focus measures, without any account of noise: yardsticks to compare with,
//! not verdicts. Noise raises every one of them (facts section 6.1).
//!
//! Interior means without the 1-px border, no scaling, (sample unit)². Variance of the
//! Laplacian: Pech-Pacheco et al., ICPR 2000, DOI 10.1109/ICPR.2000.903548. Modified Laplacian:
//! Nayar & Nakagawa, PAMI 16:824 (1994), DOI 10.1109/34.308479. Tenengrad: Krotkov, IJCV 1:223
//! (1987), DOI 10.1007/BF00127822. Noise: Immerkær, CVIU 64:300 (1996), DOI
//! 10.1006/cviu.1996.0060. All `None` when the plane is under 3 px in either direction.

use crate::core::Plane;

/// Variance of the 4-neighbour Laplacian, border dropped.
pub fn laplacian_variance(plane: &Plane) -> Option<f64> {
    variance(interior(plane)?.map(|n| 4.0 * n[4] - n[1] - n[3] - n[5] - n[7]))
}

/// Variance of the 4-neighbour Laplacian over all pixels, the border mirrored about its outer
/// pixels (reflect-101).
pub fn laplacian_variance_mirrored(plane: &Plane) -> Option<f64> {
    let (w, h) = (plane.width_px, plane.height_px);
    if w < 3 || h < 3 {
        return None;
    }
    let before = |i: usize| if i == 0 { 1 } else { i - 1 };
    let after = |i: usize, n: usize| if i + 1 == n { n - 2 } else { i + 1 };
    variance((0..h).flat_map(|y| {
        let (up, row, down) = (plane.row(before(y)), plane.row(y), plane.row(after(y, h)));
        (0..w).map(move |x| {
            let at = |v: f32| f64::from(v);
            4.0 * at(row[x]) - at(row[before(x)]) - at(row[after(x, w)]) - at(up[x]) - at(down[x])
        })
    }))
}

/// Mean squared Sobel gradient (Tenengrad).
pub fn tenengrad(plane: &Plane) -> Option<f64> {
    mean(interior(plane)?.map(|n| {
        let gx = n[2] + 2.0 * n[5] + n[8] - n[0] - 2.0 * n[3] - n[6];
        let gy = n[6] + 2.0 * n[7] + n[8] - n[0] - 2.0 * n[1] - n[2];
        gx * gx + gy * gy
    }))
}

/// Mean modified Laplacian, |2I − left − right| + |2I − up − down|, sample unit.
pub fn modified_laplacian(plane: &Plane) -> Option<f64> {
    mean(
        interior(plane)?
            .map(|n| (2.0 * n[4] - n[3] - n[5]).abs() + (2.0 * n[4] - n[1] - n[7]).abs()),
    )
}

/// Mean squared difference of pixels two apart along a row (Brenner).
pub fn brenner(plane: &Plane) -> Option<f64> {
    if plane.width_px < 3 {
        return None;
    }
    mean((0..plane.height_px).flat_map(|y| {
        let row = plane.row(y);
        row.iter().zip(&row[2..]).map(|(a, b)| (f64::from(*b) - f64::from(*a)).powi(2))
    }))
}

/// Immerkær's blind noise estimate, standard deviation in the sample unit. Reads 3 to 16 times
/// low on demosaiced or JPEG data.
pub fn immerkaer_sigma(plane: &Plane) -> Option<f64> {
    /// √(π/2)/6: mean absolute value to deviation, over the kernel's gain.
    const SCALE: f64 = 0.208_885_7;
    let absolute = mean(interior(plane)?.map(|n| {
        let corners = n[0] + n[2] + n[6] + n[8];
        let sides = n[1] + n[3] + n[5] + n[7];
        (corners - 2.0 * sides + 4.0 * n[4]).abs()
    }))?;
    Some(SCALE * absolute)
}

/// The 3x3 neighbourhoods of all interior pixels, row-major within each.
fn interior(plane: &Plane) -> Option<impl Iterator<Item = [f64; 9]>> {
    let (w, h) = (plane.width_px, plane.height_px);
    (w >= 3 && h >= 3).then(|| {
        (1..h - 1).flat_map(move |y| {
            let rows = [plane.row(y - 1), plane.row(y), plane.row(y + 1)];
            (1..w - 1).map(move |x| std::array::from_fn(|i| f64::from(rows[i / 3][x - 1 + i % 3])))
        })
    })
}

fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (mut n, mut sum) = (0u64, 0.0);
    for v in values {
        n += 1;
        sum += v;
    }
    (n > 0).then(|| sum / n as f64)
}

fn variance(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (mut n, mut sum, mut squares) = (0u64, 0.0, 0.0);
    for v in values {
        n += 1;
        sum += v;
        squares += v * v;
    }
    let mean = sum / n as f64;
    (n > 0).then(|| squares / n as f64 - mean * mean)
}
