//! Reading and decoding in a thread beside the checking.
//!
//! A fixed number of frames goes round: the thread fills empty ones, the caller gives one back
//! for each that it takes. So memory is bounded, nothing is allocated per frame, and frames
//! come in the order of the capture, whatever the threads do.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvError, RecvTimeoutError, SyncSender, sync_channel};
use std::thread::JoinHandle;
use std::time::Duration;

use super::error::Error;
use super::frame::CapturedFrame;
use super::info::StreamInfo;
use super::open::{Capture, Stopper};
use crate::files::FileContent;

enum Message {
    Frame(CapturedFrame),
    End,
    Failed(Error),
}

/// A capture that is read in a thread of its own.
///
/// When it is dropped, the thread stops and a decoder that runs is ended. A thread that waits
/// for the other end of a pipe cannot be stopped; it is left to end with the pipe.
pub struct ReadAhead {
    info: StreamInfo,
    ready: Option<Receiver<Message>>,
    empty: Option<SyncSender<CapturedFrame>>,
    thread: Option<JoinHandle<Capture>>,
    capture: Option<Capture>,
    stopper: Stopper,
    is_ended: bool,
    failed_at: Option<(String, u64)>,
    stop: Option<Arc<AtomicBool>>,
}

/// How long a stop may go unseen while no frame comes.
const STOP_SEEN_AFTER: Duration = Duration::from_millis(100);

impl ReadAhead {
    /// Frames that are read ahead when nothing else is wanted.
    pub const DEPTH_DEFAULT: usize = 4;

    /// Starts to read `capture`, at most `depth` frames ahead (at least 1).
    #[must_use]
    pub fn start(capture: Capture, depth: usize) -> Self {
        let depth = depth.max(1);
        let info = capture.info().clone();
        let stopper = capture.stopper();
        let (ready_in, ready) = sync_channel(depth + 1);
        let (empty, empty_out) = sync_channel(depth + 1);
        for _ in 0..depth {
            // There is room, and the other end is held here.
            let _ = empty.send(CapturedFrame::new());
        }
        let thread = std::thread::spawn(move || read_all(capture, &empty_out, &ready_in));
        Self {
            info,
            ready: Some(ready),
            empty: Some(empty),
            thread: Some(thread),
            capture: None,
            stopper,
            is_ended: false,
            failed_at: None,
            stop: None,
        }
    }

    /// Ends as the capture does as soon as `stop` is true, even while waiting for a frame. Whoever set it knows that more may
    /// follow.
    #[must_use]
    pub fn stopped_by(mut self, stop: Arc<AtomicBool>) -> Self {
        self.stop = Some(stop);
        self
    }

    /// What is known of the capture beforehand.
    #[must_use]
    pub const fn info(&self) -> &StreamInfo {
        &self.info
    }

    /// Puts the next frame into `frame` and takes its old memory to read into. `Ok(false)` at a
    /// clean end, again and again.
    ///
    /// # Errors
    /// As [`Capture::next_into`], after all frames before the damage.
    ///
    /// # Panics
    /// When the reading thread panicked, with its message.
    pub fn next_into(&mut self, frame: &mut CapturedFrame) -> Result<bool, Error> {
        if self.is_ended {
            return match &self.failed_at {
                None => Ok(false),
                Some((name, frame)) => Err(Error::Ended {
                    name: name.clone(),
                    frame: *frame,
                }),
            };
        }
        match self.message() {
            Ok(None) => Ok(false),
            Ok(Some(Message::Frame(mut next))) => {
                std::mem::swap(frame, &mut next);
                // The thread may have ended after the last frame; then the memory is not needed.
                let _ = self.empty.as_ref().expect(CHANNELS).send(next);
                Ok(true)
            }
            Ok(Some(Message::End)) => {
                self.is_ended = true;
                Ok(false)
            }
            Ok(Some(Message::Failed(error))) => {
                self.is_ended = true;
                self.failed_at = Some((self.info.source.clone(), error.frame().unwrap_or(0)));
                Err(error)
            }
            Err(_) => {
                let thread = self.thread.take().expect("it is joined at most once");
                match thread.join() {
                    Err(panic) => std::panic::resume_unwind(panic),
                    Ok(_) => unreachable!("the thread ends with a message"),
                }
            }
        }
    }

