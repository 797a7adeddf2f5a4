//! The running program: ending it, waiting for it, and what it says on its error output.

use std::collections::VecDeque;
use std::io::{BufRead, Read};
use std::process::{Child, ExitStatus};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use crate::capture::probe::clean;

/// Lines of the log that are kept for the error text.
const LOG_LINES: usize = 6;

/// A child process that another thread may end.
#[derive(Clone)]
pub(in crate::capture) struct ChildHandle(Arc<Mutex<Child>>);

impl ChildHandle {
    pub(super) fn new(child: Child) -> Self {
        Self(Arc::new(Mutex::new(child)))
    }

    /// Ends the child, if it still runs.
    pub(in crate::capture) fn kill(&self) {
        // It fails only when the child has ended already.
        let _ = self.lock().kill();
    }

    pub(super) fn lock(&self) -> std::sync::MutexGuard<'_, Child> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Waits for the end, without keeping others from [`ChildHandle::kill`].
    pub(super) fn wait(&self) -> std::io::Result<ExitStatus> {
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
pub(super) struct Log {
    first: Option<String>,
    last: VecDeque<String>,
}

impl Log {
    pub(super) fn push(&mut self, line: &[u8]) {
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

    pub(super) fn words(&self) -> String {
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

pub(super) fn keep_log(mut stderr: impl BufRead, log: &Mutex<Log>) {
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

#[cfg(test)]
mod tests {
    use super::*;

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
