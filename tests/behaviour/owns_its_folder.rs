//! A run has its folder for itself: its results come in whole or not at all, nobody else's are touched, and what it
//! says of its inputs is what it read.

use std::fs;
use std::io::Write;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::thread::sleep;
use std::time::Duration;

use framevouch::evidence::run_folder::{HIDDEN, Kind, RunFolder};
use framevouch::files::Content;

use crate::bench::{Bench, Files, Ran, all_bytes, check_arguments, inputs_until, of_inputs, y4m};

/// A check that reads its capture from a pipe, with the other end of it.
fn check_of_pipe(files: &Files) -> (Child, ChildStdin) {
    let mut child = Command::new(env!("CARGO_BIN_EXE_framevouch"))
        .args(check_arguments("-"))
        .args(["--matrix", "bt709"])
        .current_dir(files.path("."))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program was built");
    let pipe = child.stdin.take().expect("it was asked for");
    (child, pipe)
}

/// Waits until the run has come so far.
fn wait_until(is_so_far: impl Fn() -> bool) {
    for _ in 0..6000 {
        if is_so_far() {
            return;
        }
        sleep(Duration::from_millis(10));
    }
    panic!("it never came so far");
}

fn ended(child: Child) -> Ran {
    let output = child.wait_with_output().expect("the program ends");
    Ran {
        status: output.status.code().unwrap_or(-1),
        stdout: String::from_utf8_lossy(&output.stdout).into_owned(),
        stderr: String::from_utf8_lossy(&output.stderr).into_owned(),
    }
}

/// What stands in `out/`, without what a run under way has there.
fn results(files: &Files) -> Vec<(String, Vec<u8>)> {
    let mut all = all_bytes(&files.path("out"));
    all.retain(|(name, _)| !name.starts_with(HIDDEN));
    all
}

fn checked() -> Files {
    let files = Files::new();
    let ran = files.check("clip.y4m", &["--matrix", "bt709", "--quiet"]);
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    assert!(!files.path("out").join(HIDDEN).exists());
    files
}

/// At c5def52 the second run mixed its files with those of the first, and the earlier summary and JUnit stayed beside
/// nothing when a run failed.
#[test]
fn a_run_that_is_refused_or_fails_leaves_the_earlier_results_as_they_were() {
    let files = checked();
    let before = results(&files);
    let other = Kind {
        command: "check",
        is_result: |_| false,
        folders: &[],
        is_begun: |_| true,
    };
    let theirs = RunFolder::claim(&files.path("out"), other, [], false).expect("nobody has it");
    let ran = files.check("clip.y4m", &["--matrix", "bt709"]);
    assert_eq!(ran.status, 2, "{}", ran.stdout);
    assert!(
        ran.stderr.contains("another framevouch is writing"),
        "{}",
        ran.stderr
    );
    drop(theirs);
    let clip = files.read("clip.y4m");
    files.write("cut.y4m", &clip[..2000]);
    let ran = files.check("cut.y4m", &["--matrix", "bt709"]);
    assert_eq!(ran.status, 2, "{}", ran.stdout);
    assert!(ran.stderr.contains("an earlier run"), "{}", ran.stderr);
    assert!(results(&files) == before, "a failed run changed results");
    assert_eq!(files.run(&["verify", "out"]).status, 0);
    assert!(!files.path("out").join(HIDDEN).exists());
}

