//! Raw R'G'B' pixels, three bytes each, from standard input or a file.

use super::bytes::Bytes;
use super::error::Error;
use super::frame::CapturedFrame;
use super::info::{CONVERTED, Origin, StreamInfo, note_on_unused, size_problem};
use super::open::{OpenOptions, Source, Stopper, check_size, read_full};
use super::rgb;
use super::yuv4mpeg::MAGIC;
use crate::files::FileContent;
use crate::picture::Subsampling;

/// The form of raw pixels: R', G', B', 8 bits each, row by row, frame after frame, with nothing
/// between.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RawFormat {
    /// Columns, px.
    pub width: usize,
    /// Rows, px.
    pub height: usize,
    /// Frames per second; frame k is shown at `k / fps`.
    pub fps: f64,
}

/// Reads raw pixels.
pub(super) struct RawSource {
    bytes: Bytes,
    name: String,
    format: RawFormat,
    info: StreamInfo,
    triples: Vec<u8>,
}

impl RawSource {
    pub(super) fn open(
        bytes: Bytes,
        name: String,
        format: RawFormat,
        options: &OpenOptions,
    ) -> Result<Self, Error> {
        let RawFormat { width, height, fps } = format;
        if let Some(problem) = size_problem(width, height) {
            return Err(Error::Refused { name, problem });
        }
        check_size(&name, 0, (width, height), options)?;
        let info = StreamInfo {
            source: "raw RGB".to_owned(),
            width,
            height,
            encoding: CONVERTED,
            subsampling: Subsampling::None,
            siting: None,
            is_grey: false,
            frame_count: None,
            stated_duration_s: None,
            rate_hz: Some(fps),
            matrix_from: Origin::Converted,
            range_from: Origin::Converted,
            times_from: Origin::Set,
            notes: note_on_unused(options.matrix, options.range)
                .into_iter()
                .collect(),
        };
        Ok(Self {
            bytes,
            name,
            format,
            info,
            triples: vec![0; 3 * width * height],
        })
    }
}

impl Source for RawSource {
    fn info(&self) -> &StreamInfo {
        &self.info
    }

    fn name(&self) -> &str {
        &self.name
    }

    fn hint_on_no_frames(&self) -> &'static str {
        "nothing was written to it; does the program that writes it run?"
    }

    fn read(&mut self, index: u64, frame: &mut CapturedFrame) -> Result<bool, Error> {
        let got = read_full(&mut self.bytes, &mut self.triples).map_err(|source| Error::Read {
            name: self.name.clone(),
            frame: index,
            source,
        })?;
        if got == 0 {
            return Ok(false);
        }
        let (width, height) = (self.format.width, self.format.height);
        if got < self.triples.len() {
            let problem = format!(
                "ends after {got} of {} bytes; the recording was cut short, or frames are not {width}x{height} px of \
                 three bytes",
                self.triples.len()
            );
            return Err(Error::Frame {
                name: self.name.clone(),
                frame: index,
                problem,
            });
        }
        if index == 0 && self.triples.starts_with(MAGIC) {
            return Err(Error::Refused {
                name: self.name.clone(),
                problem: "is YUV4MPEG2, not raw pixels; leave --raw away".to_owned(),
            });
        }
        frame.shape((width, height), CONVERTED, Subsampling::None);
        frame.crc32 = crc32fast::hash(&self.triples);
        rgb::fill_from_rgb(&self.triples, &mut frame.picture);
        frame.time_s = index as f64 / self.format.fps;
        Ok(true)
    }

    fn stopper(&self) -> Stopper {
        self.bytes.stopper()
    }

    fn contents(&mut self) -> Result<Vec<FileContent>, Error> {
        self.bytes.contents()
    }
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;
    use std::path::Path;

    use crate::capture::{Capture, CapturedFrame, Error, OpenOptions, RawFormat};

    fn options(width: usize, height: usize) -> OpenOptions {
        OpenOptions {
            raw: Some(RawFormat {
                width,
                height,
                fps: 25.0,
            }),
            ..OpenOptions::default()
        }
    }

    fn open(bytes: Vec<u8>) -> Capture {
        Capture::from_reader(Box::new(Cursor::new(bytes)), "-", &options(2, 1)).unwrap()
    }

    #[test]
    fn frames_follow_each_other_without_gaps() {
        let mut capture = open(vec![0, 0, 0, 255, 255, 255, 255, 0, 0, 0, 0, 255]);
        let mut frame = CapturedFrame::new();
        assert!(capture.next_into(&mut frame).unwrap());
        assert_eq!((frame.index, frame.time_s), (0, 0.0));
        assert_eq!(frame.picture.planes()[0].levels(), [0, 255]);
        assert_eq!(frame.crc32, crc32fast::hash(&[0, 0, 0, 255, 255, 255]));
        assert!(capture.next_into(&mut frame).unwrap());
        assert_eq!((frame.index, frame.time_s), (1, 0.04));
        // BT.709-6: red 0.2126, blue 0.0722 of 255.
        assert_eq!(frame.picture.planes()[0].levels(), [54, 18]);
        assert!(!capture.next_into(&mut frame).unwrap());
        assert!(!capture.next_into(&mut frame).unwrap());
    }

    #[test]
    fn a_cut_frame_is_an_error_with_its_number_and_then_nothing_comes() {
        let mut capture = open(vec![0; 11]);
        let mut frame = CapturedFrame::new();
        assert!(capture.next_into(&mut frame).unwrap());
        let error = capture.next_into(&mut frame).unwrap_err();
        assert_eq!(error.frame(), Some(1));
        assert!(
            error
                .to_string()
                .starts_with("\"-\": frame 1 ends after 5 of 6 bytes"),
            "{error}"
        );
        assert!(matches!(
            capture.next_into(&mut frame),
            Err(Error::Ended { frame: 1, .. })
        ));
    }

    #[test]
    fn no_bytes_are_no_frames() {
        let error = open(Vec::new())
            .next_into(&mut CapturedFrame::new())
            .unwrap_err();
        assert!(matches!(error, Error::NoFrames { .. }));
    }

    #[test]
    fn sizes_and_rates_that_make_no_sense_are_refused() {
        for (width, height, fps) in [
            (0, 1, 25.0),
            (1, 0, 25.0),
            (70_000, 2, 25.0),
            (2, 2, 0.0),
            (2, 2, f64::NAN),
        ] {
            let raw = Some(RawFormat { width, height, fps });
            let options = OpenOptions {
                raw,
                ..OpenOptions::default()
            };
            assert!(matches!(
                Capture::open(Path::new("-"), &options),
                Err(Error::Refused { .. })
            ));
        }
    }
}
