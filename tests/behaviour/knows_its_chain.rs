//! A chain that changes on the way is an error, and no fault of the display; a fault of the display is no other chain.

use framevouch::check::place::Place;
use framevouch::demo;
use framevouch::demo::faults::Kind;
use framevouch::picture::Picture;

use crate::bench::Bench;

const LENGTH_S: f64 = 3.2;
/// First frame of the changed chain.
const CHANGED: usize = 20;

/// A bench at 12.5 frames a second: a chain is measured from a stretch of time, and half the frames show it too.
fn bench_of(display: &str, seconds: f64) -> Bench {
    let mut bench = Bench::of(display, seconds);
    bench.plan.rate = (25, 2);
    bench
}

/// Every plane by itself, from row and column to level.
fn changed(frame: &Picture, level: impl Fn(usize, &dyn Fn(i64, i64) -> f64) -> f64) -> Picture {
    let mut out = frame.clone();
    for (k, (plane, from)) in out.planes_mut().iter_mut().zip(frame.planes()).enumerate() {
        let (width, height) = (plane.width() as i64, plane.height() as i64);
        for y in 0..height {
            for (x, v) in plane.row_mut(y as usize).iter_mut().enumerate() {
                let at = |dx: i64, dy: i64| {
                    let (x, y) = (x as i64 + dx, y + dy);
                    let row = from.row(y.clamp(0, height - 1) as usize);
                    f64::from(row[x.clamp(0, width - 1) as usize])
                };
                *v = level(k, &at).round().clamp(0.0, 255.0) as u8;
            }
        }
    }
    out
}

/// What a check says of the demo display when all frames from [`CHANGED`] on go through `change`.
fn assert_is_told(words: &str, change: impl Fn(&Picture) -> Picture) {
    assert_is_told_of(demo::DISPLAY, words, change);
}

fn assert_is_told_of(display: &str, words: &str, change: impl Fn(&Picture) -> Picture) {
    let bench = bench_of(display, LENGTH_S);
    let mut frames = bench.frames(None);
    for frame in &mut frames[CHANGED..] {
        *frame = change(frame);
    }
    let checked = bench.check(&frames);
    let told = checked.told();
    assert_eq!(checked.outcome.exit_status(), 2, "{words}: {told}");
    assert!(checked.outcome.events.is_empty(), "{words}: {told}");
    let error = checked.outcome.error.expect("it has an exit status of 2");
    let error = error.to_string();
    assert!(error.contains("the capture chain changed"), "{error}");
    assert!(error.contains(words), "{words}: {error}");
}

#[test]
fn less_contrast_midway_is_another_chain() {
    // Seven percent: no region is off by more than colours may be.
    assert_is_told("0.93 times", |frame| {
        changed(frame, |plane, at| {
            let black = [16.0, 128.0, 128.0][plane];
            black + (at(0, 0) - black) * 0.93
        })
    });
}

#[test]
fn a_displaced_picture_midway_is_another_chain() {
    for display in [demo::DISPLAY, demo::ENGINE_STRIP, demo::REVERSIONARY] {
        assert_is_told_of(display, "displaced by up to 2.0", |frame| {
            changed(frame, |plane, at| at(if plane == 0 { -2 } else { -1 }, 0))
        });
    }
    // By one pixel few regions alone disagree.
    assert_is_told("displaced by up to 1.0", |frame| {
        changed(frame, |plane, at| match plane {
            0 => at(-1, 0),
            _ => (at(-1, 0) + at(0, 0)) / 2.0,
        })
    });
}

#[test]
fn a_blurred_picture_midway_is_another_chain() {
    // Steps of 1, 2, 1 each way: a standard deviation of 0.71 px.
    assert_is_told("the whole picture is blurred", |frame| {
        changed(frame, |_, at| {
            let row = |dy| at(-1, dy) + 2.0 * at(0, dy) + at(1, dy);
            (row(-1) + 2.0 * row(0) + row(1)) / 16.0
        })
    });
}

