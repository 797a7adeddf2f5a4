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
//!   before the damage come out depends on the decoder (it works on some frames at once). The
//!   last of them is kept back: of a picture before an end that is not sound, nobody can say
//!   that it is whole.
//!
//! Threads are left to `ffmpeg` (its default is one a core, and a few frames ahead of us at
//! most, since the pipe is short).

mod child;
mod command;
mod depth;
mod packets;

use std::io::{BufRead, BufReader, Read};
use std::path::Path;
use std::process::ChildStdout;
use std::sync::mpsc::{RecvTimeoutError, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;

pub(super) use child::ChildHandle;
use child::{Log, join_log, keep_log};
use command::TIME_OFFSET_S;
use depth::Reduction;

use super::ending;
use super::error::{Error, quoted};
use super::frame::CapturedFrame;
use super::info::{CONVERTED, Origin, StreamInfo, note_on_unused, settle, usual_matrix};
use super::nut::NutReader;
use super::open::{OpenOptions, READ_BUFFER, Source, Stopper, check_size, read_full};
use super::patient::{Patient, silence};
use super::probe::{Form, Version, VideoStream, parse_streams, parse_version};
use super::rgb;
use crate::files::{self, Content, FileContent};
use crate::picture::{Encoding, Range, Subsampling};

/// Most bytes that `ffmpeg` may say of a file. It says some kilobytes.
const DESCRIPTION_MAX: u64 = 4 << 20;

/// By how much less may come than the container states: so many pictures, and at least so many seconds. Containers
/// round, and count the delay of coders; whole files of every usual container stay below 0.06 s.
const TOLERANCE_FRAMES: f64 = 2.0;
/// See [`TOLERANCE_FRAMES`].
const TOLERANCE_S: f64 = 0.1;

/// Reads a file through `ffmpeg`.
pub(super) struct FfmpegSource {
    name: String,
    /// What it reads.
    file: FileContent,
    /// The program, where it was given by its path.
    program: Option<FileContent>,
    options: OpenOptions,
    stream: VideoStream,
    child: ChildHandle,
    stdout: Option<Pipe>,
    nut: Option<NutReader<Pipe>>,
    log: Arc<Mutex<Log>>,
    log_thread: Option<JoinHandle<()>>,
    info: StreamInfo,
    frame_bytes: usize,
    depth: Option<Reduction>,
    scratch: Vec<u8>,
    /// Times of the first and of the last picture, s.
    times_s: Option<(f64, f64)>,
    /// The last picture has been read, and the end is sound.
    is_over: bool,
}

type Pipe = BufReader<Patient<ChildStdout>>;

impl FfmpegSource {
    pub(super) fn open(path: &Path, options: &OpenOptions) -> Result<Self, Error> {
        let name = quoted(path);
        let program = Path::new(&options.ffmpeg);
        let program = match program.components().count() {
            0 | 1 => None,
            // One that is not there is told when it is to be started.
            _ if !program.is_file() => None,
            _ => Some(digested(program)?),
        };
        let file = digested(path)?;
        let (stream, version) = probe(path, &name, options)?;
        let size = (stream.width, stream.height);
        check_size(&name, 0, size, options)?;
        let refuse = |problem: String| Error::Refused {
            name: name.clone(),
            problem,
        };
        let info = describe(&stream, &version, options).map_err(refuse)?;
        let mut child = child::start(&mut command::decoding(path, options, &stream, &version))
            .map_err(|e| start_failed(&name, options, e))?;
        let piped = "the child was started with its output piped";
        let stdout = Patient::new(child.stdout.take().expect(piped), options.timeout);
        let stdout = BufReader::with_capacity(READ_BUFFER, stdout);
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
            file,
            program,
            options: options.clone(),
            child: ChildHandle::new(child),
            stdout: Some(stdout),
            nut: None,
            log,
            log_thread: Some(log_thread),
            info,
            stream,
            frame_bytes,
            depth,
            scratch: Vec::new(),
            times_s: None,
            is_over: false,
        })
    }

    /// What the child's end means after `pictures` that came: a clean end, or the error, of which frame `index` is the
    /// first that is not delivered.
    fn at_end(&mut self, index: u64, pictures: u64) -> Result<(), Error> {
        let status = match self.child.wait(self.options.timeout) {
            Ok(status) => status,
            Err(e) => return Err(self.broken(index, e)),
        };
        if let Some(thread) = self.log_thread.take() {
            join_log(thread);
        }
        let said = self
            .log
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .words();
        if status.success() && said.is_empty() {
            return match self.missing(index, pictures)? {
                Some(problem) if pictures > 0 => Err(Error::Incomplete {
                    name: self.name.clone(),
                    frame: index,
                    problem,
                }),
                _ => Ok(()),
            };
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

    /// After all `pictures` that came: what tells that some did not come, or not whole.
    fn missing(&self, index: u64, pictures: u64) -> Result<Option<String>, Error> {
        let read_failed = |source| Error::Read {
            name: self.name.clone(),
            frame: index,
            source,
        };
        let mut file = files::open(&self.file.path)?;
        let cut = ending::problem(&mut file, &self.stream.container).map_err(read_failed)?;
        if let Some(cut) = cut {
            return Ok(Some(cut.to_owned()));
        }
        let (Some(stated_s), Some((first_s, last_s))) = (self.info.stated_duration_s, self.times_s)
        else {
            return Ok(None);
        };
        let mean_s = (last_s - first_s) / pictures.saturating_sub(1).max(1) as f64;
        let usual_s = self.info.rate_hz.map_or(mean_s, |rate| 1.0 / rate);
        let tolerance_s = (TOLERANCE_FRAMES * usual_s).max(TOLERANCE_S);
        // Some containers count from 0, some from their first time: what satisfies one of them is whole.
        let is_short =
            |start_s: f64, end_s: f64| stated_s - (end_s - start_s.min(0.0)) > tolerance_s;
        if !is_short(first_s, last_s + usual_s) {
            return Ok(None);
        }
        // Sound may be longer than video, and the last picture may stand for long. All packets together are as long
        // as the container says.
        let span = packets::span(&self.file.path, &self.options, self.stream.index)
            .map_err(read_failed)?;
        let Some(span) = span else {
            return Ok(None);
        };
        if is_short(span.start_s, span.end_s) {
            return Ok(Some(format!(
                "its container states {stated_s:.2} s, but what it holds ends after {:.2} s",
                span.end_s - span.start_s.min(0.0)
            )));
        }
        Ok((span.last_picture_s - last_s > tolerance_s).then(|| {
            format!(
                "its container has pictures up to {:.2} s, but the last that could be decoded is of {last_s:.2} s",
                span.last_picture_s
            )
        }))
    }

    /// Turns an error of the pipe into what the child has to say about it.
    fn broken(&mut self, index: u64, source: std::io::Error) -> Error {
        if source.kind() == std::io::ErrorKind::TimedOut {
            self.child.kill();
            return Error::Ffmpeg {
                name: self.name.clone(),
                frame: index,
                said: format!("{source}, and it was ended"),
            };
        }
        if source.kind() == std::io::ErrorKind::UnexpectedEof {
            if let Err(error) = self.at_end(index, index) {
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

    /// Whether nothing comes after the picture that has just been read, frame `index`.
    ///
    /// The last picture of a file that ends unsoundly may be half a picture, whatever the decoder made of it: one that is
    /// cut off need not be noticed by it. It is delivered only when the end is known to be good.
    fn is_last(&mut self, index: u64) -> Result<bool, Error> {
        let nut = self
            .nut
            .as_mut()
            .expect("a picture has just been read from it");
        match nut.reader().fill_buf() {
            Ok(bytes) => Ok(bytes.is_empty()),
            Err(e) => Err(self.broken(index, e)),
        }
    }

    fn read_levels(&mut self, frame: &mut CapturedFrame) -> std::io::Result<()> {
        let nut = self
            .nut
            .as_mut()
            .expect("the headers are read before the first frame");
        let reader = nut.reader();
        let scratch = &mut self.scratch;
        let picture = &mut frame.picture;
        match self.stream.delivery.form {
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
        if self.is_over {
            return Ok(false);
        }
        if !self.start(index)? {
            return self.at_end(index, index).map(|()| false);
        }
        let nut = self.nut.as_mut().expect("the headers have just been read");
        let start = match nut.next_frame() {
            Ok(Some(start)) => start,
            Ok(None) => return self.at_end(index, index).map(|()| false),
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
        self.times_s = Some((self.times_s.map_or(start.time_s, |t| t.0), start.time_s));
        if self.is_last(index)? {
            self.at_end(index, index + 1)?;
            self.is_over = true;
        }
        Ok(true)
    }

    fn stopper(&self) -> Stopper {
        Stopper::Child(self.child.clone())
    }

    fn contents(&mut self) -> Result<Vec<FileContent>, Error> {
        self.child.end();
        unchanged(&self.file)?;
        Ok(vec![self.file.clone()])
    }

    fn program(&mut self) -> Result<Option<FileContent>, Error> {
        self.program.as_ref().map(unchanged).transpose()?;
        Ok(self.program.clone())
    }
}

fn digested(path: &Path) -> Result<FileContent, Error> {
    Ok(FileContent {
        path: path.to_owned(),
        content: Content::of_file(path)?,
    })
}

/// Refuses a file that holds something else by now.
fn unchanged(before: &FileContent) -> Result<(), Error> {
    if Content::of_file(&before.path)? == before.content {
        return Ok(());
    }
    Err(Error::Changed {
        name: quoted(&before.path),
    })
}

impl Drop for FfmpegSource {
    fn drop(&mut self) {
        self.child.end();
    }
}

fn start_failed(name: &str, options: &OpenOptions, source: std::io::Error) -> Error {
    Error::FfmpegMissing {
        name: name.to_owned(),
        program: options.ffmpeg.clone(),
        source,
    }
}

/// What `ffmpeg` says of the file.
fn probe(path: &Path, name: &str, options: &OpenOptions) -> Result<(VideoStream, Version), Error> {
    let mut child = child::start(&mut command::description(path, options))
        .map_err(|e| start_failed(name, options, e))?;
    let stderr = child.stderr.take();
    let stderr = stderr.expect("the child was started with its error output piped");
    let child = ChildHandle::new(child);
    // In a thread, so that all of it has one limit: this end is not kept from giving up.
    let (send, received) = sync_channel(1);
    std::thread::spawn(move || {
        let mut said = Vec::new();
        let result = stderr.take(DESCRIPTION_MAX + 1).read_to_end(&mut said);
        // Nobody takes it after the limit.
        let _ = send.send(result.map(|_| said));
    });
    let said = match received.recv_timeout(options.timeout) {
        Ok(said) => said,
        Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => {
            Err(silence(options.timeout))
        }
    };
    child.end();
    let refuse = |problem: String| Error::Refused {
        name: name.to_owned(),
        problem,
    };
    let said = said.map_err(|e| {
        refuse(format!(
            "\"{}\" does not say what it is: {e}",
            options.ffmpeg
        ))
    })?;
    if said.len() as u64 > DESCRIPTION_MAX {
        return Err(refuse(format!(
            "\"{}\" says more than {DESCRIPTION_MAX} bytes of it; is it ffmpeg?",
            options.ffmpeg
        )));
    }
    let text = String::from_utf8_lossy(&said);
    Ok((parse_streams(&text).map_err(refuse)?, parse_version(&text)))
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
        is_grey: stream.delivery.form == Form::Grey,
        frame_count: None,
        stated_duration_s: stream.stated_duration_s,
        rate_hz: stream.rate_hz,
        matrix_from,
        range_from,
        times_from: Origin::Stream,
        notes,
    })
}

#[cfg(test)]
mod tests;
