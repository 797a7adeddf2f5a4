//! What a good chain does to a good picture raises nothing; the same done to one region does.

use framevouch::definition::Definition;
use framevouch::demo;

use crate::bench::{Bench, Files, y4m};

#[test]
fn a_whole_frame_shift_is_measured_and_agrees() {
    let bench = Bench::engine_strip(2.4);
    let frames = bench.shifted_frames(1);
    let checked = bench.check(&frames);
    assert!(checked.outcome.events.is_empty(), "{}", checked.told());
    let [x, y] = checked.outcome.summary.profile.shift_px;
    assert!((x - 1.0).abs() < 0.1 && y.abs() < 0.1, "{x} {y}");
}

#[test]
fn loosening_a_tolerance_adds_no_event() {
    let loose = demo::ENGINE_STRIP.replace("torque = 2.0", "torque = 8.0");
    assert_ne!(loose, demo::ENGINE_STRIP);
    let tight = Bench::engine_strip(4.4);
    let loose = Bench::of(&loose, 4.4);
    let region = tight.region("torque");
    let channel = tight.definition.channel("torque");
    for by in [0.0, 3.0, 5.0, 12.0] {
        let kind = framevouch::demo::faults::Kind::Bias(region, channel, by);
        let frames = tight.frames(Some((kind, 2.2, 3.8)));
        let with_tight = tight.check(&frames);
        let with_loose = loose.check(&frames);
        assert!(
            with_loose.outcome.events.len() <= with_tight.outcome.events.len(),
            "bias {by}\n{}\nloose:\n{}",
            with_tight.told(),
            with_loose.told()
        );
    }
}

#[test]
fn the_reference_agrees_with_itself() {
    let files = Files::new().with_folder();
    let ran = files.check("frames", &[]);
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    assert_eq!(files.json("out/events.json"), serde_json::json!([]));
    assert_eq!(files.json("out/summary.json")["result"], "agrees");
}

/// The stream says BT.709 where it is BT.601 (or the other way round): a fault of the chain.
#[test]
fn a_wrong_matrix_is_a_note_and_no_regions_fault() {
    let bench = Bench::engine_strip(2.4);
    let files = Files::new();
    files.write("inputs.csv", crate::bench::inputs_until(2.4).as_bytes());
    files.write("clip.y4m", &y4m(&bench.frames(None)));
    // The unit's chain is BT.709.
    let right = files.check("clip.y4m", &["--matrix", "bt709"]);
    assert_eq!(right.status, 0, "{}{}", right.stdout, right.stderr);
    let wrong = files.check("clip.y4m", &["--matrix", "bt601"]);
    assert_eq!(wrong.status, 0, "{}{}", wrong.stdout, wrong.stderr);
    let notes = files.json("out/summary.json")["notes"].to_string();
    assert!(notes.contains("fault of the chain"), "{notes}");
    assert!(notes.contains("BT.709"), "{notes}");
}

#[test]
fn a_profile_serves_its_own_chain_and_no_other() {
    let bench = Bench::engine_strip(2.0);
    let files = Files::new();
    files.write("inputs.csv", crate::bench::inputs_until(2.0).as_bytes());
    let frames = bench.frames(None);
    files.write("clip.y4m", &y4m(&frames));
    let made = files.run(&[
        "calibrate",
        "--display",
        "display.toml",
        "--inputs",
        "inputs.csv",
        "--capture",
        "clip.y4m",
        "--matrix",
        "bt709",
        "--out",
        "profile.json",
    ]);
    assert_eq!(made.status, 0, "{}{}", made.stdout, made.stderr);
    let more = ["--profile", "profile.json", "--matrix", "bt709"];
    let same = files.check("clip.y4m", &more);
    assert_eq!(same.status, 0, "{}{}", same.stdout, same.stderr);
    assert_eq!(files.json("out/summary.json")["profile_from"], "given");

    files.write("clip.y4m", &y4m(&bench.shifted_frames(2)));
    let other = files.check("clip.y4m", &more);
    assert_eq!(other.status, 2, "{}{}", other.stdout, other.stderr);
    assert!(other.stderr.contains("chain"), "{}", other.stderr);
    assert!(other.stderr.contains("displaced"), "{}", other.stderr);
}

#[test]
fn all_bundled_displays_are_good() {
    let folder = tempfile::tempdir().expect("there is room for a file");
    for (name, text) in [
        ("display.toml", demo::DISPLAY),
        ("engine_strip.toml", demo::ENGINE_STRIP),
        ("reversionary.toml", demo::REVERSIONARY),
    ] {
        let path = folder.path().join(name);
        std::fs::write(&path, text).expect("there is room for a file");
        if let Err(e) = Definition::load(&path) {
            panic!("{name}: {e}");
        }
    }
}
