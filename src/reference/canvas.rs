//! Planes of levels to draw on, and how a colour becomes levels.
//!
//! Blending by coverage is linear, and so is the way from R'G'B' to Y'CbCr. Drawing straight
//! into Y'CbCr planes therefore gives the same picture, up to rounding, as drawing in R'G'B'
//! and converting: colours are converted once per item instead of once per pixel.

pub use super::geometry::Geometry;
use super::placement::TextPlacement;
use super::raster::Span;
use super::shading::Shading;
use crate::colour::encode;
use crate::picture::{Encoding, Picture, Plane, Rect, Rgb, Subsampling};

/// Affine map of encoded levels: row k gives level k as `m0 a + m1 b + m2 c + m3`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ColorMap(pub [[f64; 4]; 3]);

impl ColorMap {
    /// Levels stay what they are.
    pub const IDENTITY: Self = Self([
        [1.0, 0.0, 0.0, 0.0],
        [0.0, 1.0, 0.0, 0.0],
        [0.0, 0.0, 1.0, 0.0],
    ]);

    /// The map of three levels.
    #[must_use]
    pub fn map(&self, v: [f64; 3]) -> [f64; 3] {
        self.0
            .map(|m| m[0] * v[0] + m[1] * v[1] + m[2] * v[2] + m[3])
    }
}

/// What the capture chain does to a good picture, as far as it can be drawn in.
#[derive(Clone, Debug, PartialEq)]
pub struct Look {
    /// What the planes hold.
    pub encoding: Encoding,
    /// Where pixels land. Both scales must be above 0.
    pub geometry: Geometry,
    /// What happens to the encoded levels.
    pub color: ColorMap,
    /// How the unit places its text.
    pub text: TextPlacement,
    /// How the chain blurs, standard deviation of a Gaussian, px of the capture; 0 where it does not.
    pub blur_px: f64,
    /// How light falls off over the capture.
    pub shading: Shading,
}

impl Look {
    /// The display's own R'G'B' picture.
    #[must_use]
    pub const fn rgb() -> Self {
        Self::new(Encoding::Rgb)
    }

    /// The display's own picture in `encoding`.
    #[must_use]
    pub const fn new(encoding: Encoding) -> Self {
        Self {
            encoding,
            geometry: Geometry::IDENTITY,
            color: ColorMap::IDENTITY,
            text: TextPlacement::EXACT,
            blur_px: 0.0,
            shading: Shading::NONE,
        }
    }

    /// The levels of a colour, rounded half up and cut to 0..=255.
    #[must_use]
    pub fn levels(&self, rgb: Rgb) -> [u8; 3] {
        self.exact_levels(rgb)
            .map(|v| (v + 0.5).clamp(0.0, 255.0) as u8)
    }

    /// The levels of a colour, neither rounded nor cut.
    pub(crate) fn exact_levels(&self, rgb: Rgb) -> [f64; 3] {
        self.color.map(encode(rgb, self.encoding))
    }
}

/// Where the colour planes' samples sit against the luma samples, horizontally. Vertically they
/// sit between two rows in both cases.
#[derive(
    Clone,
    Copy,
    Debug,
    PartialEq,
    Eq,
    Hash,
    serde::Serialize,
    serde::Deserialize,
    schemars::JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Siting {
    /// Between two columns (JPEG, MPEG-1): the mean of 2 x 2 or 2 x 1 pixels.
    Center,
    /// On the even columns (MPEG-2, H.264 by default): 1-2-1 along the row.
    Left,
}

/// One plane (luma only) or three planes of full resolution for some pixels of the frame.
///
/// # Guarantees
/// Every plane is as large as the area.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Canvas {
    area: Rect,
    planes: Vec<Plane>,
}

impl Canvas {
    /// A canvas for the frame's pixels in `area`, filled with `levels`.
    ///
    /// # Panics
    /// When `planes` is neither 1 nor 3.
    #[must_use]
    pub fn new(area: Rect, planes: usize, levels: [u8; 3]) -> Self {
        assert!(
            planes == 1 || planes == 3,
            "a canvas has one plane or three"
        );
        let (width, height) = (area.width as usize, area.height as usize);
        Self {
            area,
            planes: levels[..planes]
                .iter()
                .map(|&v| Plane::filled(width, height, v))
                .collect(),
        }
    }

    /// The frame's pixels that the canvas holds.
    #[must_use]
    pub const fn area(&self) -> Rect {
        self.area
    }

    /// The planes themselves.
    #[must_use]
    pub fn into_planes(self) -> Vec<Plane> {
        self.planes
    }

