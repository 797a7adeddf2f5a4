//! Whether a file ends as its format says that files end.
//!
//! `ffmpeg` takes the end of a file for the end of what it holds. Where a format marks its end, or says how long its
//! parts are, a file that was cut short shows it: these are the formats of which `ffmpeg` would not complain.
//!
//! What this cannot see: a file without such marks that was cut between two parts. A transport stream, or raw
//! pictures, are then a shorter video in every respect.
//!
//! # Source
//! GIF89a, 27 (trailer); PNG (`animated_png.rs`); ISO/IEC 14496-12, 4.2 (boxes); RFC 3533, 6 (pages); ISO/IEC 13818-1, 2.4.3.2 (packets);
//! IEC 61834-2 (frames of a digital video cassette); the RIFF form of AVI.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};

use super::animated_png::animation;
use super::nut_walk;

/// How a file of `container` (the name that `ffmpeg` has for its format) was cut short; `None` where it was not, or
/// where nobody can tell.
///
/// # Errors
/// When it cannot be read.
pub(super) fn problem(file: &mut File, container: &str) -> io::Result<Option<&'static str>> {
    let length = file.metadata()?.len();
    match container.split(',').next().unwrap_or("") {
        "gif" => gif(file, length),
        "apng" => pictures(file),
        "ogg" => ogg(file, length),
        "mov" => boxes(file, length),
        "avi" => riff(file, length),
        "mpegts" => packets(file, length),
        "dv" => cassette(file, length),
        "nut" => nut_walk::problem(file),
        _ => Ok(None),
    }
}

/// Up to `count` bytes from `at` on.
fn read_at(file: &mut File, at: u64, count: u64) -> io::Result<Vec<u8>> {
    file.seek(SeekFrom::Start(at))?;
    let mut bytes = Vec::new();
    file.take(count).read_to_end(&mut bytes)?;
    Ok(bytes)
}

fn cut(is_cut: bool, words: &'static str) -> io::Result<Option<&'static str>> {
    Ok(is_cut.then_some(words))
}

fn gif(file: &mut File, length: u64) -> io::Result<Option<&'static str>> {
    // Zeros after the trailer do no harm.
    let tail = read_at(file, length.saturating_sub(4096), 4096)?;
    let last = tail.iter().rfind(|b| **b != 0);
    cut(last != Some(&0x3B), "its end mark is missing")
}

fn pictures(file: &mut File) -> io::Result<Option<&'static str>> {
    let found = animation(file)?.unwrap_or_default();
    match found {
        _ if !found.is_ended => cut(true, "its end mark is missing"),
        _ => cut(
            found.begun < found.stated,
            "it has fewer pictures than it states",
        ),
    }
}

fn ogg(file: &mut File, length: u64) -> io::Result<Option<&'static str>> {
    /// Largest page.
    const PAGE: u64 = 27 + 255 + 255 * 255;
    const HEADER: usize = 27;
    let tail = read_at(file, length.saturating_sub(PAGE), PAGE)?;
    let page = tail.windows(4).rposition(|w| w == b"OggS");
    let page = page.map_or(&[][..], |at| &tail[at..]);
    let sizes = page
        .get(26)
        .and_then(|count| page.get(HEADER..HEADER + usize::from(*count)));
    let is_last = sizes.is_some_and(|sizes| {
        let body: usize = sizes.iter().map(|s| usize::from(*s)).sum();
        page.len() >= HEADER + sizes.len() + body && page[5] & 4 != 0
    });
    cut(!is_last, "its last page is missing")
}

const CUT: &str = "its last part is cut off";

/// Boxes, one after the other: length, name.
fn boxes(file: &mut File, length: u64) -> io::Result<Option<&'static str>> {
    let mut at = 0;
    while at < length {
        let head = read_at(file, at, 16)?;
        let Some((size, name)) = head.first_chunk().zip(head.get(4..8)) else {
            return cut(true, CUT);
        };
        if !name.iter().all(|c| (0x20..0x7F).contains(c)) {
            // Whatever was put behind the last box.
            return Ok(None);
        }
        let size = match (u32::from_be_bytes(*size), head.last_chunk()) {
            // It goes on to the end.
            (0, _) => return Ok(None),
            (1, Some(long)) if head.len() == 16 => u64::from_be_bytes(*long),
            (1, _) => return cut(true, CUT),
            (size, _) => size.into(),
        };
        if size < 8 {
            return Ok(None);
        }
        at = at.saturating_add(size);
    }
    cut(at != length, CUT)
}

