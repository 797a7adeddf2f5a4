//! Campaigns and tuning: the same bytes however they are run, honest outcomes, thresholds that can be applied.

use framevouch::campaign::stretch::{Material, Stretch};
use framevouch::campaign::trial::struck;
use framevouch::capture::CapturedFrame;
use framevouch::capture::profile::Profile;
use framevouch::check::run::Known;
use framevouch::evidence::schema::schemas;
use framevouch::examine::subject::Subject;
use framevouch::inject::{self, Delivery, Fault, Method, Target, paint};
use framevouch::reference::canvas::Siting;
use framevouch::reference::drawing::Drawing;
use std::process::{Command, Stdio};
use std::thread::sleep;
use std::time::Duration;

use crate::bench::{Bench, Files, Ran, all_bytes, inputs_until, small_head, trials, y4m};

const SECONDS: f64 = 10.0;

const PLAN: &str = r#"
limit_ms = { hazardous = 1000, major = 1000, minor = 2000 }
failure_rate_per_hour = { blank = 1e-6, bias = 1e-7 }

[plan]
name = "engine strip"
display = "display.toml"
seed = 4
stretch_s = 2.0
onsets_per_stretch = 3

[[capture]]
file = "clip.y4m"
inputs = "inputs.csv"

[[fault]]
kind = "blank"
duration_s = 0.8
repeats = 2
twins = true

[[fault]]
kind = "bias"
sizes = { from = 0.2, to = 4.0, count = 5, log = true }
duration_s = 0.8

[[fault]]
kind = "noise"
regions = ["*"]
duration_s = 0.6
"#;

/// The engine strip, clean, with a plan.
fn clean() -> Files {
    let bench = Bench::engine_strip(SECONDS);
    let files = Files::new();
    files.write("inputs.csv", inputs_until(SECONDS).as_bytes());
    files.write("clip.y4m", &y4m(&bench.frames(None)));
    files.write("plan.toml", PLAN.as_bytes());
    files
}

fn campaign(files: &Files, out: &str, threads: &str) -> Ran {
    let arguments = ["campaign", "--plan", "plan.toml", "--out", out];
    files.run_with(&arguments, &[], &[("RAYON_NUM_THREADS", threads)])
}

