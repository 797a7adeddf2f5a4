//! Any container that the `ffmpeg` program can decode.
//!
//! `ffmpeg` runs as a child process. It is asked first what the file holds, then to write the
//! pictures of one stream, as coded, into a pipe as NUT, which gives each frame its time.
//!
//! The options and why:
//! - `-copyts`, `-fps_mode passthrough` (`-vsync 0` before 5.1): times and frames as they are
//!   in the file, none repeated, none dropped, no shift to zero;
//! - `-enc_time_base 1/720720000`: by default frames get ticks of the nominal rate, which moves
//!   the frames of a variable rate. 720,720,000 ticks a second is a multiple of 90,000, 48,000,
//!   1,000 and of every whole frame rate to 16, and of 24, 25, 30, 50, 60, 120 and their 1001
//!   variants; other times move by less than 1 ns;
//! - `-output_ts_offset`: NUT has no negative times, containers have; it is taken off again;
//! - `-autoscale 0`: a change of size shows as a change of size and is not scaled away;
//! - `-xerror -err_detect explode`: damage ends the stream. By default a decoder fills in what
//!   is missing, and the result looks like a fault of the display. How many of the good frames
//!   before the damage come out depends on the decoder (it works on some frames at once).
//!
//! Threads are left to `ffmpeg` (its default is one a core, and a few frames ahead of us at
//! most, since the pipe is short).

use std::collections::VecDeque;
use std::io::{BufRead, BufReader, Read};
use std::path::Path;
use std::process::{Child, ChildStdout, Command, ExitStatus, Stdio};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

use super::error::{Error, quoted};
use super::frame::CapturedFrame;
use super::info::{CONVERTED, Origin, StreamInfo, note_on_unused, settle, usual_matrix};
use super::nut::NutReader;
use super::open::{OpenOptions, READ_BUFFER, Source, Stopper, check_size, read_full};
use super::probe::{Form, Version, VideoStream, clean, parse_streams, parse_version};
use super::rgb;
use crate::picture::{Encoding, Range, Subsampling};

/// See the module.
const TICKS: &str = "1/720720000";
const TIME_OFFSET_S: i64 = 86_400;

/// Lines of the log that are kept for the error text.
const LOG_LINES: usize = 6;

/// A child process that another thread may end.
#[derive(Clone)]
pub(super) struct ChildHandle(Arc<Mutex<Child>>);

impl ChildHandle {
    /// Ends the child, if it still runs.
    pub(super) fn kill(&self) {
        // It fails only when the child has ended already.
        let _ = self.lock().kill();
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, Child> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Waits for the end, without keeping others from [`ChildHandle::kill`].
    fn wait(&self) -> std::io::Result<ExitStatus> {
        loop {
            if let Some(status) = self.lock().try_wait()? {
                return Ok(status);
            }
            std::thread::sleep(Duration::from_millis(1));
        }
    }
}

/// The last lines that the child wrote on its error output.
#[derive(Default)]
struct Log {
    first: Option<String>,
    last: VecDeque<String>,
}

impl Log {
    fn push(&mut self, line: &[u8]) {
        let line = without_address(&clean(&String::from_utf8_lossy(line)));
        if line.is_empty() {
            return;
        }
        if self.first.is_none() {
            self.first = Some(line);
            return;
        }
        if self.last.len() == LOG_LINES {
            self.last.pop_front();
        }
        self.last.push_back(line);
    }

