//! Results speak for what was measured and for nothing else: what was changed since is refused or marked, a manifest from
//! elsewhere runs nothing, nothing outside of a result folder gets into a page, and nothing counts twice.
//!
//! Each of these passed, ran or counted at c5def52.

use std::fs;

use crate::bench::{Bench, Files, Ran, inputs_until, y4m};
use framevouch::demo::faults::Kind;
use framevouch::files::Content;
use serde_json::{Value, json};

/// Results of a clip with one fault, in `out/`.
fn faulty() -> Files {
    let bench = Bench::engine_strip(3.2);
    let kind = Kind::BlankRegion(bench.region("power"), bench.definition.background());
    let files = Files::new();
    files.write("inputs.csv", inputs_until(3.2).as_bytes());
    files.write("clip.y4m", &y4m(&bench.frames(Some((kind, 1.8, 2.8)))));
    let ran = files.check("clip.y4m", &["--quiet", "--matrix", "bt709"]);
    assert_eq!(ran.status, 1, "{}{}", ran.stdout, ran.stderr);
    files
}

/// Results of the short clean clip, with measurements, in `out/`.
fn clean() -> Files {
    let files = Files::new();
    let ran = check_into(&files, "out");
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    files
}

fn check_into(files: &Files, out: &str) -> Ran {
    let words = [
        "check",
        "--display",
        "display.toml",
        "--inputs",
        "inputs.csv",
        "--capture",
        "clip.y4m",
        "--offset",
        "0",
        "--matrix",
        "bt709",
        "--measurements",
        "--quiet",
        "--out",
        out,
    ];
    files.run(&words)
}

fn report(files: &Files, more: &[&str]) -> Ran {
    let words = ["report", "--from", "out", "--out", "page.html"];
    files.run(&[&words[..], more].concat())
}

fn edit(files: &Files, name: &str, change: impl Fn(&mut Value)) {
    let mut value = files.json(name);
    change(&mut value);
    files.write(name, value.to_string().as_bytes());
}

/// Makes the manifest of `out/` vouch for what `name` holds now, as somebody would who makes up a whole folder.
fn vouch_for(files: &Files, name: &str) {
    let bytes = files.read(&format!("out/{name}"));
    let content = Content::of(&bytes);
    edit(files, "out/manifest.json", |m| {
        let outputs = m["outputs"].as_array_mut().expect("a list");
        let file = outputs.iter_mut().find(|f| f["path"] == name);
        let file = file.expect("it is listed");
        file["sha256"] = json!(content.sha256);
        file["crc32"] = json!(content.crc32);
        file["bytes"] = json!(content.bytes);
    });
}

#[test]
fn results_that_were_edited_are_refused_by_name_or_marked_everywhere() {
    let files = faulty();
    fs::create_dir(files.path("good")).expect("there is room");
    for entry in fs::read_dir(files.path("out")).expect("it is a folder") {
        let path = entry.expect("it can be listed").path();
        if path.is_file() {
            let name = path.file_name().expect("it has a name");
            fs::copy(&path, files.path("good").join(name)).expect("it can be copied");
        }
    }
    // Everything says "agrees" now, in the way of the records themselves.
    edit(&files, "out/summary.json", |s| {
        s["result"] = json!("agrees")
    });
    files.write("out/events.json", b"[]\n");
    let frames = files
        .text("out/frames.jsonl")
        .replace("\"blank\"", "\"agrees\"");
    files.write("out/frames.jsonl", frames.as_bytes());
    let ran = report(&files, &[]);
    assert_eq!(ran.status, 2, "{}{}", ran.stdout, ran.stderr);
    for name in ["summary.json", "events.json", "frames.jsonl"] {
        let told = format!("changed {name}");
        assert!(ran.stderr.contains(&told), "{name}: {}", ran.stderr);
    }
    assert!(ran.stderr.contains("framevouch verify"), "{}", ran.stderr);
    assert!(!files.path("page.html").exists());

    // Asked for, it is shown, with a mark on the answer, on each printed page, in JUnit, and in the exit status.
    let ran = report(&files, &["--unverified", "--junit", "junit.xml"]);
    assert_eq!(ran.status, 1, "{}{}", ran.stdout, ran.stderr);
    assert!(ran.stdout.contains("NOT VERIFIED"), "{}", ran.stdout);
    let page = files.text("page.html");
    let answer = &page[page.find("<section id=\"answer\"").expect("an answer")..];
    let mark = answer.find("NOT VERIFIED").expect("a mark");
    // What the records say is no answer any more.
    let verdict = answer.find("<div class=\"answer bad\"").expect("an answer");
    assert!(mark < verdict, "the mark stands over the answer");
    assert!(answer[..verdict].contains("changed  summary.json"));
    assert!(page.contains("@top-left { content: \"NOT VERIFIED: "));
    assert!(page.contains("<h1>NOT VERIFIED: "));
    let junit = files.text("junit.xml");
    assert!(junit.contains("<error type=\"NOT VERIFIED\""), "{junit}");
    assert!(junit.contains("changed  events.json"), "{junit}");

    // What it is compared with is read in the same way.
    let words = [
        "report",
        "--from",
        "good",
        "--out",
        "page.html",
        "--against",
        "out",
    ];
    // A copy that lacks its pictures is none.
    let ran = files.run(&words);
    assert_eq!(ran.status, 2, "{}{}", ran.stdout, ran.stderr);
    assert!(ran.stderr.contains("missing event"), "{}", ran.stderr);
}

