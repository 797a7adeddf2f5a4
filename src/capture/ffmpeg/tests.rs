use std::process::Command;

use tempfile::TempDir;

use super::*;
use crate::capture::{Capture, ReadAhead};
use crate::picture::{Matrix, Picture};

/// True when tests may start the real program; else they say so and do nothing.
fn has_ffmpeg() -> bool {
    let has = std::env::var_os("FRAMEVOUCH_FFMPEG").is_some_and(|v| v == "1");
    if !has {
        println!("skipped: set FRAMEVOUCH_FFMPEG=1 to run it with the ffmpeg on the PATH");
    }
    has
}

/// Runs ffmpeg in a folder; words are split at spaces.
fn make(folder: &TempDir, arguments: &str) {
    let done = Command::new("ffmpeg")
        .args(["-v", "error", "-nostdin", "-y"])
        .args(arguments.split_whitespace())
        .current_dir(folder.path())
        .status()
        .unwrap();
    assert!(done.success(), "{arguments}");
}

fn open(folder: &TempDir, file: &str) -> Result<Capture, Error> {
    Capture::open(&folder.path().join(file), &OpenOptions::default())
}

fn read(folder: &TempDir, file: &str) -> (Vec<CapturedFrame>, Option<Error>) {
    let mut frames = Vec::new();
    let mut capture = match open(folder, file) {
        Ok(capture) => capture,
        Err(error) => return (frames, Some(error)),
    };
    loop {
        let mut frame = CapturedFrame::new();
        match capture.next_into(&mut frame) {
            Ok(true) => frames.push(frame),
            Ok(false) => return (frames, None),
            Err(error) => return (frames, Some(error)),
        }
    }
}

fn times(frames: &[CapturedFrame]) -> Vec<f64> {
    frames.iter().map(|f| f.time_s).collect()
}

fn assert_times(found: &[f64], wanted: impl IntoIterator<Item = f64>) {
    let wanted: Vec<f64> = wanted.into_iter().collect();
    let is_same =
        found.len() == wanted.len() && found.iter().zip(&wanted).all(|(a, b)| (a - b).abs() < 2e-9);
    assert!(is_same, "{found:?} against {wanted:?}");
}

const SOURCE: &str = "-f lavfi -i testsrc2=s=96x64:r=25:d=2";

#[test]
fn a_missing_program_is_told_with_what_needs_none() {
    let folder = TempDir::new().unwrap();
    std::fs::write(folder.path().join("a.mp4"), b"something").unwrap();
    let options = OpenOptions {
        ffmpeg: "no-such-program".to_owned(),
        ..OpenOptions::default()
    };
    let error = Capture::open(&folder.path().join("a.mp4"), &options).unwrap_err();
    assert!(matches!(error, Error::FfmpegMissing { .. }));
    for words in ["no-such-program", "PNG", "YUV4MPEG2", "raw RGB", "PATH"] {
        assert!(error.to_string().contains(words), "{error}");
    }
}

#[test]
fn frames_of_a_varying_rate_keep_their_times_and_levels() {
    if !has_ffmpeg() {
        return;
    }
    let folder = TempDir::new().unwrap();
    make(&folder, &format!("{SOURCE} -pix_fmt yuv420p all.y4m"));
    let (all, _) = read(&folder, "all.y4m");
    let kept: Vec<usize> = (0..50)
        .filter(|n| n % 7 != 3 && !(20..28).contains(n))
        .collect();
    let select = "-vf select='mod(n,7)-3',select='not(between(t,0.79,1.1))' -fps_mode passthrough";
    for (file, codec) in [
        ("a.mp4", "-c:v libx264 -qp 0 -bf 3"),
        ("a.mkv", "-c:v libx264 -qp 0 -bf 3"),
        ("b.mkv", "-c:v ffv1"),
        ("a.ts", "-c:v libx264 -qp 0 -bf 0 -muxdelay 0 -muxpreload 0"),
    ] {
        make(
            &folder,
            &format!("{SOURCE} {select} -pix_fmt yuv420p {codec} {file}"),
        );
        let (frames, error) = read(&folder, file);
        assert!(error.is_none(), "{file}: {error:?}");
        assert_times(&times(&frames), kept.iter().map(|&n| n as f64 / 25.0));
        assert!(
            frames
                .iter()
                .map(|f| f.crc32)
                .eq(kept.iter().map(|&n| all[n].crc32)),
            "{file}"
        );
    }
}

