//! Does a picture show the display at all, whatever its place, sharpness and levels?

use super::view::View;
use crate::examine::constants::resemblance::{LEAST_INK, LEAST_RESEMBLANCE};

/// Whether most parts, each captured and as it is due, show what is due: lines stand where they should and rise to the
/// same side. Parts without ink have no say.
pub fn shows_what_is_due<'a>(parts: impl IntoIterator<Item = (View<'a>, View<'a>)>) -> bool {
    let (mut alike, mut unlike) = (0, 0);
    for (captured, reference) in parts {
        match resemblance(captured, reference) {
            Some(r) if r >= LEAST_RESEMBLANCE => alike += 1,
            Some(_) => unlike += 1,
            None => {}
        }
    }
    alike > unlike
}

/// Correlation of the gradients of two pictures of one size, -1 to 1: 1 where one is the other with another gain and offset.
/// `None` where `reference` has no ink.
fn resemblance(captured: View, reference: View) -> Option<f64> {
    let (width, height) = (reference.width(), reference.height());
    if width < 3 || height < 3 {
        return None;
    }
    let (mut own, mut due, mut both) = (0i64, 0i64, 0i64);
    for y in 1..height - 1 {
        let of_line = gradient_products(Lines::of(captured, y), Lines::of(reference, y));
        own += i64::from(of_line[0]);
        due += i64::from(of_line[1]);
        both += i64::from(of_line[2]);
    }
    let pixels = (width - 2) * (height - 2);
    if (due as f64) < LEAST_INK * pixels as f64 {
        return None;
    }
    Some(both as f64 / (own as f64 * due as f64).sqrt().max(1.0))
}

/// A line of a picture and its neighbours.
struct Lines<'a> {
    above: &'a [u8],
    here: &'a [u8],
    below: &'a [u8],
}

impl<'a> Lines<'a> {
    fn of(view: View<'a>, y: usize) -> Self {
        Self {
            above: view.row(y - 1),
            here: view.row(y),
            below: view.row(y + 1),
        }
    }

    /// Differences across and down at the pixels but the first and the last.
    fn gradients(&self) -> impl Iterator<Item = [i16; 2]> {
        let across = self.here.iter().zip(&self.here[2..]);
        let down = self.above[1..].iter().zip(&self.below[1..]);
        let step = |(a, b): (&u8, &u8)| i16::from(*b) - i16::from(*a);
        across.zip(down).map(move |(x, y)| [step(x), step(y)])
    }
}

/// Sums over a line: squares of the gradients of both pictures, and their products. A line of 16,000 pixels stays within 32
/// bits.
fn gradient_products(captured: Lines, reference: Lines) -> [i32; 3] {
    let product = |a: i16, b: i16| i32::from(a) * i32::from(b);
    let mut sums = [0; 3];
    for ([ax, ay], [bx, by]) in captured.gradients().zip(reference.gradients()) {
        sums[0] += product(ax, ax) + product(ay, ay);
        sums[1] += product(bx, bx) + product(by, by);
        sums[2] += product(ax, bx) + product(ay, by);
    }
    sums
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::picture::Plane;

    const SIZE: usize = 24;

    fn plane(levels: &[u8]) -> Plane {
        Plane::from_levels(SIZE, SIZE, levels.to_vec())
    }

    fn of(captured: &[u8], reference: &[u8]) -> Option<f64> {
        let (captured, reference) = (plane(captured), plane(reference));
        resemblance(View::whole(&captured), View::whole(&reference))
    }

    proptest! {
        #[test]
        fn levels_may_be_others(
            levels in prop::collection::vec(0u8..100, SIZE * SIZE),
            gain in 1u8..=2,
            offset in 0u8..50,
        ) {
            let shown: Vec<u8> = levels.iter().map(|v| v * gain + offset).collect();
            let r = of(&shown, &levels).expect("it has ink");
            prop_assert!((r - 1.0).abs() < 1e-9, "{r}");
        }

        #[test]
        fn a_negative_is_the_opposite(levels in prop::collection::vec(any::<u8>(), SIZE * SIZE)) {
            let negative: Vec<u8> = levels.iter().map(|v| 255 - v).collect();
            let r = of(&negative, &levels).expect("it has ink");
            prop_assert!((r + 1.0).abs() < 1e-9, "{r}");
        }

        #[test]
        fn another_picture_is_not_alike(
            a in prop::collection::vec(any::<u8>(), SIZE * SIZE),
            b in prop::collection::vec(any::<u8>(), SIZE * SIZE),
        ) {
            let r = of(&a, &b).expect("it has ink");
            prop_assert!(r.abs() < LEAST_RESEMBLANCE, "{r}");
        }
    }

    #[test]
    fn parts_without_ink_have_no_say() {
        let flat = plane(&[90; SIZE * SIZE]);
        let lines: Vec<u8> = (0..SIZE * SIZE).map(|k| (k % 5 * 40) as u8).collect();
        let lines = plane(&lines);
        let [flat, lines] = [View::whole(&flat), View::whole(&lines)];
        assert!(shows_what_is_due([(flat, flat), (lines, lines)]));
        assert!(!shows_what_is_due([(lines, flat), (flat, lines)]));
        assert!(!shows_what_is_due([(flat, flat)]));
    }
}
