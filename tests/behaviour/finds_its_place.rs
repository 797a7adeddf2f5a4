//! A display that is not the whole capture is found, said to be there, and judged there; one that is displaced is told.

use framevouch::check;
use framevouch::check::place::Place;
use framevouch::demo;
use framevouch::picture::{Picture, Plane, Point};
use framevouch::reference::canvas::Geometry;

use crate::bench::{Bench, Checked};

const LENGTH_S: f64 = 1.6;

/// A bench at 12.5 frames a second.
fn bench() -> Bench {
    let mut bench = Bench::of(demo::ENGINE_STRIP, LENGTH_S);
    bench.plan.rate = (25, 2);
    bench
}

/// Samples of a pixel each way.
const SAMPLES: usize = 2;

/// Each picture as a camera or a scaler sees it that brings the display to `geometry` in frames of `size`: means of 2 x 2
/// samples a pixel, each between its four neighbours.
fn seen(frames: &[Picture], geometry: &Geometry, (width, height): (usize, usize)) -> Vec<Picture> {
    let black = [16, 128, 128];
    let like = &frames[0];
    let blank = Picture::filled(width, height, like.encoding(), like.subsampling(), black);
    let own = (like.width() as f64, like.height() as f64);
    // Colour planes have a sample for two by two pixels; between two rows and two columns here.
    let steps = [1.0, 2.0, 2.0];
    // Where the samples of each plane lie on the display is the same in all frames.
    let planes = blank.planes().iter().zip(steps);
    let from: Vec<Vec<Option<Point>>> = planes
        .map(|(plane, step)| samples_of(plane, step, geometry, own))
        .collect();
    let seen = |frame: &Picture| {
        let mut out = blank.clone();
        for (k, plane) in out.planes_mut().iter_mut().enumerate() {
            let level = |p: &Option<Point>| {
                p.map_or(f64::from(black[k]), |p| {
                    let plane = &frame.planes()[k];
                    level_at(plane, p.x / steps[k] - 0.5, p.y / steps[k] - 0.5)
                })
            };
            let (width, mut samples) = (plane.width(), from[k].chunks(SAMPLES * SAMPLES));
            for y in 0..plane.height() {
                for (to, pixel) in plane
                    .row_mut(y)
                    .iter_mut()
                    .zip(samples.by_ref().take(width))
                {
                    let sum: f64 = pixel.iter().map(level).sum();
                    *to = (sum / pixel.len() as f64).round() as u8;
                }
            }
        }
        out
    };
    frames.iter().map(seen).collect()
}

/// Where each sample of a plane lies on the display, pixel by pixel; none beside it.
fn samples_of(
    plane: &Plane,
    step: f64,
    geometry: &Geometry,
    own: (f64, f64),
) -> Vec<Option<Point>> {
    let within = |at: usize, part: usize| step * (at as f64 + (part as f64 + 0.5) / SAMPLES as f64);
    let mut samples = Vec::new();
    for (y, x) in (0..plane.height()).flat_map(|y| (0..plane.width()).map(move |x| (y, x))) {
        for (i, j) in (0..SAMPLES).flat_map(|i| (0..SAMPLES).map(move |j| (i, j))) {
            let p = back(geometry, within(x, i), within(y, j));
            let is_inside = (0.0..own.0).contains(&p.x) && (0.0..own.1).contains(&p.y);
            samples.push(is_inside.then_some(p));
        }
    }
    samples
}

/// Where on the display a place of the picture lies: the geometry solved by Newton's method, without its own inverse.
fn back(geometry: &Geometry, x: f64, y: f64) -> Point {
    let mut p = Point::new(
        (x - geometry.tx) / geometry.sx,
        (y - geometry.ty) / geometry.sy,
    );
    for _ in 0..8 {
        let at = geometry.map(p);
        let [across, down] = geometry.steps(p);
        let (dx, dy) = (x - at.x, y - at.y);
        let whole = across.x * down.y - across.y * down.x;
        p.x += (dx * down.y - dy * down.x) / whole;
        p.y += (dy * across.x - dx * across.y) / whole;
        if dx.abs() + dy.abs() < 1e-6 {
            break;
        }
    }
    p
}