/// One capture for all that is looked at, since drawing it takes the longest.
#[test]
fn a_campaign_is_the_same_however_it_is_run_and_tuning_follows_from_it() {
    let files = clean();
    let whole = campaign(&files, "one", "1");
    assert_eq!(whole.status, 0, "{}{}", whole.stdout, whole.stderr);
    let before = all_bytes(&files.path("one"));

    // Killed at some moments and called again, on two threads.
    for pause_ms in [150, 700, 1500] {
        let mut child = Command::new(env!("CARGO_BIN_EXE_framevouch"))
            .args(["campaign", "--plan", "plan.toml", "--out", "killed"])
            .current_dir(files.path("."))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program runs");
        sleep(Duration::from_millis(pause_ms));
        child.kill().expect("it can be killed");
        child.wait().expect("it has ended");
    }
    let ran = campaign(&files, "killed", "2");
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    let after = all_bytes(&files.path("killed"));
    let different: Vec<&str> = before
        .iter()
        .zip(&after)
        .filter(|(a, b)| a != b)
        .map(|(a, _)| a.0.as_str())
        .collect();
    assert!(before == after, "{different:?}");

    // What it says.
    let summary = files.json("one/campaign.json");
    // What found no moment is counted as such.
    let not_begun: u64 = summary["not_begun"]
        .as_object()
        .expect("a table")
        .values()
        .filter_map(serde_json::Value::as_u64)
        .sum();
    let number = |key: &str| summary[key].as_u64().expect("a number");
    assert_eq!(
        number("carried_out") + not_begun,
        number("planned"),
        "{summary:#}"
    );
    assert_eq!(summary["nuisance"]["rate"]["events"], 0, "{summary:#}");
    let row = |kind: &str| {
        let rows = summary["by_kind"].as_array().expect("a list");
        let row = rows.iter().find(|r| r["kind"] == kind);
        row.unwrap_or_else(|| panic!("{kind}: {summary:#}"))["as_class"].clone()
    };
    for kind in ["blank", "bias", "noise"] {
        assert_eq!(row(kind)["k"], row(kind)["n"], "{kind}: {summary:#}");
    }
    for harmless in summary["harmless"].as_array().expect("a list") {
        assert_eq!(harmless["raised"]["k"], 0, "{harmless:#}");
    }
    // Small errors are missed, large ones found, and every miss says why.
    let mut bias = trials(&files, "one");
    bias.retain(|t| t["kind"] == "bias");
    for t in &bias {
        let is_found = t["outcome"]["result"] == "detected";
        let size = t["size"].as_f64().expect("a size");
        if size < 0.5 {
            assert!(!is_found, "{t:#}");
            // A single frame over the noise may be faulty, and is not confirmed.
            let why = t["outcome"]["why"].as_str().unwrap_or_default();
            assert!(["within_tolerance", "persistence"].contains(&why), "{t:#}");
            // By how much: none that is wrong was read, or not for long enough.
            let nearness = &t["outcome"]["nearness"];
            assert!(nearness["frames"].as_u64() > Some(0), "{t:#}");
            let is_wrong = nearness["excess"].as_f64() > Some(1.0);
            assert!(!is_wrong || why == "persistence", "{t:#}");
        } else if size > 2.0 {
            assert!(is_found, "{t:#}");
        }
    }

    // Another plan does not go into the same folder.
    files.write("plan.toml", PLAN.replace("seed = 4", "seed = 5").as_bytes());
    let other = campaign(&files, "one", "2");
    assert_eq!(other.status, 2);
    assert!(
        other.stderr.contains("another campaign"),
        "{}",
        other.stderr
    );

    files.write("plan.toml", PLAN.as_bytes());

    // Thresholds from it. Few trials prove little, and that is said.
    let arguments = |coverage| {
        let common = [
            "tune",
            "--display",
            "display.toml",
            "--from",
            "one",
            "--out",
            "tuned",
        ];
        let demand = [
            "--nuisance-per-hour",
            "100000",
            "--coverage",
            coverage,
            "--detection-ms",
            "2000",
        ];
        [&common[..], &demand[..]].concat()
    };
    let strict = files.run(&arguments("0.999"));
    assert_eq!(strict.status, 1, "{}{}", strict.stdout, strict.stderr);
    assert!(
        strict.stdout.contains("try more faults"),
        "{}",
        strict.stdout
    );
    let easy = files.run(&arguments("0.4"));
    assert_eq!(easy.status, 0, "{}{}", easy.stdout, easy.stderr);
    // A folder that is named twice, and a copy of it, count once. At c5def52 each counted again.
    for (name, bytes) in all_bytes(&files.path("one")) {
        files.write(&format!("copy/{name}"), &bytes);
    }
    let mut words = arguments("0.4");
    let at = words.iter().position(|w| *w == "one").expect("it is named");
    words.splice(at..=at, ["one", "copy", "one"]);
    let at = words
        .iter()
        .position(|w| *w == "tuned")
        .expect("it is named");
    words[at] = "thrice";
    let thrice = files.run(&words);
    assert_eq!(thrice.status, 0, "{}{}", thrice.stdout, thrice.stderr);
    assert!(
        thrice.stdout.contains("counted once: "),
        "{}",
        thrice.stdout
    );
    for key in ["faults", "clean_hours"] {
        let of = |folder: &str| files.json(&format!("{folder}/tune.json"))[key].clone();
        assert_eq!(of("thrice"), of("tuned"), "{key}");
    }
    // Each half of the material is scored with what the other recommends.
    let tuned = files.json("tuned/tune.json");
    for region in tuned["regions"].as_array().expect("a list") {
        let halves = region["halves"].as_array().expect("a list");
        assert_eq!(halves.len(), 2, "{region:#}");
        let faults = |k: usize, part: &str| halves[k][part]["coverage"]["n"].as_u64();
        assert_eq!(faults(0, "tuned_on"), faults(1, "scored_on"), "{region:#}");
        assert_eq!(faults(1, "tuned_on"), faults(0, "scored_on"), "{region:#}");
    }

    // All of it keeps to its schemas.
    let lines = files.text("one/trials.jsonl");
    let trial = |l: &str| serde_json::from_str::<serde_json::Value>(l).expect("a record");
    for (name, schema) in schemas() {
        let validator = jsonschema::validator_for(&schema).expect("the schema is one");
        let values = match name {
            "trials" => lines.lines().map(trial).collect(),
            "campaign" => vec![files.json("one/campaign.json")],
            "tune" => vec![files.json("tuned/tune.json")],
            _ => continue,
        };
        for value in values {
            if let Err(e) = validator.validate(&value) {
                panic!("{name}: {e} at {}", e.instance_path());
            }
        }
    }

    // A report of both, and a manifest that notices a change.
    let report = ["report", "--from", "one", "tuned", "--out", "page.html"];
    let ran = files.run(&report);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    let page = files.text("page.html");
    assert!(page.contains("Fault injection") && page.contains("Thresholds"));
    // Run again, unbroken, on two threads.
    for folder in ["one", "tuned"] {
        let again = files.run_with(
            &["verify", "--again", folder],
            &[],
            &[("RAYON_NUM_THREADS", "2")],
        );
        assert_eq!(
            again.status, 0,
            "{folder}: {}{}",
            again.stdout, again.stderr
        );
    }
    files.write("one/trials.jsonl", b"{}\n");
    let changed = files.run(&["verify", "one"]);
    assert_eq!(changed.status, 1);
    assert!(
        changed.stdout.contains("trials.jsonl"),
        "{}",
        changed.stdout
    );
}