#[test]
fn times_are_those_of_the_file_wherever_it_starts() {
    if !has_ffmpeg() {
        return;
    }
    let folder = TempDir::new().unwrap();
    for (file, offset_s) in [("late.mkv", 7.5), ("late.nut", 0.25), ("late.ts", 100.0)] {
        make(
            &folder,
            &format!(
                "{SOURCE} -c:v mpeg2video -bf 0 -muxdelay 0 -muxpreload 0 -output_ts_offset {offset_s} {file}"
            ),
        );
        let (frames, error) = read(&folder, file);
        assert!(error.is_none(), "{file}: {error:?}");
        assert_times(
            &times(&frames),
            (0..50).map(|n| offset_s + f64::from(n) / 25.0),
        );
    }
    // The uneven ticks of NTSC rates.
    make(
        &folder,
        "-f lavfi -i testsrc2=s=96x64:r=30000/1001:d=1 -c:v mpeg4 ntsc.mp4",
    );
    let (frames, _) = read(&folder, "ntsc.mp4");
    assert_times(
        &times(&frames),
        (0..frames.len()).map(|n| n as f64 * 1001.0 / 30_000.0),
    );
}

#[test]
fn levels_arrive_as_they_are_coded() {
    if !has_ffmpeg() {
        return;
    }
    let folder = TempDir::new().unwrap();
    let source = "-f lavfi -i testsrc2=s=90x62:r=25:d=0.2";
    for (format, codec) in [
        ("yuv420p", "ffv1"),
        ("yuv422p", "ffv1"),
        ("yuv444p", "ffv1"),
        ("gray", "ffv1"),
        ("bgr0", "ffv1"),
        ("gbrp", "libx264rgb"),
        ("rgb24", "rawvideo"),
        ("yuyv422", "rawvideo"),
        ("nv12", "rawvideo"),
    ] {
        let (wanted, codec_options) = match format {
            "gbrp" => ("rgb24", "-qp 0 -pix_fmt"),
            "bgr0" | "rgb24" => ("rgb24", "-pix_fmt"),
            "yuyv422" => ("yuv422p", "-pix_fmt"),
            "nv12" => ("yuv420p", "-pix_fmt"),
            same => (same, "-pix_fmt"),
        };
        let coded = if format == "gbrp" { "rgb24" } else { format };
        // The same planes, straight from the generator.
        make(
            &folder,
            &format!("{source} -vf format={coded} -pix_fmt {wanted} -f rawvideo planes"),
        );
        make(
            &folder,
            &format!("{source} -vf format={coded} {codec_options} {coded} -c:v {codec} a.nut"),
        );
        let planes = std::fs::read(folder.path().join("planes")).unwrap();
        let (frames, error) = read(&folder, "a.nut");
        assert!(error.is_none(), "{format}: {error:?}");
        let crcs = planes.chunks(planes.len() / 5).map(crc32fast::hash);
        assert!(frames.iter().map(|f| f.crc32).eq(crcs), "{format}");
    }
}

