//! APEX: apertures, times and sensitivities on one scale of stops, and the nominal series that
//! cameras mark.
//!
//! Av = 2·log2(N), Tv = −log2(t), Sv = log2(S/3.125), Ev = Av + Tv. Source: Exif (CIPA DC-008),
//! annex on APEX units. The constant 1/3.125 puts ISO 100 at Sv 5 exactly; the older
//! 2^(−7/4) lies 0.106 stop lower and is not used.

/// Sensitivity of Sv 0.
const ISO_AT_SV_0: f64 = 3.125;
/// A number this close (in stops) to the exact series is labelled with the nominal number.
const ON_THE_SERIES_STOPS: f64 = 0.01;
/// Times of this many seconds and longer are labelled as decimals, shorter ones as fractions.
const LABEL_AS_DECIMAL_S: f64 = 0.3;

/// Av of an f-number.
pub fn av_from_n(f_number: f64) -> f64 {
    2.0 * f_number.log2()
}

/// The f-number of an Av.
pub fn n_from_av(av: f64) -> f64 {
    (av / 2.0).exp2()
}

/// Tv of an exposure time in seconds.
pub fn tv_from_t(time_s: f64) -> f64 {
    -time_s.log2()
}

/// The exposure time in seconds of a Tv.
pub fn t_from_tv(tv: f64) -> f64 {
    (-tv).exp2()
}

/// Sv of an ISO sensitivity.
pub fn sv_from_iso(iso: f64) -> f64 {
    (iso / ISO_AT_SV_0).log2()
}

/// Ev of an f-number and a time in seconds: what the settings let in, whatever the sensitivity.
pub fn ev(f_number: f64, time_s: f64) -> f64 {
    av_from_n(f_number) + tv_from_t(time_s)
}

/// Ev referred to ISO 100: how bright a scene these settings suit.
pub fn ev_at_iso_100(f_number: f64, time_s: f64, iso: f64) -> f64 {
    ev(f_number, time_s) - (iso / 100.0).log2()
}

/// A series of marked f-numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum StopSeries {
    /// Steps of a third of a stop: N = 2^(k/6).
    Thirds,
    /// Steps of half a stop: N = 2^(k/4).
    Halves,
}

const THIRDS: [f64; 34] = [
    1.0, 1.1, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2, 2.5, 2.8, 3.2, 3.5, 4.0, 4.5, 5.0, 5.6, 6.3, 7.1, 8.0,
    9.0, 10.0, 11.0, 13.0, 14.0, 16.0, 18.0, 20.0, 22.0, 25.0, 29.0, 32.0, 36.0, 40.0, 45.0,
];
const HALVES: [f64; 21] = [
    1.0, 1.2, 1.4, 1.7, 2.0, 2.4, 2.8, 3.3, 4.0, 4.8, 5.6, 6.7, 8.0, 9.5, 11.0, 13.0, 16.0, 19.0,
    22.0, 27.0, 32.0,
];

impl StopSeries {
    /// The numbers as marked, from f/1 on.
    pub fn nominal(self) -> &'static [f64] {
        match self {
            StopSeries::Thirds => &THIRDS,
            StopSeries::Halves => &HALVES,
        }
    }

    /// Steps a stop.
    fn steps(self) -> f64 {
        match self {
            StopSeries::Thirds => 3.0,
            StopSeries::Halves => 2.0,
        }
    }

    /// The step nearest to an f-number, counted from f/1. A marked 1.2 is ambiguous: 2^(1/4) in
    /// halves, 2^(2/6) in thirds.
    pub fn nearest(self, f_number: f64) -> i32 {
        (self.steps() * av_from_n(f_number)).round() as i32
    }

    /// The exact f-number of a step. For light ratios within one lens use this: the marked
    /// numbers are rounded, and 8 to 11 would read 0.92 stop.
    pub fn exact(self, step: i32) -> f64 {
        n_from_av(f64::from(step) / self.steps())
    }
}

/// An f-number as photographers write it: "f/5.6", "f/11".
pub fn f_label(f_number: f64) -> String {
    let step = StopSeries::Thirds.nearest(f_number);
    let off = av_from_n(f_number) - av_from_n(StopSeries::Thirds.exact(step));
    let marked = usize::try_from(step).ok().and_then(|k| THIRDS.get(k));
    let shown = match marked {
        Some(nominal) if off.abs() < ON_THE_SERIES_STOPS => *nominal,
        _ if f_number < 1.0 => (f_number * 100.0).round() / 100.0,
        _ => (f_number * 10.0).round() / 10.0,
    };
    format!("f/{shown}")
}

