//! What `ffmpeg` says of a file before it decodes it, and in which form the pictures are asked.
//!
//! `ffmpeg -i FILE` describes the streams of a file on its standard error output. Its words are
//! meant for people, but have had the same form for more than ten years; `ffprobe` would give
//! JSON, but is not always installed beside it.

use super::info::{Siting, size_problem};
use crate::picture::{Matrix, Range, Subsampling};

/// The video stream that is to be judged.
#[derive(Clone, Debug, PartialEq)]
pub struct VideoStream {
    /// Name that `ffmpeg` has for the format of the file: `mov,mp4,m4a,3gp,3g2,mj2`.
    pub container: String,
    /// Index among all streams of the file.
    pub index: u32,
    /// Name of the codec.
    pub codec: String,
    /// Columns, px.
    pub width: usize,
    /// Rows, px.
    pub height: usize,
    /// How the pictures are asked for.
    pub delivery: Delivery,
    /// Matrix, when told and one of ours.
    pub matrix: Option<Matrix>,
    /// The matrix in ffmpeg's words, when told and none of ours.
    pub foreign_matrix: Option<String>,
    /// Range, when told.
    pub range: Option<Range>,
    /// Where colour samples lie, when told.
    pub siting: Option<Siting>,
    /// Nominal frame rate, 1/s, when told.
    pub rate_hz: Option<f64>,
    /// Length of the file as its container states it, s, when told.
    pub stated_duration_s: Option<f64>,
    /// What the user should know.
    pub notes: Vec<String>,
}

/// How the pictures are asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Delivery {
    /// Name of the pixel format that is asked for.
    pub ask: String,
    /// True when that is the format the stream has.
    pub is_as_coded: bool,
    /// Bits of a sample that come; more than 8 come as two bytes, the lower one first.
    pub depth_bits: u32,
    /// What comes then.
    pub form: Form,
    /// What it costs.
    pub loss: Loss,
}

/// What comes through the pipe.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// Planes Y', Cb, Cr.
    Planes(Subsampling),
    /// Y' alone.
    Grey,
    /// R', G', B' triples.
    Triples,
}

/// What it costs to ask for another pixel format than the stream's.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Loss {
    /// Same levels, at most in another order.
    None,
    /// More than 8 bits, rounded to 8 (here, for Y'CbCr and grey; by ffmpeg, for RGB).
    Depth,
    /// Colour planes of an unusual resolution, brought to another.
    Colour,
}

/// Version of ffmpeg as far as it decides on options.
#[derive(Clone, Debug, PartialEq)]
pub struct Version {
    /// As printed: `5.1.9-0+deb12u1`.
    pub words: String,
    /// Major and minor number; `None` for builds between releases, which are taken as new.
    pub number: Option<(u32, u32)>,
}

impl Version {
    /// True for this release, later ones, and builds between releases.
    #[must_use]
    pub fn is_at_least(&self, major: u32, minor: u32) -> bool {
        self.number.is_none_or(|number| number >= (major, minor))
    }
}

/// The version in the first line.
#[must_use]
pub fn parse_version(text: &str) -> Version {
    let words = text
        .lines()
        .find_map(|line| line.strip_prefix("ffmpeg version "))
        .and_then(|rest| rest.split_whitespace().next())
        .unwrap_or("of unknown version");
    let digits = words.strip_prefix('n').unwrap_or(words);
    let number = digits.split_once('.').and_then(|(major, rest)| {
        let minor: String = rest.chars().take_while(char::is_ascii_digit).collect();
        Some((major.parse().ok()?, minor.parse().ok()?))
    });
    Version {
        words: words.to_owned(),
        number,
    }
}

