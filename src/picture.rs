//! Pictures as planes of 8-bit levels, and the geometry that every stage shares.
//!
//! A [`Picture`] has three planes in one [`Encoding`]: R, G, B, or Y', Cb, Cr. The first
//! plane always has full resolution; the other two may have half of it in one or both
//! directions. x grows right, y grows down, (0, 0) is the outer corner of the top left
//! pixel, so the centre of that pixel lies at (0.5, 0.5).

/// A point in display pixels.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Point {
    /// Distance from the left edge, px.
    pub x: f64,
    /// Distance from the top edge, px.
    pub y: f64,
}

impl Point {
    /// The point at (`x`, `y`), px.
    #[must_use]
    pub const fn new(x: f64, y: f64) -> Self {
        Self { x, y }
    }
}

/// A rectangle of whole pixels, half open: it covers `x..x + width` and `y..y + height`.
///
/// Its edges are read as fields ([`Edges`]) and never written, so that none is built wrong: one that covers no
/// pixel is always [`Rect::EMPTY`], whose rows and columns can be gone through in any picture, wherever the
/// rectangles stood that do not meet; and none reaches beyond the numbers that it is counted in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
pub struct Rect(Edges);

/// What a [`Rect`] is read by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
#[non_exhaustive]
pub struct Edges {
    /// Left edge, px.
    pub x: i32,
    /// Top edge, px.
    pub y: i32,
    /// Width, px; not negative.
    pub width: i32,
    /// Height, px; not negative.
    pub height: i32,
}

impl std::ops::Deref for Rect {
    type Target = Edges;

    fn deref(&self) -> &Edges {
        &self.0
    }
}

impl Rect {
    /// The rectangle that covers no pixel.
    pub const EMPTY: Self = Self(Edges {
        x: 0,
        y: 0,
        width: 0,
        height: 0,
    });

    /// The rectangle with its top left corner at (`x`, `y`); [`Rect::EMPTY`] without a width or a height.
    #[must_use]
    pub const fn new(x: i32, y: i32, width: i32, height: i32) -> Self {
        Self::between(x, y, x.saturating_add(width), y.saturating_add(height))
    }

    /// The rectangle from (`left`, `top`) up to the column before `right` and the row before `bottom`;
    /// [`Rect::EMPTY`] where there is no pixel between them.
    #[must_use]
    pub const fn between(left: i32, top: i32, right: i32, bottom: i32) -> Self {
        if right <= left || bottom <= top {
            return Self::EMPTY;
        }
        Self(Edges {
            x: left,
            y: top,
            width: right.saturating_sub(left),
            height: bottom.saturating_sub(top),
        })
    }

    /// All pixels of a picture of `width` x `height`.
    #[must_use]
    pub const fn of_size(width: usize, height: usize) -> Self {
        Self::new(0, 0, width as i32, height as i32)
    }

    /// One past the last column.
    #[must_use]
    pub const fn right(&self) -> i32 {
        self.0.x + self.0.width
    }

    /// One past the last row.
    #[must_use]
    pub const fn bottom(&self) -> i32 {
        self.0.y + self.0.height
    }

