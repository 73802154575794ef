//! The order in which people count files: frame_2 before frame_10, capitals beside small letters.

use std::cmp::Ordering;
use std::path::Path;

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
