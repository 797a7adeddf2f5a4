//! What a good chain does to a good picture raises nothing; the same done to one region does.

use framevouch::colour::{Siting, Upsampling, to_rgb};
use framevouch::definition::Definition;
use framevouch::demo;
use framevouch::demo::faults::Kind;
use framevouch::picture::{Picture, Rgb};

use crate::bench::{Bench, Files, check_arguments, inputs_until, y4m};

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
        let kind = Kind::Bias(region, channel, by);
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
    files.write("inputs.csv", inputs_until(2.4).as_bytes());
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
    files.write("inputs.csv", inputs_until(2.0).as_bytes());
    let frames = bench.frames(None);
    files.write("clip.y4m", &y4m(&frames));
    files.calibrate();
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

/// Frames exported from a video are R'G'B', and do not say that their colour was at half resolution once.
#[test]
fn colour_from_half_resolution_is_as_good_when_it_comes_as_rgb() {
    let bench = Bench::of(demo::DISPLAY, 1.2);
    let files = Files::new();
    files.write("display.toml", demo::DISPLAY.as_bytes());
    files.write("inputs.csv", inputs_until(1.2).as_bytes());
    let mut arguments = check_arguments("-");
    arguments.extend(["--raw", "1024x768", "--fps", "25", "--offset", "0"]);
    let triples = |picture: &Picture, upsampling| {
        let rgb = to_rgb(picture, upsampling, Siting::Center);
        let [r, g, b] = rgb.planes().each_ref().map(|p| p.levels().to_vec());
        (0..r.len()).flat_map(move |k| [r[k], g[k], b[k]])
    };
    let clean = bench.frames(None);
    for upsampling in [Upsampling::Nearest, Upsampling::Bilinear] {
        let raw: Vec<u8> = clean.iter().flat_map(|f| triples(f, upsampling)).collect();
        let ran = files.run_with(&arguments, &raw, &[]);
        assert_eq!(ran.status, 0, "{upsampling:?} {}{}", ran.stdout, ran.stderr);
    }
    // A wrong colour is wrong all the same.
    let region = bench.region("torque");
    let red = Kind::Recolor(region, Rgb([0x3d, 0xdc, 0x68]), Rgb([0xff, 0x44, 0x38]));
    let wrong = bench.frames(Some((red, 0.4, 1.2)));
    let raw: Vec<u8> = wrong
        .iter()
        .flat_map(|f| triples(f, Upsampling::Bilinear))
        .collect();
    let ran = files.run_with(&arguments, &raw, &[]);
    assert_eq!(ran.status, 1, "{}{}", ran.stdout, ran.stderr);
    let events = files.json("out/events.json");
    assert_eq!(events[0]["regions"][0], "torque", "{events}");
    assert_eq!(
        events[0]["worst_error"],
        serde_json::Value::Null,
        "{events}"
    );
    let color_samples = events[0]["picture_error"]["color_samples"].as_u64();
    assert!(color_samples.is_some_and(|n| n > 0), "{events}");
}