    /// True when the rectangle covers no pixel.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.0.width == 0
    }

    /// Covered pixels.
    #[must_use]
    pub const fn area(&self) -> i64 {
        self.0.width as i64 * self.0.height as i64
    }

    /// What both rectangles cover; [`Rect::EMPTY`] when they do not meet.
    #[must_use]
    pub fn intersection(&self, other: &Self) -> Self {
        Self::between(
            self.x.max(other.x),
            self.y.max(other.y),
            self.right().min(other.right()),
            self.bottom().min(other.bottom()),
        )
    }

    /// The smallest rectangle that covers both; an empty one adds nothing.
    #[must_use]
    pub fn union(&self, other: &Self) -> Self {
        if self.is_empty() {
            return *other;
        }
        if other.is_empty() {
            return *self;
        }
        Self::between(
            self.x.min(other.x),
            self.y.min(other.y),
            self.right().max(other.right()),
            self.bottom().max(other.bottom()),
        )
    }

    /// The rectangle grown by `by` pixels on every side (shrunk when negative); an empty one stays empty.
    #[must_use]
    pub const fn grown(&self, by: i32) -> Self {
        if self.is_empty() {
            return Self::EMPTY;
        }
        Self::between(
            self.0.x.saturating_sub(by),
            self.0.y.saturating_sub(by),
            self.right().saturating_add(by),
            self.bottom().saturating_add(by),
        )
    }

    /// The rectangle moved by (`x`, `y`).
    #[must_use]
    pub const fn moved(&self, x: i32, y: i32) -> Self {
        Self::new(
            self.0.x.saturating_add(x),
            self.0.y.saturating_add(y),
            self.0.width,
            self.0.height,
        )
    }

    /// Pixels of it that none of `others` covers.
    #[must_use]
    pub fn outside(&self, others: &[Self]) -> i64 {
        let parts: Vec<Self> = others
            .iter()
            .map(|u| u.intersection(self))
            .filter(|u| !u.is_empty())
            .collect();
        // Between two neighbouring edges all rows are covered alike.
        let mut edges: Vec<i32> = parts.iter().flat_map(|u| [u.y, u.bottom()]).collect();
        edges.sort_unstable();
        let mut covered = 0;
        for rows in edges.windows(2) {
            let mut spans: Vec<[i32; 2]> = parts
                .iter()
                .filter(|u| u.y <= rows[0] && u.bottom() >= rows[1])
                .map(|u| [u.x, u.right()])
                .collect();
            spans.sort_unstable();
            let (mut reached, mut width) = (i32::MIN, 0);
            for [from, to] in spans {
                width += (to - from.max(reached)).max(0);
                reached = reached.max(to);
            }
            covered += i64::from(width) * i64::from(rows[1] - rows[0]);
        }
        self.area() - covered
    }

    /// True when (`x`, `y`) is one of the covered pixels.
    #[must_use]
    pub const fn contains(&self, x: i32, y: i32) -> bool {
        x >= self.0.x && y >= self.0.y && x < self.right() && y < self.bottom()
    }
}

/// One colour as the display names it: gamma-encoded R', G', B', 8 bits each.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Default)]
pub struct Rgb(pub [u8; 3]);

impl Rgb {
    /// The colour that `#rrggbb` says; `None` when `text` does not.
    #[must_use]
    pub fn from_hex(text: &str) -> Option<Self> {
        let digits = text
            .strip_prefix('#')
            .filter(|d| d.len() == 6 && d.bytes().all(|b| b.is_ascii_hexdigit()))?;
        let [_, r, g, b] = u32::from_str_radix(digits, 16).ok()?.to_be_bytes();
        Some(Self([r, g, b]))
    }
}

/// One plane of 8-bit levels, row-major, no padding between rows.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Plane {
    width: usize,
    height: usize,
    levels: Vec<u8>,
}

impl Plane {
    /// A plane filled with one level.
    #[must_use]
    pub fn filled(width: usize, height: usize, level: u8) -> Self {
        Self {
            width,
            height,
            levels: vec![level; width * height],
        }
    }

    /// A plane made of `levels`, row by row.
    ///
    /// # Panics
    /// When `levels` does not hold exactly `width * height` levels.
    #[must_use]
    pub fn from_levels(width: usize, height: usize, levels: Vec<u8>) -> Self {
        assert_eq!(
            levels.len(),
            width * height,
            "a plane holds width x height levels"
        );
        Self {
            width,
            height,
            levels,
        }
    }

    /// Gives it another size; its levels are what is left over, and are to be written.
    pub fn shape(&mut self, width: usize, height: usize) {
        (self.width, self.height) = (width, height);
        self.levels.resize(width * height, 0);
    }

    /// Columns, px.
    #[must_use]
    pub const fn width(&self) -> usize {
        self.width
    }

    /// Rows, px.
    #[must_use]
    pub const fn height(&self) -> usize {
        self.height
    }

    /// All levels, row by row.
    #[must_use]
    pub fn levels(&self) -> &[u8] {
        &self.levels
    }

    /// All levels, row by row, to be changed.
    pub fn levels_mut(&mut self) -> &mut [u8] {
        &mut self.levels
    }

