//! How far what a captured picture shows in an area lies from where the reference has it.
//!
//! Whole pixels by the least sum of differences, then fractions by Gauss-Newton on the reference's slopes (Lucas and
//! Kanade 1981), with gain and offset of the levels left alone: the reference has the capture's colours.

use super::view::View;
pub use crate::examine::constants::displacement::FARTHEST_PX;
use crate::examine::constants::displacement::{LEAST_SLOPES, ROUNDS};

/// Displacement along x and y, px: positive where the capture shows it farther right and down. `None` along an axis without
/// edges across it.
#[must_use]
pub fn displacement(captured: View, reference: View) -> [Option<f64>; 2] {
    let [mut x, mut y] = whole(captured, reference).map(f64::from);
    let mut slopes = [0.0; 2];
    for _ in 0..ROUNDS {
        let sums = sums(captured, reference, [x, y]);
        let [xx, xy, yy, xr, yr] = sums;
        slopes = [xx, yy];
        let is_known = slopes.map(|s| s >= LEAST_SLOPES);
        let determinant = xx * yy - xy * xy;
        let step = match is_known {
            [true, true] if determinant > 1e-3 * xx * yy => [
                (yy * xr - xy * yr) / determinant,
                (xx * yr - xy * xr) / determinant,
            ],
            [true, false] => [xr / xx, 0.0],
            [false, true] => [0.0, yr / yy],
            _ => break,
        };
        x += step[0].clamp(-1.0, 1.0);
        y += step[1].clamp(-1.0, 1.0);
        if step.iter().all(|s| s.abs() < 1e-3) {
            break;
        }
    }
    let farthest = f64::from(FARTHEST_PX) + 1.0;
    let told =
        |at: f64, slopes: f64| (slopes >= LEAST_SLOPES && at.abs() <= farthest).then_some(at);
    [told(x, slopes[0]), told(y, slopes[1])]
}

/// The whole pixels at which both differ least; of equals the nearest.
fn whole(captured: View, reference: View) -> [i32; 2] {
    let mut best = (f64::INFINITY, [0, 0]);
    let mut places: Vec<[i32; 2]> = (-FARTHEST_PX..=FARTHEST_PX)
        .flat_map(|y| (-FARTHEST_PX..=FARTHEST_PX).map(move |x| [x, y]))
        .collect();
    places.sort_by_key(|[x, y]| x * x + y * y);
    for place in places {
        let mean = mean_difference(captured, reference, place, best.0);
        if mean < best.0 {
            best = (mean, place);
        }
    }
    best.1
}

/// Mean difference of the pixels that both have, the reference moved by `dx`, `dy`; infinite as soon as it is no better than
/// `most` over all of them.
fn mean_difference(captured: View, reference: View, [dx, dy]: [i32; 2], most: f64) -> f64 {
    let (width, height) = (captured.width() as i32, captured.height() as i32);
    let (columns, rows) = (dx.max(0)..width + dx.min(0), dy.max(0)..height + dy.min(0));
    let count = i64::from(columns.len() as u32) * i64::from(rows.len() as u32);
    if count == 0 {
        return f64::INFINITY;
    }
    let limit = most * count as f64;
    let mut sum = 0u64;
    for y in rows {
        let shown = &captured.row(y as usize)[columns.start as usize..columns.end as usize];
        let first = (columns.start - dx) as usize;
        let drawn = &reference.row((y - dy) as usize)[first..first + shown.len()];
        let differences = shown.iter().zip(drawn).map(|(a, b)| a.abs_diff(*b));
        sum += differences.map(u64::from).sum::<u64>();
        if sum as f64 >= limit {
            return f64::INFINITY;
        }
    }
    sum as f64 / count as f64
}

/// Of slopes along x and y, and of what remains where the reference is moved by `x`, `y`: xx, xy, yy, xr, yr.
fn sums(captured: View, reference: View, [x, y]: [f64; 2]) -> [f64; 5] {
    let (width, height) = (reference.width(), reference.height());
    let level = |u: f64, v: f64| -> Option<f64> {
        let (left, top) = (libm::floor(u), libm::floor(v));
        if left < 0.0 || top < 0.0 || left as usize + 1 >= width || top as usize + 1 >= height {
            return None;
        }
        let (fx, fy) = (u - left, v - top);
        let at =
            |dx: usize, dy: usize| f64::from(reference.at(left as usize + dx, top as usize + dy));
        let row = |dy: usize| at(0, dy) * (1.0 - fx) + at(1, dy) * fx;
        Some(row(0) * (1.0 - fy) + row(1) * fy)
    };
    let mut out = [0.0; 5];
    for row in 1..height.saturating_sub(1) {
        let shown = captured.row(row).iter().enumerate();
        for (column, shown) in shown.take(width.saturating_sub(1)).skip(1) {
            let (u, v) = (column as f64 - x, row as f64 - y);
            let around = [
                level(u - 1.0, v),
                level(u + 1.0, v),
                level(u, v - 1.0),
                level(u, v + 1.0),
                level(u, v),
            ];
            let [Some(left), Some(right), Some(up), Some(down), Some(here)] = around else {
                continue;
            };
            // The level falls where what rises to the right moves to the right.
            let (gx, gy) = ((left - right) / 2.0, (up - down) / 2.0);
            let remains = f64::from(*shown) - here;
            for (sum, term) in
                out.iter_mut()
                    .zip([gx * gx, gx * gy, gy * gy, gx * remains, gy * remains])
            {
                *sum += term;
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::Plane;

    /// A disc of exact coverage, by 16 x 16 samples a pixel, and a bar.
    fn picture(dx: f64, dy: f64) -> Plane {
        let mut levels = Vec::new();
        for y in 0..60 {
            for x in 0..80 {
                let mut inside = 0;
                for k in 0..256 {
                    let u = f64::from(x) + f64::from(k % 16) / 16.0 + 1.0 / 32.0 - dx;
                    let v = f64::from(y) + f64::from(k / 16) / 16.0 + 1.0 / 32.0 - dy;
                    let is_disc = (u - 30.0).hypot(v - 30.0) < 12.0;
                    let is_bar = (55.0..58.0).contains(&u) && (20.0..45.0).contains(&v);
                    inside += u32::from(is_disc || is_bar);
                }
                levels.push((inside * 200 / 256) as u8);
            }
        }
        Plane::from_levels(80, 60, levels)
    }

    #[test]
    fn a_displaced_picture_is_found_to_a_twentieth_of_a_pixel() {
        let reference = picture(0.0, 0.0);
        for (dx, dy) in [(0.0, 0.0), (0.3, -0.7), (-4.4, 2.6), (7.5, -6.25)] {
            let captured = picture(dx, dy);
            let found = displacement(View::whole(&captured), View::whole(&reference));
            let [Some(x), Some(y)] = found else {
                panic!("{dx}, {dy}: {found:?}");
            };
            assert!(
                (x - dx).abs() < 0.05 && (y - dy).abs() < 0.05,
                "{dx}, {dy}: {x}, {y}"
            );
        }
    }

    #[test]
    fn nothing_is_said_along_an_axis_without_edges() {
        let flat = Plane::filled(40, 40, 90);
        assert_eq!(
            displacement(View::whole(&flat), View::whole(&flat)),
            [None, None]
        );
        let mut stripe = flat;
        for y in 0..40 {
            stripe.row_mut(y)[20..24].fill(250);
        }
        let found = displacement(View::whole(&stripe), View::whole(&stripe));
        assert!(
            found[0].is_some_and(|x| x.abs() < 1e-6) && found[1].is_none(),
            "{found:?}"
        );
    }
}