fn level_at(plane: &Plane, x: f64, y: f64) -> f64 {
    let at = |x: f64, y: f64| {
        let column = x.clamp(0.0, (plane.width() - 1) as f64) as usize;
        let row = y.clamp(0.0, (plane.height() - 1) as f64) as usize;
        f64::from(plane.at(column, row))
    };
    let (left, top) = (x.floor(), y.floor());
    let (u, v) = (x - left, y - top);
    let row = |y: f64| at(left, y) * (1.0 - u) + at(left + 1.0, y) * u;
    row(top) * (1.0 - v) + row(top + 1.0) * v
}

/// The corners of the engine strip as a camera sees them that is turned by `degrees` about its upright middle, two widths
/// away (a pinhole's picture), in frames of 560 x 352.
fn at_an_angle(degrees: f64) -> Geometry {
    let turn = degrees.to_radians();
    let corner = |(x, y): (f64, f64)| {
        let (x, z) = (x * turn.cos(), x * turn.sin());
        let near = 960.0 / (960.0 + z);
        Point::new(280.0 + near * x, 176.0 + near * y)
    };
    let corners = [
        (-240.0, -136.0),
        (240.0, -136.0),
        (240.0, 136.0),
        (-240.0, 136.0),
    ]
    .map(corner);
    Geometry::from_corners((480.0, 272.0), corners).expect("it is seen from before")
}

/// What is said of captures in which the display stands at `geometry` and nobody says so; and that with the place that is
/// said, nothing is raised.
fn assert_is_found(bench: &Bench, frames: &[Picture], words: &str, place: &Geometry) {
    let told = bench.check_placed(frames, Place::Usual).map(|c| c.told());
    let error = told.expect_err("the display does not fill the capture");
    let check::Error::Elsewhere {
        words: said,
        geometry,
    } = &error
    else {
        panic!("{words}: {error}");
    };
    assert!(said.contains(words), "{words}: {said}");
    assert!(said.contains("give --place"), "{said}");
    for off in geometry.corners_from(place, bench.definition.size()) {
        assert!(off.x.hypot(off.y) < 0.25, "{geometry:?} {place:?}");
    }
    assert_agrees(bench, frames, Place::Given(*geometry));
    assert_agrees(bench, frames, Place::Auto);
}

fn assert_agrees(bench: &Bench, frames: &[Picture], place: Place) -> Checked {
    let checked = bench
        .check_placed(frames, place)
        .expect("the display stands there");
    assert_eq!(
        checked.outcome.exit_status(),
        0,
        "{place:?}: {}",
        checked.told()
    );
    checked
}

#[test]
fn a_display_with_borders_is_said_to_stand_between_them() {
    let bench = bench();
    let geometry = Geometry::upright([1.0, 1.0], [40.0, 24.0]);
    let frames = seen(&bench.frames(None), &geometry, (560, 320));
    let words = "of 480x272 in frames of 560x320 does not fill the capture; it fits at scale 1.000, shifted by";
    assert_is_found(&bench, &frames, words, &geometry);
}

#[test]
fn a_display_in_a_corner_of_a_larger_recording_is_found() {
    let bench = bench();
    let geometry = Geometry::upright([1.5, 1.5], [300.0, 130.0]);
    let frames = seen(&bench.frames(None), &geometry, (1040, 560));
    assert_is_found(&bench, &frames, "it fits at scale 1.5", &geometry);
}

#[test]
fn a_display_at_an_angle_is_found_and_judged() {
    let bench = bench();
    let geometry = at_an_angle(5.0);
    let frames = seen(&bench.frames(None), &geometry, (560, 352));
    assert_is_found(&bench, &frames, "it fits seen at an angle", &geometry);
}