    /// What the thread says next; `None` when it was stopped before.
    fn message(&self) -> Result<Option<Message>, RecvError> {
        let ready = self.ready.as_ref().expect(CHANNELS);
        let Some(stop) = &self.stop else {
            return ready.recv().map(Some);
        };
        while !stop.load(Ordering::Relaxed) {
            match ready.recv_timeout(STOP_SEEN_AFTER) {
                Ok(message) => return Ok(Some(message)),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => return Err(RecvError),
            }
        }
        Ok(None)
    }

    /// As [`Capture::contents`]: what the capture's files held as they were read. No frame can be read afterwards.
    ///
    /// # Errors
    /// As [`Capture::contents`].
    ///
    /// # Panics
    /// When the reading thread panicked, with its message.
    pub fn contents(&mut self) -> Result<Vec<FileContent>, Error> {
        self.ended().map_or(Ok(Vec::new()), Capture::contents)
    }

    /// As [`Capture::program`]: the program that decoded the capture. No frame can be read afterwards.
    ///
    /// # Errors
    /// As [`Capture::program`].
    ///
    /// # Panics
    /// When the reading thread panicked, with its message.
    pub fn program(&mut self) -> Result<Option<FileContent>, Error> {
        self.ended().map_or(Ok(None), Capture::program)
    }

