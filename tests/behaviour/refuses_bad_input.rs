//! Damaged definitions, recordings and captures: exit status 2, the place of the damage, no panic; and
//! the frames before the damage are judged.

use crate::bench::{CLIP_FRAMES, Files, Ran, check_arguments};

/// Changes the files of a good check, or gives it other arguments.
type Damage = fn(&Files) -> Vec<&'static str>;

struct Case {
    name: &'static str,
    damage: Damage,
    /// All of these stand in the complaint.
    words: &'static [&'static str],
}

const fn case(name: &'static str, damage: Damage, words: &'static [&'static str]) -> Case {
    Case {
        name,
        damage,
        words,
    }
}

/// Replaces the first `from` in a text file; it must be there.
fn replace(files: &Files, name: &str, from: &str, to: &str) {
    let text = files.text(name);
    assert!(text.contains(from), "{name} has {from:?}");
    files.write(name, text.replacen(from, to, 1).as_bytes());
}

/// Replaces line `number` (from 1).
fn set_line(files: &Files, name: &str, number: usize, change: impl Fn(&str) -> String) {
    let text = files.text(name);
    let lines: Vec<String> = text
        .lines()
        .enumerate()
        .map(|(k, l)| {
            if k + 1 == number {
                change(l)
            } else {
                l.to_owned()
            }
        })
        .collect();
    files.write(name, (lines.join("\n") + "\n").as_bytes());
}

/// The first field of the line is `field`.
fn set_time(files: &Files, number: usize, field: &str) {
    set_line(files, "inputs.csv", number, |l| {
        let (_, rest) = l.split_once(',').expect("there are fields");
        format!("{field},{rest}")
    });
}

/// The value of column `rotor_speed_pct` on a line is `field`.
fn set_rotor(files: &Files, number: usize, field: &str) {
    let header = files.text("inputs.csv");
    let header = header.lines().next().expect("there is a header");
    let column = header
        .split(',')
        .position(|c| c == "rotor_speed_pct")
        .expect("the scenario has the rotor");
    set_line(files, "inputs.csv", number, |l| {
        let mut fields: Vec<&str> = l.split(',').collect();
        fields[column] = field;
        fields.join(",")
    });
}

const DISPLAY: &str = "display.toml";

/// What `check` of the clip is told.
fn usual() -> Vec<&'static str> {
    let mut out = check_arguments("clip.y4m");
    out.extend(["--matrix", "bt709"]);
    out
}