#[test]
fn results_whose_comparison_or_inputs_changed_are_refused_and_gone_inputs_are_said() {
    let files = clean();
    assert_eq!(check_into(&files, "then").status, 0);
    let against = ["--against", "then"];
    assert_eq!(report(&files, &against).status, 0);
    edit(&files, "then/summary.json", |s| s["frames"] = json!(1));
    let ran = report(&files, &against);
    assert_eq!(ran.status, 2, "{}{}", ran.stdout, ran.stderr);
    assert!(ran.stderr.contains("then"), "{}", ran.stderr);
    let ran = report(&files, &["--against", "then", "--unverified"]);
    assert_eq!(ran.status, 1, "{}{}", ran.stdout, ran.stderr);
    assert!(files.text("page.html").contains("NOT VERIFIED"));

    // A page in the results would keep them from verifying.
    let ran = files.run(&["report", "--from", "out", "--out", "out/page.html"]);
    assert_eq!(ran.status, 2, "{}{}", ran.stdout, ran.stderr);
    assert!(
        ran.stderr.contains("write it beside them"),
        "{}",
        ran.stderr
    );
    assert!(!files.path("out/page.html").exists());

    // A file that nobody wrote there, and one that is gone.
    files.write("out/more.txt", b"");
    let ran = report(&files, &[]);
    assert!(
        ran.status == 2 && ran.stderr.contains("extra more.txt"),
        "{}",
        ran.stderr
    );
    fs::remove_file(files.path("out/more.txt")).expect("it can go");

    // The recording of another day is no longer what was checked.
    let recording = files.read("inputs.csv");
    files.write("inputs.csv", inputs_until(2.0).as_bytes());
    let ran = report(&files, &[]);
    assert_eq!(ran.status, 2, "{}{}", ran.stdout, ran.stderr);
    assert!(
        ran.stderr.contains("changed ../inputs.csv"),
        "{}",
        ran.stderr
    );
    // One that lies elsewhere now contradicts nothing; the page says that nothing was held against it.
    files.write("elsewhere.csv", &recording);
    fs::remove_file(files.path("inputs.csv")).expect("it can go");
    let ran = report(&files, &[]);
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    let page = files.text("page.html");
    assert!(page.contains("no longer there") && page.contains("../inputs.csv"));
}

#[test]
fn an_empty_manifest_vouches_for_nothing() {
    for key in ["outputs", "inputs"] {
        let files = clean();
        edit(&files, "out/manifest.json", |m| m[key] = json!([]));
        for words in [
            &["verify", "out"][..],
            &[
                "report",
                "--from",
                "out",
                "--out",
                "page.html",
                "--unverified",
            ],
        ] {
            let ran = files.run(words);
            assert_eq!(ran.status, 2, "{words:?}: {}{}", ran.stdout, ran.stderr);
            let told = format!("lists no {key}, so it vouches for nothing");
            assert!(ran.stderr.contains(&told), "{words:?}: {}", ran.stderr);
        }
    }
}

#[test]
fn a_page_holds_no_file_from_outside_of_the_results() {
    let files = faulty();
    files.write("secret.png", b"SECRETSECRETSECRET");
    let secret = "U0VDUkVUU0VDUkVUU0VDUkVU";
    let absolute = files.path("secret.png").display().to_string();
    let good = files.json("out/stills.json");
    for name in [
        "../secret.png",
        absolute.as_str(),
        "event_frames/../../secret.png",
    ] {
        let mut stills = good.clone();
        stills["events"][0]["stills"][0]["captured"] = json!(name);
        files.write("out/stills.json", stills.to_string().as_bytes());
        // Even where the manifest goes with it.
        vouch_for(&files, "stills.json");
        for more in [&[][..], &["--unverified"]] {
            let ran = report(&files, more);
            assert_eq!(ran.status, 0, "{name}: {}{}", ran.stdout, ran.stderr);
            let page = files.text("page.html");
            assert!(!page.contains(secret), "{name} is in the page");
            assert!(page.contains("inside of the result folder"), "{name}");
        }
    }
}

