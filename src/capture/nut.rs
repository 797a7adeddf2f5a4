//! Just enough of the NUT container to take raw pictures with their times from `ffmpeg`.
//!
//! One video stream of uncompressed frames is read: the main header (for the frame codes and
//! the time base), the stream header (for the size), and then frames and sync points. Info and
//! index packets are skipped. Checksums are not verified: the bytes come through a pipe from a
//! process that we started.
//!
//! # Source
//! "NUT Open Container Format Specification", MPlayer and FFmpeg, version 3 (nut.txt, 2008):
//! syntax of main header, stream header, syncpoint and frame; variable length numbers `v` and
//! `s`, `coded_pts`. Version 4 adds `minor_version`, `main_flags` and side data.

use std::io::{self, Read};

pub(super) const FILE_ID: &[u8; 25] = b"nut/multimedia container\0";
pub(super) const MAIN: u64 = start_code(b'M', 0x7A56_1F5F_04AD);
pub(super) const STREAM: u64 = start_code(b'S', 0x1140_5BF2_F9DB);
pub(super) const SYNCPOINT: u64 = start_code(b'K', 0xE4AD_EECA_4569);
pub(super) const INDEX: u64 = start_code(b'X', 0xDD67_2F23_E64E);
pub(super) const INFO: u64 = start_code(b'I', 0xAB68_B596_BA78);

const fn start_code(letter: u8, tail: u64) -> u64 {
    tail + (((b'N' as u64) << 8) + letter as u64) * (1 << 48)
}

const FLAG_CODED_PTS: u64 = 1 << 3;
const FLAG_STREAM_ID: u64 = 1 << 4;
const FLAG_SIZE_MSB: u64 = 1 << 5;
const FLAG_CHECKSUM: u64 = 1 << 6;
const FLAG_RESERVED: u64 = 1 << 7;
const FLAG_SM_DATA: u64 = 1 << 8;
const FLAG_HEADER_IDX: u64 = 1 << 10;
const FLAG_MATCH_TIME: u64 = 1 << 11;
const FLAG_CODED: u64 = 1 << 12;
const FLAG_INVALID: u64 = 1 << 13;

/// Largest header packet that is read, bytes. Those of `ffmpeg` have some hundred.
pub(super) const PACKET_MAX: u64 = 1 << 20;

/// Most packets before the next frame. There are two headers, and a point of synchronisation and some words now and
/// then; a stream of nothing but such packets would never end.
const PACKETS_MAX: u32 = 1000;

/// What a frame code stands for.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct FrameCode {
    flags: u64,
    stream: u64,
    pts_delta: i64,
    size_mul: u64,
    size_lsb: u64,
    reserved_count: u64,
    header_idx: u64,
}

/// The start of a frame: its bytes come next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FrameStart {
    /// Presentation time, s.
    pub time_s: f64,
    /// Bytes of the frame.
    pub size: u64,
}

/// What the main header says.
#[derive(Clone, Debug, Default)]
pub(super) struct MainHeader {
    streams: u64,
    time_bases: Vec<(u64, u64)>,
    codes: Vec<FrameCode>,
    /// Of what frames begin with and need not repeat.
    elision_lengths: Vec<u64>,
}

/// What stands before the bytes of a frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct FrameHeader {
    stream: u64,
    /// Its time, where that is coded, and else by how much it is later than the last one.
    coded_pts: Option<u64>,
    pts_delta: i64,
    /// Bytes of the frame, with what was left out of it.
    size: u64,
    /// Bytes that were left out; `None` where nothing says how many.
    elided: Option<u64>,
    has_side_data: bool,
}

impl FrameHeader {
    /// Bytes of the frame that follow.
    pub(super) fn stored(&self) -> Option<u64> {
        // Larger frames leave nothing out, whatever their code says.
        const ELIDED_FRAME_MAX: u64 = 4096;
        let elided = if self.size > ELIDED_FRAME_MAX {
            Some(0)
        } else {
            self.elided
        };
        self.size.checked_sub(elided?)
    }
}

/// Reads a NUT stream with one video stream.
#[derive(Debug)]
pub struct NutReader<R> {
    reader: R,
    main: MainHeader,
    time_base: usize,
    msb_pts_shift: u32,
    last_pts: i64,
    time_offset_s: i64,
    size: (u64, u64),
    packet: Vec<u8>,
    /// Since the last frame.
    packets: u32,
}

fn damaged(what: &str) -> io::Error {
    io::Error::new(
        io::ErrorKind::InvalidData,
        format!("the pictures from ffmpeg are not a NUT stream: {what}"),
    )
}

