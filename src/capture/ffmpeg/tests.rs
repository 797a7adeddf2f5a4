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

/// Up to c5def52 each of these was opened, with whatever file it names, and its own bytes alone were hashed.
#[test]
fn what_names_other_files_is_refused() {
    if !has_ffmpeg() {
        return;
    }
    let folder = TempDir::new().unwrap();
    make(&folder, &format!("{SOURCE} -c:v libx264 a.mp4"));
    make(&folder, "-i a.mp4 -c copy -f hls -hls_time 10 list.m3u8");
    make(&folder, "-i a.mp4 -c copy -f dash list.mpd");
    let write = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
    write("list.ffconcat", "ffconcat version 1.0\nfile a.mp4\n");
    write(
        "list.sdp",
        "v=0\no=- 0 0 IN IP4 127.0.0.1\ns=x\nc=IN IP4 127.0.0.1\nt=0 0\nm=video 5004 RTP/AVP 96\na=rtpmap:96 H264/90000\n",
    );
    // The names say something else.
    for (list, name) in [("list.m3u8", "m3u8.mp4"), ("list.ffconcat", "ffconcat.mkv")] {
        std::fs::copy(folder.path().join(list), folder.path().join(name)).unwrap();
    }
    for number in 1..4 {
        make(
            &folder,
            &format!("-f lavfi -i testsrc2=s=96x64 -frames:v 1 -update 1 a{number}.jpg"),
        );
    }
    std::fs::copy(folder.path().join("a1.jpg"), folder.path().join("a%d.jpg")).unwrap();
    for (file, format) in [
        ("list.m3u8", "\"hls\""),
        ("m3u8.mp4", "\"hls\""),
        ("list.mpd", "\"dash\""),
        ("list.ffconcat", "\"concat\""),
        ("ffconcat.mkv", "\"concat\""),
        ("list.sdp", "\"sdp\""),
        ("a%d.jpg", "\"image2\""),
    ] {
        let error = open(&folder, file).unwrap_err().to_string();
        assert!(
            error.contains(format) && error.contains("other files"),
            "{file}: {error}"
        );
    }
    for name in ["concat:a.mp4|a.mp4", "http://127.0.0.1/a.mp4", "data:,x"] {
        let error = Capture::open(std::path::Path::new(name), &OpenOptions::default());
        assert!(matches!(error, Err(Error::File(_))), "{name}: {error:?}");
    }
}

/// The reference of a QuickTime file to another one, as `ffmpeg` tells that it was not followed.
#[test]
fn pictures_in_another_file_are_refused() {
    if !has_ffmpeg() {
        return;
    }
    let folder = TempDir::new().unwrap();
    make(&folder, &format!("{SOURCE} -c:v mpeg4 whole.mov"));
    let mut bytes = std::fs::read(folder.path().join("whole.mov")).unwrap();
    // The one entry of the table of data references says "in this file". An alias takes its place: 150 bytes that are
    // not looked at, a path (type 2), and the end. All boxes round it grow.
    let at = find(&bytes, b"dref").unwrap();
    let path = b"disk:other.mov";
    let body = [
        &b"alis"[..],
        &[0; 154],
        &[0, 2, 0, path.len() as u8],
        path,
        &[0xFF, 0xFF, 0, 0],
    ]
    .concat();
    let entry = [&(4 + body.len() as u32).to_be_bytes()[..], &body].concat();
    let old = at + 12..at + 24;
    assert_eq!(&bytes[old.start + 4..old.start + 8], b"url ");
    let grown = (entry.len() - old.len()) as u32;
    bytes.splice(old, entry);
    for parent in [&b"dref"[..], b"dinf", b"minf", b"mdia", b"trak", b"moov"] {
        let at = find(&bytes[..at + 4], parent).unwrap() - 4;
        let size = u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap()) + grown;
        bytes[at..at + 4].copy_from_slice(&size.to_be_bytes());
    }
    std::fs::write(folder.path().join("alias.mov"), bytes).unwrap();
    make(&folder, &format!("{SOURCE} -c:v mpeg4 other.mov"));
    let (frames, error) = read(&folder, "alias.mov");
    let error = error.expect("it is refused").to_string();
    assert!(frames.is_empty(), "{} frames", frames.len());
    assert!(error.contains("in another file"), "{error}");
}

fn find(bytes: &[u8], name: &[u8]) -> Option<usize> {
    bytes.windows(name.len()).position(|w| w == name)
}

