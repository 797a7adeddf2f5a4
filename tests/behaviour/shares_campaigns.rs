//! A campaign in shards, on as many machines: put together they are what one machine gives, and nothing else is put together.

use crate::bench::{Bench, Files, Ran, all_bytes, inputs_until, y4m};

const SECONDS: f64 = 5.0;

/// A freeze begins where something moves, so that some wait for stretches of another shard.
const PLAN: &str = r#"
limit_ms = { hazardous = 1000 }

[plan]
name = "in shards"
display = "display.toml"
seed = 4
lead_s = 0.5
stretch_s = 1.0
onsets_per_stretch = 2

[[capture]]
file = "clip.y4m"
inputs = "inputs.csv"
profile = "profile.json"

[[fault]]
kind = "freeze"
regions = ["rotor", "torque", "outside_air"]
duration_s = 0.3
repeats = 2

[[fault]]
kind = "blank"
regions = ["rotor"]
duration_s = 0.3
repeats = 1
"#;

fn clean() -> Files {
    let bench = Bench::engine_strip(SECONDS);
    let files = Files::new();
    files.write("inputs.csv", inputs_until(SECONDS).as_bytes());
    files.write("clip.y4m", &y4m(&bench.frames(None)));
    files.write("plan.toml", PLAN.as_bytes());
    files.calibrate();
    files
}

fn shard(files: &Files, shard: &str, out: &str) -> Ran {
    files.run(&[
        "campaign",
        "--plan",
        "plan.toml",
        "--shard",
        shard,
        "--out",
        out,
    ])
}

/// One capture for all that is looked at, since drawing it takes the longest.
#[test]
fn shards_put_together_are_what_one_machine_gives() {
    let files = clean();
    let whole = files.run(&["campaign", "--plan", "plan.toml", "--out", "one"]);
    assert!(whole.status < 2, "{}{}", whole.stdout, whole.stderr);

    // One alone is not all of it; what makes the other is said.
    let second = shard(&files, "2/2", "s2");
    assert_eq!(second.status, 0, "{}{}", second.stdout, second.stderr);
    let refused = |words: &[&str], said: &[&str]| {
        let ran = files.run(words);
        assert_eq!(ran.status, 2, "{words:?}: {}", ran.stdout);
        for text in said {
            assert!(ran.stderr.contains(text), "{words:?}: {}", ran.stderr);
        }
        assert!(!files.path("merged").exists(), "{words:?}");
    };
    refused(
        &["merge", "s2", "--out", "merged"],
        &["1 of 2 shards is missing", "--shard 1/2 --out DIR"],
    );
    let first = shard(&files, "1/2", "s1");
    assert_eq!(first.status, 0, "{}{}", first.stdout, first.stderr);
    // Each leaves something to the end, or the test shows little.
    let lines = |name: &str| files.text(&format!("{name}/trials.jsonl")).lines().count();
    let parts = lines("s1") + lines("s2");
    assert!(lines("s1") > 0 && lines("s2") > 0);
    assert!(parts < lines("one"), "{parts}");

    let merged = files.run(&["merge", "s2", "s1", "--out", "merged"]);
    assert_eq!(merged.status, whole.status, "{}", merged.stderr);
    assert_eq!(
        merged.stdout.replace("merged", "one"),
        whole.stdout,
        "what is said"
    );
    let (one, other) = (
        all_bytes(&files.path("one")),
        all_bytes(&files.path("merged")),
    );
    let different = one.iter().zip(&other).find(|(a, b)| a != b);
    assert!(one == other, "{:?}", different.map(|(a, _)| &a.0));
    let again = files.run(&["verify", "--again", "s1"]);
    assert_eq!(again.status, 0, "{}{}", again.stdout, again.stderr);
    std::fs::remove_dir_all(files.path("merged")).expect("it is there");

    // What cannot be put together, and why.
    refused(
        &["merge", "s1", "s2", "s1", "--out", "merged"],
        &["both hold shard 1/2"],
    );
    refused(
        &["merge", "one", "s2", "--out", "merged"],
        &["holds no shard"],
    );
    let third = shard(&files, "3/3", "s3");
    assert_eq!(third.status, 0, "{}", third.stderr);
    refused(
        &["merge", "s1", "s3", "--out", "merged"],
        &["shard 1/2", "shard 3/3", "one division"],
    );
    refused(
        &["report", "--from", "s1", "--out", "merged"],
        &["a shard of a campaign"],
    );
    let into_a_shard = files.run(&["merge", "s1", "s2", "--out", "s2", "--force"]);
    assert_eq!(into_a_shard.status, 2, "{}", into_a_shard.stdout);

    // A folder goes on with its own shard alone.
    for (other, said) in [("2/2", "this is shard 2/2"), ("1/3", "this is shard 1/3")] {
        let ran = shard(&files, other, "s1");
        assert_eq!(ran.status, 2, "{}", ran.stdout);
        assert!(ran.stderr.contains(said), "{}", ran.stderr);
    }
    let none = shard(&files, "3/2", "s4");
    assert_eq!(none.status, 2);
    assert!(none.stderr.contains("write it as 2/8"), "{}", none.stderr);

    // A shard that is broken off, and the command that goes on with it.
    let spent = PLAN.replace("seed = 4", "seed = 4\nbudget_s = 1e-9");
    files.write("plan.toml", spent.as_bytes());
    let ran = shard(&files, "1/2", "begun");
    assert_eq!(ran.status, 2, "{}{}", ran.stdout, ran.stderr);
    refused(
        &["merge", "begun", "s2", "--out", "merged"],
        &[
            "shard 1/2, which is not finished",
            "--shard 1/2 --out \"begun\"",
        ],
    );

    // Other inputs than now.
    files.write("plan.toml", PLAN.replace("seed = 4", "seed = 5").as_bytes());
    refused(
        &["merge", "s1", "s2", "--out", "merged"],
        &["another campaign"],
    );
    files.write("plan.toml", PLAN.as_bytes());
    let profile = files.text("profile.json");
    files.write("profile.json", (profile + "\n").as_bytes());
    refused(
        &["merge", "s1", "s2", "--out", "merged"],
        &["goes in as \"profile\""],
    );

    // And results that somebody changed.
    let mut trials = files.read("s1/trials.jsonl");
    trials[20] ^= 1;
    files.write("s1/trials.jsonl", &trials);
    refused(
        &["merge", "s1", "s2", "--out", "merged"],
        &["is not as it was written", "changed trials.jsonl"],
    );
}