impl MainHeader {
    pub(super) fn read(body: &mut &[u8]) -> io::Result<Self> {
        let mut header = Self::default();
        let version = number(body)?;
        if !(2..=4).contains(&version) {
            return Err(damaged(&format!("version {version}")));
        }
        if version > 3 {
            number(body)?;
        }
        header.streams = number(body)?;
        number(body)?;
        let count = number(body)?;
        for _ in 0..count {
            let base = (number(body)?, number(body)?);
            if base.0 == 0 || base.1 == 0 {
                return Err(damaged("a time base is zero"));
            }
            header.time_bases.push(base);
        }
        header.read_frame_codes(body)?;
        header.elision_lengths = vec![0];
        let more = number(body)?;
        for _ in 0..more {
            let length = number(body)?;
            skip(body, length)?;
            header.elision_lengths.push(length);
        }
        Ok(header)
    }

    fn read_frame_codes(&mut self, body: &mut &[u8]) -> io::Result<()> {
        self.codes = vec![
            FrameCode {
                flags: FLAG_INVALID,
                ..FrameCode::default()
            };
            256
        ];
        let (mut pts_delta, mut size_mul, mut stream, mut header_idx) = (0, 1, 0, 0);
        let mut at = 0;
        while at < 256 {
            let flags = number(body)?;
            let fields = number(body)?;
            let mut optional = |place: u64| if fields > place { number(body) } else { Ok(0) };
            if fields > 0 {
                pts_delta = signed(optional(0)?);
            }
            if fields > 1 {
                size_mul = optional(1)?;
            }
            if fields > 2 {
                stream = optional(2)?;
            }
            let size_lsb = optional(3)?;
            let reserved_count = optional(4)?;
            let count = if fields > 5 {
                optional(5)?
            } else {
                size_mul.wrapping_sub(size_lsb)
            };
            optional(6)?;
            if fields > 7 {
                header_idx = optional(7)?;
            }
            for place in 8..fields {
                optional(place)?;
            }
            if count == 0 {
                // Allowed, and means nothing.
                continue;
            }
            let mut done = 0;
            while done < count && at < 256 {
                // 'N' starts the other packets, so it stands for no frame.
                if at != usize::from(b'N') {
                    let size_lsb = size_lsb.wrapping_add(done);
                    self.codes[at] = FrameCode {
                        flags,
                        stream,
                        pts_delta,
                        size_mul,
                        size_lsb,
                        reserved_count,
                        header_idx,
                    };
                    done += 1;
                }
                at += 1;
            }
        }
        Ok(())
    }

    /// Reads what stands before a frame's bytes, behind its first byte `code`.
    pub(super) fn read_frame_header(
        &self,
        code: u8,
        reader: &mut impl Read,
    ) -> io::Result<FrameHeader> {
        let code = self
            .codes
            .get(usize::from(code))
            .ok_or_else(|| damaged("a frame comes before the headers"))?;
        let mut flags = code.flags;
        if flags & FLAG_INVALID != 0 {
            return Err(damaged("a frame starts with an unknown code"));
        }
        if flags & FLAG_CODED != 0 {
            flags ^= number(reader)?;
        }
        let mut optional = |flag: u64| match flags & flag {
            0 => Ok(None),
            _ => number(reader).map(Some),
        };
        let stream = optional(FLAG_STREAM_ID)?;
        let coded_pts = optional(FLAG_CODED_PTS)?;
        let msb = optional(FLAG_SIZE_MSB)?.unwrap_or(0);
        optional(FLAG_MATCH_TIME)?;
        let header_idx = optional(FLAG_HEADER_IDX)?.unwrap_or(code.header_idx);
        let reserved_count = optional(FLAG_RESERVED)?.unwrap_or(code.reserved_count);
        if reserved_count > PACKET_MAX {
            return Err(damaged("a frame has fields without end"));
        }
        for _ in 0..reserved_count {
            number(reader)?;
        }
        if flags & FLAG_CHECKSUM != 0 {
            reader.read_exact(&mut [0; 4])?;
        }
        let size = msb
            .checked_mul(code.size_mul)
            .and_then(|v| v.checked_add(code.size_lsb));
        let elided = usize::try_from(header_idx)
            .ok()
            .and_then(|k| self.elision_lengths.get(k));
        Ok(FrameHeader {
            stream: stream.unwrap_or(code.stream),
            coded_pts,
            pts_delta: code.pts_delta,
            size: size.ok_or_else(|| damaged("a frame is too large"))?,
            elided: elided.copied(),
            has_side_data: flags & FLAG_SM_DATA != 0,
        })
    }
}