#[test]
fn what_a_plan_cannot_mean_is_said_with_its_place() {
    let files = Files::new();
    files.write("inputs.csv", inputs_until(2.0).as_bytes());
    let cases = [
        (
            "kind = \"blank\"",
            "kind = \"blnk\"",
            "did you mean \"blank\"",
        ),
        (
            "regions = [\"*\"]",
            "regions = [\"rotr\"]",
            "there is no region",
        ),
        ("seed = 4", "sed = 4", "line 8, column 1"),
        ("log = true", "log = true, more = 1", "sizes are a list"),
        ("from = 0.2", "from = -0.2", "above 0"),
        ("from = 0.2", "from = nan", "allowed"),
        ("duration_s = 0.6", "duration_s = 0", "duration_s is 0"),
        ("stretch_s = 2.0", "stretch_s = 1e9", "stretch_s is"),
        ("display.toml", "none.toml", "none.toml"),
        ("inputs.csv", "none.csv", "none.csv"),
        ("blank = 1e-6", "blnk = 1e-6", "did you mean \"blank\""),
        ("repeats = 2", "repeats = \"two\"", "line 19"),
        ("twins = true", "sizes = [1.0]", "has no size"),
        (
            "duration_s = 0.6",
            "methods = [\"donor\"]",
            "not made by donors",
        ),
        ("[plan]", "[plan", "line 5"),
    ];
    for (from, to, said) in cases {
        assert!(PLAN.contains(from), "{from}");
        files.write("plan.toml", PLAN.replacen(from, to, 1).as_bytes());
        let ran = files.run(&["campaign", "--plan", "plan.toml", "--out", "out"]);
        assert_eq!(ran.status, 2, "{to}: {}", ran.stdout);
        assert!(ran.stderr.contains(said), "{to}: {}", ran.stderr);
        assert!(!ran.stderr.contains("panicked"), "{}", ran.stderr);
    }
}