fn of_capture(name: &'static str) -> Vec<&'static str> {
    check_arguments(name)
}

fn with(more: &[&'static str]) -> Vec<&'static str> {
    let mut out = usual();
    out.extend(more);
    out
}

fn definitions() -> Vec<Case> {
    vec![
        case(
            "no definition",
            |f| {
                std::fs::remove_file(f.path(DISPLAY)).expect("it was there");
                usual()
            },
            &["display.toml"],
        ),
        case(
            "empty definition",
            |f| {
                f.write(DISPLAY, b"");
                usual()
            },
            &["display.toml", "display"],
        ),
        case(
            "definition is no text",
            |f| {
                f.write(DISPLAY, &[0xff, 0xfe, 0, 1]);
                usual()
            },
            &["display.toml", "UTF-8"],
        ),
        case(
            "definition cut off",
            |f| {
                let t = f.text(DISPLAY);
                f.write(
                    DISPLAY,
                    &t.as_bytes()[..t.find("column = \"rotor").expect("it is there") + 12],
                );
                usual()
            },
            &["display.toml:"],
        ),
        case(
            "unknown key",
            |f| {
                replace(f, DISPLAY, "max_latency_ms", "max_latencyms");
                usual()
            },
            &["display.toml:", "max_latencyms", "max_latency_ms"],
        ),
        case(
            "unknown key of a symbol",
            |f| {
                replace(f, DISPLAY, "px_per_unit = 7.0", "px_per_uni = 7.0");
                usual()
            },
            &["display.toml:", "px_per_uni"],
        ),
        case(
            "word for a number",
            |f| {
                replace(f, DISPLAY, "width = 480", "width = \"wide\"");
                usual()
            },
            &["display.toml:", "width"],
        ),
        case(
            "canvas of no width",
            |f| {
                replace(f, DISPLAY, "width = 480", "width = 0");
                usual()
            },
            &["display.toml:", "0"],
        ),
        case(
            "huge canvas",
            |f| {
                replace(f, DISPLAY, "width = 480", "width = 4000000000");
                usual()
            },
            &["display.toml:", "width"],
        ),
        case(
            "unknown colour",
            |f| {
                replace(
                    f,
                    DISPLAY,
                    "background = \"paper\"",
                    "background = \"papr\"",
                );
                usual()
            },
            &["display.toml:", "papr", "paper"],
        ),
        case(
            "colour is no colour",
            |f| {
                replace(f, DISPLAY, "\"#dfe4e6\"", "\"#dfe4e\"");
                usual()
            },
            &["display.toml:", "#dfe4e"],
        ),
        case(
            "unknown channel",
            |f| {
                replace(
                    f,
                    DISPLAY,
                    "channel = \"rotor_speed\"",
                    "channel = \"rotor_sped\"",
                );
                usual()
            },
            &["display.toml:", "rotor_sped", "rotor_speed"],
        ),
        case(
            "unknown font",
            |f| {
                replace(f, DISPLAY, "font = \"text\"", "font = \"txt\"");
                usual()
            },
            &["display.toml:", "txt"],
        ),
        case(
            "unknown built-in face",
            |f| {
                replace(f, DISPLAY, "\"B612 Bold\"", "\"B612 Heavy\"");
                usual()
            },
            &["display.toml:", "B612 Heavy"],
        ),
        case(
            "font file that is not there",
            |f| {
                replace(
                    f,
                    DISPLAY,
                    "{ builtin = \"B612 Bold\" }",
                    "{ file = \"none.ttf\" }",
                );
                usual()
            },
            &["none.ttf"],
        ),
        case(
            "font file that is no font",
            |f| {
                f.write("bad.ttf", b"no font");
                replace(
                    f,
                    DISPLAY,
                    "{ builtin = \"B612 Bold\" }",
                    "{ file = \"bad.ttf\" }",
                );
                usual()
            },
            &["bad.ttf"],
        ),
        case(
            "unknown symbol kind",
            |f| {
                replace(f, DISPLAY, "kind = \"dial\"", "kind = \"dail\"");
                usual()
            },
            &["display.toml:", "dail", "dial"],
        ),
        case(
            "region outside the canvas",
            |f| {
                replace(
                    f,
                    DISPLAY,
                    "rect = [8, 6, 464, 72]",
                    "rect = [8, 6, 474, 72]",
                );
                usual()
            },
            &["display.toml:", "rect"],
        ),
        case(
            "regions overlap",
            |f| {
                replace(
                    f,
                    DISPLAY,
                    "rect = [8, 84, 104, 140]",
                    "rect = [8, 70, 104, 140]",
                );
                usual()
            },
            &["display.toml:", "rotor"],
        ),
        case(
            "region id twice",
            |f| {
                replace(f, DISPLAY, "id = \"torque\"", "id = \"rotor\"");
                usual()
            },
            &["display.toml:", "rotor"],
        ),
        case(
            "range upside down",
            |f| {
                replace(f, DISPLAY, "range = [0.0, 130.0]", "range = [130.0, 0.0]");
                usual()
            },
            &["display.toml:", "130"],
        ),
        case(
            "tolerance of nothing",
            |f| {
                replace(
                    f,
                    DISPLAY,
                    "tolerance = { torque = 2.0 }",
                    "tolerance = { torque = 0.0 }",
                );
                usual()
            },
            &["display.toml:", "torque"],
        ),
        case(
            "breakpoints that fall",
            |f| {
                replace(f, DISPLAY, "[[0, 0], [120, 1]]", "[[120, 0], [0, 1]]");
                usual()
            },
            &["display.toml:", "breakpoints"],
        ),
        case(
            "number that is none",
            |f| {
                replace(f, DISPLAY, "px_per_unit = 7.0", "px_per_unit = nan");
                usual()
            },
            &["display.toml:", "px_per_unit"],
        ),
    ]
}

fn recordings() -> Vec<Case> {
    vec![
        case(
            "no recording",
            |f| {
                std::fs::remove_file(f.path("inputs.csv")).expect("it was there");
                usual()
            },
            &["inputs.csv"],
        ),
        case(
            "empty recording",
            |f| {
                f.write("inputs.csv", b"");
                usual()
            },
            &["inputs.csv", "empty"],
        ),
        case(
            "no rows",
            |f| {
                let t = f.text("inputs.csv");
                f.write("inputs.csv", t.lines().next().expect("a header").as_bytes());
                usual()
            },
            &["inputs.csv", "no rows"],
        ),
        case(
            "no time column",
            |f| {
                replace(f, "inputs.csv", "t_s", "time");
                usual()
            },
            &["inputs.csv", "t_s"],
        ),
        case(
            "no header",
            |f| {
                let t = f.text("inputs.csv");
                f.write(
                    "inputs.csv",
                    t.split_once('\n').expect("lines").1.as_bytes(),
                );
                usual()
            },
            &["inputs.csv:1", "header"],
        ),
        case(
            "missing column",
            |f| {
                replace(f, "inputs.csv", "torque_pct", "torq_pct");
                usual()
            },
            &["inputs.csv", "torque_pct", "--allow-missing"],
        ),
        case(
            "column twice",
            |f| {
                replace(f, "inputs.csv", "pitch_deg", "roll_deg");
                usual()
            },
            &["inputs.csv", "roll_deg", "twice"],
        ),
        case(
            "word for a value",
            |f| {
                set_rotor(f, 5, "fast");
                usual()
            },
            &["inputs.csv:5", "rotor_speed_pct", "fast"],
        ),
        case(
            "NaN",
            |f| {
                set_rotor(f, 6, "NaN");
                usual()
            },
            &["inputs.csv:6", "rotor_speed_pct", "NaN"],
        ),
        case(
            "infinite",
            |f| {
                set_rotor(f, 6, "-inf");
                usual()
            },
            &["inputs.csv:6", "rotor_speed_pct", "-inf"],
        ),
        case(
            "too large",
            |f| {
                set_rotor(f, 6, "1e999");
                usual()
            },
            &["inputs.csv:6", "rotor_speed_pct", "1e999"],
        ),
        case(
            "decimal comma",
            |f| {
                set_rotor(f, 7, "\"99,5\"");
                usual()
            },
            &["inputs.csv:7", "rotor_speed_pct", "decimal"],
        ),
        case(
            "row cut off",
            |f| {
                set_line(f, "inputs.csv", 8, |l| l[..20].into());
                usual()
            },
            &["inputs.csv:8", "fields"],
        ),
        case(
            "time repeats",
            |f| {
                set_time(f, 4, "0.02");
                usual()
            },
            &["inputs.csv:4", "t_s", "0.02"],
        ),
        case(
            "time falls",
            |f| {
                set_time(f, 9, "0.01");
                usual()
            },
            &["inputs.csv:9", "t_s", "0.01"],
        ),
        case(
            "time is a word",
            |f| {
                set_time(f, 9, "12:00:01");
                usual()
            },
            &["inputs.csv:9", "t_s", "12:00:01"],
        ),
        case(
            "time is empty",
            |f| {
                set_time(f, 9, "");
                usual()
            },
            &["inputs.csv:9", "t_s", "empty"],
        ),
        case(
            "other separator",
            |f| {
                let t = f.text("inputs.csv").replace(',', ";");
                f.write("inputs.csv", t.as_bytes());
                usual()
            },
            &["inputs.csv", ";"],
        ),
        case(
            "UTF-16",
            |f| {
                let t: Vec<u8> = [0xff, 0xfe]
                    .into_iter()
                    .chain(
                        f.text("inputs.csv")
                            .encode_utf16()
                            .flat_map(u16::to_le_bytes),
                    )
                    .collect();
                f.write("inputs.csv", &t);
                usual()
            },
            &["inputs.csv", "UTF-16"],
        ),
        case(
            "no text",
            |f| {
                let b = f.read("clip.y4m");
                f.write("inputs.csv", &b[b.len() / 2..]);
                usual()
            },
            &["inputs.csv"],
        ),
    ]
}

fn captures() -> Vec<Case> {
    vec![
        case("no capture", |_| of_capture("none.y4m"), &["none.y4m"]),
        case(
            "empty file",
            |f| {
                f.write("clip.y4m", b"");
                usual()
            },
            &["clip.y4m", "empty"],
        ),
        case(
            "folder without PNG",
            |f| {
                f.write("bare/readme.txt", b"x");
                of_capture("bare")
            },
            &["bare", "*.png"],
        ),
        case(
            "cut in the header",
            |f| {
                let b = f.read("clip.y4m");
                f.write("clip.y4m", &b[..20]);
                usual()
            },
            &["clip.y4m", "header"],
        ),
        case(
            "header only",
            |f| {
                let b = f.read("clip.y4m");
                let end = b.iter().position(|c| *c == b'\n').expect("a line");
                f.write("clip.y4m", &b[..=end]);
                usual()
            },
            &["clip.y4m", "no frames"],
        ),
        case(
            "header without a width",
            |f| {
                let b = f.read("clip.y4m");
                let t = String::from_utf8_lossy(&b[..40]).replace("W480", "W0");
                f.write("clip.y4m", &[t.as_bytes(), &b[40..]].concat());
                usual()
            },
            &["clip.y4m", "0"],
        ),
        case(
            "header of another size",
            |f| {
                let b = f.read("clip.y4m");
                let t = String::from_utf8_lossy(&b[..40]).replace("W480", "W640");
                f.write("clip.y4m", &[t.as_bytes(), &b[40..]].concat());
                usual()
            },
            &["clip.y4m", "640x272", "480x272"],
        ),
        case(
            "header of a huge size",
            |f| {
                let b = f.read("clip.y4m");
                let t = String::from_utf8_lossy(&b[..40]).replace("W480", "W99999999999999999999");
                f.write("clip.y4m", &[t.as_bytes(), &b[40..]].concat());
                usual()
            },
            &["clip.y4m", "99999999999999999999"],
        ),
        case(
            "format of ten bits",
            |f| {
                let b = f.read("clip.y4m");
                let end = b.iter().position(|c| *c == b'\n').expect("a line");
                f.write(
                    "clip.y4m",
                    &[b"YUV4MPEG2 W480 H272 F25:1 C420p10", &b[end..]].concat(),
                );
                usual()
            },
            &["clip.y4m", "420p10"],
        ),
        case(
            "a video without ffmpeg",
            |f| {
                f.write("clip.mp4", b"\0\0\0\x18ftypisom\0\0\x02\0isomiso2");
                with_capture("clip.mp4", &["--ffmpeg", "/nonexistent/ffmpeg"])
            },
            &["clip.mp4", "ffmpeg", "PNG", "YUV4MPEG2"],
        ),
        case(
            "raw without a size",
            |_| of_capture("-"),
            &["standard input", "no frames"],
        ),
        case(
            "raw without a rate",
            |_| with_capture("-", &["--raw", "480x272"]),
            &["--fps"],
        ),
        case(
            "YUV4MPEG2 as raw",
            |_| with_capture("clip.y4m", &["--raw", "480x272", "--fps", "25"]),
            &["YUV4MPEG2", "--raw"],
        ),
        case(
            "grey where the display has colors",
            |f| {
                let mut clip = b"YUV4MPEG2 W480 H272 F25:1 Cmono\nFRAME\n".to_vec();
                clip.resize(clip.len() + 480 * 272, 16);
                f.write("clip.y4m", &clip);
                of_capture("clip.y4m")
            },
            &["grey", "color"],
        ),
        case(
            "raw of another size",
            |_| with_capture("-", &["--raw", "64x48", "--fps", "25"]),
            &["64x48", "480x272"],
        ),
        case(
            "raw of nothing",
            |_| with_capture("-", &["--raw", "480x272", "--fps", "25"]),
            &["no frames"],
        ),
        case(
            "times of files that are not there",
            |f| {
                f.write(
                    "frames/times.csv",
                    b"file,time_s\nframe_000000.png,0\nframe_000077.png,0.04\n",
                );
                of_capture("frames")
            },
            &["frame_000077.png"],
        ),
        case(
            "times that fall",
            |f| {
                f.write(
                    "frames/times.csv",
                    b"file,time_s\nframe_000000.png,0.08\nframe_000001.png,0.04\n",
                );
                of_capture("frames")
            },
            &["times.csv", ":3"],
        ),
        case(
            "times that are words",
            |f| {
                f.write("frames/times.csv", b"file,time_s\nframe_000000.png,early\n");
                of_capture("frames")
            },
            &["times.csv", ":2", "early"],
        ),
        case(
            "times that are not finite",
            |f| {
                f.write("frames/times.csv", b"file,time_s\nframe_000000.png,NaN\n");
                of_capture("frames")
            },
            &["times.csv", ":2", "NaN"],
        ),
        case(
            "times without a header",
            |f| {
                f.write("frames/times.csv", b"frame_000000.png,0\n");
                of_capture("frames")
            },
            &["times.csv", "file,time_s"],
        ),
        case(
            "first PNG is damaged",
            |f| {
                f.write("frames/frame_000000.png", b"\x89PNG\r\n\x1a\nxxxx");
                of_capture("frames")
            },
            &["frame_000000.png"],
        ),
    ]
}

fn with_capture(name: &'static str, more: &[&'static str]) -> Vec<&'static str> {
    let mut out = of_capture(name);
    out.extend(more);
    out
}

const PROFILE: &str = r#"{"profile_version": 1, "width": 64}"#;

fn arguments() -> Vec<Case> {
    vec![
        case(
            "offset is a word",
            |_| with(&["--offset", "soon"]),
            &["soon", "--offset"],
        ),
        case(
            "offset is infinite",
            |_| with(&["--offset", "inf"]),
            &["inf", "--offset"],
        ),
        case(
            "offset beyond all times",
            |_| with(&["--offset", "1e300"]),
            &["1e300", "--offset", "1e10"],
        ),
        case("no frames a second", |_| with(&["--fps", "0"]), &["0"]),
        case(
            "fewer than no frames a second",
            |_| with(&["--fps=-25"]),
            &["-25"],
        ),
        case(
            "size is a word",
            |_| with_capture("-", &["--raw", "big", "--fps", "25"]),
            &["big"],
        ),
        case(
            "unknown matrix",
            |_| with_capture("clip.y4m", &["--matrix", "bt2020"]),
            &["bt2020", "bt709"],
        ),
        case(
            "profile that is not there",
            |_| with(&["--profile", "none.json"]),
            &["none.json"],
        ),
        case(
            "profile is no JSON",
            |f| {
                f.write("p.json", b"shift: 1");
                with(&["--profile", "p.json"])
            },
            &["p.json"],
        ),
        case(
            "profile cut off",
            |f| {
                f.write("p.json", PROFILE.as_bytes());
                with(&["--profile", "p.json"])
            },
            &["p.json"],
        ),
        case(
            "results where a file is",
            |f| {
                f.write("out", b"a file");
                usual()
            },
            &["out"],
        ),
        case(
            "drawing at no rate",
            |_| {
                vec![
                    "draw",
                    "--display",
                    "display.toml",
                    "--inputs",
                    "inputs.csv",
                    "--fps",
                    "0",
                    "--format",
                    "png",
                    "--out",
                    "x",
                ]
            },
            &["0", "--fps"],
        ),
        case(
            "drawing backwards",
            |_| {
                vec![
                    "draw",
                    "--display",
                    "display.toml",
                    "--inputs",
                    "inputs.csv",
                    "--fps",
                    "5",
                    "--from",
                    "2",
                    "--to",
                    "1",
                    "--format",
                    "png",
                    "--out",
                    "x",
                ]
            },
            &["--from 2", "--to 1"],
        ),
        case(
            "drawing past the end",
            |_| {
                vec![
                    "draw",
                    "--display",
                    "display.toml",
                    "--inputs",
                    "inputs.csv",
                    "--fps",
                    "5",
                    "--from",
                    "500",
                    "--to",
                    "501",
                    "--format",
                    "png",
                    "--out",
                    "x",
                ]
            },
            &["500", "nothing to draw"],
        ),
    ]
}

fn assert_refused(case: &Case, ran: &Ran) -> Result<(), String> {
    let said = &ran.stderr;
    if ran.status != 2 {
        return Err(format!(
            "{}: status {}: {said}{}",
            case.name, ran.status, ran.stdout
        ));
    }
    if said.contains("panicked") || said.contains("RUST_BACKTRACE") {
        return Err(format!("{}: panic: {said}", case.name));
    }
    match case.words.iter().find(|w| !said.contains(**w)) {
        Some(word) => Err(format!("{}: {word:?} is not said: {said}", case.name)),
        None => Ok(()),
    }
}

fn all_are_refused(cases: &[Case], needs_folder: bool) {
    let mut complaints = Vec::new();
    let base = Files::new();
    let base = if needs_folder {
        base.with_folder()
    } else {
        base
    };
    let good = crate::bench::all_bytes(base.folder.path());
    for case in cases {
        let files = Files {
            folder: tempfile::tempdir().expect("there is room for files"),
        };
        for (name, bytes) in &good {
            files.write(name, bytes);
        }
        let arguments = (case.damage)(&files);
        let ran = files.run(&arguments);
        complaints.extend(assert_refused(case, &ran).err());
    }
    assert!(
        complaints.is_empty(),
        "{} of {}:\n{}",
        complaints.len(),
        cases.len(),
        complaints.join("\n")
    );
}

#[test]
fn damaged_definitions_are_refused_with_their_place() {
    all_are_refused(&definitions(), false);
}

#[test]
fn damaged_recordings_are_refused_with_their_place() {
    all_are_refused(&recordings(), false);
}

#[test]
fn damaged_captures_are_refused_with_their_place() {
    all_are_refused(&captures(), true);
}

#[test]
fn senseless_arguments_are_refused() {
    all_are_refused(&arguments(), false);
}

#[test]
fn there_are_many_kinds_of_damage_with_names_of_their_own() {
    let all = [definitions(), recordings(), captures(), arguments()].concat_names();
    let distinct: std::collections::BTreeSet<_> = all.iter().collect();
    assert_eq!(distinct.len(), all.len());
    assert!(all.len() >= 40, "{}", all.len());
}

trait Names {
    fn concat_names(&self) -> Vec<&'static str>;
}

impl Names for [Vec<Case>; 4] {
    fn concat_names(&self) -> Vec<&'static str> {
        self.iter().flatten().map(|c| c.name).collect()
    }
}