/// At c5def52 a killed run left its first frames beside the earlier summary, JUnit and events, and no manifest.
#[test]
fn a_killed_run_leaves_the_earlier_results_whole_and_the_next_one_clears_up() {
    let files = checked();
    let before = results(&files);
    let (mut child, mut pipe) = check_of_pipe(&files);
    let clip = files.read("clip.y4m");
    pipe.write_all(&clip[..clip.len() / 2]).expect("it reads");
    wait_until(|| files.path("out").join(HIDDEN).join("new").exists());
    child.kill().expect("it runs");
    child.wait().expect("it has ended");
    assert!(results(&files) == before, "a killed run changed results");
    let ran = files.run(&["verify", "out"]);
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    let ran = files.check("clip.y4m", &["--matrix", "bt709", "--quiet"]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    assert!(all_bytes(&files.path("out")) == before);
}

/// At c5def52 a signal ended the process with its files cut anywhere.
#[cfg(unix)]
#[test]
fn a_signal_closes_the_results_and_they_say_broken_off() {
    let files = Files::new();
    let bench = Bench::engine_strip(3.2);
    files.write("inputs.csv", inputs_until(6.0).as_bytes());
    let clip = y4m(&bench.frames(None));
    let frames = files.path("out").join(HIDDEN).join("new/frames.jsonl");
    for signal in ["TERM", "INT"] {
        let (child, mut pipe) = check_of_pipe(&files);
        pipe.write_all(&clip).expect("it reads");
        wait_until(|| fs::metadata(&frames).is_ok_and(|m| m.len() > 0));
        send(signal, &child);
        let ran = ended(child);
        drop(pipe);
        assert_eq!(ran.status, 2, "{}{}", ran.stdout, ran.stderr);
        assert!(ran.stderr.contains("broken off after"), "{}", ran.stderr);
        let summary = files.json("out/summary.json");
        assert_eq!(summary["result"], "broken off");
        let error = summary["error"].as_str().expect("it ended early");
        assert!(error.starts_with("broken off after"), "{error}");
        assert_eq!(summary["frames"], files.frames().len());
        let junit = files.text("out/junit.xml");
        assert!(
            junit.contains("<error message=\"broken off after"),
            "{junit}"
        );
        assert_eq!(files.run(&["verify", "out"]).status, 0);
        assert!(!files.path("out").join(HIDDEN).exists());
    }
    // Before anything was judged there is nothing to close: the earlier results stay.
    let before = results(&files);
    let (child, mut pipe) = check_of_pipe(&files);
    pipe.write_all(&clip[..clip.len() / 8]).expect("it reads");
    wait_until(|| frames.exists());
    send("TERM", &child);
    let ran = ended(child);
    assert_eq!(ran.status, 2, "{}", ran.stdout);
    assert!(
        ran.stderr.contains("broken off after 0 frames"),
        "{}",
        ran.stderr
    );
    assert!(all_bytes(&files.path("out")) == before);
}

#[cfg(unix)]
fn send(signal: &str, child: &Child) {
    let number = child.id().to_string();
    let sent = Command::new("kill").args(["-s", signal, &number]).status();
    assert!(sent.expect("there is kill").success());
}

/// Up to 4fd96a8 every file that a whole run has more or other was listed as a difference.
#[cfg(unix)]
#[test]
fn results_that_were_broken_off_are_compared_as_far_as_they_go() {
    let files = Files::new();
    files.write("inputs.csv", inputs_until(6.0).as_bytes());
    let clip = y4m(&Bench::engine_strip(5.2).frames(None));
    files.write("long.y4m", &clip);
    let frames = files.path("out").join(HIDDEN).join("new/frames.jsonl");
    let is_broken_off = |_: &i32| {
        let child = Command::new(env!("CARGO_BIN_EXE_framevouch"))
            .args(check_arguments("long.y4m"))
            .args(["--matrix", "bt709"])
            .current_dir(files.path("."))
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program was built");
        wait_until(|| {
            let is_written = fs::metadata(&frames).is_ok_and(|m| m.len() > 0);
            is_written || files.path("out/manifest.json").exists()
        });
        send("TERM", &child);
        ended(child).status == 2
    };
    // It may be at its end before it is told.
    (0..10).find(is_broken_off).expect("it can be broken off");
    let count = files.frames().len();
    assert!(count > 0 && files.json("out/summary.json")["result"] == "broken off");
    let ran = files.run(&["verify", "--again", "out"]);
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    for words in [
        format!("broken off after {count} frames"),
        format!("the same bytes for these {count} frames"),
    ] {
        assert!(ran.stdout.contains(&words), "{}", ran.stdout);
    }
    assert!(!ran.stdout.contains("changed"), "{}", ran.stdout);
}

/// At c5def52 the manifest held the digests of what stood there after the run, and `verify` was content.
#[test]
fn the_manifest_holds_what_was_read_whatever_stands_there_afterwards() {
    let files = Files::new();
    let clip = files.read("clip.y4m");
    let originals = ["display.toml", "inputs.csv"].map(|name| (name, files.read(name)));
    let (child, mut pipe) = check_of_pipe(&files);
    // Definition and recording are read before the folder is taken.
    wait_until(|| files.path("out").join(HIDDEN).join("new").exists());
    for (name, bytes) in &originals {
        files.write(name, &[bytes, &b"\n"[..]].concat());
    }
    pipe.write_all(&clip).expect("it reads");
    drop(pipe);
    let ran = ended(child);
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    let manifest = files.json("out/manifest.json");
    for (name, bytes) in &originals {
        let inputs = manifest["inputs"].as_array().expect("a list");
        let input = inputs.iter().find(|i| i["path"] == format!("../{name}"));
        let input = input.unwrap_or_else(|| panic!("{name}: {manifest:#}"));
        assert_eq!(input["content"]["sha256"], Content::of(bytes).sha256);
    }
    let ran = files.run(&["verify", "out"]);
    assert_eq!(ran.status, 1, "{}", ran.stdout);
    assert!(
        ran.stdout.contains("changed  ../display.toml"),
        "{}",
        ran.stdout
    );
    assert!(
        ran.stdout.contains("changed  ../inputs.csv"),
        "{}",
        ran.stdout
    );
}

/// At c5def52 each of these commands wrote over the file, some before they had read it.
#[test]
fn nothing_that_is_read_is_written_over_even_when_the_user_insists() {
    let files = Files::new().with_folder();
    let inputs = files.read("inputs.csv");
    files.write("o/readings.csv", &inputs);
    files.write(
        "o/events/event_0000.png",
        &files.read("frames/frame_000000.png"),
    );
    files.write("drawn/times.csv", &inputs);
    fs::create_dir_all(files.path("hard")).expect("there is room");
    fs::hard_link(files.path("inputs.csv"), files.path("hard/events.csv")).expect("one disk");
    let check = [
        "check",
        "--display",
        "display.toml",
        "--capture",
        "clip.y4m",
    ];
    let of = |words: &[&'static str], more: &[&'static str]| [words, more].concat();
    let calibrate = of(&of_inputs("calibrate"), &["--capture", "clip.y4m", "--out"]);
    let mut commands = vec![
        of(&check, &["--inputs", "o/readings.csv", "--out", "o"]),
        of(&check, &["--inputs", "inputs.csv", "--out", "hard"]),
        of(
            &of_inputs("check"),
            &["--capture", "o/events", "--out", "o"],
        ),
        of(&calibrate, &["inputs.csv"]),
        of(&calibrate, &["display.toml"]),
        of(&calibrate, &["clip.y4m"]),
        of(&calibrate, &["hard/events.csv"]),
        vec![
            "draw",
            "--display",
            "display.toml",
            "--inputs",
            "drawn/times.csv",
            "--fps",
            "25",
            "--format",
            "png",
            "--out",
            "drawn",
        ],
    ];
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink("inputs.csv", files.path("soft.json")).expect("there is room");
        commands.push(of(&calibrate, &["soft.json"]));
    }
    let before = all_bytes(files.folder.path());
    for command in commands {
        for force in [&[][..], &["--force"]] {
            let ran = files.run(&of(&command, force));
            assert_eq!(ran.status, 2, "{command:?}: {}", ran.stdout);
            assert!(
                ran.stderr.contains("they are one file"),
                "{command:?}: {}",
                ran.stderr
            );
        }
    }
    assert!(all_bytes(files.folder.path()) == before);
}

