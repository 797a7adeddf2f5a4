//! Many runs as one: each is an ordinary check, kept where nothing changed; what is new since the last suite is told; parts
//! make the whole.

use std::fs;
use std::path::PathBuf;

use framevouch::demo::faults::Kind;
use framevouch::evidence::schema::schemas;
use framevouch::suite::merge::merge;

use crate::bench::{Bench, Files, all_bytes, inputs_until, y4m};

const SECONDS: f64 = 1.6;

/// Three runs, `c` the same capture as `a`.
const PLAN: &str = r#"
[suite]
name = "three"

[suite.defaults]
display = "../display.toml"
inputs = "../inputs.csv"
matrix = "bt709"
offset_s = 0.0
tags = ["strip"]

[[run]]
id = "a"
capture = "../a.y4m"

[[run]]
id = "b"
capture = "../b.y4m"
tags = ["power"]

[[run]]
id = "c"
capture = "../c.y4m"
"#;

/// Clean captures `a.y4m`, `b.y4m` and `c.y4m`, and `faulty.y4m`, whose power is blank for a while; a plan.
fn files() -> Files {
    let bench = Bench::engine_strip(SECONDS);
    let files = Files::new();
    files.write("inputs.csv", inputs_until(SECONDS).as_bytes());
    let clean = y4m(&bench.frames(None));
    for name in ["a", "b", "c"] {
        files.write(&format!("{name}.y4m"), &clean);
    }
    let blank = Kind::BlankRegion(bench.region("power"), bench.definition.background());
    files.write("faulty.y4m", &y4m(&bench.frames(Some((blank, 0.7, 1.5)))));
    files.write("plans/suite.toml", PLAN.as_bytes());
    files
}