    fn words(&self) -> String {
        let lines: Vec<&str> = self
            .first
            .iter()
            .chain(&self.last)
            .map(String::as_str)
            .collect();
        lines.join("; ")
    }
}

/// Takes the memory address out of `[h264 @ 0x56524463b040] ...`: it differs from run to run.
fn without_address(line: &str) -> String {
    let parts = line
        .split_once(" @ 0x")
        .and_then(|(head, rest)| Some((head, rest.split_once(']')?.1)));
    match parts {
        Some((head, tail)) if head.starts_with('[') => format!("{head}]{tail}"),
        _ => line.to_owned(),
    }
}

/// Reads a file through `ffmpeg`.
pub(super) struct FfmpegSource {
    name: String,
    child: ChildHandle,
    stdout: Option<BufReader<ChildStdout>>,
    nut: Option<NutReader<BufReader<ChildStdout>>>,
    log: Arc<Mutex<Log>>,
    log_thread: Option<JoinHandle<()>>,
    info: StreamInfo,
    form: Form,
    frame_bytes: usize,
    depth: Option<Reduction>,
    scratch: Vec<u8>,
}

impl FfmpegSource {
    pub(super) fn open(path: &Path, options: &OpenOptions) -> Result<Self, Error> {
        let name = quoted(path);
        let (stream, version) = probe(path, &name, options)?;
        let size = (stream.width, stream.height);
        check_size(&name, 0, size, options)?;
        let refuse = |problem: String| Error::Refused {
            name: name.clone(),
            problem,
        };
        let info = describe(&stream, &version, options).map_err(refuse)?;
        let mut child = command(path, options, &stream, &version)
            .spawn()
            .map_err(|e| start_failed(&name, options, e))?;
        let piped = "the child was started with its output piped";
        let stdout = BufReader::with_capacity(READ_BUFFER, child.stdout.take().expect(piped));
        let stderr = child.stderr.take().expect(piped);
        let log = Arc::new(Mutex::new(Log::default()));
        let log_thread = std::thread::spawn({
            let log = Arc::clone(&log);
            move || keep_log(BufReader::new(stderr), &log)
        });
        let pixels = size.0 * size.1;
        let (cw, ch) = info.subsampling.chroma_size(size.0, size.1);
        let samples = match stream.delivery.form {
            Form::Planes(_) => pixels + 2 * cw * ch,
            Form::Grey => pixels,
            Form::Triples => 3 * pixels,
        };
        let Encoding::YCbCr { range, .. } = info.encoding else {
            unreachable!("every capture is delivered as Y'CbCr");
        };
        let depth = (stream.delivery.depth_bits > 8)
            .then(|| Reduction::new(stream.delivery.depth_bits, range));
        let frame_bytes = if depth.is_some() {
            2 * samples
        } else {
            samples
        };
        Ok(Self {
            name,
            child: ChildHandle(Arc::new(Mutex::new(child))),
            stdout: Some(stdout),
            nut: None,
            log,
            log_thread: Some(log_thread),
            info,
            form: stream.delivery.form,
            frame_bytes,
            depth,
            scratch: Vec::new(),
        })
    }

    /// What the child's end means: a clean end, or the error.
    fn at_end(&mut self, index: u64) -> Result<bool, Error> {
        let status = self.child.wait().map_err(|source| Error::Read {
            name: self.name.clone(),
            frame: index,
            source,
        })?;
        if let Some(thread) = self.log_thread.take() {
            thread
                .join()
                .expect("the thread that keeps the log does not panic");
        }
        let said = self
            .log
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .words();
        if status.success() && said.is_empty() {
            return Ok(false);
        }
        let said = match (said.is_empty(), status.code()) {
            (false, _) => {
                format!(
                    "{said}; the file was cut short or damaged there, or does not start with a key frame"
                )
            }
            (true, Some(code)) => format!("it ended with exit status {code} and said nothing"),
            (true, None) => "it was killed".to_owned(),
        };
        Err(Error::Ffmpeg {
            name: self.name.clone(),
            frame: index,
            said,
        })
    }

    /// Turns an error of the pipe into what the child has to say about it.
    fn broken(&mut self, index: u64, source: std::io::Error) -> Error {
        if source.kind() == std::io::ErrorKind::UnexpectedEof {
            if let Err(error) = self.at_end(index) {
                return error;
            }
            let said = "its output ends in the middle of a frame".to_owned();
            return Error::Ffmpeg {
                name: self.name.clone(),
                frame: index,
                said,
            };
        }
        Error::Read {
            name: self.name.clone(),
            frame: index,
            source,
        }
    }

