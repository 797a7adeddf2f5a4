//! Two displays of one recording, and one whose halves stand in each other's place.

use framevouch::demo::faults::Kind;
use framevouch::judge::verdict::Verdict;
use framevouch::picture::Picture;

use crate::bench::{Bench, Files, Ran, all_bytes, inputs_until, plan, trials, y4m};

const LENGTH_S: f64 = 2.4;
/// What the definition allows torque to be off by, %.
const TOLERANCE: f64 = 2.0;

/// The clip of a unit whose torque is off by `bias` from 1 s on.
fn clip(bias: f64) -> Vec<u8> {
    let bench = Bench::engine_strip(LENGTH_S);
    let (region, channel) = (bench.region("torque"), bench.definition.channel("torque"));
    y4m(&bench.frames(Some((Kind::Bias(region, channel, bias), 1.0, LENGTH_S))))
}

fn check(files: &Files, capture: &str, out: &str, more: &[&str]) -> Ran {
    let mut words = vec![
        "check",
        "--display",
        "display.toml",
        "--inputs",
        "inputs.csv",
    ];
    words.extend([
        "--matrix",
        "bt709",
        "--quiet",
        "--capture",
        capture,
        "--out",
        out,
    ]);
    words.extend(more);
    files.run(&words)
}

#[test]
fn two_displays_that_are_off_to_different_sides_split() {
    let files = Files::new();
    files.write("inputs.csv", inputs_until(LENGTH_S).as_bytes());
    for (name, bias) in [("left", 0.7), ("right", -0.7), ("like", 0.6)] {
        files.write(&format!("{name}.y4m"), &clip(bias * TOLERANCE));
        let alone = check(&files, &format!("{name}.y4m"), name, &[]);
        assert_eq!(alone.status, 0, "{name}: {}", alone.stderr);
    }
    let alike = check(&files, "like.y4m", "beside_like", &["--beside", "left"]);
    assert_eq!(alike.status, 0, "{}", alike.stderr);
    let split = check(&files, "right.y4m", "beside", &["--beside", "left"]);
    assert_eq!(split.status, 1, "{}", split.stderr);
    let events = files.json("beside/events.json");
    let [event] = &events.as_array().expect("a list")[..] else {
        panic!("one event was due: {events}");
    };
    assert_eq!(
        (&event["class"], &event["regions"][0]),
        (&"misleading".into(), &"torque".into())
    );
    let remark = event["remarks"][0].as_str().expect("there is one");
    assert!(
        remark.starts_with("differs from what \"Engine strip\" shows of torque"),
        "{remark}"
    );
    let worst = &event["worst_error"];
    let number = |v: &serde_json::Value| v.as_f64().expect("a number");
    let apart = number(&worst["displayed"]) - number(&worst["expected"]);
    assert!((apart + 1.4 * TOLERANCE).abs() < 0.5, "{worst}");
    assert!((0.9..1.3).contains(&number(&event["onset_s"])), "{event}");
    // Another flight is nothing to compare with.
    files.write("inputs.csv", inputs_until(LENGTH_S - 0.2).as_bytes());
    let foreign = check(
        &files,
        "right.y4m",
        "foreign",
        &["--beside", "left", "--allow-missing"],
    );
    assert!(
        foreign.status == 2 && foreign.stderr.contains("by another recording"),
        "{}",
        foreign.stderr
    );
    files.write("inputs.csv", inputs_until(LENGTH_S).as_bytes());
    // What was compared with goes into the evidence, and results that were edited are refused.
    let verified = files.run(&["verify", "beside"]);
    assert_eq!(verified.status, 0, "{}", verified.stderr);
    let again = files.run(&["verify", "beside", "--again"]);
    assert_eq!(again.status, 0, "{}{}", again.stdout, again.stderr);
    let frames = files
        .text("left/frames.jsonl")
        .replacen("agrees", "blind", 1);
    files.write("left/frames.jsonl", frames.as_bytes());
    let edited = check(&files, "right.y4m", "other", &["--beside", "left"]);
    assert_eq!(edited.status, 2, "{}", edited.stdout);
    assert!(edited.stderr.contains("frames.jsonl"), "{}", edited.stderr);
}

const SUITE: &str = r#"
[suite]
name = "pairs"
[suite.defaults]
display = "display.toml"
inputs = "inputs.csv"
matrix = "bt709"
offset_s = 0.0
[[run]]
id = "left"
capture = "left.y4m"
[[run]]
id = "alone"
capture = "right.y4m"
[[run]]
id = "right"
capture = "right.y4m"
beside = "left"
"#;

