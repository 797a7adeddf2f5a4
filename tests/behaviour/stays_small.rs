//! Memory does not grow with the length of the video.
#![cfg(target_os = "linux")]

use std::fs;
use std::io::Write;
use std::process::{Command, Stdio};

use framevouch::definition::Definition;
use framevouch::recording::inputs::Inputs;
use framevouch::recording::{MissingColumns, Recording};
use framevouch::reference::drawing::Drawing;
use framevouch::reference::painter::Painter;

use crate::bench::{Files, RATE_HZ, check_arguments, inputs_until};

/// Frames by which all buffers have their size, and of the whole stream.
const WARM: u32 = 400;
const FRAMES: u32 = 1700;
/// What may be added in between, kB. One frame is 392 kB.
const GROWTH_KB: u64 = 2000;

/// The most memory that a process has held so far, kB.
fn peak_kb(process: u32) -> u64 {
    let status = fs::read_to_string(format!("/proc/{process}/status")).expect("it runs");
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    let words = line.expect("Linux says so").split_whitespace().next();
    words.and_then(|w| w.parse().ok()).expect("it is a number")
}

#[test]
fn a_long_stream_takes_no_more_memory_than_a_short_one() {
    let files = Files::new();
    let inputs_csv = inputs_until(f64::from(FRAMES) / f64::from(RATE_HZ));
    files.write("inputs.csv", inputs_csv.as_bytes());
    let definition = Definition::load(&files.path("display.toml")).expect("the bundled display");
    let recording = Recording::from_reader(
        inputs_csv.as_bytes(),
        "inputs.csv",
        &definition,
        MissingColumns::Refuse,
    )
    .expect("the scenario has all columns");
    assert_eq!(definition.size(), (480, 272));
    let mut child = Command::new(env!("CARGO_BIN_EXE_framevouch"))
        .args(check_arguments("-"))
        .args(["--raw", "480x272", "--fps", "25", "--offset", "0"])
        .current_dir(files.folder.path())
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .spawn()
        .expect("the program was built");
    let mut pipe = child.stdin.take().expect("it was asked for");
    let drawing = Drawing::new(&definition);
    let (mut painter, mut inputs) = (Painter::new(), Inputs::default());
    let mut warm_kb = 0;
    for n in 0..FRAMES {
        recording.inputs_at(f64::from(n) / f64::from(RATE_HZ), &mut inputs);
        let frame = drawing.frame(&definition, &inputs, &mut painter);
        pipe.write_all(&frame.interleaved()).expect("it reads on");
        if n == WARM {
            warm_kb = peak_kb(child.id());
        }
    }
    let end_kb = peak_kb(child.id());
    drop(pipe);
    let status = child.wait().expect("it ends");
    assert_eq!(status.code(), Some(0), "the reference agrees with itself");
    assert_eq!(files.frames().len(), FRAMES as usize);
    assert!(
        end_kb < warm_kb + GROWTH_KB,
        "{warm_kb} kB after {WARM} frames, {end_kb} kB after {FRAMES}"
    );
}