    /// Reads the headers of the pipe when that has not been done; false when it is empty.
    fn start(&mut self, index: u64) -> Result<bool, Error> {
        let Some(mut stdout) = self.stdout.take() else {
            return Ok(true);
        };
        let is_empty = match stdout.fill_buf() {
            Ok(bytes) => bytes.is_empty(),
            Err(e) => return Err(self.broken(index, e)),
        };
        if is_empty {
            return Ok(false);
        }
        let nut = NutReader::open(stdout, TIME_OFFSET_S).map_err(|e| self.broken(index, e))?;
        let (width, height) = nut.size();
        if (width, height) != (self.info.width as u64, self.info.height as u64) {
            return Err(Error::Size {
                name: self.name.clone(),
                frame: index,
                found: (width as usize, height as usize),
                wanted: (self.info.width, self.info.height),
                whose: "the file's header says",
            });
        }
        self.nut = Some(nut);
        Ok(true)
    }

    fn read_levels(&mut self, frame: &mut CapturedFrame) -> std::io::Result<()> {
        let nut = self
            .nut
            .as_mut()
            .expect("the headers are read before the first frame");
        let reader = nut.reader();
        let scratch = &mut self.scratch;
        let picture = &mut frame.picture;
        match self.form {
            Form::Planes(_) => {
                for (k, plane) in picture.planes_mut().iter_mut().enumerate() {
                    fill(
                        reader,
                        plane.levels_mut(),
                        self.depth.as_ref().map(|d| d.table(k)),
                        scratch,
                    )?;
                }
                frame.crc32 = picture.crc32();
            }
            Form::Grey => {
                let [y, cb, cr] = picture.planes_mut();
                fill(
                    reader,
                    y.levels_mut(),
                    self.depth.as_ref().map(|d| d.table(0)),
                    scratch,
                )?;
                cb.levels_mut().fill(128);
                cr.levels_mut().fill(128);
                frame.crc32 = crc32fast::hash(y.levels());
            }
            Form::Triples => {
                scratch.resize(self.frame_bytes, 0);
                fill_bytes(reader, scratch)?;
                frame.crc32 = crc32fast::hash(scratch);
                rgb::fill_from_rgb(scratch, picture);
            }
        }
        Ok(())
    }
}

fn fill_bytes(reader: &mut impl Read, bytes: &mut [u8]) -> std::io::Result<()> {
    match read_full(reader, bytes)? {
        got if got == bytes.len() => Ok(()),
        _ => Err(std::io::ErrorKind::UnexpectedEof.into()),
    }
}

/// Fills a plane from 8-bit samples, or from deeper ones through a table.
fn fill(
    reader: &mut impl Read,
    levels: &mut [u8],
    table: Option<&[u8]>,
    scratch: &mut Vec<u8>,
) -> std::io::Result<()> {
    let Some(table) = table else {
        return fill_bytes(reader, levels);
    };
    scratch.resize(2 * levels.len(), 0);
    fill_bytes(reader, scratch)?;
    for (level, sample) in levels.iter_mut().zip(scratch.chunks_exact(2)) {
        *level = table[usize::from(u16::from_le_bytes([sample[0], sample[1]]))];
    }
    Ok(())
}

/// Deep samples to 8 bits, rounded. Done here since the scaler of `ffmpeg` cuts bits off
/// instead, which darkens the picture by half a level.
///
/// # Source
/// Rec. ITU-T H.273, 8.3: limited range is scaled by powers of two, full range by
/// `2^bits - 1` with colour centred on `2^(bits - 1)`.
struct Reduction {
    luma: Vec<u8>,
    colour: Vec<u8>,
}

impl Reduction {
    fn new(bits: u32, range: Range) -> Self {
        let top = (1_u32 << bits) - 1;
        let centre = 1_u32 << (bits - 1);
        let limited = |v: u32| f64::from(v) / f64::from(1_u32 << (bits - 8));
        let scale = 255.0 / f64::from(top);
        let level = |v: f64| v.round().clamp(0.0, 255.0) as u8;
        let samples = || (0..=u32::from(u16::MAX)).map(|v| v.min(top));
        match range {
            Range::Limited => {
                let luma: Vec<u8> = samples().map(|v| level(limited(v))).collect();
                Self {
                    colour: luma.clone(),
                    luma,
                }
            }
            Range::Full => Self {
                luma: samples().map(|v| level(f64::from(v) * scale)).collect(),
                colour: samples()
                    .map(|v| level((f64::from(v) - f64::from(centre)) * scale + 128.0))
                    .collect(),
            },
        }
    }