/// Finds the stream to judge in what `ffmpeg -i` printed.
///
/// # Errors
/// Why there is none, or why it cannot be judged, with the way out.
pub fn parse_streams(text: &str) -> Result<VideoStream, String> {
    let mut streams = stream_blocks(text);
    if let Some(format) = foreign_format(text) {
        return Err(format!(
            "it is of format {format:?}, which may name other files in place of holding pictures, or is not known; what \
             it says is not opened; give the video itself, or make one file of it (ffmpeg -i IN -c copy OUT.mkv)"
        ));
    }
    if text.contains("Skipped opening external track") {
        return Err(
            "its pictures are in another file, which is not opened; make one file of them (ffmpeg -enable_drefs 1 -i \
             IN -c copy OUT.mkv)"
                .to_owned(),
        );
    }
    if streams.is_empty() {
        return Err(format!("ffmpeg cannot read it: {}", last_words(text)));
    }
    let count = streams.len();
    streams.retain(|block| block.kind == "Video");
    let all_video = streams.len();
    streams.retain(|block| {
        !block.line.contains("(attached pic)") && !block.line.contains("(timed thumbnails)")
    });
    let Some(block) = streams.first() else {
        let what = if all_video > 0 {
            "a cover picture only"
        } else {
            "no video"
        };
        return Err(format!(
            "it holds {what} ({count} streams); give a file with a video stream"
        ));
    };
    let mut stream = parse_video(block)?;
    stream.stated_duration_s = stated_duration_s(text);
    stream.container = text
        .lines()
        .find_map(|l| {
            Some(
                l.strip_prefix("Input #0, ")?
                    .split_once(", from ")?
                    .0
                    .to_owned(),
            )
        })
        .unwrap_or_default();
    if streams.len() > 1 {
        let words = format!(
            "the file holds {} video streams; the first one is judged",
            streams.len()
        );
        stream.notes.push(words);
    }
    Ok(stream)
}

/// The format that was found, when it is none of those allowed:
/// `[hls @ 0x555cb955c980] Format not on whitelist 'mov,...`.
fn foreign_format(text: &str) -> Option<String> {
    let line = text
        .lines()
        .find(|l| l.contains("Format not on whitelist"))?;
    let name = line.strip_prefix('[')?.split([' ', ']', ',']).next()?;
    Some(clean(name))
}

/// `  Duration: 00:00:20.00, start: 0.000000, bitrate: 3066 kb/s`; `N/A` where it is not known.
fn stated_duration_s(text: &str) -> Option<f64> {
    if text.contains("Estimating duration from bitrate") {
        // The file states nothing.
        return None;
    }
    let line = text
        .lines()
        .find_map(|l| l.trim_start().strip_prefix("Duration: "))?;
    let clock = line.split(',').next()?;
    let parts: Option<Vec<f64>> = clock.split(':').map(|p| p.trim().parse().ok()).collect();
    match parts?[..] {
        [hours, minutes, seconds] if hours.is_sign_positive() => {
            Some(3600.0 * hours + 60.0 * minutes + seconds)
        }
        _ => None,
    }
    .filter(|s| s.is_finite() && *s > 0.0)
}

struct Block<'a> {
    index: u32,
    kind: &'a str,
    line: &'a str,
    /// Angle by which a player turns the picture, degrees.
    rotation_deg: f64,
}

fn stream_blocks(text: &str) -> Vec<Block<'_>> {
    let mut blocks: Vec<Block<'_>> = Vec::new();
    for line in text.lines() {
        let words = line.trim_start();
        if line.starts_with(' ') && words.starts_with("Stream #0:") {
            blocks.extend(stream_line(words));
        } else if let (Some(block), Some((_, angle))) =
            (blocks.last_mut(), words.split_once("rotation of "))
        {
            block.rotation_deg = angle
                .split_whitespace()
                .next()
                .and_then(|a| a.parse().ok())
                .unwrap_or(0.0);
        }
    }
    blocks
}

/// `Stream #0:0[0x1](und): Video: h264 (High), yuv420p(...), 1024x768, ...`
fn stream_line(words: &str) -> Option<Block<'_>> {
    let rest = words.strip_prefix("Stream #0:")?;
    let digits = rest.bytes().take_while(u8::is_ascii_digit).count();
    let index = rest[..digits].parse().ok()?;
    let (_, rest) = rest[digits..].split_once(": ")?;
    let (kind, line) = rest.split_once(": ")?;
    Some(Block {
        index,
        kind,
        line,
        rotation_deg: 0.0,
    })
}

fn last_words(text: &str) -> String {
    let mut lines = text.lines().rev().map(str::trim);
    let line = lines.find(|l| {
        !l.is_empty() && !l.starts_with("At least one output") && !l.contains("Statistics:")
    });
    clean(line.unwrap_or("it says nothing"))
}

/// Words of another program, fit to be shown: no control characters, not too long.
#[must_use]
pub fn clean(words: &str) -> String {
    const LENGTH_MAX: usize = 240;
    let plain: String = words
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .take(LENGTH_MAX)
        .collect();
    plain.trim().to_owned()
}

