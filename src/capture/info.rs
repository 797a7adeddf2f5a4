//! What is known of a capture before its frames are read.

pub use crate::colour::Siting;
use crate::picture::{Encoding, Matrix, Range, Subsampling};

/// Where a property of the capture is known from.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize, schemars::JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Origin {
    /// The stream says so.
    Stream,
    /// The user said so.
    Set,
    /// Nobody said so; the usual value was taken.
    Assumed,
    /// We made it so: R'G'B' material is turned into a known encoding.
    Converted,
}

/// What is known of a capture before its frames are read.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
pub struct StreamInfo {
    /// The source in words: `YUV4MPEG2`, `h264 through ffmpeg 5.1.9`.
    pub source: String,
    /// Columns of the luma plane, px.
    pub width: usize,
    /// Rows of the luma plane, px.
    pub height: usize,
    /// Encoding of the frames as delivered; always Y'CbCr.
    pub encoding: Encoding,
    /// Resolution of the colour planes: a source's own, and half from [`super::Capture`].
    pub subsampling: Subsampling,
    /// Where the colour samples lie, when the stream says so.
    pub siting: Option<Siting>,
    /// True when the source has no colour at all.
    #[serde(default)]
    pub is_grey: bool,
    /// Frames in the capture, when known beforehand.
    pub frame_count: Option<u64>,
    /// Length of the capture as its container states it, s. For progress alone: it may be wrong.
    #[serde(skip)]
    pub stated_duration_s: Option<f64>,
    /// Nominal frame rate, 1/s, when the stream has one. Frames may still come unevenly.
    pub rate_hz: Option<f64>,
    /// Where the matrix is known from.
    pub matrix_from: Origin,
    /// Where the range is known from.
    pub range_from: Origin,
    /// Where the times are known from: [`Origin::Assumed`] for a default frame rate.
    pub times_from: Origin,
    /// What the user should know, a sentence fragment each.
    pub notes: Vec<String>,
}

/// The matrix that material without a mark most likely has: BT.709 from 720 rows up, else
/// BT.601, as players do.
pub(super) const fn usual_matrix(height: usize) -> Matrix {
    if height >= 720 {
        Matrix::Bt709
    } else {
        Matrix::Bt601
    }
}

/// The first of: what the user set, what the stream says, what is usual.
pub(super) fn settle<T>(set: Option<T>, stream: Option<T>, usual: T) -> (T, Origin) {
    match (set, stream) {
        (Some(value), _) => (value, Origin::Set),
        (None, Some(value)) => (value, Origin::Stream),
        (None, None) => (usual, Origin::Assumed),
    }
}

/// R'G'B' material after conversion; see [`super::rgb`].
pub(super) const CONVERTED: Encoding = Encoding::YCbCr {
    matrix: Matrix::Bt709,
    range: Range::Full,
};

/// Largest width and height that are read, px. Protects against a header that asks for all
/// the memory there is.
pub(super) const SIDE_MAX_PX: usize = 16_384;

/// Refuses sizes that cannot be a display.
pub(super) fn size_problem(width: usize, height: usize) -> Option<String> {
    let is_good = (1..=SIDE_MAX_PX).contains(&width) && (1..=SIDE_MAX_PX).contains(&height);
    (!is_good)
        .then(|| format!("frames of {width}x{height} px: each side must be 1 to {SIDE_MAX_PX} px"))
}

/// The note on a matrix or range that was set for R'G'B' material.
pub(super) fn note_on_unused(matrix: Option<Matrix>, range: Option<Range>) -> Option<String> {
    let words = "matrix and range were set, but the capture is R'G'B' and has neither; the setting is not used";
    (matrix.is_some() || range.is_some()).then(|| words.to_owned())
}
