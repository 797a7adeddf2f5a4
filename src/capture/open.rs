//! Opening a capture, and delivering its frames in order.

use std::io::{BufRead, BufReader, Read};
use std::path::Path;
use std::time::Duration;

use super::bytes::Bytes;
use super::error::{Error, quoted};
use super::frame::CapturedFrame;
use super::half_colour::halve;
use super::info::StreamInfo;
use super::patient::Patient;
use super::raw::{RawFormat, RawSource};
use super::yuv4mpeg::{MAGIC, Y4mSource};
use super::{ffmpeg, png_folder};
use crate::files::{self, FileContent};
use crate::picture::{Matrix, Range, Subsampling};

/// What the user says about a capture.
#[derive(Clone, Debug, PartialEq)]
pub struct OpenOptions {
    /// Width and height of the display, px: frames of another size are an error. `None` takes
    /// what comes, but all frames have the size of the first.
    pub size: Option<(usize, usize)>,
    /// Overrides the stream's matrix.
    pub matrix: Option<Matrix>,
    /// Overrides the stream's range.
    pub range: Option<Range>,
    /// Reads the capture as raw pixels of this form.
    pub raw: Option<RawFormat>,
    /// Frame rate of material that carries no times (a folder without `times.csv`, YUV4MPEG2
    /// without a rate), 1/s. Folders default to [`png_folder::RATE_DEFAULT_HZ`].
    pub fps: Option<f64>,
    /// Name or path of the `ffmpeg` program.
    pub ffmpeg: String,
    /// Longest time that `ffmpeg`, or a pipe, may give nothing.
    pub timeout: Duration,
}

impl OpenOptions {
    /// [`OpenOptions::timeout`] when nothing else is wanted.
    pub const TIMEOUT_DEFAULT: Duration = Duration::from_secs(30);
}

impl Default for OpenOptions {
    fn default() -> Self {
        Self {
            size: None,
            matrix: None,
            range: None,
            raw: None,
            fps: None,
            ffmpeg: "ffmpeg".to_owned(),
            timeout: Self::TIMEOUT_DEFAULT,
        }
    }
}

/// Ends a source from another thread, so that a read that waits returns.
#[derive(Clone)]
pub(super) enum Stopper {
    /// Every read ends by itself, soon.
    NotNeeded,
    /// Nothing can end a read that waits for the other end of a pipe.
    Impossible,
    /// The child that is to be killed.
    Child(ffmpeg::ChildHandle),
}

/// A kind of source. Frames come in order; buffers are the caller's.
pub(super) trait Source: Send {
    /// What is known beforehand.
    fn info(&self) -> &StreamInfo;
    /// Name for messages, in quotes.
    fn name(&self) -> &str;
    /// What to look at when there are no frames.
    fn hint_on_no_frames(&self) -> &'static str;
    /// Reads frame `index` into `frame`: time, CRC and picture. `Ok(false)` at a clean end.
    fn read(&mut self, index: u64, frame: &mut CapturedFrame) -> Result<bool, Error>;
    /// When frame `index` is shown, s, where that is known before it is read.
    fn time_s(&self, _index: u64) -> Option<f64> {
        None
    }
    /// Reads frame `index`, of which [`Source::time_s`] tells the time, and does not decode it.
    fn pass(&mut self, _index: u64) -> Result<(), Error> {
        Ok(())
    }
    /// How a waiting read can be ended.
    fn stopper(&self) -> Stopper;
    /// See [`Capture::contents`].
    fn contents(&mut self) -> Result<Vec<FileContent>, Error>;
    /// See [`Capture::program`].
    fn program(&mut self) -> Result<Option<FileContent>, Error> {
        Ok(None)
    }
}

/// A capture that is being read.
pub struct Capture {
    source: Box<dyn Source>,
    info: StreamInfo,
    /// The source's frame, where its colour is to be halved.
    whole: CapturedFrame,
    next_index: u64,
    last_time_s: f64,
    pictures_from_s: f64,
    state: State,
}

#[derive(Clone, Copy, PartialEq)]
enum State {
    Running,
    Ended,
    Failed,
}

/// Two frames nearer to each other than this are one moment, s. No display and no container in
/// use goes there; `ffmpeg` moves repeated times apart by one of its ticks, about 1 ns.
const STEP_MIN_S: f64 = 1e-6;

impl Capture {
    /// Opens a folder of PNGs, one PNG, a YUV4MPEG2 file, raw pixels, or any file that `ffmpeg`
    /// reads. What the file holds decides, not its name. The path `-` is standard input: raw
    /// pixels when [`OpenOptions::raw`] is set, else YUV4MPEG2.
    ///
    /// # Errors
    /// Everything that is wrong before the first frame, the size of the frames among it.
    pub fn open(path: &Path, options: &OpenOptions) -> Result<Self, Error> {
        check_rate(path, options)?;
        let source: Box<dyn Source> = if path.as_os_str() == "-" {
            let bytes = Bytes::of_pipe(standard_input(options)?);
            open_stream(bytes, "standard input".to_owned(), options)?
        } else {
            open_path(path, options)?
        };
        Ok(Self::of(source))
    }