    /// One plane or three. Pixel (0, 0) of a plane is the top left pixel of the area.
    #[must_use]
    pub fn planes(&self) -> &[Plane] {
        &self.planes
    }

    /// The levels of the frame's pixel (`x`, `y`); 0 for planes that there are not.
    ///
    /// # Panics
    /// When the pixel lies outside the area.
    #[must_use]
    pub fn at(&self, x: i32, y: i32) -> [u8; 3] {
        assert!(self.area.contains(x, y), "the pixel lies in the area");
        let (x, y) = ((x - self.area.x) as usize, (y - self.area.y) as usize);
        std::array::from_fn(|k| self.planes.get(k).map_or(0, |p| p.at(x, y)))
    }

    /// Fills the pixels of `rect` (of the frame) with one colour.
    pub fn fill(&mut self, rect: Rect, levels: [u8; 3]) {
        let rect = rect.intersection(&self.area);
        if rect.is_empty() {
            return;
        }
        let (x, y) = (
            (rect.x - self.area.x) as usize,
            (rect.y - self.area.y) as usize,
        );
        for (plane, level) in self.planes.iter_mut().zip(levels) {
            for row in y..y + rect.height as usize {
                plane.row_mut(row)[x..x + rect.width as usize].fill(level);
            }
        }
    }

    /// Takes the pixels of `rect` (of the frame) from another canvas, as far as both have them.
    pub fn copy(&mut self, from: &Self, rect: Rect) {
        let rect = rect.intersection(&self.area).intersection(&from.area);
        if rect.is_empty() {
            return;
        }
        let (x, y) = (
            (rect.x - self.area.x) as usize,
            (rect.y - self.area.y) as usize,
        );
        let (fx, fy) = (
            (rect.x - from.area.x) as usize,
            (rect.y - from.area.y) as usize,
        );
        let (width, height) = (rect.width as usize, rect.height as usize);
        for (plane, source) in self.planes.iter_mut().zip(&from.planes) {
            for row in 0..height {
                plane.row_mut(y + row)[x..x + width]
                    .copy_from_slice(&source.row(fy + row)[fx..fx + width]);
            }
        }
    }

    /// Lays a colour over the spans of row `y` (of the frame). All spans lie in the area.
    pub(crate) fn blend_spans(&mut self, y: i32, spans: &[Span], levels: [u8; 3]) {
        let (left, row) = (self.area.x, (y - self.area.y) as usize);
        for (plane, level) in self.planes.iter_mut().zip(levels) {
            let row = plane.row_mut(row);
            for span in spans {
                let x = (span.x - left) as usize;
                if span.len == 1 {
                    row[x] = blend(row[x], level, span.coverage);
                } else if span.coverage == 255 {
                    row[x..x + span.len as usize].fill(level);
                } else {
                    for v in &mut row[x..x + span.len as usize] {
                        *v = blend(*v, level, span.coverage);
                    }
                }
            }
        }
    }

    /// Lays a colour over neighbouring pixels of a row, from (`x`, `y`) (of the frame) to the right.
    pub(crate) fn blend_row(&mut self, x: i32, y: i32, coverages: &[u8], levels: [u8; 3]) {
        let (x, row) = ((x - self.area.x) as usize, (y - self.area.y) as usize);
        for (plane, level) in self.planes.iter_mut().zip(levels) {
            let row = &mut plane.row_mut(row)[x..x + coverages.len()];
            for (v, &coverage) in row.iter_mut().zip(coverages) {
                *v = blend(*v, level, coverage);
            }
        }
    }

    /// The row `y` (of the frame) of every plane; the first level is that of column `area().x`.
    pub(crate) fn rows_mut(&mut self, y: i32) -> impl Iterator<Item = &mut [u8]> {
        let row = (y - self.area.y) as usize;
        self.planes.iter_mut().map(move |p| p.row_mut(row))
    }

    /// The canvas as a picture; colour planes are reduced as asked. A canvas of one plane gets
    /// colour planes of level 128.
    #[must_use]
    pub fn to_picture(
        &self,
        encoding: Encoding,
        subsampling: Subsampling,
        siting: Siting,
    ) -> Picture {
        let (width, height) = (self.area.width as usize, self.area.height as usize);
        let mut picture = Picture::filled(width, height, encoding, subsampling, [128; 3]);
        let whole = Rect::new(0, 0, self.area.width, self.area.height);
        for (k, (out, plane)) in picture
            .planes_mut()
            .iter_mut()
            .zip(&self.planes)
            .enumerate()
        {
            if k == 0 || subsampling == Subsampling::None {
                out.levels_mut().copy_from_slice(plane.levels());
            } else {
                subsample(plane, (0, 0), subsampling, siting, whole, out);
            }
        }
        picture
    }

