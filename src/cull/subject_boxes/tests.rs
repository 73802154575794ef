//! Every limit of what is read about a subject on both sides, on boxes put together by hand.

use super::*;
use crate::cull::hand_made::subject;

/// A box of this energy over its dense energy, both sure.
fn of_ratio(ratio: f64) -> SubjectBox {
    SubjectBox { energy: 1000.0, energy_std_err: 1.0, dense_energy: 1000.0 / ratio, ..subject(1.0) }
}

fn found(boxes: &[SubjectBox]) -> (Vec<SubjectBox>, Vec<bool>) {
    let mut boxes: Vec<Option<SubjectBox>> = boxes.iter().cloned().map(Some).collect();
    let sparse = without_sparse(&mut boxes);
    (boxes.into_iter().flatten().collect(), sparse)
}

#[test]
fn the_lead_is_the_frame_of_most_energy_that_is_seen_and_not_clipped() {
    let with = |energy, errors: f64, clipped| {
        let energy_std_err = energy / errors;
        Some(SubjectBox { energy, energy_std_err, clipped, ..subject(1.0) })
    };
    let seen = ENERGY_SEEN + 0.01;
    let dim = with(10.0, seen, 0.0);
    assert_eq!(lead(&[dim.clone(), None, with(90.0, seen, MAX_CLIPPED - 0.01)]), Some(2));
    assert_eq!(lead(&[dim.clone(), None, with(90.0, seen, MAX_CLIPPED)]), Some(0));
    assert_eq!(lead(&[dim.clone(), None, with(90.0, ENERGY_SEEN - 0.01, 0.0)]), Some(0));
    assert_eq!(lead(&[dim.clone(), dim]), Some(0), "the first of equals");
    assert_eq!(lead(&[None, None]), None);
}

#[test]
fn energy_far_over_the_usual_for_its_dense_energy_is_taken_out() {
    // Three usual frames and one whose energy, less what its error hides, is this many times more.
    let with = |times: f64| {
        let usual = of_ratio(2.0);
        let most = 100.0 + ENERGY_SEEN;
        let energy = 2.0 * times * most;
        let odd = SubjectBox { energy, dense_energy: 100.0, ..usual.clone() };
        found(&[usual.clone(), usual.clone(), usual, odd])
    };
    let (boxes, sparse) = with(SPARSE_RATIO + 0.01);
    assert_eq!(sparse, [false, false, false, true]);
    assert!((boxes[3].energy - 200.0).abs() < 1e-9 && boxes[3].flags.has(Flag::Sparse));
    let (boxes, sparse) = with(SPARSE_RATIO - 0.01);
    assert!(sparse.iter().all(|s| !s) && !boxes[3].flags.has(Flag::Sparse));
    assert!(boxes[3].energy > 700.0);
}

#[test]
fn a_frame_about_as_dense_as_the_densest_is_not_sparse() {
    // Glints in focus: far over the usual, and the rest of the subject is sharp as well.
    let with = |share: f64| {
        let usual = of_ratio(2.0);
        let dense_energy = share * usual.dense_energy - ENERGY_SEEN;
        let odd = SubjectBox { energy: 9000.0, dense_energy, ..usual.clone() };
        found(&[usual.clone(), usual.clone(), usual, odd]).1[3]
    };
    assert!(with(SPARSE_DENSE - 0.01) && !with(SPARSE_DENSE + 0.01));
}

#[test]
fn energy_within_its_error_is_left_alone() {
    let usual = of_ratio(2.0);
    // Against texture this dense, all that is seen is far over the usual.
    let even =
        SubjectBox { energy: 1000.0, energy_std_err: 1e-3, dense_energy: 9000.0, ..usual.clone() };
    let seen = |errors: f64| {
        let odd =
            SubjectBox { energy_std_err: 1000.0 / errors, dense_energy: -1.0, ..usual.clone() };
        found(&[even.clone(), even.clone(), odd]).1[2]
    };
    assert!(seen(ENERGY_SEEN + 0.01) && !seen(ENERGY_SEEN - 0.01));
}

#[test]
fn the_usual_is_of_frames_with_even_texture_that_are_not_clipped() {
    // A sparse frame beside one whose texture counts as even, or does not: then there is no usual.
    let is_usual = |even: SubjectBox| {
        let odd = SubjectBox { dense_energy: 1.0, ..of_ratio(1.0) };
        found(&[even, odd]).1[1]
    };
    let dense =
        |dense_energy, energy_std_err| SubjectBox { dense_energy, energy_std_err, ..of_ratio(1.0) };
    assert!(is_usual(dense(DENSE_SEEN * 40.0 + 0.1, 40.0)));
    assert!(!is_usual(dense(DENSE_SEEN * 40.0 - 0.1, 40.0)));
    assert!(is_usual(dense(SPARSE_SHARE * 1000.0 + 0.1, 1.0)));
    assert!(!is_usual(dense(SPARSE_SHARE * 1000.0 - 0.1, 1.0)));
    let clipped = |clipped| SubjectBox { clipped, ..of_ratio(2.0) };
    assert!(is_usual(clipped(MAX_CLIPPED - 0.01)) && !is_usual(clipped(MAX_CLIPPED)));
}

#[test]
fn without_even_texture_anywhere_frames_are_only_flagged() {
    let flagged = |share: f64| {
        // Its dense energy, with what its error hides, is this share of the energy.
        let dense_energy = share * 1000.0 - ENERGY_SEEN;
        let (boxes, sparse) = found(&[SubjectBox { dense_energy, ..of_ratio(1.0) }]);
        assert_eq!((boxes[0].energy, sparse[0]), (1000.0, false));
        boxes[0].flags.has(Flag::Sparse)
    };
    assert!(flagged(SPARSE_SHARE - 0.001));
    // Between, texture is neither even nor sparse.
    assert!(!flagged(SPARSE_SHARE + 0.001));
    let [below, above] = [-0.001, 0.001].map(|off| (SPARSE_SHARE + off) * 1000.0 - ENERGY_SEEN);
    assert!(below < above && above < SPARSE_SHARE * 1000.0, "no usual on either side");
}
