//! YUV4MPEG2 (`.y4m`): a text header, then `FRAME` and the bare planes, again and again.
//!
//! # Source
//! The manual page yuv4mpeg(5) of the mjpegtools, and for `XCOLORRANGE` the ffmpeg
//! documentation of its yuv4mpegpipe muxer. The format carries no matrix.
//!
//! Read: `W`, `H`, `F`, `I` (progressive or unknown), `A`, `C` (420jpeg, 420mpeg2, 420paldv,
//! 420, 422, 444, mono), `XCOLORRANGE`. Refused, each with its reason: interlaced material,
//! more than 8 bits, 4:1:1 and alpha.

use std::io::{BufRead, BufReader, Read, Write};

use super::bytes::Bytes;
use super::error::Error;
use super::frame::CapturedFrame;
use super::info::{Origin, Siting, StreamInfo, settle, size_problem, usual_matrix};
use super::open::{OpenOptions, Source, Stopper, check_size, is_rate, read_full};
use crate::files::FileContent;
use crate::picture::{Encoding, Picture, Range, Subsampling};

/// The first bytes of every such stream.
pub(super) const MAGIC: &[u8] = b"YUV4MPEG2";

/// Longest line that is read, bytes. Headers in use have about 100.
const LINE_MAX: usize = 4096;

/// What a stream header says.
#[derive(Clone, Debug, PartialEq)]
pub struct Y4mHeader {
    /// Columns, px.
    pub width: usize,
    /// Rows, px.
    pub height: usize,
    /// Frames per second as a fraction; `None` when not told (`F0:0`).
    pub rate: Option<(u64, u64)>,
    /// Resolution of the colour planes.
    pub subsampling: Subsampling,
    /// No colour planes at all.
    pub is_mono: bool,
    /// Where colour samples lie, when told.
    pub siting: Option<Siting>,
    /// Range, when told.
    pub range: Option<Range>,
    /// What the user should know.
    pub notes: Vec<String>,
}

/// Reads a stream header, without the line end.
///
/// # Errors
/// What was found and what is supported.
pub fn parse_header(line: &str) -> Result<Y4mHeader, String> {
    let mut words = line.split(' ');
    if words.next() != Some("YUV4MPEG2") {
        return Err("does not start with \"YUV4MPEG2 \"".to_owned());
    }
    let (mut width, mut height) = (None, None);
    let mut header = Y4mHeader {
        width: 0,
        height: 0,
        rate: None,
        subsampling: Subsampling::Both,
        is_mono: false,
        siting: Some(Siting::Center),
        range: None,
        notes: Vec::new(),
    };
    for word in words.filter(|w| !w.is_empty()) {
        let mut letters = word.chars();
        let key = letters.next();
        let value = letters.as_str();
        match key {
            Some('W') => width = Some(parse_side(word, value)?),
            Some('H') => height = Some(parse_side(word, value)?),
            Some('F') => header.rate = parse_rate(word, value)?,
            Some('I') => check_interlacing(word, value)?,
            Some('A') => header.notes.extend(note_on_aspect(value)),
            Some('C') => parse_chroma(word, value, &mut header)?,
            // Extensions; XYSCSS repeats C.
            Some('X') => match value {
                "COLORRANGE=FULL" => header.range = Some(Range::Full),
                "COLORRANGE=LIMITED" => header.range = Some(Range::Limited),
                _ => {}
            },
            _ => {
                return Err(format!(
                    "header field {word:?} is not known; known: W H F I A C X"
                ));
            }
        }
    }
    let missing = |field: &str| format!("the header has no field {field}");
    header.width = width.ok_or_else(|| missing("W (width)"))?;
    header.height = height.ok_or_else(|| missing("H (height)"))?;
    match size_problem(header.width, header.height) {
        None => Ok(header),
        Some(problem) => Err(problem),
    }
}

fn parse_side(word: &str, value: &str) -> Result<usize, String> {
    let is_digits = !value.is_empty() && value.bytes().all(|b| b.is_ascii_digit());
    let side = if is_digits { value.parse().ok() } else { None };
    side.ok_or_else(|| format!("header field {word:?} is not a number of pixels"))
}

