//! What `ffmpeg` is asked, and what it may open.
//!
//! Some formats are lists of other files: playlists, scripts, session descriptions, and names with a pattern in them.
//! What such a file says is opened would then be judged, and nobody would know what it held. So `ffmpeg` may open
//! files only, and read them only in formats that hold all that they show. External references of QuickTime files
//! are off in `ffmpeg` by default; such a file has no pictures.

use std::ffi::OsString;
use std::path::Path;
use std::process::{Command, Stdio};

use crate::capture::open::OpenOptions;
use crate::capture::probe::{Version, VideoStream};
use crate::picture::Range;

/// Ticks a second of the times that are asked for; see [`super`].
const TICKS: &str = "1/720720000";
/// What is added to times, s; see [`super`].
pub(super) const TIME_OFFSET_S: i64 = 86_400;

/// The formats that are read, in `ffmpeg`'s names. None of them refers to other files.
const FORMATS: &[&str] = &[
    // Containers.
    "mov",
    "mp4",
    "m4a",
    "3gp",
    "3g2",
    "mj2",
    "matroska",
    "webm",
    "avi",
    "mpegts",
    "mpegtsraw",
    "mpeg",
    "nut",
    "flv",
    "live_flv",
    "kux",
    "asf",
    "asf_o",
    "wtv",
    "mxf",
    "mxf_opatom",
    "gxf",
    "ogg",
    "rm",
    "swf",
    "nsv",
    "nuv",
    "pva",
    "lxf",
    "dhav",
    "ivf",
    "roq",
    "smk",
    "flic",
    // Video without a container.
    "h261",
    "h263",
    "h264",
    "hevc",
    "vvc",
    "m4v",
    "mpegvideo",
    "av1",
    "obu",
    "vc1",
    "vc1test",
    "dirac",
    "dnxhd",
    "cavsvideo",
    "avs2",
    "avs3",
    "dv",
    "mjpeg",
    "mjpeg_2000",
    "mpjpeg",
    "smjpeg",
    // Sound, of which is said that it has no pictures.
    "wav",
    "mp3",
    "aac",
    "flac",
    // Pictures one after the other in one file.
    "gif",
    "apng",
    "jpeg_pipe",
    "webp_pipe",
    "bmp_pipe",
];

/// The program, by itself: an interrupt at the terminal is for us to answer, who then close the results and end it.
fn program(options: &OpenOptions) -> Command {
    let mut command = Command::new(&options.ffmpeg);
    #[cfg(unix)]
    {
        use std::os::unix::process::CommandExt;
        command.process_group(0);
    }
    command
}

/// `ffmpeg`, made to read the file at `path` with the times that it holds.
pub(super) fn input(path: &Path, options: &OpenOptions) -> Command {
    let mut command = program(options);
    command.args(["-nostdin", "-v", "error", "-copyts"]);
    add_file(&mut command, path);
    command.stdin(Stdio::null());
    command
}

/// `ffmpeg`, made to describe the file at `path` on its error output.
pub(super) fn description(path: &Path, options: &OpenOptions) -> Command {
    let mut command = program(options);
    command.args(["-nostdin", "-v", "verbose"]);
    add_file(&mut command, path);
    command
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::piped());
    command
}

/// `ffmpeg`, made to write the pictures of `stream` to its output as NUT.
pub(super) fn decoding(
    path: &Path,
    options: &OpenOptions,
    stream: &VideoStream,
    version: &Version,
) -> Command {
    let mut command = program(options);
    command.args([
        "-nostdin",
        "-v",
        "error",
        "-xerror",
        "-err_detect",
        "explode",
        "-copyts",
    ]);
    add_file(&mut command, path);
    command.args(["-map", &format!("0:{}", stream.index), "-c:v", "rawvideo"]);
    if !stream.delivery.is_as_coded {
        // Left alone, the scaler turns full range into limited range. No dither: it is noise
        // that the display did not show.
        let range = if stream.range == Some(Range::Full) {
            "full"
        } else {
            "limited"
        };
        let flags = "flags=accurate_rnd+full_chroma_int+full_chroma_inp:sws_dither=none";
        command.args([
            "-vf",
            &format!("scale=in_range={range}:out_range={range}:{flags}"),
        ]);
    }
    command.args(["-pix_fmt", &stream.delivery.ask]);
    if version.is_at_least(5, 1) {
        command.args(["-fps_mode", "passthrough"]);
    } else {
        command.args(["-vsync", "0"]);
    }
    if version.is_at_least(4, 4) {
        command.args(["-autoscale", "0"]);
    }
    command.args([
        "-enc_time_base",
        TICKS,
        "-output_ts_offset",
        &TIME_OFFSET_S.to_string(),
    ]);
    command.args([
        "-avoid_negative_ts",
        "disabled",
        "-write_index",
        "0",
        "-f",
        "nut",
        "pipe:1",
    ]);
    command
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

fn add_file(command: &mut Command, path: &Path) {
    command.args(["-protocol_whitelist", "file", "-format_whitelist"]);
    command.arg(FORMATS.join(","));
    command.arg("-i").arg(file_argument(path));
}

/// The path such that `ffmpeg` takes it for a file, whatever it looks like.
fn file_argument(path: &Path) -> OsString {
    let mut argument = OsString::from("file:");
    argument.push(path);
    argument
}
