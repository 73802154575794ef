//! APEX: apertures and times on one scale of stops.
//!
//! Av = 2·log2(N), Tv = −log2(t). Source: Exif (CIPA DC-008), annex on APEX units.

/// The f-number of an Av.
pub fn n_from_av(av: f64) -> f64 {
    (av / 2.0).exp2()
}

/// The exposure time in seconds of a Tv.
pub fn t_from_tv(tv: f64) -> f64 {
    (-tv).exp2()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    // facts A1, A2, A4, A9: Exif annex on APEX; recomputed from 2·log2(N).
    #[test]
    fn apertures() {
        let marked = [2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0];
        let av = [2.9709, 4.0, 4.9709, 6.0, 6.9189, 8.0, 8.9189];
        for (n, av) in marked.into_iter().zip(av) {
            assert_abs_diff_eq!(n_from_av(av), n, epsilon = 4e-4);
        }
        let exact = [1.0, 2.0, 4.0, 5.6569, 8.0, 11.3137, 16.0, 22.6274, 32.0, 45.2548];
        for (av, want) in
            [0.0, 2.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 11.0].into_iter().zip(exact)
        {
            assert_abs_diff_eq!(n_from_av(av), want, epsilon = 5e-5);
        }
        assert_abs_diff_eq!(n_from_av(1695994.0 / 1e6), 1.8, epsilon = 5e-4);
    }

    #[test]
    fn times() {
        for (t, tv) in [
            (1.0 / 8000.0, 12.9658),
            (0.001, 9.9658),
            (0.005, 7.6439),
            (1.0 / 60.0, 5.9069),
            (0.125, 3.0),
            (1.0, 0.0),
            (30.0, -4.9069),
        ] {
            approx::assert_relative_eq!(t_from_tv(tv), t, max_relative = 5e-5);
        }
    }
}