impl<R: Read> NutReader<R> {
    /// Reads the headers. Times are told less `time_offset_s`, taken off without rounding.
    ///
    /// # Errors
    /// `InvalidData` for a stream that is not NUT, `UnexpectedEof` for one that ends, and what
    /// the reader reports.
    pub fn open(reader: R, time_offset_s: i64) -> io::Result<Self> {
        let mut nut = Self {
            reader,
            main: MainHeader::default(),
            time_base: 0,
            msb_pts_shift: 0,
            last_pts: 0,
            time_offset_s,
            size: (0, 0),
            packet: Vec::new(),
            packets: 0,
        };
        let mut id = [0; FILE_ID.len()];
        nut.reader.read_exact(&mut id)?;
        if &id != FILE_ID {
            return Err(damaged("it does not start as one"));
        }
        while nut.size == (0, 0) {
            let first = nut.byte()?;
            if first != b'N' {
                return Err(damaged("a frame comes before the headers"));
            }
            nut.read_packet(first)?;
        }
        Ok(nut)
    }

    /// Width and height of the pictures, px.
    pub const fn size(&self) -> (u64, u64) {
        self.size
    }

    /// Goes to the next frame; `None` at a clean end. The caller then reads exactly the frame's
    /// bytes from [`NutReader::reader`].
    ///
    /// # Errors
    /// As [`NutReader::open`].
    pub fn next_frame(&mut self) -> io::Result<Option<FrameStart>> {
        loop {
            let mut code = [0];
            match self.reader.read(&mut code) {
                Ok(0) => return Ok(None),
                Ok(_) if code[0] == b'N' => self.read_packet(code[0])?,
                Ok(_) => {
                    self.packets = 0;
                    return self.read_frame_header(code[0]).map(Some);
                }
                Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
                Err(e) => return Err(e),
            }
        }
    }

    /// The stream, to take a frame's bytes from.
    pub const fn reader(&mut self) -> &mut R {
        &mut self.reader
    }

    fn byte(&mut self) -> io::Result<u8> {
        let mut byte = [0];
        self.reader.read_exact(&mut byte)?;
        Ok(byte[0])
    }

    fn read_packet(&mut self, first: u8) -> io::Result<()> {
        self.packets += 1;
        if self.packets > PACKETS_MAX {
            return Err(damaged("headers follow headers without end"));
        }
        let mut code = [first; 8];
        self.reader.read_exact(&mut code[1..])?;
        let length = number(&mut self.reader)?;
        if length > PACKET_MAX {
            return Err(damaged("a header is too long"));
        }
        if length > 4096 {
            self.reader.read_exact(&mut [0; 4])?;
        }
        self.packet.clear();
        (&mut self.reader)
            .take(length)
            .read_to_end(&mut self.packet)?;
        if self.packet.len() as u64 != length {
            return Err(io::ErrorKind::UnexpectedEof.into());
        }
        let packet = std::mem::take(&mut self.packet);
        let body = &mut &packet[..];
        // A header that ends early is damage, not the end of the stream.
        let read = match u64::from_be_bytes(code) {
            MAIN => self.read_main_header(body),
            STREAM => self.read_stream_header(body),
            SYNCPOINT => self.read_syncpoint(body),
            _ => Ok(()),
        };
        self.packet = packet;
        read.map_err(|e| match e.kind() {
            io::ErrorKind::UnexpectedEof => damaged("a header is too short"),
            _ => e,
        })
    }

    fn read_main_header(&mut self, body: &mut &[u8]) -> io::Result<()> {
        self.main = MainHeader::read(body)?;
        match self.main.streams {
            1 => Ok(()),
            _ => Err(damaged("it has more than one stream")),
        }
    }

    fn read_stream_header(&mut self, body: &mut &[u8]) -> io::Result<()> {
        let id = number(body)?;
        let class = number(body)?;
        if (id, class) != (0, 0) {
            return Err(damaged("its stream is not video"));
        }
        let length = number(body)?;
        skip(body, length)?;
        let base = number(body)?;
        self.time_base = usize::try_from(base).unwrap_or(usize::MAX);
        if self.time_base >= self.main.time_bases.len() {
            return Err(damaged("its time base is not among those told"));
        }
        self.msb_pts_shift = match number(body)? {
            shift @ 0..=31 => shift as u32,
            _ => return Err(damaged("a time is cut too short")),
        };
        for _ in 0..3 {
            number(body)?;
        }
        let length = number(body)?;
        skip(body, length)?;
        self.size = (number(body)?, number(body)?);
        if self.size.0 == 0 || self.size.1 == 0 {
            return Err(damaged("its pictures have no size"));
        }
        Ok(())
    }