#[test]
fn ten_bits_are_rounded_and_marks_are_read() {
    if !has_ffmpeg() {
        return;
    }
    let folder = TempDir::new().unwrap();
    // Every level in every plane, and neighbours that differ.
    let (width, height) = (256, 64);
    let deep: Vec<u16> = (0..3 * width * height).map(|k| (k % 1024) as u16).collect();
    let planes: Vec<u8> = deep.iter().flat_map(|v| v.to_le_bytes()).collect();
    std::fs::write(folder.path().join("planes"), planes).unwrap();
    make(
        &folder,
        "-f rawvideo -pix_fmt yuv444p10le -s 256x64 -i planes \
         -c:v ffv1 -color_range pc -colorspace smpte170m deep.mkv",
    );
    let capture = open(&folder, "deep.mkv").unwrap();
    let info = capture.info();
    assert_eq!(
        info.encoding,
        Encoding::YCbCr {
            matrix: Matrix::Bt601,
            range: Range::Full
        }
    );
    assert_eq!(
        (info.matrix_from, info.range_from),
        (Origin::Stream, Origin::Stream)
    );
    assert!(info.notes.iter().any(|n| n.contains("rounded to 8 bits")));
    let (frames, _) = read(&folder, "deep.mkv");
    assert_eq!(frames.len(), 1);
    // H.273, 8.3: full range is scaled by 255 / 1023, colour about its centre.
    let luma = |v: u16| f64::from(v) * 255.0 / 1023.0;
    let colour = |v: u16| (f64::from(v) - 512.0) * 255.0 / 1023.0 + 128.0;
    let [y, cb, cr] = frames[0].picture.planes();
    let (deep_y, deep_colour) = deep.split_at(width * height);
    for (&deep, &level) in deep_y.iter().zip(y.levels()) {
        let exact = luma(deep);
        assert!(
            (exact - f64::from(level)).abs() <= 0.5,
            "{deep} became {level}"
        );
    }
    // Colour is compared at half resolution: a level is the mean of two by two. Each of the four
    // was rounded, and so were their mean and the clipped top of the range.
    for (plane, deep) in [cb, cr].into_iter().zip(deep_colour.chunks(width * height)) {
        assert_eq!((plane.width(), plane.height()), (width / 2, height / 2));
        for (k, &level) in plane.levels().iter().enumerate() {
            let (column, row) = (2 * (k % (width / 2)), 2 * (k / (width / 2)));
            let block = [(0, 0), (1, 0), (0, 1), (1, 1)]
                .map(|(right, down)| deep[(row + down) * width + column + right]);
            let exact = block.map(colour).iter().sum::<f64>() / 4.0;
            assert!(
                (exact - f64::from(level)).abs() <= 1.01,
                "{block:?} became {level}"
            );
        }
    }
}

#[test]
fn full_range_stays_full_in_every_form() {
    if !has_ffmpeg() {
        return;
    }
    let folder = TempDir::new().unwrap();
    for (form, wanted) in [
        ("yuv420p", "yuv420p"),
        ("yuyv422", "yuv422p"),
        ("nv12", "yuv420p"),
        ("gray", "gray"),
    ] {
        // Levels 0 to 255 in every plane, so that a change of range cannot hide.
        let bits = match form {
            "gray" => 64 * 64,
            "yuyv422" => 64 * 64 * 2,
            _ => 64 * 64 * 3 / 2,
        };
        let ramp: Vec<u8> = (0..bits).map(|k| (k % 256) as u8).collect();
        std::fs::write(folder.path().join("ramp"), ramp).unwrap();
        make(
            &folder,
            &format!(
                "-f rawvideo -pix_fmt {form} -s 64x64 -i ramp -c:v rawvideo -color_range pc a.mkv"
            ),
        );
        make(
            &folder,
            &format!(
                "-f rawvideo -pix_fmt {form} -s 64x64 -i ramp -pix_fmt {wanted} -f rawvideo planes"
            ),
        );
        let capture = open(&folder, "a.mkv");
        let Ok(capture) = capture else {
            panic!("{form}: {capture:?}")
        };
        let planes = std::fs::read(folder.path().join("planes")).unwrap();
        let (frames, error) = read(&folder, "a.mkv");
        assert!(error.is_none(), "{form}: {error:?}");
        assert_eq!(
            frames[0].crc32,
            crc32fast::hash(&planes),
            "{form}: {:?}",
            capture.info()
        );
    }
}