#[test]
fn a_run_of_a_suite_stands_beside_another_and_parts_make_the_whole() {
    let files = Files::new();
    files.write("inputs.csv", inputs_until(LENGTH_S).as_bytes());
    files.write("left.y4m", &clip(0.7 * TOLERANCE));
    files.write("right.y4m", &clip(-0.7 * TOLERANCE));
    files.write("suite.toml", SUITE.as_bytes());
    let suite = |out: &str, more: &[&str]| {
        let words = ["suite", "--plan", "suite.toml", "--quiet", "--out", out];
        files.run(&[&words[..], more].concat())
    };
    let whole = suite("whole", &[]);
    assert_eq!(whole.status, 1, "{}", whole.stderr);
    let record = files.json("whole/suite.json");
    let runs = record["runs"].as_array().expect("a list");
    let events = runs
        .iter()
        .map(|r| r["events"].as_array().map_or(0, Vec::len));
    assert_eq!(events.collect::<Vec<_>>(), [0, 0, 1]);
    // Each pair is carried out by one machine.
    for (part, ids) in [("1/2", vec!["left", "right"]), ("2/2", vec!["alone"])] {
        let out = format!("part_{}", &part[..1]);
        suite(&out, &["--shard", part]);
        let record = files.json(&format!("{out}/suite.json"));
        let of = record["runs"].as_array().expect("a list");
        assert_eq!(
            of.iter()
                .map(|r| r["id"].as_str().expect("text"))
                .collect::<Vec<_>>(),
            ids
        );
    }
    let merged = files.run(&["merge", "part_2", "part_1", "--out", "merged", "--quiet"]);
    assert_eq!(merged.status, 1, "{}", merged.stderr);
    assert!(all_bytes(&files.path("merged")) == all_bytes(&files.path("whole")));
    let again = files.run(&["verify", "merged", "--again"]);
    assert_eq!(again.status, 0, "{}{}", again.stdout, again.stderr);
    // Another picture beside it makes it another run.
    files.write("left.y4m", &clip(-0.6 * TOLERANCE));
    let other = suite("whole", &[]);
    assert_eq!(other.status, 0, "{}", other.stderr);
}

#[test]
fn halves_in_each_others_place_are_named() {
    let bench = Bench::engine_strip(LENGTH_S);
    let mut frames = bench.frames(None);
    let exchange = |picture: &mut Picture| {
        for plane in picture.planes_mut() {
            for y in 0..plane.height() {
                let row = plane.row_mut(y);
                row.rotate_left(row.len() / 2);
            }
        }
    };
    frames[40..].iter_mut().for_each(exchange);
    let checked = bench.check(&frames);
    let [event] = &checked.outcome.events[..] else {
        panic!("one event was due\n{}", checked.told());
    };
    assert_eq!(event.class, Verdict::Misleading, "{}", checked.told());
    assert_eq!(event.remarks, ["its left and right halves are exchanged"]);
    assert!(
        (1.5..1.7).contains(&event.onset_s) && event.regions.len() > 3,
        "{}",
        checked.told()
    );
}

const SPLITS: &str = r#"
[[fault]]
kind = "split"
channels = ["torque"]
duration_s = 0.8
repeats = 4
twins = true
"#;

/// Before (dee8bf1) a campaign knew one display alone.
#[test]
fn a_campaign_tries_splits() {
    let length_s = 6.0;
    let files = Files::new();
    files.write("inputs.csv", inputs_until(length_s).as_bytes());
    let bench = Bench::engine_strip(length_s);
    files.write("clip.y4m", &y4m(&bench.frames(None)));
    let alone = check(&files, "clip.y4m", "other", &[]);
    assert_eq!(alone.status, 0, "{}", alone.stderr);
    files.write("plan.toml", plan("beside = \"other\"", SPLITS).as_bytes());
    let campaign = |out: &str| files.run(&["campaign", "--plan", "plan.toml", "--out", out]);
    let ran = campaign("tried");
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    let tried = trials(&files, "tried");
    for t in &tried {
        let is_apart = t["look"] == "apart";
        let result = if is_apart { "detected" } else { "quiet" };
        assert_eq!(t["outcome"]["result"], result, "{t:#}");
        if is_apart {
            assert_eq!(
                t["outcome"]["worst_error"]["display"], "Engine strip",
                "{t:#}"
            );
        }
    }
    assert!(tried.iter().any(|t| t["look"] == "apart"), "{tried:#?}");
    assert!(tried.iter().any(|t| t["look"] == "alike"), "{tried:#?}");
    // What stood beside it goes into the evidence.
    let verified = files.run(&["verify", "tried"]);
    assert_eq!(verified.status, 0, "{}", verified.stderr);
    assert!(files.text("tried/manifest.json").contains("\"beside\""));
    // With nothing beside it there is nothing to split from.
    files.write("plan.toml", plan("", SPLITS).as_bytes());
    let refused = campaign("refused");
    assert_eq!(refused.status, 2, "{}", refused.stdout);
    assert!(
        refused.stderr.contains("what stands beside it"),
        "{}",
        refused.stderr
    );
}
