//! What has not changed since the frame before is not looked at again, and the same is found as when it is.

use std::path::Path;

use super::run::{Examined, Run};
use crate::capture::CapturedFrame;
use crate::definition::Definition;
use crate::examine::calibrate::{chain_look, plain_profile};
use crate::examine::region::Explanation;
use crate::examine::register::FrameReference;
use crate::examine::subject::Subject;
use crate::picture::{Encoding, Matrix, Range, Rect, Subsampling};
use crate::recording::inputs::Inputs;
use crate::recording::{MissingColumns, Recording};
use crate::reference::canvas::Siting;
use crate::reference::drawing::Drawing;
use crate::reference::painter::Painter;

const EVERY_KIND: &str = include_str!("../definition/tests/every_kind.toml");
const COLUMNS: &str = "t_s,pitch_deg,roll_deg,lateral_g,airspeed_kt,airspeed_ok,target_kt,heading_deg,wind_from_deg,wind_kt,nr_pct,n2_pct,fuel_kg,mode,station";
const INTERVAL_S: f64 = 0.04;

/// Everything stands still, moves for a fifth of a second, and stands still again; a row every 50 ms.
fn inputs() -> String {
    let row = |k: i32| {
        let t_s = f64::from(k) * 0.05;
        let moved = ((t_s - 0.2) / 0.2).clamp(0.0, 1.0);
        let by = |from: f64, by: f64| from + by * moved;
        let (pitch, roll, lateral) = (by(5.0, 1.0), by(10.0, 2.0), by(0.05, 0.01));
        let (airspeed, heading, wind) = (by(100.0, 3.0), by(90.0, 5.0), by(120.0, 1.0));
        let (nr, n2, fuel) = (by(70.0, 2.0), by(80.0, 2.0), by(200.0, -1.0));
        let station = if moved < 1.0 { "ABC" } else { "ABD" };
        format!(
            "{t_s:.2},{pitch},{roll},{lateral},{airspeed},1,110,{heading},{wind},20,{nr},{n2},{fuel},1,{station}"
        )
    };
    let rows: Vec<String> = (0..=20).map(row).collect();
    format!("{COLUMNS}\n{}\n", rows.join("\n"))
}

/// What the display shows in frame `k`: what is due, but for a while the picture of the first frame.
fn shown_s(k: usize) -> f64 {
    if (12..18).contains(&k) {
        0.0
    } else {
        k as f64 * INTERVAL_S
    }
}

/// Calls `each` with a run, frame by frame.
fn with_frames(each: impl FnOnce(Run, &[CapturedFrame])) {
    let definition =
        Definition::from_toml(EVERY_KIND, "every_kind.toml", Path::new("")).expect("a definition");
    let recording = Recording::from_reader(
        inputs().as_bytes(),
        "inputs.csv",
        &definition,
        MissingColumns::Refuse,
    )
    .expect("all columns are there");
    let drawing = Drawing::new(&definition);
    let subject = Subject::new(&definition, &drawing);
    let size = definition.size();
    let encoding = Encoding::YCbCr {
        matrix: Matrix::Bt709,
        range: Range::Limited,
    };
    let halved = (Subsampling::Both, Siting::Center);
    let chain = chain_look(&plain_profile(size, encoding, halved.0, halved.1));
    let mut painter = Painter::new();
    let mut inputs = Inputs::default();
    let mut frame = |k: usize| {
        recording.inputs_at(shown_s(k), &mut inputs);
        let drawn = FrameReference::draw(subject, &inputs, &chain.look, halved, size, &mut painter);
        let picture = drawn.picture(encoding);
        CapturedFrame {
            index: k as u64,
            time_s: k as f64 * INTERVAL_S,
            crc32: picture.crc32(),
            picture,
        }
    };
    let frames: Vec<CapturedFrame> = (0..24).map(&mut frame).collect();
    let run = Run::new(
        &definition,
        subject,
        &recording,
        &chain,
        size,
        0.0,
        0.0,
        Painter::new(),
    );
    each(run, &frames);
}

#[test]
fn the_same_is_found_with_the_frame_before_and_without() {
    with_frames(|run, frames| {
        let (mut with, mut without) = (run.clone(), run);
        let mut classes = [0; 3];
        for (k, frame) in frames.iter().enumerate() {
            let before = k.checked_sub(1).map(|k| &frames[k]);
            let found = [
                with.examine_after(before, frame, None),
                without.examine(frame, None),
            ];
            for (region, (a, b)) in found[0].findings.iter().zip(&found[1].findings).enumerate() {
                assert_eq!(a, b, "frame {k}, region {region}");
                let class = match a.explanation {
                    Explanation::Due if a.is_unchanged => 0,
                    Explanation::Due => 1,
                    _ => 2,
                };
                classes[class] += 1;
            }
            let [a, b] = found;
            let verdicts = [with.judge(frame, a), without.judge(frame, b)];
            let [a, b] = verdicts.map(|v| v.expect("the chain stays the same"));
            assert_eq!(a, b, "frame {k}");
        }
        assert!(classes.iter().all(|c| *c > 10), "{classes:?}");
    });
}

/// A frame before that is said to be what the newest is, and is not: then what was found in it is found again.
#[test]
fn nothing_is_looked_at_where_the_pixels_are_those_of_the_frame_before() {
    with_frames(|mut run, frames| {
        run.examine(&frames[0], None);
        let mut next = frames[12].clone();
        next.picture.planes_mut()[0].fill(Rect::new(0, 0, 600, 400), 90);
        next.time_s = INTERVAL_S;
        let mut said = next.clone();
        said.time_s = frames[0].time_s;
        let agreeing = |found: &Examined| {
            let findings = found.findings.iter();
            findings.filter(|f| f.difference.agrees()).count()
        };
        let looked_at = agreeing(&run.clone().examine(&next, None));
        let kept = agreeing(&run.examine_after(Some(&said), &next, None));
        assert!(kept > looked_at, "{kept}, {looked_at}");
    });
}