/// An exposure time as photographers write it: "1/200 s", "0.5 s", "30 s".
pub fn time_label(time_s: f64) -> String {
    if time_s < LABEL_AS_DECIMAL_S {
        format!("1/{:.0} s", 1.0 / time_s)
    } else {
        format!("{} s", (time_s * 10.0).round() / 10.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    // facts A1, A2, A3: Exif annex on APEX; recomputed from 2·log2(N).
    #[test]
    #[allow(clippy::approx_constant)] // the table's own digits are what is checked
    fn apertures() {
        let marked = [2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0];
        let av = [2.9709, 4.0, 4.9709, 6.0, 6.9189, 8.0, 8.9189];
        for (n, want) in marked.into_iter().zip(av) {
            assert_abs_diff_eq!(av_from_n(n), want, epsilon = 5e-5);
        }
        let exact =
            [1.0, 1.4142, 2.0, 2.8284, 4.0, 5.6569, 8.0, 11.3137, 16.0, 22.6274, 32.0, 45.2548];
        for (k, want) in (0..).zip(exact) {
            assert_abs_diff_eq!(n_from_av(f64::from(k)), want, epsilon = 5e-5);
            assert_abs_diff_eq!(StopSeries::Thirds.exact(3 * k), want, epsilon = 5e-5);
            assert_abs_diff_eq!(StopSeries::Halves.exact(2 * k), want, epsilon = 5e-5);
        }
        for (n, error) in [(1.4, -0.0291), (5.6, -0.0291), (11.0, -0.0811), (45.0, -0.0163)] {
            let step = StopSeries::Thirds.nearest(n);
            let off = av_from_n(n) - av_from_n(StopSeries::Thirds.exact(step));
            assert_abs_diff_eq!(off, error, epsilon = 1e-4);
        }
    }

    // facts section 1.1: every nominal number lies within 0.141 stop (thirds) and 0.099 stop
    // (halves) of its step, so each finds its own.
    #[test]
    fn marked_numbers_find_their_step() {
        for (series, largest) in [(StopSeries::Thirds, 0.1411), (StopSeries::Halves, 0.0995)] {
            let mut seen: f64 = 0.0;
            for (k, n) in (0..).zip(series.nominal()) {
                assert_eq!(series.nearest(*n), k, "{n}");
                seen = seen.max((av_from_n(*n) - av_from_n(series.exact(k))).abs());
            }
            assert_abs_diff_eq!(seen, largest, epsilon = 1e-3);
        }
        assert_eq!(StopSeries::Thirds.nearest(13.0), 22);
    }

    // facts A4, A5, A6.
    #[test]
    fn times_and_sensitivities() {
        let times = [
            (1.0 / 8000.0, 12.9658),
            (0.001, 9.9658),
            (0.004, 7.9658),
            (0.005, 7.6439),
            (0.008, 6.9658),
            (1.0 / 60.0, 5.9069),
            (0.125, 3.0),
            (1.0, 0.0),
            (30.0, -4.9069),
        ];
        for (t, want) in times {
            assert_abs_diff_eq!(tv_from_t(t), want, epsilon = 5e-5);
            assert_abs_diff_eq!(t_from_tv(tv_from_t(t)), t, epsilon = 1e-9);
        }
        for k in 0..10 {
            let iso = 50.0 * f64::from(1 << k);
            assert_abs_diff_eq!(sv_from_iso(iso), f64::from(4 + k), epsilon = 1e-9);
        }
        let isos = [125.0, 160.0, 250.0, 320.0, 640.0, 1000.0, 1250.0];
        let sv = [5.3219, 5.6781, 6.3219, 6.6781, 7.6781, 8.3219, 8.6439];
        for (iso, want) in isos.into_iter().zip(sv) {
            assert_abs_diff_eq!(sv_from_iso(iso), want, epsilon = 5e-5);
        }
    }

    // facts A7, A8, A9.
    #[test]
    fn exposure_values() {
        for (n, t, want) in [(5.6, 0.005, 12.6147), (16.0, 0.01, 14.6439), (11.0, 0.008, 13.8846)] {
            assert_abs_diff_eq!(ev(n, t), want, epsilon = 5e-5);
        }
        for (n, t, iso, want) in [
            (11.0, 0.005, 400.0, 12.5627),
            (16.0, 0.004, 800.0, 12.9658),
            (22.0, 0.005, 1600.0, 12.5627),
        ] {
            assert_abs_diff_eq!(ev_at_iso_100(n, t, iso), want, epsilon = 5e-5);
        }
        assert_abs_diff_eq!(n_from_av(1695994.0 / 1e6), 1.8, epsilon = 5e-4);
    }

    #[test]
    fn labels_read_as_on_the_camera() {
        for (n, want) in [
            (5.6, "f/5.6"),
            (5.65685, "f/5.6"),
            (11.0, "f/11"),
            (7.1, "f/7.1"),
            (0.95, "f/0.95"),
            (22.6274, "f/22"),
            (58.0, "f/58"),
        ] {
            assert_eq!(f_label(n), want);
        }
        for (t, want) in [
            (0.005, "1/200 s"),
            (1.0 / 60.0, "1/60 s"),
            (0.5, "0.5 s"),
            (30.0, "30 s"),
            (1.0 / 8000.0, "1/8000 s"),
        ] {
            assert_eq!(time_label(t), want);
        }
    }
}
