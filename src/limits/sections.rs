//! Lines through the field that are drawn on their own: at one ISO, and at one level of light.

use crate::limits::record::{GridCell, whole_iso_stop};
use crate::report::wording;

/// Places of the grid along one line, working f-number rising.
#[derive(Debug, Clone, PartialEq)]
pub struct GridSection {
    /// What they have in common.
    pub title: String,
    /// The places.
    pub cells: Vec<GridCell>,
}

/// Two values in stops that are one, this close.
const SAME_STOPS: f64 = 0.01;

/// Detail over working f-number at one ISO, and along one level of light: those with the most
/// places. Lines of fewer than two places are left out.
pub fn sections(grid: &[GridCell]) -> Vec<GridSection> {
    // At a whole stop of ISO, which every camera can set, where there is one.
    let settable: Vec<GridCell> = grid.iter().filter(|c| whole_iso_stop(c.iso)).copied().collect();
    let at_iso = longest(if settable.is_empty() { grid } else { &settable }, |c| c.iso.log2());
    let at_light = longest(grid, |c| 2.0 * c.working_f_number.log2() - (c.iso / 100.0).log2());
    let iso = |c: &GridCell| wording::fixed(c.iso, 0);
    let (mut of_iso, mut of_light) = (String::new(), String::new());
    if let Some(first) = at_iso.first() {
        of_iso = format!("Detail at ISO {}", iso(first));
    }
    if let (Some(first), Some(last)) = (at_light.first(), at_light.last()) {
        of_light = format!(
            "Detail at one level of light and one shutter, ISO {} to {}",
            iso(first),
            iso(last)
        );
    }
    [(of_iso, at_iso), (of_light, at_light)]
        .into_iter()
        .filter(|(_, cells)| cells.len() > 1)
        .map(|(title, cells)| GridSection { title, cells })
        .collect()
}

/// The places with one value of `key` that are the most, the first of equal ones.
fn longest(grid: &[GridCell], key: impl Fn(&GridCell) -> f64) -> Vec<GridCell> {
    let mut best: Vec<GridCell> = Vec::new();
    for start in grid {
        let same = |c: &&GridCell| (key(c) - key(start)).abs() < SAME_STOPS;
        let on: Vec<GridCell> = grid.iter().filter(same).copied().collect();
        if on.len() > best.len() {
            best = on;
        }
    }
    best.sort_by(|a, b| a.working_f_number.total_cmp(&b.working_f_number));
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cell(working_f_number: f64, iso: f64) -> GridCell {
        let (detail_bits_px, std_err) = (1.0, 0.1);
        let (finest_um, finest_std_err_um) = (None, None);
        GridCell { working_f_number, iso, detail_bits_px, std_err, finest_um, finest_std_err_um }
    }

    fn of(places: &[(f64, f64)]) -> Vec<(String, Vec<(f64, f64)>)> {
        let grid: Vec<GridCell> = places.iter().map(|(n, iso)| cell(*n, *iso)).collect();
        let places =
            |s: &GridSection| s.cells.iter().map(|c| (c.working_f_number, c.iso)).collect();
        sections(&grid).iter().map(|s| (s.title.clone(), places(s))).collect()
    }

    #[test]
    fn the_longest_line_at_a_settable_iso_and_the_longest_at_one_light_are_chosen() {
        // Three places at ISO 283, which no camera calls so; two at ISO 200; four at one light.
        let places = [
            (16.0, 283.0),
            (8.0, 283.0),
            (11.0, 283.0),
            (11.0, 200.0),
            (8.0, 200.0),
            (16.0, 800.0),
            (4.0, 50.0),
            (32.0, 3200.0),
        ];
        let found = of(&places);
        assert_eq!(found[0].0, "Detail at ISO 200");
        assert_eq!(found[0].1, [(8.0, 200.0), (11.0, 200.0)]);
        assert_eq!(found[1].0, "Detail at one level of light and one shutter, ISO 50 to 3200");
        assert_eq!(found[1].1, [(4.0, 50.0), (8.0, 200.0), (16.0, 800.0), (32.0, 3200.0)]);
        assert_eq!(found.len(), 2);
        // Without a settable one, any ISO will do.
        assert_eq!(
            of(&places[..3]),
            [("Detail at ISO 283".to_owned(), vec![(8.0, 283.0), (11.0, 283.0), (16.0, 283.0)])]
        );
    }

    #[test]
    fn single_places_are_no_line() {
        assert!(of(&[]).is_empty());
        assert!(of(&[(8.0, 200.0), (8.0, 400.0)]).is_empty());
    }

    #[test]
    fn a_light_is_the_same_within_a_hundredth_of_a_stop() {
        let near = |stops: f64| of(&[(8.0, 200.0), (16.0, 800.0 * stops.exp2())]).len();
        assert_eq!((near(0.95 * SAME_STOPS), near(1.05 * SAME_STOPS)), (1, 0));
    }
}
