//! Captures: the video that was recorded from the display, frame by frame.
//!
//! **Question.** Which pixels did the display show, and when?
//!
//! **Method.** A [`Capture`] reads one of four kinds of source and delivers every frame as a
//! [`CapturedFrame`]: planes of 8-bit Y', Cb, Cr, colour at half resolution, the frame's number, its
//! presentation time as the source gives it, and the CRC-32 of what the source delivered.
//!
//! | source | pixels | times |
//! |---|---|---|
//! | folder of PNGs ([`png_folder`]) | R'G'B', turned into Y'CbCr | `times.csv`, else a frame rate |
//! | YUV4MPEG2 ([`yuv4mpeg`]) | as they are | frame rate of the header |
//! | raw R'G'B' ([`raw`]) | R'G'B', turned into Y'CbCr | frame rate, given |
//! | anything else, through the `ffmpeg` program ([`ffmpeg`]) | planes as coded | one per frame, from the container |
//!
//! Pictures are compared in the planes of the chain, luma at full and colour at half resolution,
//! so nothing here scales luma or turns Y'CbCr into R'G'B'. R'G'B' material goes the same road the
//! other way: Y'CbCr, BT.709, full range. Colour that comes at a higher resolution is averaged to half
//! (`half_colour`); the CRC-32 is that of what was delivered.
//!
//! **Times.** The frame number says nothing about time when the frame rate varies, and it
//! usually does: a capture card drops frames. So each frame carries its own presentation time,
//! strictly rising. `ffmpeg` is asked to write NUT, a container simple enough to be read in a
//! few lines ([`nut`]), because it puts the time and the pixels of a frame into one stream.
//! Rejected: parsing the `showinfo` filter's log (checksums every frame, and two streams have
//! to be matched), a second look with `ffprobe` (reads the file twice, and the order of packets
//! is not that of frames), and YUV4MPEG2 (has no times at all).
//!
//! **Damage.** Frames before the damage are delivered, then comes an [`Error`] that carries the
//! number of the first frame that could not be. A decoder that conceals damage would deliver a
//! picture that the display never showed, so `ffmpeg` is told to stop instead.
//!
//! **Running beside.** [`ReadAhead`] reads and decodes in a thread of its own, a few frames
//! ahead, in buffers that go round: memory does not depend on the length of the video.
//!
//! **What it cannot see.** A wrong tag: material coded with one matrix and marked with another
//! looks right here. [`StreamInfo`] says where matrix and range come from, so that a later stage
//! can measure them. Fields of interlaced video belong to two moments, and are refused.

mod animated_png;
mod bytes;
mod ending;
mod error;
pub mod ffmpeg;
mod frame;
mod half_colour;
mod info;
pub mod nut;
mod nut_walk;
mod open;
mod patient;
pub mod png_folder;
pub mod probe;
pub mod profile;
pub mod raw;
mod read_ahead;
pub mod reading_errors;
pub mod rgb;
pub mod times;
pub mod yuv4mpeg;

pub use error::Error;
pub use frame::CapturedFrame;
pub use info::{Origin, Siting, StreamInfo};
pub use open::{Capture, OpenOptions};
pub use png_folder::TIMES_FILE;
pub use raw::RawFormat;
pub use read_ahead::ReadAhead;
pub use yuv4mpeg::Y4mWriter;