    /// Row `y`.
    ///
    /// # Panics
    /// When there is no row `y`.
    #[must_use]
    pub fn row(&self, y: usize) -> &[u8] {
        &self.levels[y * self.width..(y + 1) * self.width]
    }

    /// Row `y`, to be changed.
    ///
    /// # Panics
    /// When there is no row `y`.
    pub fn row_mut(&mut self, y: usize) -> &mut [u8] {
        &mut self.levels[y * self.width..(y + 1) * self.width]
    }

    /// Fills what lies inside `rect` with one level.
    pub fn fill(&mut self, rect: Rect, level: u8) {
        let r = rect.intersection(&Rect::new(0, 0, self.width as i32, self.height as i32));
        for y in r.y..r.bottom() {
            self.row_mut(y as usize)[r.x as usize..r.right() as usize].fill(level);
        }
    }

    /// The level at (`x`, `y`).
    ///
    /// # Panics
    /// When the plane has no such pixel.
    #[must_use]
    pub fn at(&self, x: usize, y: usize) -> u8 {
        self.levels[y * self.width + x]
    }
}

/// Which weights turn R'G'B' into Y'CbCr.
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
pub enum Matrix {
    /// ITU-R BT.601-7: Kr 0.299, Kb 0.114.
    Bt601,
    /// ITU-R BT.709-6: Kr 0.2126, Kb 0.0722.
    Bt709,
}

/// Which levels stand for black and white.
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
pub enum Range {
    /// Luma 16..=235, colour 16..=240 around 128.
    Limited,
    /// Luma 0..=255, colour 0..=255 around 128.
    Full,
}

/// What the three planes of a [`Picture`] hold.
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
pub enum Encoding {
    /// R', G', B' levels.
    Rgb,
    /// Y', Cb, Cr levels.
    YCbCr {
        /// Weights.
        matrix: Matrix,
        /// Black and white levels.
        range: Range,
    },
}

/// Resolution of planes 1 and 2 against plane 0.
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
pub enum Subsampling {
    /// 4:4:4, full resolution.
    #[serde(rename = "4:4:4")]
    None,
    /// 4:2:2, half the columns.
    #[serde(rename = "4:2:2")]
    Columns,
    /// 4:2:0, half the columns and half the rows.
    #[serde(rename = "4:2:0")]
    Both,
}

impl Subsampling {
    /// Columns and rows of a colour plane for a picture of `width` x `height`, rounded up.
    #[must_use]
    pub const fn chroma_size(self, width: usize, height: usize) -> (usize, usize) {
        match self {
            Self::None => (width, height),
            Self::Columns => (width.div_ceil(2), height),
            Self::Both => (width.div_ceil(2), height.div_ceil(2)),
        }
    }

    /// Columns and rows of luma that a sample of a colour plane stands for.
    #[must_use]
    pub const fn steps(self) -> [i32; 2] {
        match self {
            Self::None => [1, 1],
            Self::Columns => [2, 1],
            Self::Both => [2, 2],
        }
    }
}

/// Three planes in one encoding.
///
/// # Guarantees
/// Plane 0 is `width` x `height`; planes 1 and 2 have [`Subsampling::chroma_size`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    planes: [Plane; 3],
    encoding: Encoding,
    subsampling: Subsampling,
}

impl Picture {
    /// A picture whose planes hold one level each.
    #[must_use]
    pub fn filled(
        width: usize,
        height: usize,
        encoding: Encoding,
        subsampling: Subsampling,
        levels: [u8; 3],
    ) -> Self {
        let (cw, ch) = subsampling.chroma_size(width, height);
        let planes = [
            Plane::filled(width, height, levels[0]),
            Plane::filled(cw, ch, levels[1]),
            Plane::filled(cw, ch, levels[2]),
        ];
        Self {
            planes,
            encoding,
            subsampling,
        }
    }

    /// A picture made of `planes`.
    ///
    /// # Panics
    /// When the sizes of the planes do not fit `subsampling`.
    #[must_use]
    pub fn from_planes(planes: [Plane; 3], encoding: Encoding, subsampling: Subsampling) -> Self {
        let size = subsampling.chroma_size(planes[0].width(), planes[0].height());
        for plane in &planes[1..] {
            assert_eq!(
                (plane.width(), plane.height()),
                size,
                "colour planes fit the subsampling"
            );
        }
        Self {
            planes,
            encoding,
            subsampling,
        }
    }