fn parse_video(block: &Block<'_>) -> Result<VideoStream, String> {
    let fields = split_outside_brackets(block.line);
    let size_at = fields.iter().position(|f| parse_size(f).is_some());
    let (Some(at), Some((width, height))) = (size_at, size_at.and_then(|k| parse_size(fields[k])))
    else {
        return Err(
            "its video stream tells no picture size; the file was cut short or damaged".to_owned(),
        );
    };
    if let Some(problem) = size_problem(width, height) {
        return Err(problem);
    }
    if block.rotation_deg.abs() > 0.01 {
        return Err(format!(
            "its video is marked to be shown turned by {} degrees; remove the mark (ffmpeg -display_rotation 0 -i IN \
             -c copy OUT), or turn the pictures",
            block.rotation_deg
        ));
    }
    let codec = fields[0]
        .split_whitespace()
        .next()
        .unwrap_or("video")
        .to_owned();
    let format = if at > 1 { fields[at - 1] } else { "none" };
    let (name, details) = format.split_once('(').unwrap_or((format, ""));
    let name = name.trim();
    let delivery = delivery_of(name)?;
    let mut stream = VideoStream {
        container: String::new(),
        index: block.index,
        codec,
        width,
        height,
        delivery,
        matrix: None,
        foreign_matrix: None,
        range: name.starts_with("yuvj").then_some(Range::Full),
        siting: None,
        rate_hz: fields[at..].iter().find_map(|f| parse_rate(f)),
        stated_duration_s: None,
        notes: Vec::new(),
    };
    for detail in details.trim_end_matches(')').split(',').map(str::trim) {
        read_detail(detail, &mut stream)?;
    }
    let notes = notes_on(name, fields[at], &stream.delivery);
    stream.notes.extend(notes);
    Ok(stream)
}

fn split_outside_brackets(line: &str) -> Vec<&str> {
    let (mut depth, mut from, mut fields) = (0_u32, 0, Vec::new());
    for (k, c) in line.char_indices() {
        match c {
            '(' | '[' => depth += 1,
            ')' | ']' => depth = depth.saturating_sub(1),
            ',' if depth == 0 => {
                fields.push(line[from..k].trim());
                from = k + 1;
            }
            _ => {}
        }
    }
    fields.push(line[from..].trim());
    fields
}

/// `1024x768 [SAR 1:1 DAR 4:3]`
fn parse_size(field: &str) -> Option<(usize, usize)> {
    let (width, height) = field.split_whitespace().next()?.split_once('x')?;
    let is_digits = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
    if !is_digits(width) || !is_digits(height) {
        return None;
    }
    Some((width.parse().ok()?, height.parse().ok()?))
}

/// `29.97 fps`
fn parse_rate(field: &str) -> Option<f64> {
    let number = field.strip_suffix(" fps")?;
    let (digits, scale) = number
        .strip_suffix('k')
        .map_or((number, 1.0), |d| (d, 1000.0));
    let rate = digits.parse::<f64>().ok()? * scale;
    (rate.is_finite() && rate > 0.0).then_some(rate)
}

/// One of `tv`, `bt709/unknown/unknown`, `progressive`, `left`, ...
fn read_detail(detail: &str, stream: &mut VideoStream) -> Result<(), String> {
    match detail {
        "tv" => stream.range = Some(Range::Limited),
        "pc" => stream.range = Some(Range::Full),
        "left" => stream.siting = Some(Siting::Left),
        "center" => stream.siting = Some(Siting::Center),
        "topleft" => stream.siting = Some(Siting::TopLeft),
        "top first"
        | "bottom first"
        | "top coded first (swapped)"
        | "bottom coded first (swapped)" => {
            return Err(format!(
                "its video is interlaced ({detail}): fields belong to two moments; deinterlace it first (ffmpeg -i IN \
                 -vf bwdif OUT), or record it progressive"
            ));
        }
        _ => read_matrix(detail.split('/').next().unwrap_or(""), stream),
    }
    Ok(())
}

fn read_matrix(name: &str, stream: &mut VideoStream) {
    match name {
        "bt709" => stream.matrix = Some(Matrix::Bt709),
        // BT.470 BG and SMPTE 170M have the weights of BT.601.
        "smpte170m" | "bt470bg" => stream.matrix = Some(Matrix::Bt601),
        "bt2020nc" | "bt2020c" | "fcc" | "smpte240m" | "ycgco" | "ictcp" | "smpte2085"
        | "chroma-derived-nc" | "chroma-derived-c" => stream.foreign_matrix = Some(name.to_owned()),
        _ => {}
    }
}