/// A trial examines only regions that the fault strikes; the verdicts are those of examining all.
#[test]
fn regions_that_a_fault_leaves_alone_need_not_be_examined_again() {
    let kinds = [
        ("blank", Some("power"), 1.0),
        ("noise", Some("torque"), 40.0),
        ("moved", Some("rotor"), 4.0),
        ("older_data", None, 0.5),
    ];
    quick_is_as_full(Bench::engine_strip(3.2), 40, &kinds);
}

/// Without noise the pixels of a readout that stands still are the clean ones until its value changes.
#[test]
fn a_fault_that_shows_late_is_told_as_if_it_had_been_examined_all_the_time() {
    let mut bench = Bench::engine_strip(8.0);
    bench.plan.noise = 0.0;
    let kinds = [
        ("freeze", Some("outside_air"), 1.0),
        ("freeze", Some("torque"), 1.0),
    ];
    quick_is_as_full(bench, 60, &kinds);
}

fn quick_is_as_full(bench: Bench, onset: usize, kinds: &[(&str, Option<&str>, f64)]) {
    let drawing = Drawing::new(&bench.definition);
    let subject = Subject::new(&bench.definition, &drawing);
    let frames: Vec<CapturedFrame> = bench
        .frames(None)
        .into_iter()
        .enumerate()
        .map(|(k, picture)| CapturedFrame {
            index: k as u64,
            time_s: k as f64 / 25.0,
            crc32: 0,
            picture,
        })
        .collect();
    let first = &frames[0].picture;
    let mut profile = Profile::plain(
        bench.definition.size(),
        first.encoding(),
        first.subsampling(),
        Siting::Center,
    );
    profile.noise = [bench.plan.noise; 3];
    profile.latency_s = bench.plan.latency_s;
    let material = Material {
        subject,
        recording: &bench.recording,
        profile: &profile,
        offset_s: 0.0,
        beside: None,
    };
    let stretch = Stretch::check(material, &frames, &[onset]).expect("the chain stays");
    assert!(stretch.events.is_empty(), "{:?}", stretch.events);
    let moment = &stretch.moments[0];
    let clip = stretch.clip(onset, f64::INFINITY);
    let areas: Vec<_> = (0..bench.definition.regions().len())
        .map(|k| {
            clip.area(Target {
                region: Some(k),
                ..Target::default()
            })
        })
        .collect();
    for &(kind, place, size) in kinds {
        let place = place.map(|name| bench.region(name));
        let model = inject::model(kind).expect("there is such a kind");
        let fault = Fault {
            kind: model.about().name,
            target: Target {
                region: place,
                ..Target::default()
            },
            size,
            look: 0,
            method: Method::Redraw,
            seed: 3,
        };
        let mut injector = model.prepare(&clip, &fault).expect("it can be made here");
        let (mut quick, mut full) = (moment.run.clone(), moment.run.clone());
        let mut is_changed = struck(fault.target, areas.len());
        let mut faulty_frames = 0;
        for (k, clean) in frames.iter().enumerate().skip(onset) {
            let mut frame = clean.clone();
            assert_eq!(injector.apply(&clip, k, &mut frame), Delivery::Sent);
            for (changed, area) in is_changed.iter_mut().zip(&areas) {
                *changed |= !paint::is_same(&clean.picture, &frame.picture, *area);
            }
            let known = Known {
                examined: &stretch.examined[k],
                is_changed: &is_changed,
            };
            let examined = quick.examine(&frame, Some(known));
            let told = quick.judge(&frame, examined).expect("the chain stays");
            let examined = full.examine(&frame, None);
            let of_all = full.judge(&frame, examined).expect("the chain stays");
            assert_eq!(told, of_all, "{kind}, frame {k}");
            faulty_frames += usize::from(told.iter().any(|v| v.verdict.is_faulty()));
        }
        assert!(faulty_frames > 10, "{kind} {place:?}: {faulty_frames}");
        assert_eq!(quick.events(), full.events(), "{kind}");
        assert_eq!(is_changed.iter().all(|c| *c), place.is_none(), "{kind}");
    }
}

