//! How long it takes to check an H.264 file with the program, against the bare decoding of that file by the same
//! `ffmpeg` in the same run: elapsed with all threads, and processor time of everything that was started.
//!
//! The file is the demo's scenario without faults, from the stand-in unit, H.264 4:2:0 crf 23. Without an `ffmpeg`
//! on the PATH it says so and measures nothing.
//!
//! `cargo bench --bench end_to_end`

#![expect(clippy::disallowed_methods, reason = "a bench reads the clock")]

use std::io::{BufWriter, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use criterion::{Criterion, criterion_group, criterion_main};
use framevouch::capture::CapturedFrame;
use framevouch::definition::Definition;
use framevouch::demo::unit::{Plan, Unit};
use framevouch::demo::{DISPLAY, scenario};
use framevouch::recording::{MissingColumns, Recording};

/// Frames of the file.
const FRAMES: usize = 500;
/// Runs of each for the ratios that are printed; the fastest elapsed and the least processor time count.
const RUNS: usize = 3;

/// The options of a raw picture on a pipe.
const RAW: [&str; 6] = ["-f", "rawvideo", "-pix_fmt", "yuv420p", "-s", "1024x768"];
const CODED: [&str; 8] = [
    "-c:v", "libx264", "-crf", "23", "-preset", "veryfast", "-pix_fmt", "yuv420p",
];
/// What the demo's unit delivers.
const MARKS: [&str; 6] = [
    "-color_range",
    "tv",
    "-colorspace",
    "bt709",
    "-chroma_sample_location",
    "center",
];

/// Writes display, inputs and video into `folder`.
fn make(folder: &Path) {
    let definition = Definition::from_toml(DISPLAY, "demo", folder).expect("the demo's definition");
    let inputs = scenario::inputs_csv();
    let recording = Recording::from_reader(
        inputs.as_bytes(),
        "demo",
        &definition,
        MissingColumns::Refuse,
    )
    .expect("the demo's recording");
    std::fs::write(folder.join("display.toml"), DISPLAY).expect("the folder can be written");
    std::fs::write(folder.join("inputs.csv"), inputs).expect("the folder can be written");
    let plan = Plan::default();
    let rate = plan.frames_per_s().to_string();
    let mut child = Command::new("ffmpeg")
        .args(["-v", "error", "-y"])
        .args(RAW)
        .args(["-r", &rate, "-i", "-"])
        .args(CODED)
        .args(MARKS)
        .arg(folder.join("video.mp4"))
        .stdin(Stdio::piped())
        .spawn()
        .expect("ffmpeg starts");
    let mut pipe = BufWriter::new(child.stdin.take().expect("it was piped"));
    let mut unit = Unit::new(&definition, &recording, plan, Vec::new());
    let mut picture = CapturedFrame::new().picture;
    for _ in 0..FRAMES {
        unit.next_frame(&mut picture)
            .expect("the scenario is long enough");
        for plane in picture.planes() {
            pipe.write_all(plane.levels()).expect("ffmpeg takes frames");
        }
    }
    drop(pipe);
    assert!(child.wait().expect("ffmpeg ends").success());
}

fn decode(folder: &Path) {
    let done = Command::new("ffmpeg")
        .args(["-v", "error", "-i"])
        .arg(folder.join("video.mp4"))
        .args(["-f", "null", "-"])
        .status()
        .expect("ffmpeg starts");
    assert!(done.success());
}

fn check(folder: &Path) {
    let done = Command::new(env!("CARGO_BIN_EXE_framevouch"))
        .args(["check", "--offset", "0", "--quiet", "--display"])
        .arg(folder.join("display.toml"))
        .arg("--inputs")
        .arg(folder.join("inputs.csv"))
        .arg("--capture")
        .arg(folder.join("video.mp4"))
        .arg("--out")
        .arg(folder.join("out"))
        .stdout(Stdio::null())
        .status()
        .expect("the program starts");
    assert_eq!(done.code(), Some(0), "clean video agrees");
}

/// Processor time of ended children so far, in ticks; their ended children are among them. Linux alone has it.
fn children_ticks() -> Option<u64> {
    let text = std::fs::read_to_string("/proc/self/stat").ok()?;
    // The program's name, in brackets, may hold spaces.
    let fields: Vec<&str> = text.rsplit_once(')')?.1.split_whitespace().collect();
    Some(fields.get(13)?.parse::<u64>().ok()? + fields.get(14)?.parse::<u64>().ok()?)
}

/// Elapsed time of the fastest run, and the least processor time, ticks.
fn best_of(run: impl Fn()) -> (Duration, Option<u64>) {
    let mut best = (Duration::MAX, None);
    for _ in 0..RUNS {
        let (start, before) = (Instant::now(), children_ticks());
        run();
        let spent = children_ticks()
            .zip(before)
            .map(|(after, before)| after - before);
        best.0 = best.0.min(start.elapsed());
        best.1 = spent.into_iter().chain(best.1).min();
    }
    best
}

fn end_to_end(c: &mut Criterion) {
    let has_ffmpeg = Command::new("ffmpeg")
        .arg("-version")
        .stdout(Stdio::null())
        .status()
        .is_ok_and(|s| s.success());
    if !has_ffmpeg {
        println!("no ffmpeg on the PATH: nothing is measured");
        return;
    }
    let folder = tempfile::tempdir().expect("a folder for the file");
    let folder = folder.path();
    make(folder);
    let ((decoded, decoded_ticks), (checked, checked_ticks)) =
        (best_of(|| decode(folder)), best_of(|| check(folder)));
    println!(
        "{FRAMES} frames: elapsed {:.2} times bare decoding ({:.2} s, {:.2} s)",
        checked.as_secs_f64() / decoded.as_secs_f64(),
        checked.as_secs_f64(),
        decoded.as_secs_f64(),
    );
    if let (Some(checked), Some(decoded)) = (checked_ticks, decoded_ticks) {
        println!(
            "{FRAMES} frames: processor time {:.2} times bare decoding ({checked} and {decoded} ticks)",
            checked as f64 / decoded as f64
        );
    }
    let mut group = c.benchmark_group("end_to_end");
    group.sample_size(10);
    group.bench_function("bare_decoding", |b| b.iter(|| decode(folder)));
    group.bench_function("check", |b| b.iter(|| check(folder)));
    group.finish();
}

criterion_group!(benches, end_to_end);
criterion_main!(benches);
