//! What can be wrong with a capture.

use std::io;

use crate::files;

/// What can be wrong with a capture.
///
/// Names of files stand in quotes. [`Error::frame`] tells the first frame that was not
/// delivered; all frames before it were.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The system refused to open or list something.
    #[error("cannot open capture {name}")]
    Open {
        /// File or folder, in quotes.
        name: String,
        /// The system's words.
        source: io::Error,
    },
    /// A file cannot be read, or is no regular file, or larger than its kind can be.
    #[error(transparent)]
    File(#[from] files::Error),
    /// The file of a frame is none that can be read.
    #[error("cannot read frame {frame} of {name}")]
    FrameFile {
        /// The folder, in quotes.
        name: String,
        /// First frame that was not delivered.
        frame: u64,
        /// Why.
        source: files::Error,
    },
    /// A file is another one than when reading began.
    #[error(
        "{name} was changed while it was read: what was judged is neither what it held nor what it holds; run again \
         when nothing writes to it"
    )]
    Changed {
        /// File, in quotes.
        name: String,
    },
    /// The system refused to read on.
    #[error("cannot read frame {frame} of {name}")]
    Read {
        /// File or folder, in quotes.
        name: String,
        /// First frame that was not delivered.
        frame: u64,
        /// The system's words.
        source: io::Error,
    },
    /// The capture as a whole cannot be used.
    #[error("{name}: {problem}")]
    Refused {
        /// File or folder, in quotes.
        name: String,
        /// What was found, what is allowed, and the way out.
        problem: String,
    },
    /// A table of times cannot be used.
    #[error("{name}:{line}: {problem}")]
    Table {
        /// The table, in quotes.
        name: String,
        /// Line in the table, from 1.
        line: u64,
        /// What was found and what is allowed.
        problem: String,
    },
    /// One frame cannot be used.
    #[error("{name}: frame {frame} {problem}")]
    Frame {
        /// File or folder, in quotes.
        name: String,
        /// First frame that was not delivered.
        frame: u64,
        /// What was found, what was expected, and the way out; reads on after the number.
        problem: String,
    },
    /// A frame has not the size that the display has, or that the frames before it had.
    #[error(
        "{name}: frame {frame} is {}x{}, but {whose} {}x{}; scale or crop the capture to match",
        found.0, found.1, wanted.0, wanted.1
    )]
    Size {
        /// File or folder, in quotes.
        name: String,
        /// The frame.
        frame: u64,
        /// Its width and height, px.
        found: (usize, usize),
        /// The width and height it should have, px.
        wanted: (usize, usize),
        /// Who says so, with its verb: `the display is`.
        whose: &'static str,
    },
    /// There is nothing to judge.
    #[error("{name} holds no frames: {hint}")]
    NoFrames {
        /// File or folder, in quotes.
        name: String,
        /// What to look at.
        hint: &'static str,
    },
    /// The capture needs `ffmpeg`, which cannot be started.
    #[error(
        "{name} needs the program \"{program}\", which cannot be started; install ffmpeg and put it on the PATH, \
         or give the capture as a folder of PNG files, as YUV4MPEG2 (.y4m) or as raw RGB on standard input, \
         which need no other program"
    )]
    FfmpegMissing {
        /// File, in quotes.
        name: String,
        /// The program that was asked for.
        program: String,
        /// The system's words.
        source: io::Error,
    },
    /// `ffmpeg` found damage, or failed.
    #[error("{name}: ffmpeg stopped at frame {frame}: {said}")]
    Ffmpeg {
        /// File, in quotes.
        name: String,
        /// First frame that was not delivered.
        frame: u64,
        /// Its last words.
        said: String,
    },
    /// It ended without complaint, but before the end that it states.
    #[error(
        "{name} is damaged: frames are missing, at frame {frame} at the latest: {problem}; it was cut short, never finished, or partly overwritten"
    )]
    Incomplete {
        /// File, in quotes.
        name: String,
        /// First frame that was not delivered.
        frame: u64,
        /// How it is known.
        problem: String,
    },
    /// Asked for a frame after an error.
    #[error("{name}: no frames after the error at frame {frame}")]
    Ended {
        /// File or folder, in quotes.
        name: String,
        /// First frame that was not delivered.
        frame: u64,
    },
}

impl Error {
    /// The first frame that was not delivered; `None` when the capture could not be opened.
    #[must_use]
    pub const fn frame(&self) -> Option<u64> {
        match self {
            Self::Read { frame, .. }
            | Self::Frame { frame, .. }
            | Self::FrameFile { frame, .. }
            | Self::Size { frame, .. }
            | Self::Ffmpeg { frame, .. }
            | Self::Incomplete { frame, .. }
            | Self::Ended { frame, .. } => Some(*frame),
            Self::NoFrames { .. } => Some(0),
            Self::Open { .. }
            | Self::File(_)
            | Self::Changed { .. }
            | Self::Refused { .. }
            | Self::Table { .. }
            | Self::FfmpegMissing { .. } => None,
        }
    }
}

/// A path in quotes, with control characters escaped.
pub(super) fn quoted(path: &std::path::Path) -> String {
    format!("{:?}", path.to_string_lossy())
}
