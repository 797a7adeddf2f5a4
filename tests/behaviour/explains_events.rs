//! An event told in words, and the manners of the program on a terminal.

use std::process::Command;

use framevouch::demo::faults::Kind;

use crate::bench::{Bench, Files, Ran, all_bytes, inputs_until, y4m};

/// Results of a clip with `kind` from 1.8 s to 2.8 s, in `out/`.
fn checked(kind: impl Fn(&Bench) -> Kind) -> Files {
    let bench = Bench::engine_strip(3.2);
    let files = Files::new();
    files.write("inputs.csv", inputs_until(3.2).as_bytes());
    let kind = kind(&bench);
    files.write("clip.y4m", &y4m(&bench.frames(Some((kind, 1.8, 2.8)))));
    let ran = files.check("clip.y4m", &["--quiet", "--matrix", "bt709"]);
    assert_eq!(ran.status, 1, "{}{}", ran.stdout, ran.stderr);
    files
}

fn explain(files: &Files, words: &[&str]) -> Ran {
    let all = [&["explain", "--from", "out"], words].concat();
    files.run(&all)
}

/// In one line, so that nothing hangs on where lines are broken.
fn flowing(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_wrong_value_is_walked_from_the_event_to_the_rule() {
    let files = checked(|bench| {
        let channel = bench.definition.channel("torque");
        Kind::Bias(bench.region("torque"), channel, 4.0)
    });
    let ran = explain(&files, &["0"]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    let told = flowing(&ran.stdout);
    let event = &files.json("out/events.json")[0];
    let number = |key: &str| event[key].as_f64().expect("it is a number");
    let display = files.json("out/display.json");
    let regions = display["regions"].as_array().expect("regions are a list");
    let torque = regions
        .iter()
        .find(|r| r["id"] == "torque")
        .expect("it is there");
    let worst = &event["worst_error"];
    let channel = worst["channel"].as_str().expect("a name");
    for (what, said) in [
        (
            "the claim",
            "the region \"torque\" is misleading".to_owned(),
        ),
        ("the onset", format!("Onset {:.3} s", number("onset_s"))),
        (
            "when it was confirmed",
            format!("Confirmed {:.3} s", number("detected_s")),
        ),
        (
            "what confirmed it",
            format!(
                "{:.0} ms (confirm_ms)",
                torque["confirm_ms"].as_f64().expect("a number")
            ),
        ),
        (
            "the frame",
            format!("In frame {} {channel} showed", worst["frame"]),
        ),
        (
            "the tolerance",
            format!(
                "The tolerance of {channel} in torque is {}",
                torque["tolerances"][channel]["value"]
                    .as_f64()
                    .expect("a number")
            ),
        ),
        ("how sure it is", "standard error of".to_owned()),
        (
            "the pixels",
            format!(
                "ink of {} px that is due is missing",
                event["picture_error"]["missing_px"]
            ),
        ),
        (
            "the rule",
            "less three standard errors of measuring".to_owned(),
        ),
        (
            "the requirement",
            "torque (major) verifies ES-TRQ-01".to_owned(),
        ),
        (
            "what vouches for it",
            "manifest, whose own SHA-256 is".to_owned(),
        ),
        ("the caution", "Not airborne software".to_owned()),
    ] {
        assert!(
            told.contains(&said),
            "{what}: \"{said}\" is not in\n{}",
            ran.stdout
        );
    }
    // Every picture that is named is there.
    let named = told.split_whitespace().map(|w| w.trim_end_matches(':'));
    let named: Vec<&str> = named.filter(|w| w.ends_with(".png")).collect();
    assert!(named.len() >= 3, "{named:?}");
    for name in named {
        assert!(files.path("out").join(name).is_file(), "{name}");
    }
    a_region_tells_its_blindness(&files);
    what_is_not_there_is_told(&files);
    changed_results_are_refused_or_marked(&files);
}

fn a_region_tells_its_blindness(files: &Files) {
    let summary = files.json("out/summary.json");
    let blind_s = summary["blind_s"]["fuel"].as_f64().expect("a time");
    assert!(blind_s > 0.0, "the fuel hardly moves in three seconds");
    let ran = explain(files, &["fuel"]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    let told = flowing(&ran.stdout);
    assert!(
        told.contains("a freeze of this region could not have been seen"),
        "{told}"
    );
    assert!(
        told.contains("blind: The picture agrees. But the same sum"),
        "{told}"
    );
    // By the name that the page gives it as well.
    let [by_page, by_number] = ["E0", "0"].map(|e| explain(files, &[e]).stdout);
    assert_eq!(by_page, by_number);
}

fn what_is_not_there_is_told(files: &Files) {
    let none = explain(files, &["7"]);
    assert_eq!((none.status, none.stdout.as_str()), (2, ""));
    assert!(
        none.stderr
            .contains("has no event 7: there is event 0 alone"),
        "{}",
        none.stderr
    );
    let odd = explain(files, &["rotr"]);
    assert_eq!(odd.status, 2);
    assert!(
        odd.stderr.contains("rotor") && odd.stderr.contains("nor a region"),
        "{}",
        odd.stderr
    );
}

fn changed_results_are_refused_or_marked(files: &Files) {
    let events = files.text("out/events.json");
    let changed = events.replacen("\"misleading\"", "\"frozen\"", 1);
    assert_ne!(events, changed);
    files.write("out/events.json", changed.as_bytes());
    let refused = explain(files, &["0"]);
    assert_eq!((refused.status, refused.stdout.as_str()), (2, ""));
    assert!(refused.stderr.contains("events.json"), "{}", refused.stderr);
    let marked = explain(files, &["0", "--unverified"]);
    assert_eq!(marked.status, 1, "{}", marked.stderr);
    let first = marked.stdout.lines().next().expect("there is a title");
    assert!(first.starts_with("NOT VERIFIED: "), "{first}");
    let heading = |l: &&str| l.ends_with("Which pixels");
    assert_eq!(
        marked.stdout.lines().find(heading),
        Some("NOT VERIFIED: Which pixels")
    );
    assert!(
        marked.stdout.contains("NOT VERIFIED: changed  events.json"),
        "{}",
        marked.stdout
    );
}

#[test]
fn a_standstill_and_late_data_are_told_by_their_own_measures() {
    let frozen = checked(|_| Kind::FreezeAll);
    let told = flowing(&explain(&frozen, &["0"]).stdout);
    for said in [
        "the whole frame is frozen: it stands still while its inputs move",
        "values held while their inputs move are frozen whether or not they have left their tolerance",
        "is dated back to the first frame that held",
        "It is the whole frame's when no other region contradicts",
    ] {
        assert!(told.contains(said), "\"{said}\" is not in\n{told}");
    }
    let late = checked(|_| Kind::Late(0.5));
    let told = flowing(&explain(&late, &["0"]).stdout);
    for said in [
        "the whole frame is late",
        "ms old in frame",
        "(max_latency_ms)",
        "with three standard errors taken off",
    ] {
        assert!(told.contains(said), "\"{said}\" is not in\n{told}");
    }
}

#[test]
fn colours_are_where_they_are_asked_for_and_never_in_results() {
    let files = Files::new();
    let mut bytes = Vec::new();
    for color in ["never", "always"] {
        let ran = files.check("clip.y4m", &["--matrix", "bt709", "--color", color]);
        assert_eq!(ran.status, 0, "{}", ran.stderr);
        assert_eq!(
            ran.stdout.contains('\u{1b}'),
            color == "always",
            "{:?}",
            ran.stdout
        );
        bytes.push(all_bytes(&files.path("out")));
    }
    assert!(bytes[0] == bytes[1], "results have the same bytes");
    // What goes into a pipe has none; the environment is heard (no-color.org, and CLICOLOR_FORCE: common practice).
    let wrong = ["lint", "--display", "not_there.toml"];
    for (env, has_colors) in [
        (&[][..], false),
        (&[("CLICOLOR_FORCE", "1")][..], true),
        (&[("CLICOLOR_FORCE", "1"), ("NO_COLOR", "1")][..], false),
    ] {
        let ran = files.run_with(&wrong, b"", env);
        assert_eq!(
            ran.stderr.contains("\u{1b}[31m"),
            has_colors,
            "{env:?}: {:?}",
            ran.stderr
        );
        assert_eq!(ran.status, 2);
    }
    let odd = files.run(&["lint", "--display", "display.toml", "--color", "sometimes"]);
    assert_eq!(odd.status, 2);
    assert!(odd.stderr.contains("auto, always, never"), "{}", odd.stderr);
}

#[test]
fn a_shell_completes_commands_and_options() {
    let files = Files::new();
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let ran = files.run(&["completions", shell]);
        assert_eq!(ran.status, 0, "{shell}: {}", ran.stderr);
        assert!(
            ran.stdout.contains("explain") && !ran.stdout.contains('\u{1b}'),
            "{shell}"
        );
        files.write(&format!("framevouch.{shell}"), ran.stdout.as_bytes());
    }
    // As bash itself asks: the words so far, and the one to complete.
    let asked = "source framevouch.bash; COMP_WORDS=(framevouch explain --unv); COMP_CWORD=2; \
                 _framevouch framevouch --unv explain; echo \"${COMPREPLY[@]}\"";
    match Command::new("bash")
        .args(["-c", asked])
        .current_dir(files.folder.path())
        .output()
    {
        Ok(out) => {
            let told = String::from_utf8_lossy(&out.stdout).into_owned();
            assert_eq!(
                told.trim(),
                "--unverified",
                "{}",
                String::from_utf8_lossy(&out.stderr)
            );
        }
        Err(_) => eprintln!("not tried: there is no bash here"),
    }
}

#[test]
fn manual_pages_are_written_and_spare_what_is_not_theirs() {
    let files = Files::new();
    for _ in 0..2 {
        let ran = files.run(&["man", "--out", "man1"]);
        assert_eq!(ran.status, 0, "{}", ran.stderr);
    }
    let page = files.text("man1/framevouch-explain.1");
    assert!(page.contains(".TH framevouch-explain 1"), "{page}");
    assert!(
        page.contains("Exit status:") && page.contains("framevouch explain 1"),
        "{page}"
    );
    files.write("man1/framevouch-check.1", b"somebody's notes\n");
    let refused = files.run(&["man", "--out", "man1"]);
    assert_eq!(refused.status, 2);
    assert!(refused.stderr.contains("--force"), "{}", refused.stderr);
    assert_eq!(files.text("man1/framevouch-check.1"), "somebody's notes\n");
    assert_eq!(files.run(&["man", "--out", "man1", "--force"]).status, 0);
}