/// A lens lets less light through towards its edges: a quarter less in the farthest corner.
#[test]
fn light_that_falls_off_is_the_cameras() {
    let bench = bench();
    let geometry = at_an_angle(5.0);
    let (width, height) = (560, 352);
    let mut frames = seen(&bench.frames(None), &geometry, (width, height));
    for frame in &mut frames {
        for (k, plane) in frame.planes_mut().iter_mut().enumerate() {
            let (step, black) = if k == 0 { (1.0, 16.0) } else { (2.0, 128.0) };
            for y in 0..plane.height() {
                for (x, level) in plane.row_mut(y).iter_mut().enumerate() {
                    let across = step * (x as f64 + 0.5) / width as f64 - 0.5;
                    let down = step * (y as f64 + 0.5) / height as f64 - 0.5;
                    let gain = 1.0 - 0.5 * (across * across + down * down);
                    *level = (black + gain * (f64::from(*level) - black)).round() as u8;
                }
            }
        }
    }
    let checked = assert_agrees(&bench, &frames, Place::Given(geometry));
    let shading = checked.outcome.summary.profile.shading;
    let light = |x: f64, y: f64| shading.gain(x, y) / shading.gain(280.0, 176.0);
    for (x, y) in [(60.0, 40.0), (500.0, 40.0), (60.0, 310.0), (500.0, 310.0)] {
        let (across, down) = (x / width as f64 - 0.5, y / height as f64 - 0.5);
        let due = 1.0 - 0.5 * (across * across + down * down);
        assert!(
            (light(x, y) - due).abs() < 0.03,
            "{} at {x},{y}",
            light(x, y)
        );
    }
}

#[test]
fn a_displaced_picture_is_told_and_judged() {
    let bench = bench();
    let geometry = Geometry::upright([1.0, 1.0], [8.0, 0.0]);
    let frames = seen(&bench.frames(None), &geometry, (480, 272));
    let told = assert_agrees(&bench, &frames, Place::Usual).told();
    assert!(told.contains("lies up to 8.0"), "{told}");
}

#[test]
fn regions_that_are_cut_off_are_not_judged_and_the_rest_is() {
    let bench = bench();
    let geometry = Geometry::upright([1.0, 1.0], [-130.0, 0.0]);
    let frames = seen(&bench.frames(None), &geometry, (350, 272));
    let checked = assert_agrees(&bench, &frames, Place::Given(geometry));
    let not_judged = &checked.outcome.summary.not_judged;
    let cut: Vec<&String> = not_judged
        .values()
        .filter(|why| why.contains("is in the capture"))
        .collect();
    assert!(
        !cut.is_empty() && cut.len() < checked.outcome.summary.region_verdicts.len(),
        "{not_judged:?}"
    );
}

#[test]
fn a_fault_is_raised_where_the_display_stands_with_its_value() {
    use framevouch::demo::faults::Kind;
    let bench = bench();
    let geometry = at_an_angle(5.0);
    let frozen = bench.frames(Some((Kind::FreezeAll, 0.4, LENGTH_S)));
    let frames = seen(&frozen, &geometry, (560, 352));
    let checked = bench
        .check_placed(&frames, Place::Given(geometry))
        .expect("it stands there");
    assert_eq!(checked.outcome.exit_status(), 1, "{}", checked.told());
}

#[test]
fn what_is_not_there_is_not_found() {
    let bench = bench();
    let grey =
        |f: &Picture| Picture::filled(600, 400, f.encoding(), f.subsampling(), [90, 128, 128]);
    let frames: Vec<Picture> = bench.frames(None).iter().map(grey).collect();
    for place in [Place::Usual, Place::Auto] {
        let told = bench.check_placed(&frames, place).map(|c| c.told());
        let error = told.expect_err("there is no display").to_string();
        assert!(
            error.contains("is not found in the first frames"),
            "{error}"
        );
    }
}
