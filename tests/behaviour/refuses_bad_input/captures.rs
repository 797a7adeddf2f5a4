//! Damaged captures.

use super::*;

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