    /// By the number of the plane.
    fn table(&self, plane: usize) -> &[u8] {
        if plane == 0 { &self.luma } else { &self.colour }
    }
}

impl Source for FfmpegSource {
    fn info(&self) -> &StreamInfo {
        &self.info
    }

    fn name(&self) -> &str {
        &self.name
    }

    fn hint_on_no_frames(&self) -> &'static str {
        "ffmpeg finds a video stream in it, but no picture; the file was cut short or damaged"
    }

    fn read(&mut self, index: u64, frame: &mut CapturedFrame) -> Result<bool, Error> {
        if !self.start(index)? {
            return self.at_end(index);
        }
        let nut = self.nut.as_mut().expect("the headers have just been read");
        let start = match nut.next_frame() {
            Ok(Some(start)) => start,
            Ok(None) => return self.at_end(index),
            Err(e) => return Err(self.broken(index, e)),
        };
        if start.size != self.frame_bytes as u64 {
            let problem = format!(
                "has {} bytes where {}x{} px have {}: the size of the picture changes within the file; cut the file \
                 there and judge the parts",
                start.size, self.info.width, self.info.height, self.frame_bytes
            );
            return Err(Error::Frame {
                name: self.name.clone(),
                frame: index,
                problem,
            });
        }
        frame.shape(
            (self.info.width, self.info.height),
            self.info.encoding,
            self.info.subsampling,
        );
        self.read_levels(frame).map_err(|e| self.broken(index, e))?;
        frame.time_s = start.time_s;
        Ok(true)
    }

    fn stopper(&self) -> Stopper {
        Stopper::Child(self.child.clone())
    }
}

impl Drop for FfmpegSource {
    fn drop(&mut self) {
        self.child.kill();
        // Takes the ended child off the system's table.
        let _ = self.child.wait();
    }
}

fn start_failed(name: &str, options: &OpenOptions, source: std::io::Error) -> Error {
    Error::FfmpegMissing {
        name: name.to_owned(),
        program: options.ffmpeg.clone(),
        source,
    }
}

/// The path such that `ffmpeg` takes it for a file, whatever it looks like.
fn file_argument(path: &Path) -> std::ffi::OsString {
    let mut argument = std::ffi::OsString::from("file:");
    argument.push(path);
    argument
}

fn probe(path: &Path, name: &str, options: &OpenOptions) -> Result<(VideoStream, Version), Error> {
    let output = Command::new(&options.ffmpeg)
        .args(["-nostdin", "-v", "verbose", "-i"])
        .arg(file_argument(path))
        .stdin(Stdio::null())
        .output()
        .map_err(|e| start_failed(name, options, e))?;
    let text = String::from_utf8_lossy(&output.stderr);
    let stream = parse_streams(&text).map_err(|problem| Error::Refused {
        name: name.to_owned(),
        problem,
    })?;
    Ok((stream, parse_version(&text)))
}

