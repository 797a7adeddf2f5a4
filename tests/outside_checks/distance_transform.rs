//! The exact Euclidean distance transform that tolerance bands rest on, from `imageproc`.
//! Felzenszwalb and Huttenlocher 2012, Theory of Computing 8, 415-428.

use image::{GrayImage, Luma};
use imageproc::distance_transform::euclidean_squared_distance_transform;

use crate::{fixture, list, number};

fn pattern(fixture: &serde_json::Value) -> Vec<Vec<bool>> {
    let rows = list(fixture, "pattern").iter();
    rows.map(|row| {
        row.as_str()
            .expect("text")
            .bytes()
            .map(|b| b == b'#')
            .collect()
    })
    .collect()
}

/// Squared distance of every pixel to the nearest one that is `true`.
fn squared_distances(to: &[Vec<bool>]) -> Vec<Vec<f64>> {
    let (width, height) = (to[0].len() as u32, to.len() as u32);
    let marks = GrayImage::from_fn(width, height, |x, y| {
        Luma([u8::from(to[y as usize][x as usize]) * 255])
    });
    let distances = euclidean_squared_distance_transform(&marks);
    (0..height)
        .map(|y| (0..width).map(|x| distances.get_pixel(x, y)[0]).collect())
        .collect()
}

fn inverse(of: &[Vec<bool>]) -> Vec<Vec<bool>> {
    of.iter()
        .map(|row| row.iter().map(|b| !b).collect())
        .collect()
}

#[test]
fn distances_are_exact() {
    let fixture = fixture(include_str!("../checks/distance_transform.json"));
    let ink = pattern(&fixture);
    for (key, to) in [
        ("inside_squared", inverse(&ink)),
        ("outside_squared", ink.clone()),
    ] {
        let found = squared_distances(&to);
        for (row, published) in found.iter().zip(list(&fixture, key)) {
            let published: Vec<f64> = published
                .as_array()
                .expect("a row")
                .iter()
                .map(number)
                .collect();
            assert_eq!(*row, published, "{key}");
        }
    }
}

/// What a comparison makes of it: ink of a shifted copy that lies farther than a tolerance from
/// any ink of the original, and the Hausdorff distance of the two.
#[test]
fn tolerance_bands_count_as_published() {
    let fixture = fixture(include_str!("../checks/distance_transform.json"));
    let ink = pattern(&fixture);
    let shifted: Vec<Vec<bool>> = ink
        .iter()
        .map(|row| {
            let mut row = row.clone();
            row.rotate_right(1);
            row
        })
        .collect();
    let to_ink = squared_distances(&ink);
    let to_shifted = squared_distances(&shifted);
    let distances_of = |of: &[Vec<bool>], to: &[Vec<f64>]| -> Vec<f64> {
        let pairs = of.iter().flatten().zip(to.iter().flatten());
        pairs
            .filter(|(is_ink, _)| **is_ink)
            .map(|(_, d)| *d)
            .collect()
    };
    let there = distances_of(&shifted, &to_ink);
    let back = distances_of(&ink, &to_shifted);
    let case = &fixture["shifted_copy_right_1"];
    let counts = case["count_beyond"].as_object().expect("counts by radius");
    assert!(!counts.is_empty());
    for (radius, count) in counts {
        let radius: f64 = radius.parse().expect("a radius");
        let beyond = there.iter().filter(|d| d.sqrt() > radius).count();
        assert_eq!(beyond as f64, number(count), "farther than {radius}");
    }
    let worst = there.iter().chain(&back).copied().fold(0.0, f64::max);
    assert_eq!(worst, number(&case["hausdorff_squared"]));
}