fn parse_rate(word: &str, value: &str) -> Result<Option<(u64, u64)>, String> {
    let bad = || format!("header field {word:?} is not a frame rate such as F25:1 or F30000:1001");
    let (numerator, denominator) = value.split_once(':').ok_or_else(bad)?;
    let numerator: u32 = numerator.parse().map_err(|_| bad())?;
    let denominator: u32 = denominator.parse().map_err(|_| bad())?;
    if numerator == 0 {
        return Ok(None);
    }
    if denominator == 0 || !is_rate(f64::from(numerator) / f64::from(denominator)) {
        return Err(bad());
    }
    Ok(Some((numerator.into(), denominator.into())))
}

fn check_interlacing(word: &str, value: &str) -> Result<(), String> {
    match value {
        "p" | "?" | "" => Ok(()),
        "t" | "b" | "m" => Err(format!(
            "the stream is interlaced ({word}): its fields belong to two moments; supported: progressive (Ip); \
             deinterlace the capture first, or record it progressive"
        )),
        _ => Err(format!(
            "header field {word:?} is not an interlacing mode (Ip, It, Ib, Im, I?)"
        )),
    }
}

fn note_on_aspect(value: &str) -> Option<String> {
    let is_square = matches!(
        value.split_once(':'),
        None | Some(("0", "0")) | Some(("1", "1"))
    );
    (!is_square).then(|| format!("pixels are marked as not square ({value}); the mark is not used"))
}

fn parse_chroma(word: &str, value: &str, header: &mut Y4mHeader) -> Result<(), String> {
    let (subsampling, siting) = match value {
        "420jpeg" | "420" => (Subsampling::Both, Some(Siting::Center)),
        "420mpeg2" => (Subsampling::Both, Some(Siting::Left)),
        "420paldv" => (Subsampling::Both, Some(Siting::TopLeft)),
        "422" => (Subsampling::Columns, Some(Siting::Left)),
        "444" => (Subsampling::None, None),
        "mono" => {
            header.is_mono = true;
            (Subsampling::Both, None)
        }
        _ => {
            let supported =
                "supported: C420jpeg, C420mpeg2, C420paldv, C420, C422, C444, Cmono, 8 bits each";
            let depth = value
                .split_once('p')
                .is_some_and(|(_, bits)| bits.parse::<u8>().is_ok_and(|b| b > 8));
            let is_deep = depth
                || value
                    .strip_prefix("mono")
                    .is_some_and(|bits| bits.parse::<u8>().is_ok());
            return Err(if is_deep {
                format!(
                    "samples have more than 8 bits ({word}); {supported}; or give the file in a container to ffmpeg"
                )
            } else {
                format!("sample form {word:?} is not supported; {supported}")
            });
        }
    };
    header.subsampling = subsampling;
    header.siting = siting;
    Ok(())
}

/// Reads a YUV4MPEG2 stream.
pub(super) struct Y4mSource {
    reader: BufReader<Bytes>,
    name: String,
    header: Y4mHeader,
    rate: Rate,
    info: StreamInfo,
    line: Vec<u8>,
}

#[derive(Clone, Copy)]
enum Rate {
    Fraction(u64, u64),
    Hz(f64),
}

impl Rate {
    fn time_s(self, index: u64) -> f64 {
        match self {
            Self::Fraction(numerator, denominator) => {
                (u128::from(index) * u128::from(denominator)) as f64 / numerator as f64
            }
            Self::Hz(rate) => index as f64 / rate,
        }
    }
}