    fn read_syncpoint(&mut self, body: &mut &[u8]) -> io::Result<()> {
        let coded = number(body)?;
        let count = self.main.time_bases.len() as u64;
        if count == 0 {
            return Err(damaged("a time comes before the headers"));
        }
        let (ticks, base) = (
            coded / count,
            self.main.time_bases[(coded % count) as usize],
        );
        let own = self.main.time_bases[self.time_base];
        // Ticks of the one base to ticks of the other, rounded down as the format says.
        let scaled = u128::from(ticks)
            .checked_mul(u128::from(base.0) * u128::from(own.1))
            .map(|v| v / (u128::from(base.1) * u128::from(own.0)));
        self.last_pts = scaled
            .and_then(|v| i64::try_from(v).ok())
            .ok_or_else(|| damaged("a time is too large"))?;
        Ok(())
    }

    fn read_frame_header(&mut self, code: u8) -> io::Result<FrameStart> {
        let header = self.main.read_frame_header(code, &mut self.reader)?;
        if header.stream != 0 {
            return Err(damaged("a frame belongs to no stream"));
        }
        let pts = match header.coded_pts {
            Some(coded) => full_pts(coded, self.last_pts, self.msb_pts_shift),
            None => self.last_pts.checked_add(header.pts_delta),
        };
        self.last_pts = pts.ok_or_else(|| damaged("a time is too large"))?;
        // Neither is written for large frames without side data.
        if header.elided != Some(0) || header.has_side_data {
            return Err(damaged(
                "a frame is stored in a way that raw pictures have no use for",
            ));
        }
        Ok(FrameStart {
            time_s: self.seconds(self.last_pts),
            size: header.size,
        })
    }

    fn seconds(&self, pts: i64) -> f64 {
        let (numerator, denominator) = self.main.time_bases[self.time_base];
        let ticks = i128::from(pts) * i128::from(numerator)
            - i128::from(self.time_offset_s) * i128::from(denominator);
        ticks as f64 / denominator as f64
    }
}

/// The time whose low bits are coded, nearest to the last one; or a full time.
fn full_pts(coded: u64, last_pts: i64, shift: u32) -> Option<i64> {
    let span = 1_i64 << shift;
    let coded = i64::try_from(coded).ok()?;
    if coded >= span {
        return Some(coded - span);
    }
    let delta = last_pts.checked_sub((span - 1) / 2)?;
    (coded.wrapping_sub(delta) & (span - 1)).checked_add(delta)
}

/// Most bytes of a number: zeros may stand before the ten that 64 bits need.
const NUMBER_MAX: usize = 16;

/// A number in groups of seven bits, most significant first, the last without the top bit.
pub(super) fn number(reader: &mut impl Read) -> io::Result<u64> {
    let mut value = 0_u64;
    for _ in 0..NUMBER_MAX {
        let mut byte = [0];
        reader.read_exact(&mut byte)?;
        if value >> 57 != 0 {
            return Err(damaged("a number is too large"));
        }
        value = (value << 7) | u64::from(byte[0] & 0x7F);
        if byte[0] & 0x80 == 0 {
            return Ok(value);
        }
    }
    Err(damaged("a number has no end"))
}

/// The sign of a number coded as `s`: 0, 1, -1, 2, -2, ...
const fn signed(coded: u64) -> i64 {
    let half = (coded.wrapping_add(1) >> 1) as i64;
    if coded & 1 == 0 { -half } else { half }
}