    /// Columns of plane 0, px.
    #[must_use]
    pub const fn width(&self) -> usize {
        self.planes[0].width
    }

    /// Rows of plane 0, px.
    #[must_use]
    pub const fn height(&self) -> usize {
        self.planes[0].height
    }

    /// What the planes hold.
    #[must_use]
    pub const fn encoding(&self) -> Encoding {
        self.encoding
    }

    /// Resolution of planes 1 and 2.
    #[must_use]
    pub const fn subsampling(&self) -> Subsampling {
        self.subsampling
    }

    /// The three planes.
    #[must_use]
    pub const fn planes(&self) -> &[Plane; 3] {
        &self.planes
    }

    /// The three planes, to be changed.
    pub const fn planes_mut(&mut self) -> &mut [Plane; 3] {
        &mut self.planes
    }

    /// CRC-32 (ISO-HDLC, as in RFC 1952) over planes 0, 1, 2 in this order.
    #[must_use]
    pub fn crc32(&self) -> u32 {
        let mut hasher = crc32fast::Hasher::new();
        for plane in &self.planes {
            hasher.update(&plane.levels);
        }
        hasher.finalize()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn rect() -> impl Strategy<Value = Rect> {
        (-30i32..30, -30i32..30, -5i32..30, -5i32..30)
            .prop_map(|(x, y, w, h)| Rect::new(x, y, w, h))
    }

    #[test]
    fn rectangles_that_do_not_meet_have_one_intersection() {
        // The edges of both were kept before, x = 300 at width 0 among them, and indexed rows of 200 px.
        let canvas = Rect::of_size(200, 100);
        let beside = Rect::new(300, 10, 20, 20).intersection(&canvas);
        assert_eq!(beside, Rect::EMPTY);
        assert_eq!(
            (beside.x, beside.right(), beside.y, beside.bottom()),
            (0, 0, 0, 0)
        );
        assert_eq!(Rect::new(5, 5, -3, 4), Rect::EMPTY);
        assert_eq!(Rect::new(5, 5, 0, 4).grown(3), Rect::EMPTY);
    }

    #[test]
    fn edges_never_leave_the_numbers() {
        let far = Rect::new(i32::MAX - 2, i32::MIN, i32::MAX, i32::MAX);
        assert_eq!(far.right(), i32::MAX);
        assert_eq!(far.grown(9).right(), i32::MAX);
        assert_eq!(Rect::new(4, i32::MIN, 5, 6).moved(9, -9).y, i32::MIN);
    }

    proptest! {
        #[test]
        fn operations_are_those_on_sets_of_pixels(a in rect(), b in rect(), c in rect(), x in -40i32..40, y in -40i32..40) {
            prop_assert_eq!(a.intersection(&b).contains(x, y), a.contains(x, y) && b.contains(x, y));
            prop_assert!(!a.union(&b).is_empty() || (a.is_empty() && b.is_empty()));
            prop_assert!(!(a.contains(x, y) || b.contains(x, y)) || a.union(&b).contains(x, y));
            prop_assert_eq!(a.moved(3, -2).contains(x + 3, y - 2), a.contains(x, y));
            let counted = (-40..60).flat_map(|y| (-40..60).map(move |x| (x, y)))
                .filter(|(x, y)| a.contains(*x, *y) && !b.contains(*x, *y) && !c.contains(*x, *y))
                .count();
            prop_assert_eq!(a.outside(&[b, c]), counted as i64);
            // Whatever stood where, an intersection with a picture can be gone through.
            let picture = Plane::filled(20, 20, 1);
            let inside = a.intersection(&Rect::of_size(20, 20));
            let sum: usize = (inside.y..inside.bottom())
                .map(|y| picture.row(y as usize)[inside.x as usize..inside.right() as usize].len())
                .sum();
            prop_assert_eq!(sum as i64, inside.area());
        }
    }
}