/// A frame as a camera sees it that is out of focus: a Gaussian of so many pixels.
fn out_of_focus(frame: &Picture, sigma_px: f64) -> Picture {
    let mut out = frame.clone();
    for (k, plane) in out.planes_mut().iter_mut().enumerate() {
        let sigma = if k == 0 { sigma_px } else { sigma_px / 2.0 };
        let reach = (3.0 * sigma).ceil() as i64;
        let weights: Vec<f64> = (-reach..=reach)
            .map(|d| (-0.5 * (d as f64 / sigma).powi(2)).exp())
            .collect();
        let sum: f64 = weights.iter().sum();
        let (width, height) = (plane.width() as i64, plane.height() as i64);
        for is_down in [false, true] {
            let from = plane.clone();
            let level = |x: i64, y: i64| {
                let (x, y) = (x.clamp(0, width - 1), y.clamp(0, height - 1));
                f64::from(from.at(x as usize, y as usize))
            };
            for y in 0..height {
                for (x, v) in (0..).zip(plane.row_mut(y as usize)) {
                    let taps = (-reach..=reach).zip(&weights);
                    let blurred: f64 = taps
                        .map(|(d, w)| {
                            w * if is_down {
                                level(x, y + d)
                            } else {
                                level(x + d, y)
                            }
                        })
                        .sum();
                    *v = (blurred / sum).round() as u8;
                }
            }
        }
    }
    out
}

#[test]
fn a_camera_out_of_focus_is_a_chain_until_nothing_can_be_told() {
    let bench = bench_of(demo::ENGINE_STRIP, 1.6);
    let clean = bench.frames(None);
    let soft: Vec<Picture> = clean.iter().map(|f| out_of_focus(f, 0.9)).collect();
    let checked = bench.check(&soft);
    assert_eq!(checked.outcome.exit_status(), 0, "{}", checked.told());
    let blur_px = checked.outcome.summary.profile.blur_px;
    assert!((blur_px - 0.9).abs() < 0.1, "{blur_px} px");
    let torque = bench.region("torque");
    let biased = bench.frames(Some((
        Kind::Bias(torque, bench.definition.channel("torque"), 6.0),
        0.8,
        1.6,
    )));
    let biased: Vec<Picture> = biased.iter().map(|f| out_of_focus(f, 0.9)).collect();
    let checked = bench.check(&biased);
    let told = checked.told();
    assert!(
        checked
            .outcome
            .events
            .iter()
            .any(|e| e.regions == ["torque"]),
        "{told}"
    );
    let blind: Vec<Picture> = clean.iter().map(|f| out_of_focus(f, 4.0)).collect();
    let error = bench.check_placed(&blind, Place::Usual).err();
    let error = error.expect("it cannot be judged").to_string();
    assert!(error.contains("the picture is blurred"), "{error}");
}

/// What `ffmpeg -vf eq=gamma=0.8:saturation=...` makes of a frame.
fn darkened(frame: &Picture, saturation: f64) -> Picture {
    changed(frame, |plane, at| match plane {
        0 => 255.0 * (at(0, 0) / 255.0).powf(1.0 / 0.8),
        _ => 128.0 + saturation * (at(0, 0) - 128.0),
    })
}

#[test]
fn what_calibrate_accepts_is_what_a_check_accepts() {
    // c5def52: calibrate wrote a profile of each of these, and check refused the dark ones with that very profile.
    for display in [demo::DISPLAY, demo::ENGINE_STRIP] {
        let bench = bench_of(display, 2.0);
        let clean = bench.frames(None);
        let paler = |frame: &Picture| {
            changed(frame, |plane, at| match plane {
                0 => at(0, 0),
                _ => 128.0 + 0.8 * (at(0, 0) - 128.0),
            })
        };
        let dark = |frame: &Picture| darkened(frame, 1.0);
        let dark_and_pale = |frame: &Picture| darkened(frame, 0.8);
        let changes: [(&str, Paint); 3] = [
            ("paler", &paler),
            ("dark", &dark),
            ("dark and pale", &dark_and_pale),
        ];
        let mut refused = Vec::new();
        for (words, change) in changes {
            let frames: Vec<Picture> = clean.iter().map(change).collect();
            match bench.calibrate(&frames) {
                Ok(profile) => {
                    let checked = bench.check_with(&frames, Some(profile));
                    let told = checked.told();
                    assert_eq!(checked.outcome.exit_status(), 0, "{words}: {told}");
                }
                Err(e) => {
                    assert!(!e.to_string().contains("changed"), "{words}: {e}");
                    refused.push(words);
                    let error = bench.check(&frames).outcome.error.map(|e| e.to_string());
                    let error = error.unwrap_or_default();
                    assert!(!error.contains("changed"), "{words}: {error}");
                }
            }
        }
        assert!(!refused.contains(&"paler"), "one map of colours is a chain");
        assert!(display != demo::DISPLAY || refused.contains(&"dark and pale"));
    }
}