impl Y4mSource {
    /// `length` is that of the whole file, bytes, when known.
    pub(super) fn open(
        mut reader: BufReader<Bytes>,
        name: String,
        length: Option<u64>,
        options: &OpenOptions,
    ) -> Result<Self, Error> {
        let mut line = Vec::new();
        let is_whole = read_line(&mut reader, &mut line).map_err(|source| Error::Read {
            name: name.clone(),
            frame: 0,
            source,
        })?;
        let refuse = |problem: String| Error::Refused {
            name: name.clone(),
            problem,
        };
        if line.is_empty() && !is_whole {
            let hint = "nothing came; does the program that writes it run?";
            return Err(Error::NoFrames { name, hint });
        }
        if !line.starts_with(MAGIC) {
            let problem = "does not start with \"YUV4MPEG2 \"; raw pixels need their size and frame rate to be given";
            return Err(refuse(problem.to_owned()));
        }
        if !is_whole {
            return Err(refuse(format!(
                "the YUV4MPEG2 header has no end within {} bytes; the file was cut short or damaged",
                line.len()
            )));
        }
        let text = std::str::from_utf8(&line)
            .map_err(|_| refuse("the YUV4MPEG2 header is not text".to_owned()))?;
        let header = parse_header(text).map_err(refuse)?;
        check_size(&name, 0, (header.width, header.height), options)?;
        let (rate, times_from) = match (header.rate, options.fps) {
            (Some((numerator, denominator)), _) => {
                (Rate::Fraction(numerator, denominator), Origin::Stream)
            }
            (None, Some(hz)) => (Rate::Hz(hz), Origin::Set),
            (None, None) => {
                return Err(refuse(
                    "the header tells no frame rate (F); give one".to_owned(),
                ));
            }
        };
        let frame_bytes = 6 + frame_levels(&header) as u64;
        let body = length.map(|l| l.saturating_sub(line.len() as u64 + 1));
        // Frame lines may carry parameters; then the count is not known beforehand.
        let frame_count = body
            .filter(|b| b % frame_bytes == 0)
            .map(|b| b / frame_bytes);
        let info = describe(&header, rate, times_from, frame_count, options);
        Ok(Self {
            reader,
            name,
            header,
            rate,
            info,
            line,
        })
    }

    fn fail(&self, frame: u64, problem: String) -> Error {
        Error::Frame {
            name: self.name.clone(),
            frame,
            problem,
        }
    }

    /// Reads the line before the planes; `Ok(false)` at a clean end.
    fn read_frame_line(&mut self, index: u64) -> Result<bool, Error> {
        let is_whole =
            read_line(&mut self.reader, &mut self.line).map_err(|source| Error::Read {
                name: self.name.clone(),
                frame: index,
                source,
            })?;
        if self.line.is_empty() && !is_whole {
            return Ok(false);
        }
        let is_frame = self.line == b"FRAME" || self.line.starts_with(b"FRAME ");
        if is_frame && is_whole {
            return Ok(true);
        }
        let head = &self.line[..self.line.len().min(5)];
        Err(self.fail(
            index,
            if b"FRAME".starts_with(head) && self.line.len() < LINE_MAX && !is_whole {
                "ends within the line before its planes; the file was cut short".to_owned()
            } else {
                let found = String::from_utf8_lossy(&self.line[..self.line.len().min(16)]).into_owned();
                format!(
                    "starts with {found:?} in place of \"FRAME\"; the frame before it has another size than the \
                     header says, or the file is damaged"
                )
            },
        ))
    }
}

fn frame_levels(header: &Y4mHeader) -> usize {
    let (cw, ch) = header.subsampling.chroma_size(header.width, header.height);
    header.width * header.height + if header.is_mono { 0 } else { 2 * cw * ch }
}

fn describe(
    header: &Y4mHeader,
    rate: Rate,
    times_from: Origin,
    frame_count: Option<u64>,
    options: &OpenOptions,
) -> StreamInfo {
    let (matrix, matrix_from) = settle(options.matrix, None, usual_matrix(header.height));
    let (range, range_from) = settle(options.range, header.range, Range::Limited);
    StreamInfo {
        source: if header.is_mono {
            "YUV4MPEG2, grey".to_owned()
        } else {
            "YUV4MPEG2".to_owned()
        },
        width: header.width,
        height: header.height,
        encoding: Encoding::YCbCr { matrix, range },
        subsampling: header.subsampling,
        siting: header.siting,
        is_grey: header.is_mono,
        frame_count,
        stated_duration_s: None,
        rate_hz: Some(match rate {
            Rate::Fraction(numerator, denominator) => numerator as f64 / denominator as f64,
            Rate::Hz(hz) => hz,
        }),
        matrix_from,
        range_from,
        times_from,
        notes: header.notes.clone(),
    }
}

