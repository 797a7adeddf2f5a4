//! A pipe that is not waited for without end.

use std::io::{self, Read};
use std::time::Duration;

/// Reads from a pipe, and gives up when nothing comes for some time.
pub(super) struct Patient<R> {
    pipe: R,
    limit: Duration,
}

impl<R> Patient<R> {
    pub(super) const fn new(pipe: R, limit: Duration) -> Self {
        Self { pipe, limit }
    }
}

/// What an error says when it is [`io::ErrorKind::TimedOut`].
pub(super) fn silence(limit: Duration) -> io::Error {
    io::Error::new(
        io::ErrorKind::TimedOut,
        format!(
            "nothing came for {} s (--ffmpeg-timeout sets how long is waited)",
            limit.as_secs_f64()
        ),
    )
}

#[cfg(unix)]
impl<R: Read + std::os::fd::AsFd> Read for Patient<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        use rustix::event::{PollFd, PollFlags, Timespec, poll};
        let limit = Timespec::try_from(self.limit).map_err(io::Error::other)?;
        // Its other end may be closed, which ends the wait as well.
        let mut pipe = [PollFd::new(&self.pipe, PollFlags::IN)];
        match poll(&mut pipe, Some(&limit)) {
            Ok(0) => Err(silence(self.limit)),
            Ok(_) => self.pipe.read(buffer),
            Err(e) => Err(e.into()),
        }
    }
}

#[cfg(not(unix))]
impl<R: Read> Read for Patient<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        self.pipe.read(buffer)
    }
}

#[cfg(all(test, unix))]
mod tests {
    use std::io::Write;

    use super::*;

    #[test]
    fn what_comes_is_read_and_silence_is_an_error() {
        let (reader, mut writer) = io::pipe().unwrap();
        let mut patient = Patient::new(reader, Duration::from_millis(20));
        writer.write_all(b"ab").unwrap();
        let mut buffer = [0; 8];
        assert_eq!(patient.read(&mut buffer).unwrap(), 2);
        let error = patient.read(&mut buffer).unwrap_err();
        assert_eq!(error.kind(), io::ErrorKind::TimedOut);
        assert!(error.to_string().contains("0.02 s"), "{error}");
        drop(writer);
        assert_eq!(patient.read(&mut buffer).unwrap(), 0);
    }
}