/// Up to 4fd96a8 an animated PNG was its first picture, and nobody said so.
#[test]
fn an_animated_png_is_a_video_and_never_one_frame() {
    if !has_ffmpeg() {
        return;
    }
    let folder = TempDir::new().unwrap();
    make(
        &folder,
        "-f lavfi -i testsrc2=s=96x64:r=10:d=2 -f apng a.png",
    );
    let (whole, error) = read(&folder, "a.png");
    assert!(error.is_none() && whole.len() == 20, "{error:?}");
    assert_times(&times(&whole), (0..20).map(|n| f64::from(n) / 10.0));
    // The end mark has 12 bytes, and the last picture stands before it.
    let bytes = std::fs::read(folder.path().join("a.png")).unwrap();
    let last = bytes.windows(4).rposition(|w| w == b"fcTL").unwrap() - 4;
    for length in [bytes.len() / 2, last, bytes.len() - 20, bytes.len() - 12] {
        std::fs::write(folder.path().join("cut.png"), &bytes[..length]).unwrap();
        let (frames, error) = read(&folder, "cut.png");
        let error = error.unwrap_or_else(|| panic!("cut at {length}: {} frames", frames.len()));
        let is_same = |f: &CapturedFrame| whole.iter().any(|w| w.crc32 == f.crc32);
        assert!(frames.iter().all(is_same), "cut at {length}: {error}");
    }
    let mut fewer = bytes[..last].to_vec();
    fewer.extend(&bytes[bytes.len() - 12..]);
    std::fs::write(folder.path().join("fewer.png"), fewer).unwrap();
    let error = read(&folder, "fewer.png").1.expect("a picture is missing");
    assert!(error.to_string().contains("fewer pictures"), "{error}");
}

/// Up to c5def52 the first `ok` pictures of these were all that was said to be there, and the check ended with 0.
#[test]
fn a_video_that_ends_too_early_is_damaged_after_its_good_frames() {
    if !has_ffmpeg() {
        return;
    }
    let folder = TempDir::new().unwrap();
    let source = "-f lavfi -i testsrc2=s=160x120:r=25:d=3 -f lavfi -i sine=d=3";
    let h264 = "-c:v libx264 -g 12 -c:a aac";
    for (file, coding, cuts) in [
        ("a.gif", "-an", &[25, 40, 90][..]),
        ("a.ts", h264, &[29, 43, 71]),
        ("a.flv", h264, &[31, 40, 80]),
        (
            "a.mkv",
            "-c:v libx264 -g 12 -c:a aac -cluster_time_limit 900",
            &[31, 40, 80],
        ),
        ("a.ogv", "-c:v libtheora -an", &[31, 40, 80]),
        (
            "parts.mp4",
            "-c:v libx264 -g 12 -c:a aac -movflags frag_keyframe+empty_moov",
            &[31, 40, 64],
        ),
        (
            "a.dv",
            "-an -s 720x576 -pix_fmt yuv420p -c:v dvvideo",
            &[31, 43],
        ),
    ] {
        make(&folder, &format!("{source} {coding} {file}"));
        let (whole, error) = read(&folder, file);
        assert!(error.is_none() && whole.len() == 75, "{file}: {error:?}");
        let bytes = std::fs::read(folder.path().join(file)).unwrap();
        for percent in cuts {
            let cut = format!("cut-{file}");
            // No cut is between two packets of a transport stream.
            let length = (bytes.len() * percent / 100) / 188 * 188 + 100;
            std::fs::write(folder.path().join(&cut), &bytes[..length]).unwrap();
            let (frames, error) = read(&folder, &cut);
            let error = error.unwrap_or_else(|| {
                panic!("{file} cut at {percent} % gives {} frames", frames.len())
            });
            assert_eq!(error.frame(), Some(frames.len() as u64), "{file}: {error}");
            let is_same = |f: &CapturedFrame| whole.iter().any(|w| w.crc32 == f.crc32);
            assert!(
                !frames.is_empty() && frames.iter().all(is_same),
                "{file} cut at {percent} %: {error}"
            );
        }
    }
    // The case of the issue: at the border of two parts, no packet is damaged.
    let bytes = std::fs::read(folder.path().join("a.mkv")).unwrap();
    let cluster = b"\x1f\x43\xb6\x75";
    let starts: Vec<usize> = (0..bytes.len() - 4)
        .filter(|k| &bytes[*k..k + 4] == cluster)
        .collect();
    let length = *starts.get(1).expect("there are several parts");
    std::fs::write(folder.path().join("border"), &bytes[..length]).unwrap();
    let (frames, error) = read(&folder, "border");
    let error = error.expect("frames are missing").to_string();
    assert!(!frames.is_empty(), "{error}");
    // By the length that it states, or by the index that it lacks.
    let is_told = ["its container states 3.0", "ended prematurely"];
    assert!(is_told.iter().any(|t| error.contains(t)), "{error}");
}

/// Up to 4fd96a8 `ffmpeg` went on at the next point of synchronisation, and nobody said so.
#[test]
fn a_frame_that_is_lost_within_nut_is_damage() {
    if !has_ffmpeg() {
        return;
    }
    let folder = TempDir::new().unwrap();
    make(&folder, &format!("{SOURCE} -c:v ffv1 a.nut"));
    let (whole, error) = read(&folder, "a.nut");
    assert!(error.is_none() && whole.len() == 50, "{error:?}");
    let bytes = std::fs::read(folder.path().join("a.nut")).unwrap();
    let point = b"NK\xe4\xad\xee\xca\x45\x69";
    let points: Vec<usize> = (0..bytes.len() - 8)
        .filter(|k| &bytes[*k..k + 8] == point)
        .collect();
    let at = points[points.len() / 2];
    let mut overwritten = bytes.clone();
    overwritten[at - 10..at + 30].fill(0xFF);
    let mut longer = bytes.clone();
    longer.splice(at - 10..at - 10, *b"more");
    for damaged in [overwritten, longer] {
        std::fs::write(folder.path().join("damaged.nut"), damaged).unwrap();
        let (frames, error) = read(&folder, "damaged.nut");
        let error = error.unwrap_or_else(|| panic!("{} frames", frames.len()));
        assert!(error.frame().is_some(), "{error}");
    }
}

