//! Whether a PNG is an animation, and whether all of it is there.
//!
//! To a reader that knows nothing of them, an animated PNG is its first picture. Whoever took it for that would judge
//! one frame of many, and say nothing.
//!
//! # Source
//! W3C, Portable Network Graphics (third edition): 5.3 (chunks), 11.3.6 (acTL, fcTL, fdAT).

use std::io::{self, Read, Seek, SeekFrom};

/// The first bytes of every PNG.
const SIGNATURE_BYTES: u64 = 8;

/// What the chunks of an animated PNG say.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Animation {
    /// Pictures that it states.
    pub stated: u32,
    /// Pictures that begin in it.
    pub begun: u32,
    /// Its end mark is there.
    pub is_ended: bool,
}

/// Goes through the chunks of a PNG; `None` when it is no animation. What is damaged in it is for a decoder to say.
///
/// # Errors
/// When it cannot be read.
pub fn animation(mut png: impl Read + Seek) -> io::Result<Option<Animation>> {
    let mut found = Animation::default();
    let mut is_animated = false;
    let mut at = SIGNATURE_BYTES;
    loop {
        png.seek(SeekFrom::Start(at))?;
        // Length and name, and the first number of what it holds.
        let mut head = Vec::with_capacity(12);
        png.by_ref().take(12).read_to_end(&mut head)?;
        let number = |k: usize| Some(u32::from_be_bytes(*head.get(k..)?.first_chunk()?));
        let (Some(length), Some(name)) = (number(0), head.get(4..8)) else {
            break;
        };
        match name {
            b"acTL" => found.stated = number(8).unwrap_or(0),
            b"fcTL" => found.begun = found.begun.saturating_add(1),
            b"IEND" => found.is_ended = true,
            _ => {}
        }
        is_animated |= [&b"acTL"[..], b"fcTL", b"fdAT"].contains(&name);
        // Behind the content stand four bytes to check it by.
        at = at.saturating_add(12 + u64::from(length));
    }
    Ok(is_animated.then_some(found))
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use super::*;

    fn png(chunks: &[(&[u8; 4], &[u8])]) -> Vec<u8> {
        let mut bytes = b"\x89PNG\r\n\x1a\n".to_vec();
        for (name, content) in chunks {
            bytes.extend((content.len() as u32).to_be_bytes());
            bytes.extend([&name[..], content, &[0; 4]].concat());
        }
        bytes
    }

    fn found(bytes: &[u8]) -> Option<Animation> {
        animation(Cursor::new(bytes)).unwrap()
    }

    #[test]
    fn an_animation_is_known_by_any_of_its_chunks() {
        let two = [0, 0, 0, 2, 0, 0, 0, 0];
        let long = [7; 70_000];
        let whole = png(&[
            (b"IHDR", &[0; 13]),
            (b"iCCP", &long),
            (b"acTL", &two),
            (b"fcTL", &[0; 26]),
            (b"IDAT", b"acTL"),
            (b"fcTL", &[0; 26]),
            (b"fdAT", b"abcd"),
            (b"IEND", b""),
        ]);
        let (stated, begun) = (2, 2);
        let all = Animation {
            stated,
            begun,
            is_ended: true,
        };
        assert_eq!(found(&whole), Some(all));
        let cut = found(&whole[..whole.len() - 12]).unwrap();
        assert_eq!((cut.begun, cut.is_ended), (2, false));
        let damaged = png(&[(b"IHDR", &[0; 13]), (b"acTl", &two), (b"fcTL", &[0; 26])]);
        assert!(found(&damaged).is_some());
        let still = png(&[(b"IHDR", &[0; 13]), (b"IDAT", b"acTL"), (b"IEND", b"")]);
        assert_eq!(found(&still), None);
        // Lengths beyond the file.
        assert_eq!(found(b"\x89PNG\r\n\x1a\n\xff\xff\xff\xffIDATacTL"), None);
        (0..24).for_each(|length| assert_eq!(found(&whole[..length]), None));
    }
}