fn command(path: &Path, options: &OpenOptions, stream: &VideoStream, version: &Version) -> Command {
    let mut command = Command::new(&options.ffmpeg);
    command.args([
        "-nostdin",
        "-v",
        "error",
        "-xerror",
        "-err_detect",
        "explode",
        "-copyts",
        "-i",
    ]);
    command.arg(file_argument(path));
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

fn keep_log(mut stderr: impl BufRead, log: &Mutex<Log>) {
    const LINE_MAX: u64 = 4096;
    let mut line = Vec::new();
    loop {
        line.clear();
        match (&mut stderr).take(LINE_MAX).read_until(b'\n', &mut line) {
            Ok(0) | Err(_) => return,
            Ok(_) => log
                .lock()
                .unwrap_or_else(PoisonError::into_inner)
                .push(&line),
        }
    }
}

fn describe(
    stream: &VideoStream,
    version: &Version,
    options: &OpenOptions,
) -> Result<StreamInfo, String> {
    let mut notes = stream.notes.clone();
    let is_rgb = stream.delivery.form == Form::Triples;
    let (encoding, matrix_from, range_from) = if is_rgb {
        notes.extend(note_on_unused(options.matrix, options.range));
        (CONVERTED, Origin::Converted, Origin::Converted)
    } else {
        if let (Some(foreign), None) = (&stream.foreign_matrix, options.matrix) {
            return Err(format!(
                "its colours are coded with matrix {foreign:?}; supported: bt601 and bt709; convert it first, or set \
                 the matrix if the mark is wrong"
            ));
        }
        let (matrix, matrix_from) =
            settle(options.matrix, stream.matrix, usual_matrix(stream.height));
        let usual = if stream.delivery.form == Form::Grey {
            Range::Full
        } else {
            Range::Limited
        };
        let (range, range_from) = settle(options.range, stream.range, usual);
        (Encoding::YCbCr { matrix, range }, matrix_from, range_from)
    };
    Ok(StreamInfo {
        source: format!("{} through ffmpeg {}", stream.codec, version.words),
        width: stream.width,
        height: stream.height,
        encoding,
        subsampling: match stream.delivery.form {
            Form::Planes(subsampling) => subsampling,
            Form::Grey => Subsampling::Both,
            Form::Triples => Subsampling::None,
        },
        siting: stream.siting,
        frame_count: None,
        rate_hz: stream.rate_hz,
        matrix_from,
        range_from,
        times_from: Origin::Stream,
        notes,
    })
}

#[cfg(test)]
mod tests {
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
        let is_same = found.len() == wanted.len()
            && found.iter().zip(&wanted).all(|(a, b)| (a - b).abs() < 2e-9);
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
        let select =
            "-vf select='mod(n,7)-3',select='not(between(t,0.79,1.1))' -fps_mode passthrough";
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
        let source = "-f lavfi -i gradients=s=256x64:r=25:d=0.2,format=yuv444p10le";
        make(
            &folder,
            &format!("{source} -c:v ffv1 -color_range pc -colorspace smpte170m deep.mkv"),
        );
        make(
            &folder,
            "-i deep.mkv -f rawvideo -pix_fmt yuv444p10le planes",
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
        let planes = std::fs::read(folder.path().join("planes")).unwrap();
        let (frames, _) = read(&folder, "deep.mkv");
        let deep = planes
            .chunks_exact(2)
            .map(|b| u16::from_le_bytes([b[0], b[1]]));
        let levels = frames
            .iter()
            .flat_map(|f| f.picture.planes())
            .flat_map(|p| p.levels());
        assert_eq!(frames.len(), 5);
        for (deep, &level) in deep.zip(levels) {
            // H.273, 8.3: full range is scaled by 255 / 1023.
            let exact = f64::from(deep) * 255.0 / 1023.0;
            // Colour is scaled about its centre, three eighths of a level off.
            assert!(
                (exact - f64::from(level)).abs() <= 0.9,
                "{deep} became {level}"
            );
        }
    }

    #[test]
    fn deep_samples_keep_black_white_and_neutral() {
        let limited = Reduction::new(10, Range::Limited);
        assert_eq!(
            [64, 65, 66, 512, 940, 1023].map(|v| limited.luma[v]),
            [16, 16, 17, 128, 235, 255]
        );
        let full = Reduction::new(12, Range::Full);
        assert_eq!([0, 4095].map(|v| full.luma[v]), [0, 255]);
        assert_eq!([0, 2048, 4095].map(|v| full.colour[v]), [0, 128, 255]);
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

    #[test]
    fn addresses_are_taken_out_of_the_log() {
        let line = "[h264 @ 0x56524463b040] error while decoding MB 51 37, bytestream -62";
        assert_eq!(
            without_address(line),
            "[h264] error while decoding MB 51 37, bytestream -62"
        );
        assert_eq!(without_address("cut.ts: a @ 0x1 b"), "cut.ts: a @ 0x1 b");
    }

    #[test]
    fn the_log_keeps_the_first_and_the_last_lines() {
        let mut log = Log::default();
        (0..20).for_each(|k| log.push(format!("line {k}\n").as_bytes()));
        assert!(log.words().starts_with("line 0; line 14;") && log.words().ends_with("line 19"));
    }
}
