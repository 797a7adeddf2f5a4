//! The answer is the worst of all that a page holds: checks, campaigns against the limits of their plan, tunings against
//! their demand, what is new against other results.

use crate::bench::{Bench, Files, ONE_DIAL, table, y4m};

const SECONDS: f64 = 6.0;

/// Whole-frame faults that are raised after 320 ms at the earliest, held against a limit.
fn plan(limit_ms: u32) -> String {
    format!(
        r#"
limit_ms = {{ hazardous = {limit_ms} }}

[plan]
name = "limits"
display = "display.toml"
seed = 4
lead_s = 1.0
stretch_s = 2.0
onsets_per_stretch = 2

[[capture]]
file = "clip.y4m"
inputs = "inputs.csv"

[[fault]]
kind = "blank"
regions = ["*"]
duration_s = 0.8
repeats = 2
twins = true
"#
    )
}

fn standing(page: &str) -> &str {
    let (_, rest) = page
        .split_once("data-standing=\"")
        .expect("the page has an answer");
    rest.split_once('"').expect("it ends").0
}

/// Before (c5def52) a campaign ended with 0 whatever its limits, wrote no junit.xml, its page had no answer, and a page
/// could be made "against" results of another kind, which said nothing.
#[test]
fn a_limit_that_is_not_kept_is_the_answer() {
    let inputs = table(["speed"], SECONDS, |t| [60.0 + 8.0 * t]);
    let bench = Bench::small(ONE_DIAL, &inputs);
    let files = Files::new();
    files.write("display.toml", ONE_DIAL.as_bytes());
    files.write("inputs.csv", inputs.as_bytes());
    files.write("clip.y4m", &y4m(&bench.frames(None)));
    files.write("strict.toml", plan(40).as_bytes());
    let strict = files.run(&["campaign", "--plan", "strict.toml", "--out", "strict"]);
    assert_eq!(strict.status, 1, "{}{}", strict.stdout, strict.stderr);
    assert!(
        strict
            .stdout
            .contains("limit of 40 ms for hazardous faults NOT KEPT"),
        "{}",
        strict.stdout
    );
    let summary = files.json("strict/campaign.json");
    let limits = summary["limits"].as_array().expect("a list");
    let whole = limits.iter().find(|l| l["region"] == "*");
    let whole = whole.unwrap_or_else(|| panic!("{limits:#?}"));
    assert_eq!(whole["within"]["k"], 0, "{whole:#}");
    let junit = files.text("strict/junit.xml");
    assert!(
        junit.contains("whole frame: hazardous faults within 40 ms") && junit.contains("<failure "),
        "{junit}"
    );
    assert!(
        junit.contains("NOT EXERCISED: no fault was tried"),
        "{junit}"
    );
    assert_eq!(files.run(&["verify", "strict"]).status, 0);
    // Harmless changes stand in the table of classes: before, "none" was never due.
    let none = &summary["confusion"]["counts"]["none"]["none"];
    assert!(none.as_u64() > Some(0), "{:#}", summary["confusion"]);

    let ran = files.check("clip.y4m", &["--quiet", "--matrix", "bt709"]);
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    let report = |arguments: &[&str]| {
        let all = [&["report", "--out", "page.html", "--from"], arguments].concat();
        files.run(&all)
    };
    let ran = report(&["out", "strict"]);
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    let page = files.text("page.html");
    assert_eq!(standing(&page), "bad");
    assert!(
        page.contains("NOT KEPT") && page.contains("Does not hold: 1 of 2 results"),
        "{}",
        ran.stdout
    );
    // Every requirement is broken by a fault of the whole frame.
    assert!(page.contains("Over all results of this page"));

    // Within a second all is well, but regions in which no fault was tried stay open.
    files.write("easy.toml", plan(1000).as_bytes());
    let easy = files.run(&["campaign", "--plan", "easy.toml", "--out", "easy"]);
    assert_eq!(easy.status, 0, "{}{}", easy.stdout, easy.stderr);
    assert_eq!(report(&["easy"]).status, 0);
    assert_eq!(standing(&files.text("page.html")), "open");

    // Against the easy one the limit is newly broken; against itself nothing is.
    let ran = report(&["strict", "--against", "easy"]);
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    let ran = report(&["out", "--against", "easy"]);
    assert_eq!(ran.status, 2, "{}{}", ran.stdout, ran.stderr);
    assert!(
        ran.stderr.contains("results of \"campaign\"") && ran.stderr.contains("two checks"),
        "{}",
        ran.stderr
    );

    // A demand that nothing meets, beside a check that agrees.
    let tune = [
        "tune",
        "--display",
        "display.toml",
        "--from",
        "strict",
        "--out",
        "tuned",
    ];
    let ran = files.run(&tune);
    assert_eq!(ran.status, 1, "{}{}", ran.stdout, ran.stderr);
    let lines: Vec<&str> = ran
        .stdout
        .lines()
        .filter(|l| l.starts_with("    ") && !l.starts_with("     "))
        .collect();
    let mut once = lines.clone();
    once.sort_unstable();
    once.dedup();
    assert_eq!(once.len(), lines.len(), "{}", ran.stdout);
    assert_eq!(report(&["out", "tuned"]).status, 0);
    let page = files.text("page.html");
    assert_eq!(standing(&page), "bad");
    assert!(page.contains("o set of thresholds meets the demand"));
}
