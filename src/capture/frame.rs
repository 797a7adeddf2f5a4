//! One captured frame.

use crate::picture::{Encoding, Matrix, Picture, Range, Subsampling};

/// One frame as the capture chain delivered it.
#[derive(Clone, Debug, PartialEq)]
pub struct CapturedFrame {
    /// Number of the frame, from 0 without gaps.
    pub index: u64,
    /// Presentation time as the source gives it, s. Strictly rising; need not start at 0.
    pub time_s: f64,
    /// CRC-32 (as in RFC 1952) of the levels as delivered: planes Y', Cb, Cr in this order (a
    /// grey source: Y' alone), or R', G', B' triples row by row for R'G'B' sources.
    pub crc32: u32,
    /// The levels, always Y'CbCr; colour at half resolution when read from a [`super::Capture`].
    pub picture: Picture,
}

impl CapturedFrame {
    /// A frame without pixels: a buffer to read into. It grows at its first use.
    #[must_use]
    pub fn new() -> Self {
        let encoding = Encoding::YCbCr {
            matrix: Matrix::Bt709,
            range: Range::Limited,
        };
        Self {
            index: 0,
            time_s: 0.0,
            crc32: 0,
            picture: Picture::filled(0, 0, encoding, Subsampling::None, [0; 3]),
        }
    }

    /// Makes the picture one of this shape, and keeps its memory when it is already.
    pub(super) fn shape(
        &mut self,
        size: (usize, usize),
        encoding: Encoding,
        subsampling: Subsampling,
    ) {
        let p = &self.picture;
        if (p.width(), p.height()) != size
            || p.encoding() != encoding
            || p.subsampling() != subsampling
        {
            self.picture = Picture::filled(size.0, size.1, encoding, subsampling, [16, 128, 128]);
        }
    }
}

impl Default for CapturedFrame {
    fn default() -> Self {
        Self::new()
    }
}