#[cfg(unix)]
#[test]
fn a_page_waits_for_no_pipe_reads_no_device_and_follows_no_link_outside() {
    use std::os::unix::fs::symlink;
    let files = faulty();
    files.write("secret.png", b"SECRETSECRETSECRET");
    let still = files.json("out/stills.json")["events"][0]["stills"][0].clone();
    let name = still["captured"].as_str().expect("a name");
    let path = files.path(&format!("out/{name}"));
    let good = fs::read(&path).expect("it can be read");
    let again = || {
        fs::remove_file(&path).expect("it can go");
    };
    let look = |what: &str| {
        for more in [&[][..], &["--unverified"]] {
            let ran = report(&files, more);
            let expected = if more.is_empty() { 2 } else { 1 };
            assert_eq!(ran.status, expected, "{what}: {}{}", ran.stdout, ran.stderr);
            let told = format!("{}{}", ran.stdout, ran.stderr);
            assert!(told.contains("refused"), "{what}: {told}");
        }
        let page = files.text("page.html");
        assert!(!page.contains("U0VDUkVUU0VDUkVUU0VDUkVU"), "{what}");
    };
    again();
    let made = std::process::Command::new("mkfifo").arg(&path).status();
    assert!(made.expect("mkfifo runs").success());
    look("a pipe");
    for target in ["/dev/zero", "../../secret.png"] {
        again();
        symlink(target, &path).expect("links can be made");
        look(target);
    }
    again();
    fs::write(&path, good).expect("there is room");
    assert_eq!(report(&files, &[]).status, 0);
}

#[cfg(unix)]
#[test]
fn a_manifest_from_elsewhere_runs_no_program_and_reads_no_file_that_it_does_not_list() {
    use std::os::unix::fs::PermissionsExt;
    // A clip that only ffmpeg reads, whatever it holds.
    let files = clean();
    files.write("bad.sh", b"#!/bin/sh\ntouch ran\nexit 1\n");
    let script = files.path("bad.sh");
    fs::set_permissions(&script, fs::Permissions::from_mode(0o755)).expect("it is ours");
    let script = script.display().to_string();
    let clip = fs::read(files.path("clip.y4m")).expect("it can be read");
    files.write("clip.bin", &[b"not a clip", &clip[..1000]].concat());
    let content = Content::of(&files.read("clip.bin"));
    let good = files.json("out/manifest.json");
    let words = good["arguments"].clone();
    let with = |arguments: Value| {
        let mut m = good.clone();
        m["arguments"] = arguments;
        m
    };
    let again = |manifest: &Value, more: &[&str]| {
        files.write("out/manifest.json", manifest.to_string().as_bytes());
        let ran = files.run(&[&["verify", "--again", "out"], more].concat());
        assert!(!files.path("ran").exists(), "the script was run");
        ran
    };
    // As written it runs again.
    files.write("out/manifest.json", good.to_string().as_bytes());

    // The program to run is never the manifest's.
    let mut list: Vec<Value> = words.as_array().expect("a list").clone();
    for word in &mut list {
        if word == "../clip.y4m" {
            *word = json!("../clip.bin");
        }
    }
    let end = list.len() - 1;
    assert_eq!(list[end], "--measurements");
    list.splice(end..end, [json!("--ffmpeg"), json!(script)]);
    let mut m = with(json!(list));
    for input in m["inputs"].as_array_mut().expect("a list") {
        if input["path"] == "../clip.y4m" {
            input["path"] = json!("../clip.bin");
            input["content"] = serde_json::to_value(&content).expect("it is JSON");
        }
    }
    let ran = again(&m, &[]);
    assert!(ran.status > 0, "{}{}", ran.stdout, ran.stderr);
    assert!(
        ran.stdout.contains("the manifest records --ffmpeg"),
        "{}{}",
        ran.stdout,
        ran.stderr
    );
    // The one of this command line is.
    files.write("out/manifest.json", m.to_string().as_bytes());
    let ran = files.run(&["verify", "--again", "out", "--ffmpeg", &script]);
    assert_eq!(ran.status, 2, "{}{}", ran.stdout, ran.stderr);
    assert!(files.path("ran").exists(), "{}{}", ran.stdout, ran.stderr);
    fs::remove_file(files.path("ran")).expect("it can go");

    // Arguments that nobody here writes.
    let all = words.as_array().expect("a list");
    let more = |extra: &[&str]| {
        let extra = extra.iter().map(|w| json!(w));
        json!(all.iter().cloned().chain(extra).collect::<Vec<Value>>())
    };
    let turned = {
        let mut turned = all.clone();
        turned.rotate_left(2);
        json!(turned)
    };
    for arguments in [
        more(&["--out", "elsewhere"]),
        more(&["--exec", "x"]),
        more(&["--measurements"]),
        more(&["--quiet"]),
        more(&["--help"]),
        turned,
        json!([]),
    ] {
        let ran = again(&with(arguments.clone()), &[]);
        assert_eq!(ran.status, 2, "{arguments}: {}{}", ran.stdout, ran.stderr);
        assert!(
            ran.stderr.contains("not run again"),
            "{arguments}: {}",
            ran.stderr
        );
    }
    // Another command, and a path that is not among the inputs.
    let mut m = good.clone();
    m["command"] = json!("draw");
    assert_eq!(again(&m, &[]).status, 2);
    files.write("other.csv", &files.read("inputs.csv"));
    let text = good["arguments"]
        .to_string()
        .replace("../inputs.csv", "../other.csv");
    let m = with(serde_json::from_str(&text).expect("it is JSON"));
    let ran = again(&m, &[]);
    assert_eq!(ran.status, 2, "{}{}", ran.stdout, ran.stderr);
    assert!(
        ran.stderr.contains("does not list among its inputs"),
        "{}",
        ran.stderr
    );
}