fn notes_on(format: &str, size_field: &str, delivery: &Delivery) -> Vec<String> {
    let mut notes = Vec::new();
    match delivery.loss {
        Loss::None => {}
        Loss::Depth => notes.push(format!(
            "pixel format {format:?} is rounded to 8 bits ({})",
            delivery.ask
        )),
        Loss::Colour => notes.push(format!(
            "colour planes of {format:?} are resampled ({})",
            delivery.ask
        )),
    }
    if let Some((_, rest)) = size_field.split_once("SAR ") {
        let sar = rest.split_whitespace().next().unwrap_or("");
        if sar != "1:1" && sar != "0:1" {
            notes.push(format!(
                "pixels are marked as not square ({sar}); the mark is not used"
            ));
        }
    }
    notes
}

/// Which pixel format to ask for, so that levels stay as coded.
fn delivery_of(format: &str) -> Result<Delivery, String> {
    use Form::{Grey, Planes, Triples};
    use Loss::{Colour, None};
    let (ask, form, loss) = match format {
        "yuvj420p" => ("yuvj420p", Planes(Subsampling::Both), None),
        "yuvj422p" => ("yuvj422p", Planes(Subsampling::Columns), None),
        "yuvj444p" => ("yuvj444p", Planes(Subsampling::None), None),
        "yuv420p" | "nv12" | "nv21" | "yuva420p" => ("yuv420p", Planes(Subsampling::Both), None),
        "yuv422p" | "yuyv422" | "uyvy422" | "yvyu422" | "nv16" | "yuva422p" => {
            ("yuv422p", Planes(Subsampling::Columns), None)
        }
        "yuv444p" | "nv24" | "nv42" | "yuva444p" | "vuya" | "vuyx" | "ayuv" => {
            ("yuv444p", Planes(Subsampling::None), None)
        }
        "rgb24" | "bgr24" | "rgb0" | "0rgb" | "bgr0" | "0bgr" | "rgba" | "argb" | "bgra"
        | "abgr" | "gbrp" | "gbrap" | "pal8" => ("rgb24", Triples, None),
        "gray" | "ya8" | "monow" | "monob" => ("gray", Grey, None),
        "yuv411p" | "yuvj411p" | "yuv410p" | "yuv440p" | "yuvj440p" | "uyyvyy411" => {
            ("yuv444p", Planes(Subsampling::None), Colour)
        }
        _ => return deep_delivery_of(format).ok_or_else(|| unsupported(format)),
    };
    Ok(Delivery {
        ask: ask.to_owned(),
        is_as_coded: ask == format,
        depth_bits: 8,
        form,
        loss,
    })
}

fn unsupported(format: &str) -> String {
    format!(
        "pixel format {format:?} is not supported; supported: Y'CbCr 4:2:0, 4:2:2, 4:4:4, grey and RGB; convert it \
         first (ffmpeg -i IN -pix_fmt yuv444p OUT)"
    )
}

/// Heads of names with more than 8 bits: `yuv420p10le`, `p010le`, `y210le`, ... The digits
/// after the head are the depth, unless a number stands here.
const DEEP_HEADS: [(&str, Form, u32); 19] = [
    ("yuv420p", Form::Planes(Subsampling::Both), 0),
    ("yuva420p", Form::Planes(Subsampling::Both), 0),
    ("p0", Form::Planes(Subsampling::Both), 0),
    ("yuv422p", Form::Planes(Subsampling::Columns), 0),
    ("yuva422p", Form::Planes(Subsampling::Columns), 0),
    ("p2", Form::Planes(Subsampling::Columns), 0),
    ("y2", Form::Planes(Subsampling::Columns), 0),
    ("nv20", Form::Planes(Subsampling::Columns), 10),
    ("yuv444p", Form::Planes(Subsampling::None), 0),
    ("yuva444p", Form::Planes(Subsampling::None), 0),
    ("p4", Form::Planes(Subsampling::None), 0),
    ("xv30", Form::Planes(Subsampling::None), 10),
    ("xv36", Form::Planes(Subsampling::None), 12),
    ("ayuv64", Form::Planes(Subsampling::None), 16),
    ("gray", Form::Grey, 0),
    ("gbrp", Form::Triples, 8),
    ("gbrap", Form::Triples, 8),
    ("rgb48", Form::Triples, 8),
    ("rgba64", Form::Triples, 8),
];