    /// The capture, taken back from the thread; `None` where the thread may wait for the other end of a pipe, of
    /// which nothing is to be told.
    fn ended(&mut self) -> Option<&mut Capture> {
        self.is_ended = true;
        if let Some(thread) = self.stop() {
            match thread.join() {
                Ok(capture) => self.capture = Some(capture),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        self.capture.as_mut()
    }

    /// Makes the thread end after the frame that it is at; `None` when nothing can, or it has been joined.
    fn stop(&mut self) -> Option<JoinHandle<Capture>> {
        self.ready = None;
        self.empty = None;
        match &self.stopper {
            Stopper::Child(child) => child.kill(),
            Stopper::NotNeeded => {}
            Stopper::Impossible => return None,
        }
        self.thread.take()
    }
}

const CHANNELS: &str = "they are taken away only when reading has ended";

#[cfg(test)]
impl ReadAhead {
    pub(super) fn stopper_for_test(&self) -> Stopper {
        self.stopper.clone()
    }
}

fn read_all(
    mut capture: Capture,
    empty: &Receiver<CapturedFrame>,
    ready: &SyncSender<Message>,
) -> Capture {
    while let Ok(mut frame) = empty.recv() {
        let message = match capture.next_into(&mut frame) {
            Ok(true) => Message::Frame(frame),
            Ok(false) => Message::End,
            Err(error) => Message::Failed(error),
        };
        let is_last = !matches!(message, Message::Frame(_));
        if ready.send(message).is_err() || is_last {
            break;
        }
    }
    capture
}

impl Drop for ReadAhead {
    fn drop(&mut self) {
        if let Some(thread) = self.stop() {
            // A panic there was ours to report on the next frame, which nobody asked for.
            let _ = thread.join();
        }
    }
}

impl std::fmt::Debug for ReadAhead {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("ReadAhead")
            .field("info", &self.info)
            .field("is_ended", &self.is_ended)
            .finish_non_exhaustive()
    }
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use super::*;
    use crate::capture::{OpenOptions, RawFormat};

    fn capture(bytes: Vec<u8>) -> Capture {
        let raw = Some(RawFormat {
            width: 1,
            height: 1,
            fps: 10.0,
        });
        let options = OpenOptions {
            raw,
            ..OpenOptions::default()
        };
        Capture::from_reader(Box::new(Cursor::new(bytes)), "pixels", &options).unwrap()
    }

    fn bytes(count: u8) -> Vec<u8> {
        (0..count).flat_map(|v| [v; 3]).collect()
    }

    #[test]
    fn frames_come_in_order_and_are_those_of_the_capture() {
        for depth in [0, 1, 4, 300] {
            let mut direct = capture(bytes(200));
            let mut ahead = ReadAhead::start(capture(bytes(200)), depth);
            let (mut a, mut b) = (CapturedFrame::new(), CapturedFrame::new());
            while direct.next_into(&mut a).unwrap() {
                assert!(ahead.next_into(&mut b).unwrap());
                assert_eq!(a, b);
            }
            assert!(!ahead.next_into(&mut b).unwrap());
            assert!(!ahead.next_into(&mut b).unwrap());
        }
    }

    #[test]
    fn the_error_comes_after_the_frames_before_it() {
        let mut cut = bytes(5);
        cut.pop();
        let mut ahead = ReadAhead::start(capture(cut), 3);
        let mut frame = CapturedFrame::new();
        for _ in 0..4 {
            assert!(ahead.next_into(&mut frame).unwrap());
        }
        assert_eq!(ahead.next_into(&mut frame).unwrap_err().frame(), Some(4));
        assert!(matches!(
            ahead.next_into(&mut frame),
            Err(Error::Ended { frame: 4, .. })
        ));
    }

    #[test]
    fn a_stop_ends_even_a_wait_for_a_frame_that_never_comes() {
        struct Silent;
        impl std::io::Read for Silent {
            fn read(&mut self, _: &mut [u8]) -> std::io::Result<usize> {
                loop {
                    std::thread::park();
                }
            }
        }
        let raw = Some(RawFormat {
            width: 1,
            height: 1,
            fps: 10.0,
        });
        let options = OpenOptions {
            raw,
            ..OpenOptions::default()
        };
        let capture = Capture::from_reader(Box::new(Silent), "silent", &options).unwrap();
        let stop = Arc::new(AtomicBool::new(false));
        let mut ahead = ReadAhead::start(capture, 2).stopped_by(Arc::clone(&stop));
        let setter = std::thread::spawn(move || stop.store(true, Ordering::Relaxed));
        assert!(!ahead.next_into(&mut CapturedFrame::new()).unwrap());
        setter.join().unwrap();
    }

    #[test]
    fn it_can_be_dropped_at_any_moment() {
        for taken in 0..4 {
            let mut ahead = ReadAhead::start(capture(bytes(100)), 2);
            let mut frame = CapturedFrame::new();
            for _ in 0..taken {
                assert!(ahead.next_into(&mut frame).unwrap());
            }
        }
    }

    /// Up to c5def52 a file was hashed after the run, whatever had been read.
    #[test]
    fn contents_are_those_that_were_read_wherever_reading_stopped() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("pixels");
        let raw = Some(RawFormat {
            width: 1,
            height: 1,
            fps: 10.0,
        });
        let options = OpenOptions {
            raw,
            ..OpenOptions::default()
        };
        let written = bytes(200);
        let mut frame = CapturedFrame::new();
        for taken in [0, 1, 50, 200] {
            std::fs::write(&path, &written).unwrap();
            let mut ahead = ReadAhead::start(Capture::open(&path, &options).unwrap(), 4);
            for _ in 0..taken {
                assert!(ahead.next_into(&mut frame).unwrap());
            }
            // Another file takes its place: what was read is the old one.
            std::fs::rename(&path, folder.path().join("old")).unwrap();
            std::fs::write(&path, b"new").unwrap();
            let contents = ahead.contents().unwrap();
            assert_eq!(contents.len(), 1);
            assert_eq!(contents[0].path, path);
            assert_eq!(contents[0].content, crate::files::Content::of(&written));
            assert_eq!(ahead.contents().unwrap(), contents);
            assert!(!ahead.next_into(&mut frame).unwrap());
        }
    }

    #[test]
    fn a_pipe_has_no_contents() {
        let mut ahead = ReadAhead::start(capture(bytes(3)), 2);
        assert!(ahead.next_into(&mut CapturedFrame::new()).unwrap());
        assert!(ahead.contents().unwrap().is_empty());
        assert!(ahead.program().unwrap().is_none());
    }
}