/// A frame enlarged about its middle.
fn enlarged(frame: &Picture, by: f64) -> Picture {
    let mut out = frame.clone();
    for (plane, from) in out.planes_mut().iter_mut().zip(frame.planes()) {
        let place = |at: usize, length: usize| {
            let middle = length as f64 / 2.0;
            let at = (at as f64 + 0.5 - middle) / by + middle - 0.5;
            let at = at.clamp(0.0, (length - 1) as f64);
            let first = (at as usize).min(length - 2);
            (first, at - first as f64)
        };
        let (width, height) = (plane.width(), plane.height());
        for y in 0..height {
            let (above, down) = place(y, height);
            let lines = [from.row(above), from.row(above + 1)];
            for (x, level) in plane.row_mut(y).iter_mut().enumerate() {
                let (left, right) = place(x, width);
                let on = |line: &[u8]| {
                    f64::from(line[left]) * (1.0 - right) + f64::from(line[left + 1]) * right
                };
                *level = (on(lines[0]) * (1.0 - down) + on(lines[1]) * down).round() as u8;
            }
        }
    }
    out
}

#[test]
fn a_scale_of_half_a_percent_is_measured() {
    for display in [demo::DISPLAY, demo::ENGINE_STRIP] {
        let bench = bench_of(display, 1.6);
        let clean = bench.frames(None);
        for by in [1.005, 0.995] {
            let frames: Vec<Picture> = clean.iter().map(|f| enlarged(f, by)).collect();
            // c5def52 measured 1.0004 of 1.005.
            let Ok((profile, raised)) = bench.calibrate_with_raised(&frames) else {
                assert_ne!(display, demo::DISPLAY, "{by} is a chain");
                continue;
            };
            for (axis, scale) in ["x", "y"].into_iter().zip(profile.scale) {
                // The strip of 480 x 272 px has few level edges far from its middle: off by up to 0.3 px there, or refused.
                let within = if display == demo::DISPLAY {
                    2e-4
                } else {
                    2.5e-3
                };
                assert!((scale - by).abs() < within, "{by}: {scale} in {axis}");
            }
            let checked = bench.check_with(&frames, Some(profile));
            // Small turned letters suffer from the enlarging; then calibrating says so.
            assert!(raised.len() <= 1, "{by}: {raised:?}");
            for event in &checked.outcome.events {
                let is_told = event.regions.iter().all(|r| raised.contains(r));
                assert!(is_told, "{by}: {raised:?}, {}", checked.told());
            }
            assert!(checked.outcome.error.is_none());
        }
        // Beyond what is looked for.
        let frames: Vec<Picture> = clean.iter().map(|f| enlarged(f, 1.2)).collect();
        assert!(bench.calibrate(&frames).is_err());
    }
}

/// Makes another picture of a frame.
type Paint<'a> = &'a dyn Fn(&Picture) -> Picture;

/// A picture with levels by plane, column and row.
fn painted(like: &Picture, level: impl Fn(usize, usize, usize) -> u8) -> Picture {
    let mut out = like.clone();
    for (k, plane) in out.planes_mut().iter_mut().enumerate() {
        for y in 0..plane.height() {
            for (x, v) in plane.row_mut(y).iter_mut().enumerate() {
                *v = level(k, x, y);
            }
        }
    }
    out
}

/// Column and row of luma where a sample of 4:2:0 lies.
fn on_luma(plane: usize, x: usize, y: usize) -> [usize; 2] {
    [x, y].map(|v| if plane == 0 { v } else { 2 * v })
}

/// Frames of another picture: longer than every confirmation time, and than the watch takes to look at the colours.
const OTHERS: usize = 9;

#[test]
fn a_picture_that_does_not_show_the_display_is_no_other_chain() {
    assert_others_are_faults(demo::DISPLAY);
}

#[test]
fn nor_is_one_that_does_not_show_the_engine_strip() {
    assert_others_are_faults(demo::ENGINE_STRIP);
}

#[test]
fn nor_is_one_that_does_not_show_the_reversionary_page() {
    assert_others_are_faults(demo::REVERSIONARY);
}