/// Reads up to a line end, which is dropped; false when the stream or [`LINE_MAX`] ended first.
fn read_line(reader: &mut dyn BufRead, line: &mut Vec<u8>) -> std::io::Result<bool> {
    line.clear();
    reader.take(LINE_MAX as u64).read_until(b'\n', line)?;
    Ok(line.pop_if(|b| *b == b'\n').is_some())
}

impl Source for Y4mSource {
    fn info(&self) -> &StreamInfo {
        &self.info
    }

    fn name(&self) -> &str {
        &self.name
    }

    fn hint_on_no_frames(&self) -> &'static str {
        "it ends after its header"
    }

    fn read(&mut self, index: u64, frame: &mut CapturedFrame) -> Result<bool, Error> {
        if !self.read_frame_line(index)? {
            return Ok(false);
        }
        let size = (self.header.width, self.header.height);
        frame.shape(size, self.info.encoding, self.info.subsampling);
        let count = if self.header.is_mono { 1 } else { 3 };
        let mut hasher = crc32fast::Hasher::new();
        let mut total = 0;
        for plane in &mut frame.picture.planes_mut()[..count] {
            let levels = plane.levels_mut();
            let got = read_full(&mut self.reader, levels).map_err(|source| Error::Read {
                name: self.name.clone(),
                frame: index,
                source,
            })?;
            total += got;
            if got < levels.len() {
                let wanted = frame_levels(&self.header);
                return Err(self.fail(
                    index,
                    format!(
                        "ends after {total} of {wanted} bytes; the file was cut short, or its header tells a wrong size"
                    ),
                ));
            }
            hasher.update(levels);
        }
        if self.header.is_mono {
            frame.picture.planes_mut()[1..]
                .iter_mut()
                .for_each(|plane| plane.levels_mut().fill(128));
        }
        frame.crc32 = hasher.finalize();
        frame.time_s = self.rate.time_s(index);
        Ok(true)
    }

    fn stopper(&self) -> Stopper {
        self.reader.get_ref().stopper()
    }

    fn contents(&mut self) -> Result<Vec<FileContent>, Error> {
        // What the buffer holds was digested on its way there.
        self.reader.get_mut().contents()
    }
}

/// Writes a YUV4MPEG2 stream of 8-bit Y'CbCr pictures.
///
/// The format has no place for the matrix; who reads it has to be told.
#[derive(Debug)]
pub struct Y4mWriter<W: Write> {
    writer: W,
    size: (usize, usize),
    subsampling: Subsampling,
}

impl<W: Write> Y4mWriter<W> {
    /// Writes the header. `rate` is a fraction, frames per second; `siting` is told for 4:2:0
    /// only, where [`Siting::Left`] is what H.264 takes by default.
    ///
    /// # Errors
    /// What the writer reports.
    pub fn new(
        mut writer: W,
        size: (usize, usize),
        rate: (u32, u32),
        subsampling: Subsampling,
        siting: Siting,
        range: Range,
    ) -> std::io::Result<Self> {
        let chroma = match (subsampling, siting) {
            (Subsampling::None, _) => "444",
            (Subsampling::Columns, _) => "422",
            (Subsampling::Both, Siting::Center) => "420jpeg",
            (Subsampling::Both, Siting::Left) => "420mpeg2",
            (Subsampling::Both, Siting::TopLeft) => "420paldv",
        };
        let range = match range {
            Range::Full => "FULL",
            Range::Limited => "LIMITED",
        };
        let ((width, height), (numerator, denominator)) = (size, rate);
        writeln!(
            writer,
            "YUV4MPEG2 W{width} H{height} F{numerator}:{denominator} Ip A1:1 C{chroma} XCOLORRANGE={range}"
        )?;
        Ok(Self {
            writer,
            size,
            subsampling,
        })
    }

