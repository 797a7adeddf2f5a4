//! The running program: ending it, waiting for it, and what it says on its error output.

use std::collections::VecDeque;
use std::io::{BufRead, Read};
use std::process::{Child, Command, ExitStatus};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

use crate::capture::patient::silence;
use crate::capture::probe::clean;

/// Starts a program in a group of its own: what it starts itself can be ended with it, and a break at the terminal
/// ends this program and not, before it, the one that it reads from.
pub(super) fn start(command: &mut Command) -> std::io::Result<Child> {
    #[cfg(unix)]
    std::os::unix::process::CommandExt::process_group(command, 0);
    command.spawn()
}

/// Between two looks whether something has ended.
const PAUSE: Duration = Duration::from_millis(1);

/// Looks again and again, for `limit` at most.
fn look<T>(limit: Duration, mut done: impl FnMut() -> Option<T>) -> Option<T> {
    let looks = limit.as_millis().max(1);
    (0..looks).find_map(|k| {
        if k > 0 {
            std::thread::sleep(PAUSE);
        }
        done()
    })
}

/// Waits for the thread that keeps the log. It ends with the last program that can write there, which may be one
/// that nobody can end.
pub(super) fn join_log(thread: JoinHandle<()>) {
    let is_done = look(Duration::from_secs(1), || {
        thread.is_finished().then_some(())
    });
    if is_done.is_some() {
        thread
            .join()
            .expect("the thread that keeps the log does not panic");
    }
}

/// Lines of the log that are kept for the error text.
const LOG_LINES: usize = 6;

/// A child process that another thread may end.
#[derive(Clone)]
pub(in crate::capture) struct ChildHandle(Arc<Mutex<Child>>);

impl ChildHandle {
    pub(super) fn new(child: Child) -> Self {
        Self(Arc::new(Mutex::new(child)))
    }

    /// Ends the child, if it still runs, and what it started.
    pub(in crate::capture) fn kill(&self) {
        let mut child = self.lock();
        // Once it has been waited for, its number may be another's.
        if !matches!(child.try_wait(), Ok(None)) {
            return;
        }
        #[cfg(unix)]
        {
            use rustix::process::{Pid, Signal, kill_process_group};
            let _ = kill_process_group(Pid::from_child(&child), Signal::KILL);
        }
        // It fails only when the child has ended already.
        let _ = child.kill();
    }

    pub(super) fn lock(&self) -> std::sync::MutexGuard<'_, Child> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Waits for the end, without keeping others from [`ChildHandle::kill`].
    pub(super) fn wait(&self, limit: Duration) -> std::io::Result<ExitStatus> {
        look(limit, || self.lock().try_wait().transpose()).unwrap_or_else(|| Err(silence(limit)))
    }

    /// Ends the child and takes it off the system's table.
    pub(super) fn end(&self) {
        self.kill();
        let _ = self.wait(Duration::from_secs(1));
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
