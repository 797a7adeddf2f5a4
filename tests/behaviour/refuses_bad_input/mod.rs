//! Damaged definitions, recordings and captures: exit status 2, the place of the damage, no panic; and
//! the frames before the damage are judged.

mod arguments;
mod captures;
mod definitions;
mod recordings;

use crate::bench::{CLIP_FRAMES, Files, Ran, check_arguments, of_inputs};

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

fn with_capture(name: &'static str, more: &[&'static str]) -> Vec<&'static str> {
    let mut out = of_capture(name);
    out.extend(more);
    out
}

fn drawing(more: &[&'static str]) -> Vec<&'static str> {
    let mut words = of_inputs("draw");
    words.extend(more);
    words
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
    all_are_refused(&definitions::cases(), false);
}

#[test]
fn damaged_recordings_are_refused_with_their_place() {
    all_are_refused(&recordings::cases(), false);
}

#[test]
fn damaged_captures_are_refused_with_their_place() {
    all_are_refused(&captures::cases(), true);
}

#[test]
fn captures_without_end_are_given_up() {
    all_are_refused(&captures::cases_without_end(), true);
}

#[test]
fn senseless_arguments_are_refused() {
    all_are_refused(&arguments::cases(), false);
}

#[test]
fn there_are_many_kinds_of_damage_with_names_of_their_own() {
    let all = [
        definitions::cases(),
        recordings::cases(),
        captures::cases(),
        captures::cases_without_end(),
        arguments::cases(),
    ]
    .concat_names();
    let distinct: std::collections::BTreeSet<_> = all.iter().collect();
    assert_eq!(distinct.len(), all.len());
    assert!(all.len() >= 40, "{}", all.len());
}

trait Names {
    fn concat_names(&self) -> Vec<&'static str>;
}

impl Names for [Vec<Case>; 5] {
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
    let mut raw = files.raw_frames();
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