/// The frames before the damage stand in the results, and the summary says why the check ended.
fn judged_before(files: &Files, ran: &Ran, judged: usize, words: &[&str]) {
    assert_eq!(ran.status, 2, "{}{}", ran.stdout, ran.stderr);
    assert!(!ran.stderr.contains("panicked"), "{}", ran.stderr);
    let frames = files.frames();
    assert_eq!(frames.len(), judged, "{}", ran.stderr);
    for frame in &frames {
        assert!(
            ["agrees", "blind"].iter().any(|v| frame["verdict"] == *v),
            "{frame}"
        );
    }
    let summary = files.json("out/summary.json");
    assert_eq!(summary["result"], "not judged");
    assert_eq!(summary["frames"], judged);
    let error = summary["error"].as_str().expect("the summary says why");
    for word in words {
        assert!(error.contains(word), "{word:?} in {error}");
        assert!(ran.stderr.contains(word), "{word:?} in {}", ran.stderr);
    }
}

#[test]
fn a_stream_that_ends_within_a_frame_is_judged_up_to_there() {
    let files = Files::new();
    let bytes = files.read("clip.y4m");
    files.write("clip.y4m", &bytes[..bytes.len() - 1000]);
    let ran = files.run(&usual());
    let last = format!("frame {}", CLIP_FRAMES - 1);
    judged_before(&files, &ran, CLIP_FRAMES - 1, &["clip.y4m", &last]);
}

