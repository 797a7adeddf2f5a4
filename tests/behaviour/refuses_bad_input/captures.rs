//! Damaged captures.

use std::fs::File;
use std::process::{Command, Stdio};

use super::*;

/// A program in the place of `ffmpeg` that does not do what `ffmpeg` does.
macro_rules! program {
    ($name:literal) => {
        concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/tests/behaviour/refuses_bad_input/programs/",
            $name
        )
    };
}

/// What a check is told that runs such a program; it is waited for so long and no longer.
fn with_program(files: &Files, path: &'static str) -> Vec<&'static str> {
    files.write("clip.mp4", b"\0\0\0\x18ftypisom\0\0\x02\0isomiso2");
    with_capture("clip.mp4", &["--ffmpeg", path, "--ffmpeg-timeout", "0.5"])
}

/// Puts a pipe that nobody writes to in the place of a file.
fn put_pipe(files: &Files, name: &str) {
    let path = files.path(name);
    let _ = std::fs::remove_file(&path);
    let made = Command::new("mkfifo").arg(&path).status();
    assert!(made.expect("mkfifo is there").success());
}

/// Makes a file as long as `bytes`, after what it holds; it takes no room.
fn lengthen(files: &Files, name: &str, bytes: u64) {
    let file = File::options()
        .append(true)
        .create(true)
        .open(files.path(name));
    let file = file.expect("there is room for files");
    file.set_len(bytes).expect("it takes no room");
}

/// What never ends or never answers. Up to c5def52 these were waited for without end, or filled memory: a picture of
/// 3 GB took 3.2 GB, a description without end 2 GB.
pub(super) fn cases_without_end() -> Vec<Case> {
    vec![
        case(
            "a pipe as a capture",
            |f| {
                put_pipe(f, "pipe");
                with_capture("pipe", &["--raw", "480x272", "--fps", "25"])
            },
            &["pipe", "is a named pipe, not a regular file"],
        ),
        case(
            "a pipe as a picture",
            |f| {
                put_pipe(f, "frames/frame_000003.png");
                of_capture("frames")
            },
            &["frame_000003.png", "is a named pipe, not a regular file"],
        ),
        case(
            "a pipe as a table of times",
            |f| {
                put_pipe(f, "frames/times.csv");
                of_capture("frames")
            },
            &["times.csv", "is a named pipe, not a regular file"],
        ),
        case(
            "a picture of 3 GB",
            |f| {
                lengthen(f, "frames/frame_000003.png", 3 << 30);
                of_capture("frames")
            },
            &["frame 3 ", "frame_000003.png", "more than 104857600 bytes"],
        ),
        case(
            "a table of times of 3 GB",
            |f| {
                lengthen(f, "frames/times.csv", 3 << 30);
                of_capture("frames")
            },
            &["times.csv", "more than 16777216 bytes"],
        ),
        case(
            "a profile without end",
            |_| with(&["--profile", "/dev/zero"]),
            &["/dev/zero", "is a device, not a regular file"],
        ),
        case(
            "a profile of 3 GB",
            |f| {
                lengthen(f, "profile.json", 3 << 30);
                with(&["--profile", "profile.json"])
            },
            &["profile.json", "more than 1048576 bytes"],
        ),
        case(
            "a decoder that never answers",
            |f| with_program(f, program!("silent")),
            &["clip.mp4", "nothing came for 0.5 s", "--ffmpeg-timeout"],
        ),
        case(
            "a decoder that describes without end",
            |f| with_program(f, program!("endless")),
            &["clip.mp4", "more than 4194304 bytes", "is it ffmpeg?"],
        ),
        case(
            "a decoder that gives no picture",
            |f| with_program(f, program!("stalled")),
            &["clip.mp4", "frame 0", "nothing came for 0.5 s"],
        ),
        case(
            "a decoder that gives headers only",
            |f| with_program(f, program!("headers")),
            &["clip.mp4", "frame 0", "headers follow headers without end"],
        ),
    ]
}

/// Before, the check waited for as long as the other end of the pipe was open.
#[test]
fn standard_input_that_stalls_ends_the_check_after_the_frames_so_far() {
    let files = Files::new().with_folder();
    let mut arguments = check_arguments("-");
    arguments.extend(["--raw", "480x272", "--fps", "25", "--ffmpeg-timeout", "0.5"]);
    let mut child = Command::new(env!("CARGO_BIN_EXE_framevouch"))
        .args(arguments)
        .current_dir(files.folder.path())
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program was built");
    let mut pipe = child.stdin.take().expect("it was asked for");
    std::io::Write::write_all(&mut pipe, &files.raw_frames()).expect("it reads all frames");
    // The pipe stays open until the check has ended.
    let ended = child.wait_with_output().expect("the check ends");
    drop(pipe);
    let said = String::from_utf8_lossy(&ended.stderr);
    assert_eq!(ended.status.code(), Some(2), "{said}");
    assert!(said.contains("nothing came for 0.5 s"), "{said}");
    assert!(said.contains("frame 14 of standard input"), "{said}");
    assert_eq!(files.frames().len(), CLIP_FRAMES);
}

pub(super) fn cases() -> Vec<Case> {
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
            "grey where the display has colours",
            |f| {
                let mut clip = b"YUV4MPEG2 W480 H272 F25:1 Cmono\nFRAME\n".to_vec();
                clip.resize(clip.len() + 480 * 272, 16);
                f.write("clip.y4m", &clip);
                of_capture("clip.y4m")
            },
            &["grey", "colour"],
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
