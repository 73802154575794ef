//! The order of files as people count them (frame_2 before frame_10, capitals beside small
//! letters), and that of frames as they were taken.

use std::cmp::Ordering;
use std::collections::HashMap;
use std::path::{Path, PathBuf};

use crate::image::Frame;
use crate::image::exposure::TakenAt;

/// Compares two paths folder by folder, numbers by value, letters without regard to case; paths
/// that differ only in case or leading zeros are told apart by their bytes, so the order is total.
pub(in crate::image) fn natural(a: &Path, b: &Path) -> Ordering {
    let mut left = a.components();
    let mut right = b.components();
    loop {
        let order = match (left.next(), right.next()) {
            (None, None) => return a.as_os_str().cmp(b.as_os_str()),
            (None, Some(_)) => Ordering::Less,
            (Some(_), None) => Ordering::Greater,
            (Some(x), Some(y)) => names(
                &x.as_os_str().to_string_lossy().to_lowercase(),
                &y.as_os_str().to_string_lossy().to_lowercase(),
            ),
        };
        if order.is_ne() {
            return order;
        }
    }
}

fn names(mut a: &str, mut b: &str) -> Ordering {
    loop {
        let (x, y) = (digits(a), digits(b));
        let order = if x > 0 && y > 0 {
            let (n, m) = (a[..x].trim_start_matches('0'), b[..y].trim_start_matches('0'));
            (a, b) = (&a[x..], &b[y..]);
            n.len().cmp(&m.len()).then_with(|| n.cmp(m))
        } else {
            let (mut p, mut q) = (a.chars(), b.chars());
            match (p.next(), q.next()) {
                (None, None) => return Ordering::Equal,
                (x, y) => {
                    (a, b) = (p.as_str(), q.as_str());
                    x.cmp(&y)
                }
            }
        };
        if order.is_ne() {
            return order;
        }
    }
}

/// How many bytes of ASCII digits a text starts with.
fn digits(text: &str) -> usize {
    text.bytes().take_while(u8::is_ascii_digit).count()
}

/// Puts frames in order of time, folder by folder; those without a time keep their order of
/// names, after the others. Folders come in the order of their first times: two cameras' folders
/// are never mixed into one burst.
pub fn sort_by_time(frames: &mut [Frame]) {
    let time = |f: &Frame| f.exposure.as_ref().and_then(|e| e.taken_at.as_ref()).map(|t| t.value);
    let earlier = |a: Option<TakenAt>, b: Option<TakenAt>| match (a, b) {
        (Some(x), Some(y)) => x.cmp(&y),
        (Some(_), None) => Ordering::Less,
        (None, Some(_)) => Ordering::Greater,
        (None, None) => Ordering::Equal,
    };
    let folder = |f: &Frame| f.path.parent().map(Path::to_path_buf).unwrap_or_default();
    let mut first: HashMap<PathBuf, (Option<TakenAt>, usize)> = HashMap::new();
    for (i, frame) in frames.iter().enumerate() {
        let own = time(frame);
        let known = first.entry(folder(frame)).or_insert((own, i));
        if earlier(own, known.0) == Ordering::Less {
            known.0 = own;
        }
    }
    let rank = |f: &Frame| first.get(&folder(f)).copied().unwrap_or((None, usize::MAX));
    frames.sort_by(|a, b| {
        let (fa, fb) = (rank(a), rank(b));
        earlier(fa.0, fb.0).then(fa.1.cmp(&fb.1)).then_with(|| earlier(time(a), time(b)))
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_count_by_value_and_case_does_not_count() {
        let mut paths = [
            "b/IMG_10.jpg",
            "b/img_2.jpg",
            "B/IMG_1.jpg",
            "a10/x.jpg",
            "a9/x.jpg",
            "a9.jpg",
            "IMG_002.jpg",
            "IMG_2.jpg",
            "9999999999999999999999999.jpg",
            "1.jpg",
            "é.jpg",
        ];
        paths.sort_by(|a, b| natural(Path::new(a), Path::new(b)));
        assert_eq!(
            paths,
            [
                "1.jpg",
                "9999999999999999999999999.jpg",
                "a9/x.jpg",
                "a9.jpg",
                "a10/x.jpg",
                "B/IMG_1.jpg",
                "b/img_2.jpg",
                "b/IMG_10.jpg",
                "IMG_002.jpg",
                "IMG_2.jpg",
                "é.jpg",
            ]
        );
    }

    proptest::proptest! {
        #[test]
        fn the_order_is_total(a in "[a-cA-C0-2./]{0,6}", b in "[a-cA-C0-2./]{0,6}", c in "[a-cA-C0-2./]{0,6}") {
            let [a, b, c] = [&a, &b, &c].map(Path::new);
            proptest::prop_assert_eq!(natural(a, b), natural(b, a).reverse());
            if natural(a, b).is_le() && natural(b, c).is_le() {
                proptest::prop_assert!(natural(a, c).is_le());
            }
        }
    }
}