#[test]
fn a_damaged_frame_mark_is_judged_up_to_there() {
    let files = Files::new();
    let mut bytes = files.read("clip.y4m");
    let marks: Vec<usize> = (0..bytes.len() - 6)
        .filter(|k| &bytes[*k..*k + 6] == b"FRAME\n")
        .collect();
    assert_eq!(marks.len(), CLIP_FRAMES);
    bytes[marks[9]] = b'X';
    files.write("clip.y4m", &bytes);
    let ran = files.run(&usual());
    judged_before(&files, &ran, 9, &["clip.y4m", "frame 9"]);
}

#[test]
fn a_png_of_another_size_is_judged_up_to_there() {
    let files = Files::new().with_folder();
    let small = image::RgbImage::new(320, 240);
    small
        .save(files.path("frames/frame_000008.png"))
        .expect("there is room for a file");
    let ran = files.run(&of_capture("frames"));
    judged_before(
        &files,
        &ran,
        8,
        &["frame_000008.png", "frame 8", "320x240", "480x272"],
    );
}

#[test]
fn a_damaged_png_is_judged_up_to_there() {
    let files = Files::new().with_folder();
    let bytes = files.read("frames/frame_000010.png");
    files.write("frames/frame_000010.png", &bytes[..bytes.len() / 2]);
    let ran = files.run(&of_capture("frames"));
    judged_before(&files, &ran, 10, &["frame_000010.png", "frame 10"]);
}

