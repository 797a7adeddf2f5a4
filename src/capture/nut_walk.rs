//! Whether a NUT file is whole: each of its parts begins where the one before it ends.
//!
//! `ffmpeg` looks for the next point of synchronisation when a part of a NUT file cannot be read, and says nothing: the
//! frames between are lost. A file says of each frame how many bytes it has, and its index where the points of
//! synchronisation stand, so that walking from part to part shows what does not fit.
//!
//! What this cannot see: bytes within a frame that are others. That is for the decoder. A frame that is missing together
//! with all that stands before it, in a file that has no index.
//!
//! # Source
//! As [`super::nut`]: syntax of packets, frames and index.

use std::io::{self, BufRead, BufReader, Read, Seek};

use super::nut::{FILE_ID, INDEX, INFO, MAIN, MainHeader, PACKET_MAX, STREAM, SYNCPOINT, number};

/// How a NUT file is not whole; `None` where it is.
///
/// # Errors
/// When it cannot be read.
pub(super) fn problem(mut file: impl Read + Seek) -> io::Result<Option<&'static str>> {
    file.rewind()?;
    let mut walk = Walk {
        reader: BufReader::new(file),
        main: MainHeader::default(),
        points: Vec::new(),
        packet: Vec::new(),
    };
    match walk.go_to_the_end() {
        Ok(()) => Ok(None),
        Err(e) if e.kind() == io::ErrorKind::UnexpectedEof => Ok(Some("its last part is cut off")),
        Err(e) if e.kind() == io::ErrorKind::InvalidData => Ok(Some(BROKEN)),
        Err(e) => Err(e),
    }
}

const BROKEN: &str = "its parts do not follow one another, so that frames between them are lost";

fn broken() -> io::Error {
    io::Error::new(io::ErrorKind::InvalidData, BROKEN)
}

/// An index of larger size is not looked at: a point of synchronisation in every 32 kB takes some three bytes there.
const INDEX_MAX: u64 = 64 << 20;

struct Walk<R> {
    reader: BufReader<R>,
    main: MainHeader,
    /// Where points of synchronisation stand.
    points: Vec<u64>,
    packet: Vec<u8>,
}

impl<R: Read + Seek> Walk<R> {
    fn go_to_the_end(&mut self) -> io::Result<()> {
        let mut id = [0; FILE_ID.len()];
        self.reader.read_exact(&mut id)?;
        if &id != FILE_ID {
            return Err(broken());
        }
        loop {
            let Some(&first) = self.reader.fill_buf()?.first() else {
                return Ok(());
            };
            if first != b'N' {
                self.reader.consume(1);
                let header = self.main.read_frame_header(first, &mut self.reader)?;
                self.skip(header.stored().ok_or_else(broken)?)?;
            } else if self.packet()? == INDEX {
                // Whatever was put behind it.
                return Ok(());
            }
        }
    }

    /// Goes past a packet, and looks into those that say something of the structure; its start code.
    fn packet(&mut self) -> io::Result<u64> {
        let at = self.reader.stream_position()?;
        let mut code = [0; 8];
        self.reader.read_exact(&mut code)?;
        let code = u64::from_be_bytes(code);
        if ![MAIN, STREAM, SYNCPOINT, INDEX, INFO].contains(&code) {
            return Err(broken());
        }
        let length = number(&mut self.reader)?;
        if length > 4096 {
            self.skip(4)?;
        }
        match code {
            MAIN => {
                self.read(length, PACKET_MAX)?;
                self.main = MainHeader::read(&mut &self.packet[..]).map_err(|_| broken())?;
            }
            SYNCPOINT => {
                self.points.push(at);
                self.skip(length)?;
            }
            INDEX if length <= INDEX_MAX => {
                self.read(length, INDEX_MAX)?;
                self.look_at_index()?;
            }
            _ => self.skip(length)?,
        }
        Ok(code)
    }

    /// Holds the points of synchronisation against those that the index lists, in sixteenths of their places.
    fn look_at_index(&self) -> io::Result<()> {
        let body = &mut &self.packet[..];
        let mut listed = || -> io::Result<u64> { number(body).map_err(|_| broken()) };
        let _last_time = listed()?;
        if listed()? != self.points.len() as u64 {
            return Err(broken());
        }
        let mut place = 0_u64;
        for at in &self.points {
            place = place.saturating_add(listed()?);
            if place != at / 16 {
                return Err(broken());
            }
        }
        Ok(())
    }

    fn read(&mut self, length: u64, most: u64) -> io::Result<()> {
        if length > most {
            return Err(broken());
        }
        self.packet.clear();
        let got = (&mut self.reader)
            .take(length)
            .read_to_end(&mut self.packet)?;
        if got as u64 == length {
            Ok(())
        } else {
            Err(io::ErrorKind::UnexpectedEof.into())
        }
    }

    /// Goes on by so many bytes, which must be there.
    fn skip(&mut self, count: u64) -> io::Result<()> {
        // All but the last without reading: behind the end of a file nothing is refused.
        let Some(before) = count.checked_sub(1) else {
            return Ok(());
        };
        let before = i64::try_from(before).map_err(|_| broken())?;
        self.reader
            .seek_relative(before)
            .map_err(|e| match e.kind() {
                io::ErrorKind::InvalidInput => broken(),
                _ => e,
            })?;
        self.reader.read_exact(&mut [0])
    }
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use super::*;

    /// As ffmpeg 5.1 writes it: two frames, their pictures behind some bytes of their own, and the index.
    const WHOLE: &[u8] = include_bytes!("../../tests/hostile/small.nut");
    const FIRST_PICTURE: usize = 238;
    const LAST_FRAME: usize = 430;
    const LAST_PICTURE: usize = 433;
    const AT_INDEX: usize = 625;

    fn found(bytes: &[u8]) -> Option<&'static str> {
        problem(Cursor::new(bytes)).unwrap()
    }

    #[test]
    fn a_byte_more_or_less_anywhere_is_seen() {
        assert_eq!(found(WHOLE), None);
        assert_eq!(found(&[WHOLE, &[0; 9]].concat()), None);
        for at in 0..WHOLE.len() {
            let (before, after) = WHOLE.split_at(at);
            assert!(
                found(&[before, &after[1..]].concat()).is_some(),
                "without byte {at}"
            );
            // Before that, a number may become another that still fits.
            let is_in_frame =
                (FIRST_PICTURE..LAST_FRAME).contains(&at) || (LAST_PICTURE..AT_INDEX).contains(&at);
            assert!(
                !is_in_frame || found(&[before, b"A", after].concat()).is_some(),
                "one more at {at}"
            );
        }
    }

    #[test]
    fn a_cut_is_seen_unless_it_is_between_parts() {
        for length in LAST_FRAME + 1..WHOLE.len() {
            let is_between = length == AT_INDEX;
            assert_eq!(
                found(&WHOLE[..length]).is_none(),
                is_between,
                "cut at {length}"
            );
        }
        for length in 0..LAST_FRAME {
            // Nothing that is not there can be damaged.
            let _ = found(&WHOLE[..length]);
        }
    }

    #[test]
    fn points_of_synchronisation_stand_where_the_index_says() {
        // Without the first frame, a point further behind is moved; here the index says so of the only one.
        let mut moved = WHOLE.to_vec();
        moved[AT_INDEX + 12] += 1;
        assert_eq!(found(&moved), Some(BROKEN));
    }
}