const SMALL: &str = r#"
[plan]
name = "small faults"
display = "display.toml"
seed = 5
stretch_s = 2.0

[[capture]]
file = "clip.y4m"
inputs = "inputs.csv"

[[fault]]
kind = "moved"
sizes = [1.0, 4.0]
duration_s = 0.8
"#;

/// A picture a pixel beside its place is what agreement permits: it is tried and told, and no miss.
#[test]
fn from_which_size_on_a_fault_must_be_raised_follows_from_what_is_permitted() {
    const SHORT_S: f64 = 5.0;
    let bench = Bench::engine_strip(SHORT_S);
    let files = Files::new();
    files.write("inputs.csv", inputs_until(SHORT_S).as_bytes());
    files.write("clip.y4m", &y4m(&bench.frames(None)));
    files.write("plan.toml", SMALL.as_bytes());
    let ran = campaign(&files, "out", "2");
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    let trials = files.text("out/trials.jsonl");
    let trials: Vec<serde_json::Value> = (trials.lines())
        .map(|l| serde_json::from_str(l).expect("each line is JSON"))
        .collect();
    assert!(trials.iter().all(|t| t["permitted"] == 1.0), "{trials:?}");
    let large = trials.iter().filter(|t| t["size"] == 4.0).count();
    assert!(0 < large && large < trials.len(), "{trials:?}");
    let summary = files.json("out/campaign.json");
    assert_eq!(summary["coverage"]["as_class"]["n"], large);
    let notes = summary["notes"].as_array().expect("a list");
    let told = notes.iter().filter_map(serde_json::Value::as_str);
    assert!(
        told.clone().any(|n| n.contains("moved below 2 px")),
        "{notes:?}"
    );
}

const CHANGES: &str = r#"
[plan]
name = "one change"
display = "display.toml"
seed = 5
lead_s = 0.5
stretch_s = 3.0
onsets_per_stretch = 40

[[capture]]
file = "clip.y4m"
inputs = "inputs.csv"

[[fault]]
kind = "older_data"
sizes = [0.6]
repeats = 3
duration_s = 1.5
"#;

/// Data that are late of a number that changes once show what a number shows that stands still. Before (639a65b) to call it frozen
/// was wrong.
#[test]
fn late_data_of_one_change_may_be_called_frozen() {
    const SHORT_S: f64 = 5.0;
    let head = small_head(
        "count = { column = \"count\", unit = \"ft\", interpolation = \"hold\" }",
        "",
    );
    let display = format!(
        "{head}\nkind = \"readout\"\nchannel = \"count\"\nposition = [80, 80]\nfont = \"mono\"\nsize = 34\ncolor = \"white\"\n"
    );
    let rows = (0..=SHORT_S as usize * 10)
        .map(|k| format!("{},{}\n", k as f64 / 10.0, if k < 34 { 120 } else { 340 }));
    let inputs = format!("t_s,count\n{}", rows.collect::<String>());
    let bench = Bench::small(&display, &inputs);
    let files = Files::new();
    files.write("display.toml", display.as_bytes());
    files.write("inputs.csv", inputs.as_bytes());
    files.write("clip.y4m", &y4m(&bench.frames(None)));
    files.write("plan.toml", CHANGES.as_bytes());
    let ran = campaign(&files, "out", "2");
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    let trials = files.text("out/trials.jsonl");
    let trials: Vec<serde_json::Value> = (trials.lines())
        .map(|l| serde_json::from_str(l).expect("each line is JSON"))
        .collect();
    assert!(!trials.is_empty());
    for t in &trials {
        let outcome = &t["outcome"];
        assert_eq!(outcome["class"], "frozen", "{t}");
        assert_eq!(
            outcome["expected"],
            serde_json::json!(["late", "frozen"]),
            "{t}"
        );
        assert_eq!(outcome["result"], "detected", "{t}");
    }
}