fn suite<'a>(out: &'a str, more: &[&'a str]) -> Vec<&'a str> {
    let mut words = vec!["suite", "--plan", "plans/suite.toml", "--out", out];
    words.extend(more);
    words
}

#[test]
fn what_is_new_since_the_last_suite_is_told_and_a_run_that_cannot_be_judged_stops_no_other() {
    let files = files();
    let first = files.run(&suite("one", &["--issued", "build 1"]));
    assert_eq!(first.status, 0, "{}{}", first.stdout, first.stderr);
    let lines: Vec<&str> = first.stdout.lines().collect();
    assert!(
        lines[0].starts_with("1/3 a ") && lines[0].contains("agrees"),
        "{lines:?}"
    );
    assert!(lines[2].starts_with("3/3 c "), "{lines:?}");

    fs::copy(files.path("faulty.y4m"), files.path("b.y4m")).unwrap();
    let lost = PLAN.replace("../c.y4m", "../lost.y4m");
    files.write("plans/suite.toml", lost.as_bytes());
    let second = files.run(&suite("two", &["--against", "one", "--issued", "build 2"]));
    assert_eq!(second.status, 1, "{}{}", second.stdout, second.stderr);
    let told = |id: &str| {
        let mut lines = second.stdout.lines();
        lines
            .find(|l| l.contains(&format!("/3 {id} ")))
            .unwrap()
            .to_owned()
    };
    assert!(
        told("b").contains("new: blank in power"),
        "{}",
        second.stdout
    );
    assert!(
        told("c").contains("not judged") && told("c").contains("\"../lost.y4m\""),
        "{}",
        second.stdout
    );

    let record = files.json("two/suite.json");
    assert_eq!(record["result"], "new faults");
    assert_eq!(record["against"]["issued"], "build 1");
    let new: Vec<usize> = (0..3)
        .map(|k| {
            record["runs"][k]["changes"]["new"]
                .as_array()
                .unwrap()
                .len()
        })
        .collect();
    assert_eq!(new, [0, 1, 0]);
    assert_eq!(record["runs"][2]["changes"]["is_judged_no_more"], true);
    assert_eq!(record["tags"]["power"]["new_events"], 1);
    assert_eq!(record["tags"]["strip"]["not_judged"], 1);
    assert_eq!(record["history"][0]["tags"]["power"]["events"], 0);
    let page = files.text("two/suite.html");
    assert!(
        page.contains("New faults: 1 event in 1 of 3 runs"),
        "{page}"
    );
    assert!(page.contains("href=\"reports/b.html#r1-e0\""), "{page}");
    assert!(files.text("two/reports/b.html").contains("id=\"r1-e0\""));
    let junit = files.text("two/junit.xml");
    assert_eq!(junit.matches("<testsuite ").count(), 3, "{junit}");
    assert_eq!(junit.matches("<error ").count(), 1, "{junit}");

    let all = schemas();
    let (_, schema) = all.iter().find(|(name, _)| *name == "suite").unwrap();
    let validator = jsonschema::validator_for(schema).expect("the schema is one");
    if let Err(e) = validator.validate(&record) {
        panic!("{e} at {}", e.instance_path());
    }

    // The fault is known by the next time, and nothing else is new.
    files.write("plans/suite.toml", PLAN.as_bytes());
    let third = files.run(&suite("three", &["--against", "two", "--quiet"]));
    assert_eq!(
        (third.status, third.stdout.as_str()),
        (0, ""),
        "{}",
        third.stderr
    );
    assert_eq!(files.json("three/suite.json")["result"], "no new faults");
    // And without a last suite it is one.
    let alone = files.run(&suite("three", &["--quiet"]));
    assert_eq!(alone.status, 1, "{}", alone.stderr);
}

#[test]
fn runs_are_ordinary_checks_that_are_kept_while_nothing_changes_and_verify_with_the_suite() {
    let files = files();
    let out = "one";
    let ran = files.run(&suite(out, &["--quiet"]));
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    let by_hand = [
        "check",
        "--display",
        "display.toml",
        "--inputs",
        "inputs.csv",
        "--capture",
        "b.y4m",
    ];
    let by_hand = [
        &by_hand[..],
        &[
            "--matrix",
            "bt709",
            "--offset",
            "0",
            "--out",
            "one/runs/by_hand",
        ],
    ]
    .concat();
    assert_eq!(files.run(&by_hand).status, 0);
    assert!(all_bytes(&files.path("one/runs/by_hand")) == all_bytes(&files.path("one/runs/b")));
    // It is no run of the plan, and goes; the others stay.
    let again = files.run(&suite(out, &[]));
    assert_eq!(
        again.stdout.matches(", kept").count(),
        3,
        "{}",
        again.stdout
    );
    assert!(!files.path("one/runs/by_hand").exists());
    let whole = all_bytes(&files.path(out));

    let verified = files.run(&["verify", out]);
    assert_eq!(verified.status, 0, "{}", verified.stdout);
    let again = files.run(&["verify", "--again", out]);
    assert_eq!(again.status, 0, "{}", again.stdout);
    assert_eq!(
        again.stdout.matches("the same bytes").count(),
        3,
        "{}",
        again.stdout
    );

    // As if it had been broken off in b: the next call makes up for it, to the byte.
    fs::remove_file(files.path("one/manifest.json")).unwrap();
    fs::remove_file(files.path("one/runs/b/manifest.json")).unwrap();
    for name in ["frames.jsonl", "summary.json"] {
        fs::write(files.path("one/runs/b").join(name), "").unwrap();
    }
    let gone_on = files.run(&suite(out, &["--force"]));
    assert_eq!(
        gone_on.stdout.matches(", kept").count(),
        2,
        "{}",
        gone_on.stdout
    );
    assert!(all_bytes(&files.path(out)) == whole);

    // A file of a run that was changed is named, also from the suite; a changed input is judged anew.
    fs::write(files.path("one/runs/a/events.json"), "[]").unwrap();
    let verified = files.run(&["verify", out]);
    assert_eq!(verified.status, 1, "{}", verified.stdout);
    assert!(
        verified.stdout.contains("changed  runs/a/events.json"),
        "{}",
        verified.stdout
    );
    fs::copy(files.path("faulty.y4m"), files.path("c.y4m")).unwrap();
    let anew = files.run(&suite(out, &[]));
    assert_eq!(anew.status, 1, "{}{}", anew.stdout, anew.stderr);
    assert_eq!(anew.stdout.matches(", kept").count(), 1, "{}", anew.stdout);
    assert_eq!(files.run(&["verify", out]).status, 0);
}

#[test]
fn parts_make_the_whole_to_the_byte_however_many_runs_are_under_way() {
    let files = files();
    fs::copy(files.path("faulty.y4m"), files.path("b.y4m")).unwrap();
    fs::remove_file(files.path("c.y4m")).unwrap();
    assert_eq!(files.run(&suite("whole", &["--jobs", "1"])).status, 1);
    assert_eq!(files.run(&suite("other", &["--jobs", "3"])).status, 1);
    assert!(all_bytes(&files.path("whole")) == all_bytes(&files.path("other")));
    assert_eq!(files.run(&suite("part1", &["--shard", "1/2"])).status, 2);
    let part2 = files.run(&suite("part2", &["--shard", "2/2"]));
    assert!(part2.stdout.contains("part 2/2 of 3"), "{}", part2.stdout);
    let parts: Vec<PathBuf> = ["part2", "part1"].map(|p| files.path(p)).into();
    let record = merge(&parts, &files.path("merged"), false).unwrap();
    assert_eq!(record.exit_status, 1);
    assert!(all_bytes(&files.path("merged")) == all_bytes(&files.path("whole")));
    assert_eq!(files.run(&["verify", "merged"]).status, 0);

    let told = |parts: &[PathBuf], out: &str| {
        merge(parts, &files.path(out), false)
            .unwrap_err()
            .to_string()
    };
    assert!(told(&parts[..1], "m").contains("part 1 is missing"));
    assert!(told(&parts[1..], "m").contains("one of 2 parts, and only 1 is given"));
    assert!(
        told(&[parts[0].clone(), parts[0].clone(), parts[1].clone()], "m")
            .contains("another folder is too")
    );
    assert!(told(&parts, "deeper/m").contains("does not lie beside"));
    assert!(told(&[files.path("whole")], "m").contains("no part of one"));
    // A part is no last suite.
    let against = files.run(&suite("x", &["--against", "part1"]));
    assert!(
        against.status == 2 && against.stderr.contains("merge all of its parts first"),
        "{}",
        against.stderr
    );
    let itself = files.run(&suite("whole", &["--against", "whole"]));
    assert!(
        itself.status == 2
            && itself
                .stderr
                .contains("keep the last suite in another folder")
    );
}

#[test]
fn a_bad_plan_is_told_with_its_place_and_what_is_not_ours_stays() {
    let files = files();
    files.write(
        "plans/suite.toml",
        PLAN.replace("id = \"c\"", "id = \"a\"").as_bytes(),
    );
    let twice = files.run(&suite("out", &[]));
    assert_eq!(twice.status, 2);
    assert!(
        twice
            .stderr
            .contains("plan \"plans/suite.toml\", line 22, column 6: there are two runs \"a\""),
        "{}",
        twice.stderr
    );
    assert!(!files.path("out").exists());
    files.write("plans/suite.toml", PLAN.as_bytes());
    files.write("out/runs/mine/notes.txt", b"mine");
    let foreign = files.run(&suite("out", &[]));
    assert_eq!(foreign.status, 2);
    assert!(
        foreign
            .stderr
            .contains("stands among the runs of the suite"),
        "{}",
        foreign.stderr
    );
    assert_eq!(files.text("out/runs/mine/notes.txt"), "mine");
    assert!(!files.path("out/runs/a").exists());
}