#[test]
fn raw_frames_that_end_early_are_judged_up_to_there() {
    let files = Files::new().with_folder();
    let mut raw = Vec::new();
    for k in 0..CLIP_FRAMES {
        let path = files.path(&format!("frames/frame_{k:06}.png"));
        raw.extend(
            image::open(path)
                .expect("it was drawn")
                .into_rgb8()
                .into_raw(),
        );
    }
    raw.truncate(raw.len() - 7);
    let arguments = with_capture("-", &["--raw", "480x272", "--fps", "25"]);
    let ran = files.run_with(&arguments, &raw, &[]);
    let last = format!("frame {}", CLIP_FRAMES - 1);
    judged_before(&files, &ran, CLIP_FRAMES - 1, &[&last]);
}

#[test]
fn a_clip_cut_anywhere_is_never_a_pass_and_never_a_panic() {
    let files = Files::new();
    let bytes = files.read("clip.y4m");
    // Lengths spread over header, first frames and later ones.
    let frame = (bytes.len() - 60) / CLIP_FRAMES;
    for length in [
        0,
        1,
        9,
        10,
        30,
        59,
        66,
        200,
        frame / 2,
        frame + 70,
        5 * frame / 2,
    ] {
        files.write("clip.y4m", &bytes[..length]);
        let ran = files.run(&usual());
        assert_eq!(
            ran.status, 2,
            "{length} bytes: {}{}",
            ran.stdout, ran.stderr
        );
        assert!(!ran.stderr.contains("panicked"), "{length}: {}", ran.stderr);
    }
}