#[test]
fn jpeg_pictures_are_full_range() {
    if !has_ffmpeg() {
        return;
    }
    let folder = TempDir::new().unwrap();
    make(
        &folder,
        &format!("{SOURCE} -c:v mjpeg -pix_fmt yuvj420p -q:v 2 a.avi"),
    );
    let capture = open(&folder, "a.avi").unwrap();
    assert_eq!(
        capture.info().encoding,
        Encoding::YCbCr {
            matrix: Matrix::Bt601,
            range: Range::Full
        }
    );
    make(&folder, "-i a.avi -f rawvideo -pix_fmt yuvj420p planes");
    let planes = std::fs::read(folder.path().join("planes")).unwrap();
    let (frames, _) = read(&folder, "a.avi");
    let crcs: Vec<u32> = planes
        .chunks(96 * 64 * 3 / 2)
        .map(crc32fast::hash)
        .collect();
    assert_eq!(frames.iter().map(|f| f.crc32).collect::<Vec<_>>(), crcs);
    assert_times(&times(&frames), (0..50).map(|n| f64::from(n) / 25.0));
}

#[test]
fn files_that_cannot_be_judged_are_refused() {
    if !has_ffmpeg() {
        return;
    }
    let folder = TempDir::new().unwrap();
    make(&folder, "-f lavfi -i sine=d=1 sound.wav");
    make(&folder, &format!("{SOURCE} -c:v libx264 plain.mp4"));
    make(
        &folder,
        "-i plain.mp4 -c copy -metadata:s:v rotate=90 turned.mp4",
    );
    make(
        &folder,
        &format!(
            "{SOURCE} -vf interlace -flags +ilme+ildct -c:v libx264 -x264opts tff=1 fields.mp4"
        ),
    );
    make(
        &folder,
        "-f lavfi -i testsrc2=s=64x64:d=0.1 -frames:v 1 cover.jpg",
    );
    make(
        &folder,
        "-f lavfi -i sine=d=1 -i cover.jpg -map 0 -map 1 -c:v copy -disposition:v attached_pic cover.m4a",
    );
    std::fs::write(folder.path().join("words.mp4"), "not a film").unwrap();
    for (file, words) in [
        ("sound.wav", "no video"),
        ("turned.mp4", "turned by"),
        ("fields.mp4", "interlaced"),
        ("cover.m4a", "a cover picture only"),
        ("words.mp4", "ffmpeg cannot read it"),
    ] {
        let error = open(&folder, file).unwrap_err();
        assert!(error.to_string().contains(words), "{file}: {error}");
    }
    let options = OpenOptions {
        size: Some((97, 64)),
        ..OpenOptions::default()
    };
    let error = Capture::open(&folder.path().join("plain.mp4"), &options).unwrap_err();
    assert!(
        error
            .to_string()
            .contains("frame 0 is 96x64, but the display is 97x64"),
        "{error}"
    );
}

#[test]
fn a_size_that_changes_is_an_error_with_its_frame() {
    if !has_ffmpeg() {
        return;
    }
    let folder = TempDir::new().unwrap();
    make(
        &folder,
        "-f lavfi -i testsrc2=s=96x64:r=25:d=1 -c:v mpeg2video a.ts",
    );
    make(
        &folder,
        "-f lavfi -i testsrc2=s=64x48:r=25:d=1 -c:v mpeg2video -output_ts_offset 1 b.ts",
    );
    let both = ["a.ts", "b.ts"]
        .map(|f| std::fs::read(folder.path().join(f)).unwrap())
        .concat();
    std::fs::write(folder.path().join("both.ts"), both).unwrap();
    let (frames, error) = read(&folder, "both.ts");
    let error = error.expect("the change is an error");
    // The decoder may keep its last frame when the size changes.
    assert!((24..=25).contains(&frames.len()), "{} frames", frames.len());
    assert_eq!(error.frame(), Some(frames.len() as u64), "{error}");
    assert!(
        error
            .to_string()
            .contains("the size of the picture changes"),
        "{error}"
    );
}