fn skip(body: &mut &[u8], length: u64) -> io::Result<()> {
    let length = usize::try_from(length).unwrap_or(usize::MAX);
    *body = body.get(length..).ok_or(io::ErrorKind::UnexpectedEof)?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// The start of what ffmpeg 5.1 writes for 1024x768 yuv420p, time base 1/720720000, first
    /// time 86400 s, byte by byte.
    const FFMPEG_5_1: &[u8] = &[
        0x4e, 0x4d, 0x7a, 0x56, 0x1f, 0x5f, 0x04, 0xad, 0x4c, 0x03, 0x01, 0x81, 0xff, 0x7f, 0x01,
        0x01, 0x82, 0xd7, 0xd5, 0xa1, 0x00, 0xc0, 0x00, 0x06, 0x00, 0x00, 0x00, 0x00, 0x00, 0x01,
        0xa0, 0x00, 0x02, 0x01, 0x01, 0x28, 0x01, 0x00, 0x29, 0x00, 0x21, 0x01, 0xee, 0x00, 0x20,
        0x02, 0xee, 0x00, 0x81, 0x79, 0xc0, 0x00, 0x06, 0x00, 0x00, 0x00, 0x00, 0x00, 0x01, 0x06,
        0x03, 0x00, 0x00, 0x01, 0x04, 0x00, 0x00, 0x01, 0xb6, 0x02, 0xff, 0xfa, 0x02, 0xff, 0xfb,
        0x02, 0xff, 0xfc, 0x02, 0xff, 0xfd, 0x25, 0x64, 0x84, 0x57, 0x4e, 0x53, 0x11, 0x40, 0x5b,
        0xf2, 0xf9, 0xdb, 0x1c, 0x00, 0x00, 0x04, 0x49, 0x34, 0x32, 0x30, 0x00, 0x0e, 0x82, 0xd7,
        0xd5, 0xa1, 0x00, 0x00, 0x00, 0x00, 0x88, 0x00, 0x86, 0x00, 0x01, 0x01, 0x00, 0xc0, 0xfc,
        0x5f, 0x4c, 0x4e, 0x4b, 0xe4, 0xad, 0xee, 0xca, 0x45, 0x69, 0x0c, 0x8e, 0x94, 0xa6, 0xcd,
        0x83, 0x80, 0x00, 0x00, 0x1c, 0x47, 0x4d, 0x5f, 0x01, 0x69, 0x00, 0xc8, 0x80, 0x00, 0x00,
        0x57, 0xb1, 0xe2, 0x4a,
    ];

    fn stream() -> Vec<u8> {
        [&FILE_ID[..], FFMPEG_5_1].concat()
    }

    #[test]
    fn start_codes_are_those_of_the_specification() {
        assert_eq!(MAIN, 0x4E4D_7A56_1F5F_04AD);
        assert_eq!(STREAM, 0x4E53_1140_5BF2_F9DB);
        assert_eq!(SYNCPOINT, 0x4E4B_E4AD_EECA_4569);
        assert_eq!(INDEX, 0x4E58_DD67_2F23_E64E);
        assert_eq!(INFO, 0x4E49_AB68_B596_BA78);
    }

    #[test]
    fn what_ffmpeg_writes_is_understood() {
        let bytes = stream();
        let mut nut = NutReader::open(&bytes[..], 86_400).unwrap();
        assert_eq!(nut.size(), (1024, 768));
        let frame = nut.next_frame().unwrap().unwrap();
        assert_eq!(
            frame,
            FrameStart {
                time_s: 0.0,
                size: 1024 * 768 * 3 / 2
            }
        );
    }

    #[test]
    fn numbers_are_those_of_the_specification() {
        assert_eq!(number(&mut &[0x81, 0x00][..]).unwrap(), 128);
        assert_eq!([0, 1, 2, 3, 4].map(signed), [0, 1, -1, 2, -2]);
        assert!(number(&mut &[0xFF; 12][..]).is_err());
    }

    #[test]
    fn short_times_are_completed_near_the_last_one() {
        assert_eq!(full_pts(5, 1000, 7), Some(1029));
        assert_eq!(full_pts(1029 % 128, 1029, 7), Some(1029));
        assert_eq!(full_pts(128 + 77, 1000, 7), Some(77));
    }

    #[test]
    fn headers_cut_anywhere_are_an_error() {
        let whole = stream();
        // Main header 8 + 1 + 76 bytes, stream header 8 + 1 + 28.
        let header = FILE_ID.len() + 122;
        for length in 0..header {
            assert!(
                NutReader::open(&whole[..length], 0).is_err(),
                "cut at {length}"
            );
        }
        // The last byte belongs to the picture.
        for length in header..whole.len() - 1 {
            let end = NutReader::open(&whole[..length], 0).and_then(|mut nut| nut.next_frame());
            assert!(matches!(end, Err(_) | Ok(None)), "cut at {length}: {end:?}");
        }
    }

    proptest! {
        #[test]
        fn changed_bytes_never_panic(at in 0_usize..180, value in any::<u8>(), tail in proptest::collection::vec(any::<u8>(), 0..64)) {
            let mut bytes = stream();
            let at = at % bytes.len();
            bytes[at] = value;
            bytes.extend(tail);
            if let Ok(mut nut) = NutReader::open(&bytes[..], 86_400) {
                for _ in 0..4 {
                    if !matches!(nut.next_frame(), Ok(Some(_))) {
                        break;
                    }
                }
            }
        }
    }
}