    /// Writes one frame.
    ///
    /// # Errors
    /// What the writer reports.
    ///
    /// # Panics
    /// When the picture has not the size and subsampling of the stream.
    pub fn write(&mut self, picture: &Picture) -> std::io::Result<()> {
        let is_same = (picture.width(), picture.height()) == self.size
            && picture.subsampling() == self.subsampling;
        assert!(
            is_same,
            "all frames of a stream have one size and subsampling"
        );
        self.writer.write_all(b"FRAME\n")?;
        picture
            .planes()
            .iter()
            .try_for_each(|plane| self.writer.write_all(plane.levels()))
    }

    /// Gives the writer back, flushed.
    ///
    /// # Errors
    /// What the writer reports.
    pub fn finish(mut self) -> std::io::Result<W> {
        self.writer.flush()?;
        Ok(self.writer)
    }
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use proptest::prelude::*;

    use super::*;
    use crate::capture::Capture;
    use crate::capture::half_colour::halve;
    use crate::picture::{Matrix, Plane};

    const LIMITED_709: Encoding = Encoding::YCbCr {
        matrix: Matrix::Bt709,
        range: Range::Limited,
    };

    fn picture(
        size: (usize, usize),
        encoding: Encoding,
        subsampling: Subsampling,
        seed: u32,
    ) -> Picture {
        let mut state = seed;
        let mut plane = |(w, h): (usize, usize)| {
            let levels = std::iter::repeat_with(|| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (state >> 24) as u8
            });
            Plane::from_levels(w, h, levels.take(w * h).collect())
        };
        let chroma = subsampling.chroma_size(size.0, size.1);
        Picture::from_planes(
            [plane(size), plane(chroma), plane(chroma)],
            encoding,
            subsampling,
        )
    }

    pub(crate) fn stream(size: (usize, usize), subsampling: Subsampling, count: u32) -> Vec<u8> {
        let mut writer = Y4mWriter::new(
            Vec::new(),
            size,
            (30_000, 1001),
            subsampling,
            Siting::Left,
            Range::Limited,
        )
        .unwrap();
        (0..count).for_each(|k| {
            writer
                .write(&picture(size, LIMITED_709, subsampling, k))
                .unwrap()
        });
        writer.finish().unwrap()
    }

    fn open(bytes: Vec<u8>) -> Result<Capture, Error> {
        Capture::from_reader(
            Box::new(Cursor::new(bytes)),
            "a.y4m",
            &OpenOptions::default(),
        )
    }

    #[test]
    fn what_is_written_reads_back() {
        for subsampling in [Subsampling::Both, Subsampling::Columns, Subsampling::None] {
            for size in [(6, 4), (5, 3), (1, 1)] {
                let mut capture = open(stream(size, subsampling, 3)).unwrap();
                let Encoding::YCbCr { range, .. } = capture.info().encoding else {
                    panic!("Y'CbCr")
                };
                assert_eq!(
                    (range, capture.info().range_from),
                    (Range::Limited, Origin::Stream)
                );
                assert_eq!(capture.info().matrix_from, Origin::Assumed);
                let encoding = capture.info().encoding;
                let mut frame = CapturedFrame::new();
                for k in 0..3 {
                    assert!(capture.next_into(&mut frame).unwrap());
                    let want = picture(size, encoding, subsampling, k);
                    let mut halved =
                        Picture::filled(size.0, size.1, encoding, Subsampling::Both, [0; 3]);
                    halve(&want, &mut halved);
                    assert_eq!(frame.picture, halved);
                    assert_eq!(frame.crc32, want.crc32());
                    assert_eq!(frame.time_s, f64::from(k) * 1001.0 / 30_000.0);
                }
                assert!(!capture.next_into(&mut frame).unwrap());
            }
        }
    }

    #[test]
    fn headers_in_use_are_understood() {
        let header = parse_header(
            "YUV4MPEG2 W1024 H768 F25:1 Ip A1:1 C420mpeg2 XYSCSS=420MPEG2 XCOLORRANGE=FULL",
        )
        .unwrap();
        assert_eq!(
            (header.width, header.height, header.rate),
            (1024, 768, Some((25, 1)))
        );
        assert_eq!(
            (header.siting, header.range),
            (Some(Siting::Left), Some(Range::Full))
        );
        // yuv4mpeg(5): without C the stream is 4:2:0 with JPEG siting.
        let header = parse_header("YUV4MPEG2 W2 H2 F0:0").unwrap();
        assert_eq!(
            (header.subsampling, header.siting),
            (Subsampling::Both, Some(Siting::Center))
        );
        assert_eq!((header.rate, header.range), (None, None));
        assert!(parse_header("YUV4MPEG2 W2 H2 F1:1 Cmono").unwrap().is_mono);
        assert_eq!(
            parse_header("YUV4MPEG2 W2 H2 C444").unwrap().subsampling,
            Subsampling::None
        );
        assert_eq!(
            parse_header("YUV4MPEG2 W2 H2 A10:11").unwrap().notes.len(),
            1
        );
    }

    #[test]
    fn headers_that_cannot_be_read_say_why() {
        for (line, words) in [
            ("YUV4MPEG W2 H2", "does not start with"),
            ("YUV4MPEG2 H2 F25:1", "no field W"),
            ("YUV4MPEG2 W2 F25:1", "no field H"),
            ("YUV4MPEG2 W2 H-2", "\"H-2\" is not a number of pixels"),
            ("YUV4MPEG2 W+2 H2", "\"W+2\" is not a number of pixels"),
            ("YUV4MPEG2 W0 H2", "each side must be 1 to"),
            ("YUV4MPEG2 W99999 H99999", "each side must be 1 to"),
            (
                "YUV4MPEG2 W99999999999999999999 H2",
                "is not a number of pixels",
            ),
            ("YUV4MPEG2 W2 H2 F25", "is not a frame rate"),
            ("YUV4MPEG2 W2 H2 F25:0", "is not a frame rate"),
            ("YUV4MPEG2 W2 H2 F-25:1", "is not a frame rate"),
            ("YUV4MPEG2 W2 H2 It", "the stream is interlaced (It)"),
            ("YUV4MPEG2 W2 H2 Im", "the stream is interlaced"),
            ("YUV4MPEG2 W2 H2 Ix", "not an interlacing mode"),
            ("YUV4MPEG2 W2 H2 C420p10", "more than 8 bits (C420p10)"),
            ("YUV4MPEG2 W2 H2 Cmono16", "more than 8 bits"),
            ("YUV4MPEG2 W2 H2 C411", "\"C411\" is not supported"),
            (
                "YUV4MPEG2 W2 H2 C444alpha",
                "\"C444alpha\" is not supported",
            ),
            ("YUV4MPEG2 W2 H2 Q1", "\"Q1\" is not known"),
        ] {
            let problem = parse_header(line).unwrap_err();
            assert!(problem.contains(words), "{line}: {problem}");
        }
    }

    #[test]
    fn grey_streams_get_neutral_colour() {
        let mut capture = open(b"YUV4MPEG2 W2 H1 F25:1 Cmono\nFRAME\nab".to_vec()).unwrap();
        let mut frame = CapturedFrame::new();
        assert!(capture.next_into(&mut frame).unwrap());
        let [y, cb, cr] = frame.picture.planes();
        assert_eq!(
            (y.levels(), cb.levels(), cr.levels()),
            (&b"ab"[..], &[128][..], &[128][..])
        );
        assert_eq!(frame.crc32, crc32fast::hash(b"ab"));
    }

    #[test]
    fn frame_lines_may_carry_parameters() {
        let mut capture =
            open(b"YUV4MPEG2 W1 H1 F25:1 C444\nFRAME Xnote\nabcFRAME\ndef".to_vec()).unwrap();
        let mut frame = CapturedFrame::new();
        assert!(capture.next_into(&mut frame).unwrap() && capture.next_into(&mut frame).unwrap());
        assert_eq!(frame.picture.planes()[0].levels(), b"d");
        assert!(!capture.next_into(&mut frame).unwrap());
    }

    #[test]
    fn a_stream_cut_anywhere_ends_cleanly_only_between_frames() {
        let whole = stream((4, 2), Subsampling::Both, 3);
        let header = whole.iter().position(|&b| b == b'\n').unwrap() + 1;
        let frame_bytes = 6 + 8 + 4;
        for length in 0..=whole.len() {
            let mut frames = 0;
            let result = open(whole[..length].to_vec()).and_then(|mut capture| {
                let mut frame = CapturedFrame::new();
                while capture.next_into(&mut frame)? {
                    frames += 1;
                }
                Ok(())
            });
            let body = length.saturating_sub(header);
            assert_eq!(frames, body / frame_bytes, "cut at {length}");
            let is_clean = length > header && body % frame_bytes == 0;
            assert_eq!(result.is_ok(), is_clean, "cut at {length}: {result:?}");
            if let (Err(error), true) = (result, length > header) {
                assert_eq!(error.frame(), Some(frames as u64));
            }
        }
    }

    #[test]
    fn planes_of_the_wrong_length_are_seen_at_the_next_frame() {
        let mut bytes = stream((4, 2), Subsampling::Both, 3);
        let header = bytes.iter().position(|&b| b == b'\n').unwrap() + 1;
        bytes.remove(header + 18 + 10);
        let mut capture = open(bytes).unwrap();
        let mut frame = CapturedFrame::new();
        assert!(capture.next_into(&mut frame).unwrap() && capture.next_into(&mut frame).unwrap());
        let error = capture.next_into(&mut frame).unwrap_err();
        assert_eq!(error.frame(), Some(2));
        assert!(
            error.to_string().contains("in place of \"FRAME\""),
            "{error}"
        );
    }

    #[test]
    fn matrix_and_range_can_be_set() {
        let options = OpenOptions {
            matrix: Some(Matrix::Bt601),
            range: Some(Range::Full),
            ..OpenOptions::default()
        };
        let bytes = stream((4, 2), Subsampling::Both, 1);
        let capture = Capture::from_reader(Box::new(Cursor::new(bytes)), "a", &options).unwrap();
        assert_eq!(
            capture.info().encoding,
            Encoding::YCbCr {
                matrix: Matrix::Bt601,
                range: Range::Full
            }
        );
        assert_eq!(
            (capture.info().matrix_from, capture.info().range_from),
            (Origin::Set, Origin::Set)
        );
    }

    #[test]
    fn a_stream_without_rate_needs_one() {
        let bytes = b"YUV4MPEG2 W1 H1 F0:0 C444\nFRAME\nabcFRAME\nabc".to_vec();
        let error = open(bytes.clone()).unwrap_err();
        assert!(error.to_string().contains("no frame rate"), "{error}");
        let options = OpenOptions {
            fps: Some(4.0),
            ..OpenOptions::default()
        };
        let mut capture =
            Capture::from_reader(Box::new(Cursor::new(bytes)), "a", &options).unwrap();
        let mut frame = CapturedFrame::new();
        assert!(capture.next_into(&mut frame).unwrap() && capture.next_into(&mut frame).unwrap());
        assert_eq!(frame.time_s, 0.25);
    }

    proptest! {
        #[test]
        fn any_header_is_read_or_refused(line in "YUV4MPEG2( [WHFIACX]?[0-9a-z:=-]{0,8}){0,6}") {
            if let Ok(header) = parse_header(&line) {
                prop_assert!(size_problem(header.width, header.height).is_none());
            }
        }

        #[test]
        fn any_bytes_give_frames_or_an_error(tail in proptest::collection::vec(any::<u8>(), 0..80)) {
            let mut bytes = b"YUV4MPEG2 W2 H2 F25:1\nFRAME\nabcdef".to_vec();
            bytes.extend(&tail);
            let mut capture = open(bytes).unwrap();
            let mut frame = CapturedFrame::new();
            prop_assert!(capture.next_into(&mut frame).unwrap());
            let is_clean = loop {
                match capture.next_into(&mut frame) {
                    Ok(true) => {}
                    Ok(false) => break true,
                    Err(_) => break false,
                }
            };
            prop_assert!(!is_clean || tail.is_empty() || tail.starts_with(b"FRAME"));
        }

        #[test]
        fn any_start_is_refused_without_panic(bytes in proptest::collection::vec(any::<u8>(), 0..80)) {
            prop_assert!(open(bytes).is_err());
        }
    }
}