#[test]
fn material_counts_once_and_is_refused_or_marked_when_it_was_edited() {
    let files = clean();
    // The same, checked again; and a copy.
    assert_eq!(check_into(&files, "again").status, 0);
    let tune = |out: &str, from: &[&str], more: &[&str]| {
        let words = ["tune", "--display", "display.toml", "--out", out, "--from"];
        files.run(&[&words[..], from, more].concat())
    };
    let once = tune("once", &["out"], &[]);
    assert_eq!(once.status, 1, "{}{}", once.stdout, once.stderr);
    // 14 frames are no 300 hours: 0.01 an hour is not shown, nor any coverage without a trial.
    assert!(
        once.stdout.contains("h without a trip would show it"),
        "{}",
        once.stdout
    );
    assert!(
        once.stdout
            .contains("coverage: not shown, since no fault was tried"),
        "{}",
        once.stdout
    );
    let hours = files.json("once/tune.json")["clean_hours"].clone();
    assert!(hours.as_f64() > Some(0.0));
    let many = tune("many", &["out", "out", "again", "./out"], &[]);
    assert_eq!(many.status, 1, "{}{}", many.stdout, many.stderr);
    let tuned = files.json("many/tune.json");
    assert_eq!(tuned["clean_hours"], hours, "counted more than once");
    assert!(
        many.stdout.contains("counted once: 0 trials and"),
        "{}",
        many.stdout
    );
    let verified = files.run(&["verify", "--again", "many"]);
    assert_eq!(verified.status, 0, "{}{}", verified.stdout, verified.stderr);

    // Measurements of another day: here the display's name in the header.
    let good = files.read("again/measurements.bin");
    let mut bytes = good.clone();
    let key = b"\"display\":\"";
    let at = bytes.windows(key.len()).position(|w| w == key);
    bytes[at.expect("the header names the display") + key.len()] ^= 1;
    files.write("again/measurements.bin", &bytes);
    let edited = tune("edited", &["again"], &[]);
    assert_eq!(edited.status, 2, "{}{}", edited.stdout, edited.stderr);
    assert!(
        edited.stderr.contains("changed measurements.bin"),
        "{}",
        edited.stderr
    );
    // They do not fit their own digests any more, so nothing is told from them, whoever asks.
    let edited = tune("edited", &["again"], &["--unverified"]);
    assert_eq!(edited.status, 2, "{}{}", edited.stdout, edited.stderr);
    assert!(edited.stderr.contains("damaged"), "{}", edited.stderr);
    files.write("again/measurements.bin", &good);
    // Another file than those that are tuned on.
    let summary = files.text("again/summary.json");
    let other = summary.replacen("framevouch", "framevoucH", 1);
    assert_ne!(other, summary);
    files.write("again/summary.json", other.as_bytes());
    // Asked for, everything that comes of it says so.
    let easy = [
        "--unverified",
        "--nuisance-per-hour",
        "1e9",
        "--hazard",
        "catastrophic",
    ];
    let edited = tune("edited", &["again"], &easy);
    assert_eq!(edited.status, 1, "{}{}", edited.stdout, edited.stderr);
    assert!(edited.stdout.contains("NOT VERIFIED"), "{}", edited.stdout);
    let told = &files.json("edited/tune.json")["unverified"];
    assert_eq!(told, &json!(["../again: changed  summary.json"]));
    // So does a page of what came of it, though those results are as they were written.
    let words = ["report", "--from", "edited", "--out", "page.html"];
    let ran = files.run(&words);
    assert_eq!(ran.status, 1, "{}{}", ran.stdout, ran.stderr);
    assert!(files.text("page.html").contains("NOT VERIFIED"));
}
