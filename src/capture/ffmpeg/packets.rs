//! What a file holds, packet by packet, without decoding it.

use std::io::{BufRead, BufReader, Read};
use std::path::Path;
use std::process::Stdio;

use super::child::{self, ChildHandle};
use super::command::input;
use crate::capture::open::OpenOptions;
use crate::capture::patient::Patient;

/// Where what a file holds begins and ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Span {
    /// First time of any stream, s.
    pub start_s: f64,
    /// End of the last packet of any stream, s.
    pub end_s: f64,
    /// Time of the last picture of the video stream, s.
    pub last_picture_s: f64,
}

/// Lists all packets; `None` when there are none.
pub(super) fn span(
    path: &Path,
    options: &OpenOptions,
    video: u32,
) -> std::io::Result<Option<Span>> {
    let mut command = input(path, options);
    // The video first, so that it is stream 0 of the list.
    command.args(["-map", &format!("0:{video}")]);
    for others in ["0:a?", "0:s?", "0:d?"] {
        command.args(["-map", others]);
    }
    command.args(["-c", "copy", "-copy_unknown", "-f", "framecrc", "pipe:1"]);
    let mut child = child::start(command.stdout(Stdio::piped()).stderr(Stdio::null()))?;
    let stdout = child
        .stdout
        .take()
        .expect("it was started with its output piped");
    let child = ChildHandle::new(child);
    let span = read_list(BufReader::new(Patient::new(stdout, options.timeout)));
    child.end();
    span
}

/// Most bytes of a line. Those of packets have some 60.
const LINE_MAX: u64 = 4096;

/// `#tb 0: 1/90000`, a time base; `0, 3600, 7200, 3600, 1234, 0x12345678`: stream, decoding time, time, duration.
fn read_list(mut list: impl BufRead) -> std::io::Result<Option<Span>> {
    let mut bases: Vec<(f64, f64)> = Vec::new();
    let mut found: Option<Span> = None;
    let mut line = Vec::new();
    loop {
        line.clear();
        if list.by_ref().take(LINE_MAX).read_until(b'\n', &mut line)? == 0 {
            return Ok(found);
        }
        let words = String::from_utf8_lossy(&line);
        if let Some(base) = words.strip_prefix("#tb ") {
            bases.extend(time_base(base));
            continue;
        }
        let Some((stream, time, duration)) = packet(&words) else {
            continue;
        };
        let Some((numerator, denominator)) = bases.get(stream) else {
            continue;
        };
        let seconds = |ticks: i64| ticks as f64 * numerator / denominator;
        let (from_s, to_s) = (seconds(time), seconds(time + duration));
        let span = found.get_or_insert(Span {
            start_s: from_s,
            end_s: to_s,
            last_picture_s: f64::NEG_INFINITY,
        });
        span.start_s = span.start_s.min(from_s);
        span.end_s = span.end_s.max(to_s);
        if stream == 0 {
            span.last_picture_s = span.last_picture_s.max(from_s);
        }
    }
}

/// A tick in seconds, as a fraction; bases come in the order of their streams.
fn time_base(words: &str) -> Option<(f64, f64)> {
    let (numerator, denominator) = words.split_once(": ")?.1.trim().split_once('/')?;
    let (numerator, denominator): (u32, u32) = (numerator.parse().ok()?, denominator.parse().ok()?);
    (denominator > 0).then(|| (numerator.into(), denominator.into()))
}

fn packet(words: &str) -> Option<(usize, i64, i64)> {
    let mut fields = words.split(',').map(str::trim);
    let stream = fields.next()?.parse().ok()?;
    let (time, duration): (i64, i64) = (fields.nth(1)?.parse().ok()?, fields.next()?.parse().ok()?);
    // Packets without a time are told with the lowest number.
    (time != i64::MIN && time.checked_add(duration).is_some()).then_some((stream, time, duration))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_span_is_that_of_all_streams() {
        let list = "#format: frame checksums\n#tb 0: 1/10\n#tb 1: 1/1000\n\
                    0,   -2,   1,   1,  100, 0x0\n1,  -50,  -50,  64,  9, 0x0\n\
                    0,    0,   4,   3,  100, 0x0, F=0x0\n0, 1, 3, 1, 9, 0x0\n\
                    0, 1, -9223372036854775808, 1, 9, 0x0\nnonsense\n";
        assert_eq!(
            read_list(list.as_bytes()).unwrap(),
            Some(Span {
                start_s: -0.05,
                end_s: 0.7,
                last_picture_s: 0.4,
            })
        );
        assert_eq!(
            read_list(&b"#tb 0: 1/0\n0,0,0,1,1,0x0\n"[..]).unwrap(),
            None
        );
    }
}