fn assert_others_are_faults(display: &str) {
    let upside_down = |frame: &Picture| {
        painted(frame, |k, x, y| {
            let plane = &frame.planes()[k];
            plane.row(plane.height() - 1 - y)[x]
        })
    };
    let negative = |frame: &Picture| painted(frame, |k, x, y| 255 - frame.planes()[k].row(y)[x]);
    let slope = |frame: &Picture| {
        painted(frame, |k, x, y| {
            let [x, y] = on_luma(k, x, y);
            [40 + x / 8 + y / 16, 60 + x / 8, 60 + y / 8][k] as u8
        })
    };
    // Two levels in patches of 4 pixels, without order.
    let patches = |frame: &Picture| {
        painted(frame, |k, x, y| {
            let [x, y] = on_luma(k, x, y).map(|v| v as u32 / 4);
            let hash =
                (x.wrapping_mul(73_856_093) ^ y.wrapping_mul(19_349_663)).wrapping_mul(0x9e37_79b1);
            if hash >> 31 == 0 { 60 } else { 180 }
        })
    };
    let rings = |frame: &Picture| {
        painted(frame, |k, x, y| {
            let [x, y] = on_luma(k, x, y).map(|v| v as f64);
            let ring = (x - 500.0).hypot(y - 400.0) / [6.0, 31.0, 47.0][k];
            (128.0 + 80.0 * ring.sin()) as u8
        })
    };
    let pictures: [(&str, Paint); 5] = [
        ("upside down", &upside_down),
        ("negative", &negative),
        ("slope", &slope),
        ("patches", &patches),
        ("rings", &rings),
    ];
    let bench = bench_of(display, LENGTH_S);
    let mut clean = bench.frames(None);
    clean.truncate(CHANGED + OTHERS);
    for (words, picture) in pictures {
        let mut frames = clean.clone();
        for frame in &mut frames[CHANGED..] {
            *frame = picture(frame);
        }
        let checked = bench.check(&frames);
        let told = checked.told();
        assert_eq!(checked.outcome.exit_status(), 1, "{words}: {told}");
        let first = checked.outcome.events.iter().map(|e| e.first_frame).min();
        assert_eq!(first, Some(CHANGED as u64), "{words}: {told}");
    }
}

#[test]
fn a_capture_that_shows_no_colors_or_wrong_ones_never_agrees() {
    let grey = |frame: &Picture| {
        painted(frame, |k, x, y| match k {
            0 => frame.planes()[k].row(y)[x],
            _ => 128,
        })
    };
    let negative = |frame: &Picture| painted(frame, |k, x, y| 255 - frame.planes()[k].row(y)[x]);
    let pictures: [(&str, Paint); 2] = [("grey", &grey), ("negative", &negative)];
    for display in [demo::DISPLAY, demo::ENGINE_STRIP, demo::REVERSIONARY] {
        let bench = bench_of(display, 1.6);
        for (words, picture) in pictures {
            let frames: Vec<Picture> = bench.frames(None).iter().map(picture).collect();
            let checked = bench.check(&frames);
            let told = checked.told();
            assert_eq!(checked.outcome.exit_status(), 1, "{words}: {told}");
        }
    }
}

#[test]
fn a_display_that_is_wrong_from_the_first_frame_on_is_no_other_chain() {
    let bench = bench_of(demo::DISPLAY, 1.6);
    let profile = bench.check(&bench.frames(None)).outcome.summary.profile;
    let attitude = bench.region("attitude");
    let color = |name| bench.definition.color(name);
    for (from, to) in [("sky", "ground"), ("ground", "sky"), ("sky", "white")] {
        let kind = Kind::Recolor(attitude, color(from), color(to));
        let frames = bench.frames(Some((kind, 0.0, 2.0)));
        let checked = bench.check_with(&frames, Some(profile.clone()));
        let told = checked.told();
        assert_eq!(checked.outcome.exit_status(), 1, "{from}, {to}: {told}");
        let [event] = &checked.outcome.events[..] else {
            panic!("{from}, {to}: {told}");
        };
        assert_eq!(event.regions, ["attitude"], "{from}, {to}: {told}");
        assert!(event.onset_s < 0.05, "{from}, {to}: {told}");
        // Without a profile the chain is measured from these frames, and is the same.
        let alone = bench.check(&frames);
        assert_eq!(
            alone.outcome.exit_status(),
            1,
            "{from}, {to}: {}",
            alone.told()
        );
        assert_eq!(alone.outcome.summary.profile.color, profile.color);
    }
}