    /// Reads YUV4MPEG2 (or raw pixels, when the options say so) from any reader.
    ///
    /// # Errors
    /// As [`Capture::open`].
    pub fn from_reader(
        reader: Box<dyn Read + Send>,
        name: &str,
        options: &OpenOptions,
    ) -> Result<Self, Error> {
        check_rate(Path::new(name), options)?;
        let source = open_stream(Bytes::of_pipe(reader), format!("{name:?}"), options)?;
        Ok(Self::of(source))
    }

    fn of(source: Box<dyn Source>) -> Self {
        let mut info = source.info().clone();
        if info.subsampling == Subsampling::None {
            // Whether whatever spread the colour over all pixels knew where it lay, nobody says.
            info.siting = None;
        }
        info.subsampling = Subsampling::Both;
        Self {
            source,
            info,
            whole: CapturedFrame::new(),
            next_index: 0,
            last_time_s: f64::NEG_INFINITY,
            pictures_from_s: f64::NEG_INFINITY,
            state: State::Running,
        }
    }

    /// Frames that are shown earlier than so long after the first one, s, come with their times and, where times are known before a
    /// picture is decoded, without their pictures: those in the way of what somebody is to look at. What their files held is
    /// told all the same.
    #[must_use]
    pub fn with_pictures_from(mut self, after_first_s: f64) -> Self {
        let first_s = self.source.time_s(0);
        self.pictures_from_s = first_s.map_or(f64::NEG_INFINITY, |s| s + after_first_s);
        self
    }

    /// What is known of the capture beforehand.
    #[must_use]
    pub const fn info(&self) -> &StreamInfo {
        &self.info
    }

    /// Reads the next frame into `frame`, whose memory is used again: nothing is allocated once
    /// it has the right shape (PNG decoding apart). `Ok(false)` at a clean end, again and again.
    ///
    /// # Errors
    /// The damage that keeps the next frame from being delivered; after that, [`Error::Ended`].
    /// A capture without any frame is an error.
    pub fn next_into(&mut self, frame: &mut CapturedFrame) -> Result<bool, Error> {
        match self.state {
            State::Running => {}
            State::Ended => return Ok(false),
            State::Failed => {
                return Err(Error::Ended {
                    name: self.source.name().to_owned(),
                    frame: self.next_index,
                });
            }
        }
        let result = self.read_checked(frame);
        match result {
            Ok(true) => self.next_index += 1,
            Ok(false) => self.state = State::Ended,
            Err(_) => self.state = State::Failed,
        }
        result
    }

    fn read_checked(&mut self, frame: &mut CapturedFrame) -> Result<bool, Error> {
        let index = self.next_index;
        if !self.read_halved(index, frame)? {
            if index == 0 {
                let name = self.source.name().to_owned();
                return Err(Error::NoFrames {
                    name,
                    hint: self.source.hint_on_no_frames(),
                });
            }
            return Ok(false);
        }
        frame.index = index;
        // Written so that a time that is not a number fails too.
        let is_later = frame.time_s.is_finite() && frame.time_s >= self.last_time_s + STEP_MIN_S;
        if !is_later {
            let problem = format!(
                "is shown at {:.6} s, but the frame before it at {:.6} s; times must rise, and frames from here on \
                 are not judged; write the file again with times that rise",
                frame.time_s, self.last_time_s
            );
            return Err(Error::Frame {
                name: self.source.name().to_owned(),
                frame: index,
                problem,
            });
        }
        self.last_time_s = frame.time_s;
        Ok(true)
    }

    fn read_halved(&mut self, index: u64, frame: &mut CapturedFrame) -> Result<bool, Error> {
        let time_s = self.source.time_s(index);
        if let Some(time_s) = time_s.filter(|t| *t < self.pictures_from_s) {
            self.source.pass(index)?;
            frame.time_s = time_s;
            return Ok(true);
        }
        if self.source.info().subsampling == Subsampling::Both {
            return self.source.read(index, frame);
        }
        let whole = &mut self.whole;
        if !self.source.read(index, whole)? {
            return Ok(false);
        }
        let size = (whole.picture.width(), whole.picture.height());
        frame.shape(size, whole.picture.encoding(), Subsampling::Both);
        halve(&whole.picture, &mut frame.picture);
        (frame.time_s, frame.crc32) = (whole.time_s, whole.crc32);
        Ok(true)
    }

    pub(super) fn stopper(&self) -> Stopper {
        self.source.stopper()
    }