    /// Levels as R, G, B, R, G, B, ... row by row; a canvas of one plane comes out grey.
    #[must_use]
    pub fn interleaved(&self) -> Vec<u8> {
        let last = self.planes.len() - 1;
        let [a, b, c] = [0, 1, 2].map(|k: usize| self.planes[k.min(last)].levels());
        a.iter()
            .zip(b)
            .zip(c)
            .flat_map(|((&a, &b), &c)| [a, b, c])
            .collect()
    }
}

/// `dst + (src - dst) * coverage / 255`, rounded to the nearest.
///
/// (v + 128 + ((v + 128) >> 8)) >> 8 is v / 255 rounded for every v up to 255 * 255, and stays
/// within 16 bits, so that rows are blended eight pixels at a time.
#[inline]
pub(crate) const fn blend(dst: u8, src: u8, coverage: u8) -> u8 {
    let v = dst as u16 * (255 - coverage) as u16 + src as u16 * coverage as u16 + 128;
    ((v + (v >> 8)) >> 8) as u8
}

/// The colour samples that the frame's pixels in `area` have a part in. Whole pictures start at
/// (0, 0); a part of a frame may start at an odd pixel.
#[must_use]
pub fn chroma_area(area: Rect, subsampling: Subsampling) -> Rect {
    let halved = |from: i32, to: i32| (from.div_euclid(2), (to + 1).div_euclid(2));
    let ((x, right), (y, bottom)) = match subsampling {
        Subsampling::None => return area,
        Subsampling::Columns => (halved(area.x, area.right()), (area.y, area.bottom())),
        Subsampling::Both => (halved(area.x, area.right()), halved(area.y, area.bottom())),
    };
    Rect::new(x, y, right - x, bottom - y)
}