/// One mistake, a recording in the place of the definition, makes a problem of every line.
#[test]
fn many_problems_are_not_all_listed() {
    let files = Files::new();
    let ran = files.run(&["lint", "--display", "inputs.csv"]);
    assert_eq!(ran.status, 2);
    assert!(
        ran.stderr.lines().count() < 80,
        "{}",
        ran.stderr.lines().count()
    );
    assert!(ran.stderr.contains("inputs.csv:1"), "{}", ran.stderr);
}

#[test]
fn files_of_others_in_the_result_folder_are_left_alone() {
    let files = Files::new();
    files.write("out/events/notes.txt", b"mine");
    files.write("out/frames.txt", b"mine too");
    let ran = files.check("clip.y4m", &["--matrix", "bt709"]);
    assert_eq!(ran.status, 2, "{}{}", ran.stdout, ran.stderr);
    let said = ["notes.txt", "--out"];
    assert!(
        said.iter().all(|s| ran.stderr.contains(s)),
        "{}",
        ran.stderr
    );
    assert_eq!(files.read("out/events/notes.txt"), b"mine");
    std::fs::remove_file(files.path("out/events/notes.txt")).expect("it is there");
    // Pictures of an earlier check make room.
    files.write("out/events/event_0000_blank_frame.png", b"old");
    let ran = files.check("clip.y4m", &["--matrix", "bt709"]);
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    assert!(!files.path("out/events").exists());
    assert_eq!(files.read("out/frames.txt"), b"mine too");
}

#[test]
fn frames_of_a_longer_drawing_are_not_mixed_with_a_shorter_one() {
    let files = Files::new().with_folder();
    let draw = |to: &'static str| {
        let mut words = vec![
            "draw",
            "--display",
            "display.toml",
            "--inputs",
            "inputs.csv",
        ];
        words.extend([
            "--fps", "25", "--from", "0", "--to", to, "--format", "png", "--out", "frames",
        ]);
        files.run(&words)
    };
    let before = files.read("frames/times.csv");
    let ran = draw("0.2");
    assert_eq!(ran.status, 2, "{}", ran.stdout);
    let said = ["frame_0000", "--out"];
    assert!(
        said.iter().all(|s| ran.stderr.contains(s)),
        "{}",
        ran.stderr
    );
    assert_eq!(files.read("frames/times.csv"), before);
    assert_eq!(draw("0.52").status, 0);
    // Beyond the recording's end, with a word about it.
    let ran = draw("3.2");
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    assert!(
        ran.stdout.contains("outside the recording"),
        "{}",
        ran.stdout
    );
}
