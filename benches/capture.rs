//! How long it takes to get frames: raw RGB into planes, and H.264 through `ffmpeg` beside bare decoding
//! by the same program. Elapsed time; the second part is left out where there is no `ffmpeg`.
//!
//! `cargo bench --bench capture`

use std::io::Cursor;
use std::path::Path;
use std::process::Command;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use framevouch::capture::{Capture, CapturedFrame, OpenOptions, RawFormat, ReadAhead};

const SIZE: (usize, usize) = (1024, 768);
const FRAMES: usize = 20;

fn raw_rgb(c: &mut Criterion) {
    let bytes: Vec<u8> = (0..3 * SIZE.0 * SIZE.1 * FRAMES)
        .map(|k| (k * 7 % 251) as u8)
        .collect();
    let options = OpenOptions {
        raw: Some(RawFormat {
            width: SIZE.0,
            height: SIZE.1,
            fps: 25.0,
        }),
        ..OpenOptions::default()
    };
    let mut group = c.benchmark_group("raw_rgb");
    group.sample_size(10);
    group.throughput(Throughput::Elements(FRAMES as u64));
    group.bench_function("read", |b| {
        b.iter(|| {
            let source = Box::new(Cursor::new(bytes.clone()));
            let mut capture = Capture::from_reader(source, "raw", &options).expect("it is raw RGB");
            let mut frame = CapturedFrame::new();
            while capture.next_into(&mut frame).expect("all frames are whole") {}
        });
    });
    group.finish();
}

fn ffmpeg(arguments: &[&str]) -> bool {
    Command::new("ffmpeg")
        .args(["-nostdin", "-v", "error", "-y"])
        .args(arguments)
        .status()
        .is_ok_and(|s| s.success())
}

fn h264(c: &mut Criterion) {
    let folder = tempfile::tempdir().expect("there is room for a clip");
    let path = folder.path().join("clip.mp4");
    let path: &Path = &path;
    let name = path.to_str().expect("names of temporary folders are plain");
    let picture = "testsrc2=s=1024x768:r=25:d=4";
    let coded = ["-c:v", "libx264", "-crf", "18", "-pix_fmt", "yuv420p", name];
    if !ffmpeg(&[&["-f", "lavfi", "-i", picture], &coded[..]].concat()) {
        println!("no ffmpeg with H.264: left out");
        return;
    }
    let mut group = c.benchmark_group("h264");
    group.sample_size(10);
    group.bench_function("bare_decoding", |b| {
        b.iter(|| assert!(ffmpeg(&["-i", name, "-f", "null", "-"])));
    });
    group.bench_function("read_ahead", |b| {
        b.iter(|| {
            let capture = Capture::open(path, &OpenOptions::default()).expect("it is a video");
            let mut ahead = ReadAhead::start(capture, ReadAhead::DEPTH_DEFAULT);
            let mut frame = CapturedFrame::new();
            while ahead.next_into(&mut frame).expect("the clip is whole") {}
        });
    });
    group.finish();
}

criterion_group!(benches, raw_rgb, h264);
criterion_main!(benches);