/// Renews the colour samples that depend on the pixels of `rect`, and returns which they are.
///
/// `source` has full resolution, its first pixel is the frame's pixel `origin`; `out` holds the
/// samples of [`chroma_area`] of the source's pixels. `rect` is in pixels of the frame, the
/// result in samples of the frame. Means are rounded half up. Pixels beyond the source count as
/// those on its edge.
///
/// # Panics
/// When `out` is not as large as the samples that the source has.
pub fn subsample(
    source: &Plane,
    origin: (i32, i32),
    subsampling: Subsampling,
    siting: Siting,
    rect: Rect,
    out: &mut Plane,
) -> Rect {
    let area = Rect::new(
        origin.0,
        origin.1,
        source.width() as i32,
        source.height() as i32,
    );
    let samples = chroma_area(area, subsampling);
    assert_eq!(
        (out.width(), out.height()),
        (samples.width as usize, samples.height as usize),
        "the colour plane fits the source"
    );
    let rect = rect.intersection(&area);
    if rect.is_empty() {
        return Rect::EMPTY;
    }
    let mut changed = chroma_area(rect, subsampling);
    if subsampling != Subsampling::None && siting == Siting::Left {
        // A sample at column 2c reaches one column to either side.
        let right = (rect.right().div_euclid(2) + 1).min(samples.right());
        changed = Rect::between(changed.x, changed.y, right, changed.bottom());
    }
    let left = |sample: i32| 2 * sample - area.x;
    let column = |x: i32| x.clamp(0, area.width - 1) as usize;
    for sy in changed.y..changed.bottom() {
        let row = |y: i32| source.row((y - area.y).clamp(0, area.height - 1) as usize);
        let (upper, lower) = match subsampling {
            Subsampling::Both => (row(2 * sy), row(2 * sy + 1)),
            Subsampling::None | Subsampling::Columns => (row(sy), row(sy)),
        };
        let first = (changed.x - samples.x) as usize;
        let target =
            &mut out.row_mut((sy - samples.y) as usize)[first..first + changed.width as usize];
        if subsampling == Subsampling::None {
            let x = (changed.x - area.x) as usize;
            target.copy_from_slice(&upper[x..x + changed.width as usize]);
            continue;
        }
        let sum = |x: i32| u16::from(upper[column(x)]) + u16::from(lower[column(x)]);
        let slow = |sample: i32| {
            let x = left(sample);
            match siting {
                Siting::Center => ((sum(x) + sum(x + 1) + 2) >> 2) as u8,
                Siting::Left => ((sum(x - 1) + 2 * sum(x) + sum(x + 1) + 4) >> 3) as u8,
            }
        };
        // Samples whose pixels all lie inside the source go the fast way.
        let inner_first = changed.x.max((area.x + 2).div_euclid(2));
        let inner_last = changed
            .right()
            .min(area.right().div_euclid(2))
            .max(inner_first);
        let (head, rest) =
            target.split_at_mut((inner_first - changed.x).min(changed.width) as usize);
        let inner = (inner_last - inner_first).min(rest.len() as i32).max(0) as usize;
        let (middle, tail) = rest.split_at_mut(inner);
        for (k, v) in head.iter_mut().enumerate() {
            *v = slow(changed.x + k as i32);
        }
        if !middle.is_empty() {
            let x = left(inner_first) as usize;
            let pairs = |from: usize| {
                let lines = [upper, lower].map(|line| line[from..].as_chunks::<2>().0);
                lines[0].iter().zip(lines[1])
            };
            // Two neighbours as one word of 16 bits, and no sum that is handed on: the compiler makes vector code of it.
            let first = |a: &[u8; 2], b: &[u8; 2]| {
                (u16::from_le_bytes(*a) & 0xff) + (u16::from_le_bytes(*b) & 0xff)
            };
            let second = |a: &[u8; 2], b: &[u8; 2]| {
                (u16::from_le_bytes(*a) >> 8) + (u16::from_le_bytes(*b) >> 8)
            };
            match siting {
                Siting::Center => {
                    for (v, (a, b)) in middle.iter_mut().zip(pairs(x)) {
                        *v = ((first(a, b) + second(a, b) + 2) >> 2) as u8;
                    }
                }
                Siting::Left => {
                    let around = pairs(x - 1).zip(pairs(x));
                    for (v, ((a, b), (c, d))) in middle.iter_mut().zip(around) {
                        *v = ((first(a, b) + 2 * second(a, b) + second(c, d) + 4) >> 3) as u8;
                    }
                }
            }
        }
        for (k, v) in tail.iter_mut().enumerate() {
            *v = slow(inner_last + k as i32);
        }
    }
    changed
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::{Matrix, Range};
    use proptest::prelude::*;

    fn ycbcr(matrix: Matrix, range: Range) -> Look {
        Look::new(Encoding::YCbCr { matrix, range })
    }

    /// Levels of 100/0/75/0 colour bars: ITU-R BT.801-1 (limited 601); the 709 levels follow from
    /// BT.709-6 section 3 by the same formulas.
    #[test]
    fn colours_have_their_published_levels() {
        let limited = ycbcr(Matrix::Bt601, Range::Limited);
        let yellow = Rgb([191, 191, 0]);
        assert_eq!(limited.levels(Rgb([255; 3])), [235, 128, 128]);
        assert_eq!(limited.levels(Rgb([0; 3])), [16, 128, 128]);
        assert_eq!(limited.levels(yellow), [161, 44, 142]);
        assert_eq!(limited.levels(Rgb([255, 0, 0])), [81, 90, 240]);
        assert_eq!(
            ycbcr(Matrix::Bt709, Range::Limited).levels(Rgb([255, 0, 0])),
            [63, 102, 240]
        );
        assert_eq!(
            ycbcr(Matrix::Bt601, Range::Full).levels(Rgb([255, 0, 0])),
            [76, 85, 255]
        );
        assert_eq!(Look::rgb().levels(yellow), [191, 191, 0]);
    }

    #[test]
    fn colour_map_is_applied_to_encoded_levels_and_cut() {
        let mut look = Look::rgb();
        look.color = ColorMap([
            [0.5, 0.0, 0.0, 10.0],
            [0.0, 2.0, 0.0, 0.0],
            [0.0, 0.0, 1.0, -20.0],
        ]);
        assert_eq!(look.levels(Rgb([101, 200, 10])), [61, 255, 0]);
    }

    #[test]
    fn blending_is_the_rounded_mean_for_every_input() {
        for dst in 0..=255u8 {
            for src in (0..=255u8).step_by(5) {
                for coverage in 0..=255u8 {
                    let (d, s, c) = (i32::from(dst), i32::from(src), i32::from(coverage));
                    let want = (2 * (d * (255 - c) + s * c) + 255) / 510;
                    assert_eq!(
                        i32::from(blend(dst, src, coverage)),
                        want,
                        "{dst} {src} {coverage}"
                    );
                }
            }
        }
    }

    #[test]
    fn box_means_and_left_sited_means_are_rounded_half_up() {
        let plane = Plane::from_levels(4, 2, vec![0, 1, 10, 20, 0, 1, 30, 40]);
        let whole = Rect::new(0, 0, 4, 2);
        let mut out = Plane::filled(2, 1, 0);
        subsample(
            &plane,
            (0, 0),
            Subsampling::Both,
            Siting::Center,
            whole,
            &mut out,
        );
        assert_eq!(out.levels(), [1, 25]); // 0.5 and 25
        subsample(
            &plane,
            (0, 0),
            Subsampling::Both,
            Siting::Left,
            whole,
            &mut out,
        );
        assert_eq!(out.levels(), [0, 18]); // 0.25 and (2 + 2 * 40 + 60) / 8 = 17.75
        let mut out = Plane::filled(2, 2, 0);
        subsample(
            &plane,
            (0, 0),
            Subsampling::Columns,
            Siting::Center,
            whole,
            &mut out,
        );
        assert_eq!(out.levels(), [1, 15, 1, 35]);
    }

    fn literal(plane: &Plane, origin: (i32, i32), sub: Subsampling, siting: Siting) -> Plane {
        let area = Rect::new(
            origin.0,
            origin.1,
            plane.width() as i32,
            plane.height() as i32,
        );
        let out = chroma_area(area, sub);
        let at = |x: i32, y: i32| {
            let x = (x - area.x).clamp(0, area.width - 1) as usize;
            f64::from(plane.at(x, (y - area.y).clamp(0, area.height - 1) as usize))
        };
        let mut levels = Vec::new();
        for sy in out.y..out.bottom() {
            for sx in out.x..out.right() {
                let line = |y: i32| match siting {
                    Siting::Center => (at(2 * sx, y) + at(2 * sx + 1, y)) / 2.0,
                    Siting::Left => {
                        (at(2 * sx - 1, y) + 2.0 * at(2 * sx, y) + at(2 * sx + 1, y)) / 4.0
                    }
                };
                let v = match sub {
                    Subsampling::None => at(sx, sy),
                    Subsampling::Columns => line(sy),
                    Subsampling::Both => (line(2 * sy) + line(2 * sy + 1)) / 2.0,
                };
                levels.push((v + 0.5).floor() as u8);
            }
        }
        Plane::from_levels(out.width as usize, out.height as usize, levels)
    }

    proptest! {
        #[test]
        fn reduced_colour_is_the_literal_mean_and_parts_renew_all_that_depends_on_them(
            width in 1..12usize, height in 1..6usize,
            origin in (-3..4i32, -3..4i32),
            seed in prop::collection::vec(any::<u8>(), 72..=72),
            change in (-2..9i32, -2..6i32, 1..8i32, 1..6i32),
        ) {
            let mut plane = Plane::from_levels(width, height, seed[..width * height].to_vec());
            let area = Rect::new(origin.0, origin.1, width as i32, height as i32);
            for sub in [Subsampling::None, Subsampling::Columns, Subsampling::Both] {
                for siting in [Siting::Center, Siting::Left] {
                    let size = chroma_area(area, sub);
                    let mut out = Plane::filled(size.width as usize, size.height as usize, 0);
                    subsample(&plane, origin, sub, siting, area, &mut out);
                    prop_assert_eq!(&out, &literal(&plane, origin, sub, siting));
                    let rect = Rect::new(change.0, change.1, change.2, change.3).intersection(&area);
                    for y in rect.y..rect.bottom() {
                        for x in rect.x..rect.right() {
                            plane.row_mut((y - area.y) as usize)[(x - area.x) as usize] ^= 0xA5;
                        }
                    }
                    subsample(&plane, origin, sub, siting, rect, &mut out);
                    prop_assert_eq!(&out, &literal(&plane, origin, sub, siting));
                }
            }
        }
    }

    #[test]
    fn filling_and_copying_keep_to_the_area() {
        let mut a = Canvas::new(Rect::new(10, 20, 4, 3), 3, [1, 2, 3]);
        a.fill(Rect::new(0, 21, 12, 100), [9, 8, 7]);
        a.fill(Rect::new(90, 21, 12, 100), [0; 3]);
        assert_eq!(a.planes()[0].levels(), [1, 1, 1, 1, 9, 9, 1, 1, 9, 9, 1, 1]);
        let mut b = Canvas::new(Rect::new(11, 20, 2, 2), 3, [0; 3]);
        b.copy(&a, Rect::new(-100, -100, 1000, 1000));
        assert_eq!(b.planes()[1].levels(), [2, 2, 8, 2]);
        assert_eq!(b.at(11, 21), [9, 8, 7]);
    }
}