#[test]
fn damage_ends_the_capture_and_is_never_clean() {
    if !has_ffmpeg() {
        return;
    }
    let folder = TempDir::new().unwrap();
    for (file, codec) in [
        ("a.mp4", "-c:v libx264 -movflags +faststart -g 10"),
        ("a.mkv", "-c:v libx264 -g 10"),
        ("a.ts", "-c:v libx264 -g 10"),
        ("a.avi", "-c:v mjpeg -pix_fmt yuvj420p"),
    ] {
        make(&folder, &format!("{SOURCE} {codec} {file}"));
        let (whole, error) = read(&folder, file);
        assert!(error.is_none() && whole.len() == 50, "{file}: {error:?}");
        let bytes = std::fs::read(folder.path().join(file)).unwrap();
        let cut = format!("cut-{file}");
        for twelfth in 0..12 {
            std::fs::write(
                folder.path().join(&cut),
                &bytes[..bytes.len() * twelfth / 12],
            )
            .unwrap();
            let (frames, error) = read(&folder, &cut);
            // A transport stream has no end mark; cut between pictures, it is a shorter one.
            assert!(
                error.is_some() || file == "a.ts",
                "{file} cut at {twelfth}/12 gave {} frames",
                frames.len()
            );
            // Pictures in between may be missing, since they are stored after later ones.
            let is_whole = |f: &CapturedFrame| {
                whole
                    .iter()
                    .any(|w| w.crc32 == f.crc32 && w.time_s == f.time_s)
            };
            let is_same = frames.iter().all(is_whole);
            assert!(is_same, "{file} cut at {twelfth}/12");
        }
        let mut bad = bytes.clone();
        let middle = bad.len() / 2;
        bad[middle..middle + 600]
            .iter_mut()
            .enumerate()
            .for_each(|(k, b)| *b ^= (k * 37 + 11) as u8);
        std::fs::write(folder.path().join(&cut), bad).unwrap();
        let (frames, error) = read(&folder, &cut);
        let error = error.expect("damage is an error");
        assert!(frames.len() < 50, "{file}");
        assert!(
            error.frame().is_none_or(|f| f == frames.len() as u64),
            "{file}: {error}"
        );
    }
}

#[test]
fn dropping_it_ends_the_program() {
    if !has_ffmpeg() {
        return;
    }
    let folder = TempDir::new().unwrap();
    make(
        &folder,
        "-f lavfi -i testsrc2=s=320x240:r=25:d=20 -c:v mpeg4 long.mp4",
    );
    let source =
        FfmpegSource::open(&folder.path().join("long.mp4"), &OpenOptions::default()).unwrap();
    let child = source.child.clone();
    drop(source);
    assert!(child.lock().try_wait().unwrap().is_some());
    let mut ahead = ReadAhead::start(open(&folder, "long.mp4").unwrap(), 3);
    let Stopper::Child(child) = ahead.stopper_for_test() else {
        panic!("it runs ffmpeg")
    };
    assert!(ahead.next_into(&mut CapturedFrame::new()).unwrap());
    drop(ahead);
    assert!(child.lock().try_wait().unwrap().is_some());
}

#[test]
fn names_that_look_like_options_are_files() {
    if !has_ffmpeg() {
        return;
    }
    let folder = TempDir::new().unwrap();
    make(&folder, &format!("{SOURCE} -c:v mpeg4 a.mp4"));
    for name in ["-y.mp4", "%03d.mp4", "concat:b.mp4", "a b'c.mp4"] {
        std::fs::copy(folder.path().join("a.mp4"), folder.path().join(name)).unwrap();
        let (frames, error) = read(&folder, name);
        assert!(frames.len() == 50 && error.is_none(), "{name}: {error:?}");
        let picture: &Picture = &frames[0].picture;
        assert_eq!((picture.width(), picture.height()), (96, 64));
    }
}