fn deep_delivery_of(format: &str) -> Option<Delivery> {
    let bare = format
        .strip_suffix("le")
        .or_else(|| format.strip_suffix("be"))
        .unwrap_or(format);
    let (form, depth_bits) = DEEP_HEADS.iter().find_map(|&(head, form, depth)| {
        let digits = bare.strip_prefix(head)?;
        match depth {
            0 => digits
                .parse()
                .ok()
                .filter(|bits| (9..=16).contains(bits))
                .map(|bits| (form, bits)),
            _ => Some((form, depth)),
        }
    })?;
    let head = match form {
        Form::Planes(Subsampling::Both) => "yuv420p",
        Form::Planes(Subsampling::Columns) => "yuv422p",
        Form::Planes(Subsampling::None) => "yuv444p",
        Form::Grey => "gray",
        Form::Triples => "rgb24",
    };
    let ask = if form == Form::Triples {
        head.to_owned()
    } else {
        format!("{head}{depth_bits}le")
    };
    Some(Delivery {
        is_as_coded: ask == format,
        ask,
        depth_bits,
        form,
        loss: Loss::Depth,
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const H264: &str = "ffmpeg version 5.1.9-0+deb12u1 Copyright (c) 2000-2026 the FFmpeg developers
[h264 @ 0x564038518dc0] Reinit context to 1024x768, pix_fmt: yuv420p
Input #0, mov,mp4,m4a,3gp,3g2,mj2, from 'a.mp4':
  Duration: 00:00:20.00, start: 0.000000, bitrate: 3066 kb/s
  Stream #0:0[0x1](und): Video: h264 (High), 1 reference frame (avc1 / 0x31637661), yuv420p(tv, bt709/unknown/unknown, progressive, left), 1024x768 [SAR 1:1 DAR 4:3], 3063 kb/s, 25 fps, 25 tbr, 12800 tbn (default)
    Metadata:
      handler_name    : VideoHandler
At least one output file must be specified
";

    #[test]
    fn what_ffmpeg_prints_is_understood() {
        let stream = parse_streams(H264).unwrap();
        assert_eq!((stream.index, stream.codec.as_str()), (0, "h264"));
        assert_eq!(
            (stream.width, stream.height, stream.rate_hz),
            (1024, 768, Some(25.0))
        );
        assert_eq!(
            (stream.matrix, stream.range),
            (Some(Matrix::Bt709), Some(Range::Limited))
        );
        assert_eq!(stream.siting, Some(Siting::Left));
        assert_eq!(stream.delivery.ask, "yuv420p");
        assert!(stream.notes.is_empty());
        assert_eq!(parse_version(H264).number, Some((5, 1)));
        assert_eq!(stream.stated_duration_s, Some(20.0));
    }

    #[test]
    fn a_duration_is_hours_minutes_and_seconds_or_not_known() {
        let stated = |clock: &str| stated_duration_s(&format!("  Duration: {clock}, start: 0.0\n"));
        assert_eq!(stated("03:01:00.50"), Some(10_860.5));
        for clock in ["N/A", "20.0", "-00:00:01.00", "00:00:00.00", ""] {
            assert_eq!(stated(clock), None, "{clock}");
        }
    }

    #[test]
    fn versions_are_compared_by_their_numbers() {
        let version = |words: &str| parse_version(&format!("ffmpeg version {words} Copyright"));
        assert_eq!(version("n6.0").number, Some((6, 0)));
        assert_eq!(version("4.4.2-0ubuntu0.22.04.1").number, Some((4, 4)));
        assert!(!version("4.4.2-0ubuntu0.22.04.1").is_at_least(5, 1));
        assert!(version("N-112233-gdeadbeef").is_at_least(5, 1));
        assert!(version("10.0").is_at_least(5, 1));
    }

    fn video(details: &str) -> Result<VideoStream, String> {
        parse_streams(&format!("  Stream #0:1: Video: {details}\n"))
    }

    #[test]
    fn jpeg_is_full_range_and_bt601() {
        let stream =
            video("mjpeg (Baseline), yuvj420p(pc, bt470bg/unknown/unknown), 64x48, 25 fps")
                .unwrap();
        assert_eq!(
            (stream.matrix, stream.range),
            (Some(Matrix::Bt601), Some(Range::Full))
        );
        assert_eq!(stream.delivery.ask, "yuvj420p");
    }

    #[test]
    fn formats_are_asked_for_as_they_are_coded() {
        for (format, ask, loss) in [
            ("yuv444p(tv)", "yuv444p", Loss::None),
            ("nv12", "yuv420p", Loss::None),
            ("yuyv422(tv, bt709)", "yuv422p", Loss::None),
            ("yuv420p10le(tv)", "yuv420p10le", Loss::Depth),
            ("p010le(tv)", "yuv420p10le", Loss::Depth),
            ("y210le", "yuv422p10le", Loss::Depth),
            ("gray12be", "gray12le", Loss::Depth),
            ("yuv422p10le", "yuv422p10le", Loss::Depth),
            ("bgr0", "rgb24", Loss::None),
            ("gbrp(pc, gbr/bt709/unknown)", "rgb24", Loss::None),
            ("gbrp10le", "rgb24", Loss::Depth),
            ("gray", "gray", Loss::None),
            ("yuv411p", "yuv444p", Loss::Colour),
        ] {
            let stream = video(&format!("x, {format}, 64x48, 25 fps")).unwrap();
            assert_eq!(
                (stream.delivery.ask.as_str(), stream.delivery.loss),
                (ask, loss),
                "{format}"
            );
            assert_eq!(stream.notes.is_empty(), loss == Loss::None);
        }
    }

    #[test]
    fn streams_that_cannot_be_judged_say_why() {
        let rotated =
            format!("{H264}    Side data:\n      displaymatrix: rotation of -90.00 degrees\n");
        for (text, words) in [
            (
                "a.mp4: Invalid data found when processing input\n",
                "ffmpeg cannot read it: a.mp4: Invalid data",
            ),
            ("", "ffmpeg cannot read it: it says nothing"),
            (
                "  Stream #0:0: Audio: aac (LC), 48000 Hz\n",
                "it holds no video (1 streams)",
            ),
            (
                "  Stream #0:0: Video: png, rgb24(pc), 10x10, 90k tbr (attached pic)\n",
                "a cover picture only",
            ),
            (
                "  Stream #0:0: Video: h264, none, 25 fps\n",
                "tells no picture size",
            ),
            (
                "  Stream #0:0: Video: h264, yuv420p, 0x0, 25 fps\n",
                "each side must be",
            ),
            (
                "  Stream #0:0: Video: h264, yuv420p(tv, top first), 64x48, 25 fps\n",
                "interlaced (top first)",
            ),
            (
                "  Stream #0:0: Video: x, bayer_bggr8, 64x48, 25 fps\n",
                "\"bayer_bggr8\" is not supported",
            ),
            (&rotated, "turned by -90 degrees"),
        ] {
            let problem = parse_streams(text).unwrap_err();
            assert!(problem.contains(words), "{text}: {problem}");
        }
    }

    #[test]
    fn the_first_of_several_video_streams_is_taken_and_told() {
        let text = "  Stream #0:0: Audio: aac\n  Stream #0:1: Video: png, rgb24, 9x9 (attached pic)\n  \
                    Stream #0:2: Video: x, yuv420p, 64x48 [SAR 4:3 DAR 16:9], 30k fps\n  Stream #0:3: Video: x, gray, 8x8\n";
        let stream = parse_streams(text).unwrap();
        assert_eq!((stream.index, stream.rate_hz), (2, Some(30_000.0)));
        assert_eq!(stream.notes.len(), 2, "{:?}", stream.notes);
    }

    #[test]
    fn a_foreign_matrix_is_kept_by_name() {
        let stream = video("hevc, yuv420p10le(tv, bt2020nc/bt2020/smpte2084), 64x48").unwrap();
        assert_eq!(
            (stream.matrix, stream.foreign_matrix.as_deref()),
            (None, Some("bt2020nc"))
        );
    }

    proptest! {
        #[test]
        fn any_words_are_read_or_refused(text in "(  Stream #0:[0-9]{0,11}[(\\[:]{0,2}(: Video: )?[a-z0-9x,() \\[\\]é]{0,40}\n?){0,3}") {
            let _ = parse_streams(&text);
            let _ = parse_version(&text);
        }
    }
}