    /// What the capture's files held as they were read: one file, or every picture of a folder and its table of
    /// times; nothing for a pipe. Where reading stopped early it goes on to the end, without decoding; no frame
    /// can be read afterwards.
    ///
    /// A file that `ffmpeg` opens by itself was digested before it was opened, and is digested again here.
    ///
    /// # Errors
    /// When a file cannot be read, or was changed meanwhile.
    pub fn contents(&mut self) -> Result<Vec<FileContent>, Error> {
        self.state = State::Ended;
        self.source.contents()
    }

    /// The program that decoded the capture, as it was before and after; `None` where none did, or where it was
    /// not given by a path ([`OpenOptions::ffmpeg`]).
    ///
    /// # Errors
    /// When it cannot be read, or was changed meanwhile.
    pub fn program(&mut self) -> Result<Option<FileContent>, Error> {
        self.source.program()
    }
}

impl std::fmt::Debug for Capture {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Capture")
            .field("info", self.info())
            .field("next_index", &self.next_index)
            .finish()
    }
}

/// Frame rates that are believed, 1/s.
const RATES_HZ: std::ops::RangeInclusive<f64> = 0.001..=10_000.0;

fn check_rate(path: &Path, options: &OpenOptions) -> Result<(), Error> {
    let rates = [options.fps, options.raw.map(|raw| raw.fps)];
    match rates.into_iter().flatten().find(|rate| !is_rate(*rate)) {
        None => Ok(()),
        Some(rate) => Err(Error::Refused {
            name: quoted(path),
            problem: format!(
                "frame rate {rate}: must be {} to {} per second",
                RATES_HZ.start(),
                RATES_HZ.end()
            ),
        }),
    }
}

/// True for frame rates that are believed.
pub(super) fn is_rate(rate_hz: f64) -> bool {
    RATES_HZ.contains(&rate_hz)
}

fn open_path(path: &Path, options: &OpenOptions) -> Result<Box<dyn Source>, Error> {
    if path.is_dir() {
        return Ok(Box::new(png_folder::PngFolder::open(path, options)?));
    }
    let file = files::open(path)?;
    let length = file.metadata().map_or(0, |m| m.len());
    if options.raw.is_some() {
        return open_stream(Bytes::of_file(path, file), quoted(path), options);
    }
    if length == 0 {
        return Err(Error::NoFrames {
            name: quoted(path),
            hint: "the file is empty",
        });
    }
    let mut bytes = BufReader::with_capacity(READ_BUFFER, Bytes::of_file(path, file));
    let head = bytes.fill_buf().map_err(|source| Error::Open {
        name: quoted(path),
        source,
    })?;
    if head.starts_with(MAGIC) {
        let source = Y4mSource::open(bytes, quoted(path), Some(length), options)?;
        return Ok(Box::new(source));
    }
    if head.starts_with(b"\x89PNG")
        && let Some(picture) = png_folder::PngFolder::open_one(path, options)?
    {
        return Ok(Box::new(picture));
    }
    Ok(Box::new(ffmpeg::FfmpegSource::open(path, options)?))
}

/// Standard input, without the buffer that would hide what waits there.
fn standard_input(options: &OpenOptions) -> Result<Box<dyn Read + Send>, Error> {
    #[cfg(unix)]
    {
        use std::os::fd::AsFd;
        let pipe = std::io::stdin().as_fd().try_clone_to_owned();
        let pipe = std::fs::File::from(pipe.map_err(|source| Error::Open {
            name: "standard input".to_owned(),
            source,
        })?);
        Ok(Box::new(Patient::new(pipe, options.timeout)))
    }
    #[cfg(not(unix))]
    Ok(Box::new(std::io::stdin()))
}

/// Small enough that copying it does not matter, large enough that headers are cheap.
pub(super) const READ_BUFFER: usize = 16 * 1024;

fn open_stream(
    bytes: Bytes,
    name: String,
    options: &OpenOptions,
) -> Result<Box<dyn Source>, Error> {
    Ok(match options.raw {
        Some(format) => Box::new(RawSource::open(bytes, name, format, options)?),
        None => {
            let bytes = BufReader::with_capacity(READ_BUFFER, bytes);
            Box::new(Y4mSource::open(bytes, name, None, options)?)
        }
    })
}

/// Fills `buffer` as far as the reader goes; less than its length only at the end.
pub(super) fn read_full(reader: &mut dyn Read, buffer: &mut [u8]) -> std::io::Result<usize> {
    let mut got = 0;
    while got < buffer.len() {
        match reader.read(&mut buffer[got..]) {
            Ok(0) => break,
            Ok(n) => got += n,
            Err(e) if e.kind() == std::io::ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
    Ok(got)
}

/// Refuses a size that is not the display's.
pub(super) fn check_size(
    name: &str,
    frame: u64,
    found: (usize, usize),
    options: &OpenOptions,
) -> Result<(), Error> {
    match options.size {
        Some(wanted) if wanted != found => Err(Error::Size {
            name: name.to_owned(),
            frame,
            found,
            wanted,
            whose: "the display is",
        }),
        _ => Ok(()),
    }
}