/// Chunks of the kind `RIFF`, one after the other; there is more than one in large files.
fn riff(file: &mut File, length: u64) -> io::Result<Option<&'static str>> {
    let mut at = 0;
    while at < length {
        let head = read_at(file, at, 8)?;
        if head.len() < 8 {
            return cut(true, CUT);
        }
        let size = match head.strip_prefix(b"RIFF").map(<[u8; 4]>::try_from) {
            Some(Ok(size)) => u32::from_le_bytes(size),
            _ => return Ok(None),
        };
        if size == 0 || size == u32::MAX {
            // It was never filled in.
            return Ok(None);
        }
        at += 8 + u64::from(size) + u64::from(size % 2);
    }
    // The byte that makes a chunk even is often missing at the end.
    cut(at > length + 1, CUT)
}

fn packets(file: &mut File, length: u64) -> io::Result<Option<&'static str>> {
    const SYNC: Option<&u8> = Some(&0x47);
    let head = read_at(file, 0, 1024)?;
    // Packets may have a time before them, or check bytes after them.
    let sizes = [(188, 0), (192, 4), (204, 0)];
    let fits = |(size, first): &(usize, usize)| (0..4).all(|k| head.get(first + k * size) == SYNC);
    match sizes.iter().find(|form| fits(form)) {
        None => Ok(None),
        Some((size, _)) => cut(
            !length.is_multiple_of(*size as u64),
            "its last packet is cut off",
        ),
    }
}

fn cassette(file: &mut File, length: u64) -> io::Result<Option<&'static str>> {
    let head = read_at(file, 0, 4)?;
    // 10 or 12 tracks of 12,000 bytes; better tapes have a multiple of them.
    let frame = match head.get(3) {
        None => return Ok(None),
        Some(flags) if flags & 0x80 != 0 => 144_000,
        Some(_) => 120_000,
    };
    cut(!length.is_multiple_of(frame), "its last frame is cut off")
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use super::*;

    fn found(container: &str, bytes: &[u8]) -> Option<&'static str> {
        let mut file = tempfile::tempfile().unwrap();
        file.write_all(bytes).unwrap();
        problem(&mut file, container).unwrap()
    }

    /// Every cut of `whole` but those at `between` is seen.
    fn assert_cuts(container: &str, whole: &[u8], between: &[usize]) {
        assert_eq!(found(container, whole), None, "{container}");
        for length in 1..whole.len() {
            assert_eq!(
                found(container, &whole[..length]).is_none(),
                between.contains(&length),
                "{container} cut at {length}"
            );
        }
    }

    #[test]
    fn a_missing_end_mark_is_seen() {
        assert_cuts("gif", b"GIF89a\x01\x02\x3b", &[]);
        assert_eq!(found("gif", b"GIF89a\x01\x02\x3b\0\0"), None);
        let page = |flags: u8, body: &[u8]| {
            let mut page = [&b"OggS\0"[..], &[flags], &[0; 20], &[1, body.len() as u8]].concat();
            page.extend(body);
            page
        };
        assert_cuts("ogg", &[page(2, b"one"), page(4, b"last")].concat(), &[]);
    }

    #[test]
    fn a_part_that_is_shorter_than_it_says_is_seen() {
        let part = |name: &[u8; 4], body: &[u8]| {
            [&(8 + body.len() as u32).to_be_bytes(), &name[..], body].concat()
        };
        let long = [
            &1_u32.to_be_bytes()[..],
            b"mdat",
            &20_u64.to_be_bytes(),
            b"abcd",
        ]
        .concat();
        let mp4 = [part(b"ftyp", b"isom"), part(b"free", b""), long].concat();
        assert_cuts("mov,mp4,m4a,3gp,3g2,mj2", &mp4, &[12, 20]);
        assert_eq!(found("mov", b"\0\0\0\0mdatabcdef"), None);
        let riff = |body: &[u8]| [b"RIFF", &(body.len() as u32).to_le_bytes()[..], body].concat();
        // A byte less than an odd chunk with its filling is no loss.
        let avi = [riff(b"AVI abcd"), riff(b"AVIXabc")].concat();
        assert_cuts("avi", &avi, &[15, 16]);
    }

    #[test]
    fn units_of_one_size_are_counted() {
        for (size, first) in [(188, 0), (192, 4), (204, 0)] {
            let mut ts = vec![0; 6 * size];
            (0..6).for_each(|k| ts[first + k * size] = 0x47);
            assert_eq!(found("mpegts", &ts), None);
            assert_eq!(found("mpegts", &ts[..5 * size]), None);
            assert!(found("mpegts", &ts[..6 * size - 1]).is_some());
        }
        let mut dv = vec![0; 2 * 144_000];
        assert!(found("dv", &dv).is_some());
        dv[3] = 0x80;
        assert_eq!(found("dv", &dv), None);
    }
}