const PLAN: &str = r#"
[plan]
name = "strip"
display = "display.toml"
seed = 4
stretch_s = 2.0
lead_s = 0.5
onsets_per_stretch = 3
budget_s = 1e-9

[[capture]]
file = "clip.y4m"
inputs = "inputs.csv"

[[fault]]
kind = "blank"
duration_s = 0.2
"#;

/// At c5def52 each of these files was written over, and the campaign's cut to nothing before its first trial.
#[test]
fn nothing_that_others_wrote_is_written_over_unless_the_user_insists() {
    let files = checked();
    files.write("plan.toml", PLAN.as_bytes());
    let inputs = ["--display", "display.toml", "--inputs", "inputs.csv"];
    let clip = ["--capture", "clip.y4m"];
    let cases: [(&str, Vec<&str>); 8] = [
        (
            "a/summary.json",
            [&["check"], &inputs[..], &clip, &["--out", "a"]].concat(),
        ),
        (
            "p.json",
            [&["calibrate"], &inputs[..], &clip, &["--out", "p.json"]].concat(),
        ),
        (
            "page.html",
            vec!["report", "--from", "out", "--out", "page.html"],
        ),
        (
            "b/frame_000001.png",
            [
                &["draw"],
                &inputs[..],
                &[
                    "--fps", "25", "--to", "0.1", "--format", "png", "--out", "b",
                ],
            ]
            .concat(),
        ),
        (
            "c/blank.png",
            [&["faults"], &inputs[..], &clip, &["--out", "c"]].concat(),
        ),
        ("d/capture.y4m", vec!["demo", "--out", "d"]),
        (
            "e/tune.json",
            vec![
                "tune",
                "--display",
                "display.toml",
                "--from",
                "out",
                "--out",
                "e",
            ],
        ),
        (
            "f/trials.jsonl",
            vec!["campaign", "--plan", "plan.toml", "--out", "f"],
        ),
    ];
    for (name, command) in &cases {
        files.write(name, b"mine");
        let ran = files.run(command);
        assert_eq!(ran.status, 2, "{command:?}: {}", ran.stdout);
        let said = [*name, "--force"];
        assert!(
            said.iter().all(|s| ran.stderr.contains(s)),
            "{command:?}: {}",
            ran.stderr
        );
        assert_eq!(files.read(name), b"mine", "{command:?}");
        assert!(!files.path(name).with_file_name(HIDDEN).exists());
    }
    // Who insists, and calls again, is served.
    for (name, command) in [&cases[0], &cases[1], &cases[2], &cases[3]] {
        for more in [&["--force"][..], &[]] {
            let ran = files.run(&[command, more].concat());
            assert!(ran.status < 2, "{command:?}: {}", ran.stderr);
            assert_ne!(files.read(name), b"mine");
        }
    }
    // Results of another command are not this one's.
    let ran = files.run(
        &[
            &["draw"],
            &inputs[..],
            &["--fps", "25", "--format", "png", "--out", "out"],
        ]
        .concat(),
    );
    assert_eq!(ran.status, 2, "{}", ran.stdout);
    assert!(ran.stderr.contains("manifest.json"), "{}", ran.stderr);
}