#[test]
fn whole_videos_of_all_kinds_are_whole() {
    if !has_ffmpeg() {
        return;
    }
    let folder = TempDir::new().unwrap();
    let video = "-f lavfi -i testsrc2=s=96x64:r=30000/1001:d=2";
    let long = "-f lavfi -i sine=d=5";
    let short = "-f lavfi -i sine=d=0.5";
    let still = "-vf select='lt(t,0.7)+between(t,1.2,1.3)' -fps_mode vfr";
    let h264 = "-c:v libx264 -bf 3 -c:a aac";
    let mut files = Vec::new();
    for (end, coding) in [
        ("mp4", h264),
        ("mov", h264),
        ("mkv", h264),
        ("ts", h264),
        ("m2ts", h264),
        ("nut", h264),
        ("flv", "-c:v libx264 -bf 3 -c:a aac -ar 44100"),
        ("avi", "-c:v mpeg4 -bf 2 -c:a mp3 -ar 44100"),
        ("asf", "-c:v wmv2 -c:a wmav2"),
        ("mpg", "-c:v mpeg2video -bf 2 -c:a mp2 -ar 44100"),
        ("ogv", "-c:v libtheora -c:a libvorbis"),
        (
            "webm",
            "-c:v libvpx-vp9 -auto-alt-ref 1 -lag-in-frames 16 -c:a libopus",
        ),
    ] {
        for (kind, inputs) in [
            ("bare", video.to_owned()),
            ("long", format!("{video} {long}")),
            ("short", format!("{video} {short}")),
            ("still", format!("{video} {still}")),
            ("still-long", format!("{video} {long} {still}")),
        ] {
            let file = format!("{kind}.{end}");
            make(&folder, &format!("{inputs} {coding} {file}"));
            files.push(file);
        }
    }
    for (file, arguments) in [
        ("trimmed.mp4", "-ss 0.7 -i long.mp4 -c copy"),
        ("trimmed.mkv", "-ss 0.7 -i long.mkv -c copy"),
        ("trimmed-both.mp4", "-ss 0.7 -t 0.8 -i long.mp4 -c copy"),
        ("late.mkv", "-i long.mp4 -c copy -output_ts_offset 7.5"),
        ("late.mp4", "-i long.mp4 -c copy -output_ts_offset 7.5"),
        (
            "parts.mp4",
            "-i long.mp4 -c copy -movflags frag_keyframe+empty_moov",
        ),
        (
            "index.mp4",
            "-i long.mp4 -c copy -movflags frag_keyframe+global_sidx",
        ),
        ("live.mkv", "-i bare.mp4 -c copy -live 1"),
        ("still.gif", "-f lavfi -i testsrc2=s=96x64:r=10:d=2"),
        (
            "bare.mxf",
            "-f lavfi -i testsrc2=s=96x64:r=25:d=2 -c:v mpeg2video",
        ),
        ("bare.h264", "-i bare.mp4 -c copy"),
    ] {
        make(&folder, &format!("{arguments} {file}"));
        files.push(file.to_owned());
    }
    for file in files {
        let (frames, error) = read(&folder, &file);
        assert!(
            error.is_none() && frames.len() > 15,
            "{file}, {} frames: {error:?}",
            frames.len()
        );
    }
}

/// Up to c5def52 the file was hashed after the run: what it held while it was read, nobody knew.
#[test]
fn a_file_that_changes_while_it_is_read_is_an_error() {
    if !has_ffmpeg() {
        return;
    }
    let folder = TempDir::new().unwrap();
    make(&folder, &format!("{SOURCE} -c:v mpeg4 a.mp4"));
    let path = folder.path().join("a.mp4");
    let bytes = std::fs::read(&path).unwrap();
    for is_ahead in [false, true] {
        let change = |is_changed: bool| {
            let mut frame = CapturedFrame::new();
            let mut capture = open(&folder, "a.mp4").unwrap();
            if is_ahead {
                let mut ahead = ReadAhead::start(capture, 2);
                assert!(ahead.next_into(&mut frame).unwrap());
                std::fs::write(&path, if is_changed { b"other" } else { &bytes[..] }).unwrap();
                ahead.contents()
            } else {
                assert!(capture.next_into(&mut frame).unwrap());
                std::fs::write(&path, if is_changed { b"other" } else { &bytes[..] }).unwrap();
                capture.contents()
            }
        };
        let contents = change(false).unwrap();
        assert_eq!(contents.len(), 1);
        assert_eq!(contents[0].content, Content::of(&bytes));
        let error = change(true).unwrap_err();
        assert!(matches!(error, Error::Changed { .. }), "{error}");
        std::fs::write(&path, &bytes).unwrap();
    }
}