/// At c5def52 half of a campaign's trials could be of another video, and nothing said so.
#[test]
fn a_campaign_goes_on_with_the_captures_that_it_was_begun_with() {
    let files = Files::new();
    files.write("plan.toml", PLAN.as_bytes());
    let campaign = ["campaign", "--plan", "plan.toml", "--out", "c"];
    let ran = files.run(&campaign);
    assert_eq!(ran.status, 2, "{}{}", ran.stdout, ran.stderr);
    assert!(
        ran.stdout.contains("time budget"),
        "{}{}",
        ran.stdout,
        ran.stderr
    );
    let mut clip = files.read("clip.y4m");
    let last = clip.len() - 1;
    clip[last] ^= 1;
    files.write("clip.y4m", &clip);
    let ran = files.run(&campaign);
    assert_eq!(ran.status, 2, "{}", ran.stdout);
    assert!(
        ran.stderr
            .contains("is not what it was when the campaign was begun"),
        "{}",
        ran.stderr
    );
    assert!(!files.path("c").join(HIDDEN).exists());
}

/// At c5def52 the exit status was 101, and names went to the terminal as they were.
#[test]
fn what_is_printed_is_no_command_to_a_terminal_and_nobody_need_read_it() {
    let files = Files::new();
    let escape = "\u{1b}[2J\u{7}gone.y4m";
    for command in [
        [of_inputs("check"), vec!["--capture", escape, "--out", "x"]].concat(),
        vec!["verify", escape],
    ] {
        let ran = files.run(&command);
        assert_eq!(ran.status, 2);
        assert!(
            !ran.stderr.contains(['\u{1b}', '\u{7}']),
            "{:?}",
            ran.stderr
        );
        assert!(ran.stderr.contains("u{1b}"), "{:?}", ran.stderr);
    }
    let display = files.text("display.toml");
    let named = display.replacen("name = \"", "name = \"\\u001b[31m", 1);
    assert_ne!(display, named);
    files.write("display.toml", named.as_bytes());
    let ran = files.run(&["lint", "--display", "display.toml"]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    assert!(ran.stdout.contains("\\u{1b}[31m"), "{:?}", ran.stdout);
    #[cfg(target_os = "linux")]
    for end in [">&-", ">/dev/full"] {
        for (stream, arguments, status) in [
            ("2", "verify none", 2),
            ("2", "check none", 2),
            ("1", "lint --display display.toml", 0),
        ] {
            let line = format!(
                "'{}' {arguments} {stream}{end}",
                env!("CARGO_BIN_EXE_framevouch")
            );
            let ran = Command::new("sh")
                .args(["-c", &line])
                .current_dir(files.path("."))
                .output()
                .expect("there is a shell");
            assert_eq!(ran.status.code(), Some(status), "{line}");
        }
    }
}
