//! How much of every pixel a filled outline covers, exactly.
//!
//! The renderer is the measuring instrument, so the coverage of a pixel is the area of the
//! outline inside it and nothing else. Sub-sampled anti-aliasing is simpler and biases the
//! position of level edges by up to 0.1 px; the test at the end shows that.
//!
//! Method: every edge adds to each cell of a row the change that it makes to the area lying
//! to its right; the running sum along the row is then the signed area of the outline in each
//! cell. The idea is that of the cell accumulation in FreeType's smooth rasteriser and of
//! font-rs ("Inside the fastest font renderer in the world", R. Levien, 2016). What differs
//! here: touched cells are kept in a bit set, so that the stretches between them become runs
//! of one coverage and cost no more than filling them, and the clip may cut through pixels.
//!
//! Assumed: inside one pixel, outlines of one item do not overlap partly. Where they do, the
//! areas add up and are cut at 1. Contours of opposite direction cancel: they cut holes.

use super::scene::Bounds;
use crate::picture::{Point, Rect};

/// Some neighbouring cells of a row with the same coverage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Span {
    /// First column.
    pub x: i32,
    /// Number of columns, at least 1.
    pub len: i32,
    /// Covered area, 1..=255; 255 is the whole pixel.
    pub coverage: u8,
}

/// Scratch space for filling outlines, one after the other.
///
/// Use: [`Raster::begin`], any number of [`Raster::contour`], [`Raster::finish`].
///
/// # Guarantees
/// The coverage of a pixel depends on the contours and the clip of [`Raster::begin`], not on its
/// window. Nothing is allocated once the largest outline has been seen.
#[derive(Clone, Debug, Default)]
pub struct Raster {
    /// Change of covered area per cell, row by row; all zero between outlines.
    cells: Vec<f32>,
    /// One bit per cell that was written to; all zero between outlines.
    ///
    /// Tried and dropped, since it was 5 to 25 % slower (least of six interleaved rounds): a second
    /// level of bits over these words, and spans of unlike cells blended eight at a time.
    touched: Vec<u64>,
    spans: Vec<Span>,
    /// Column and row of the first cell.
    x: i32,
    y: i32,
    width: usize,
    height: usize,
    words_per_row: usize,
    /// Columns left of this are not given out, counted from `x`.
    crop_left: usize,
    /// Sides of the clip, px from `x`.
    left: f64,
    right: f64,
    /// Top and bottom of the clip and window. Not counted from `y`, which follows the window:
    /// differences to it would be rounded in another way for every window.
    top: f64,
    bottom: f64,
    /// Whether the right side of the clip cuts through a pixel.
    is_right_cut: bool,
}

/// Coordinates beyond this are moved to it: keeps every index in range, px.
const FAR_PX: f64 = 1e9;

impl Raster {
    /// Scratch space that grows when used.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Starts an outline. Only what lies inside `clip` counts, to the fraction of a pixel; only
    /// pixels of `window` are given out. Make both small: the work space covers their common part.
    pub fn begin(&mut self, clip: Bounds, window: Rect) {
        (self.width, self.height) = (0, 0);
        // Written so that a clip that is not a number is empty.
        if window.is_empty() || !(clip.left < clip.right && clip.top < clip.bottom) {
            return;
        }
        // The left end must not follow the window: sums run from the left, and their rounding
        // would then depend on the window.
        let x = clip.left.clamp(-FAR_PX, FAR_PX).floor();
        let y = clip.top.max(f64::from(window.y)).floor();
        let right = clip.right.ceil().min(f64::from(window.right()));
        let bottom = clip.bottom.ceil().min(f64::from(window.bottom()));
        if right <= x || bottom <= y {
            return;
        }
        (self.x, self.y) = (x as i32, y as i32);
        (self.width, self.height) = ((right - x) as usize, (bottom - y) as usize);
        self.crop_left = (window.x - self.x).max(0) as usize;
        self.left = clip.left.max(-FAR_PX) - x;
        self.right = clip.right.min(FAR_PX) - x;
        self.top = clip.top.max(y);
        self.bottom = clip.bottom.min(bottom);
        self.is_right_cut = self.right < self.width as f64;
        self.words_per_row = self.width.div_ceil(64);
        let cells = self.width * self.height;
        if self.cells.len() < cells {
            self.cells.resize(cells, 0.0);
        }
        let words = self.words_per_row * self.height;
        if self.touched.len() < words {
            self.touched.resize(words, 0);
        }
    }

    /// Adds a closed contour; the last point joins the first. Points that are not finite are
    /// left out.
    pub fn contour(&mut self, points: impl IntoIterator<Item = Point>) {
        if self.height == 0 {
            return;
        }
        let x = f64::from(self.x);
        let mut points = points
            .into_iter()
            .filter(|p| p.x.is_finite() && p.y.is_finite())
            .map(|p| Point::new(p.x.clamp(-FAR_PX, FAR_PX) - x, p.y.clamp(-FAR_PX, FAR_PX)));
        let Some(first) = points.next() else { return };
        let mut from = first;
        for to in points {
            self.edge(from, to);
            from = to;
        }
        self.edge(from, first);
    }

    fn edge(&mut self, from: Point, to: Point) {
        let (sign, a, b) = if from.y < to.y {
            (1.0, from, to)
        } else {
            (-1.0, to, from)
        };
        let top = a.y.max(self.top);
        let bottom = b.y.min(self.bottom);
        if top >= bottom {
            return;
        }
        let (low, high) = (a.x.min(b.x), a.x.max(b.x));
        if low >= self.right && !self.is_right_cut {
            return;
        }
        let first = top.floor();
        let mut row = (first as i32 - self.y) as usize;
        if low == high || high <= self.left || low >= self.right {
            let x = low.clamp(self.left, self.right);
            let mut y = first;
            while y < bottom {
                self.upright(row, x, sign * (bottom.min(y + 1.0) - top.max(y)));
                (y, row) = (y + 1.0, row + 1);
            }
            return;
        }
        let slope = (b.x - a.x) / (b.y - a.y);
        // From the uncut ends, so that rows come out the same whatever the window is.
        let x_at = |y: f64| {
            if y <= a.y {
                a.x
            } else if y >= b.y {
                b.x
            } else {
                (a.x + (y - a.y) * slope).clamp(low, high)
            }
        };
        let (mut x0, mut y) = (x_at(top), first);
        while y < bottom {
            let (y0, y1) = (top.max(y), bottom.min(y + 1.0));
            let x1 = x_at(y1);
            self.piece(row, x0.min(x1), x0.max(x1), sign * (y1 - y0));
            (x0, y, row) = (x1, y + 1.0, row + 1);
        }
    }

    /// A piece of an edge inside one row, from `low` to `high`, with its signed height.
    fn piece(&mut self, row: usize, mut low: f64, mut high: f64, mut height: f64) {
        if low < self.left {
            if high <= self.left {
                self.upright(row, self.left, height);
                return;
            }
            let outside = height * ((self.left - low) / (high - low));
            self.upright(row, self.left, outside);
            height -= outside;
            low = self.left;
        }
        if self.is_right_cut && high > self.right {
            if low >= self.right {
                self.upright(row, self.right, height);
                return;
            }
            let outside = height * ((high - self.right) / (high - low));
            self.upright(row, self.right, outside);
            height -= outside;
            high = self.right;
        }
        self.slanted(row, low, high, height);
    }

    fn upright(&mut self, row: usize, x: f64, height: f64) {
        let column = x as usize;
        let fraction = x - column as f64;
        self.add(row, column, height * (1.0 - fraction));
        if fraction > 0.0 {
            self.add(row, column + 1, height * fraction);
        }
    }

    /// Areas of a slanted piece; see the module for the idea. With s the height per column, the
    /// area to the right of the edge grows along the row by a triangle in the first and last
    /// cell and by trapezoids of s per cell between them.
    fn slanted(&mut self, row: usize, low: f64, high: f64, height: f64) {
        let first = low as usize;
        if first >= self.width {
            return;
        }
        let start = low - first as f64;
        let end = {
            let whole = high as usize;
            if whole as f64 == high {
                whole
            } else {
                whole + 1
            }
        };
        if end <= first + 1 {
            let middle = 0.5 * (low + high) - first as f64;
            self.add(row, first, height * (1.0 - middle));
            if middle > 0.0 {
                self.add(row, first + 1, height * middle);
            }
            return;
        }
        let per_column = 1.0 / (high - low);
        let rest = high - (end - 1) as f64;
        let head = 0.5 * per_column * (1.0 - start) * (1.0 - start);
        let tail = 0.5 * per_column * rest * rest;
        self.add(row, first, height * head);
        if end == first + 2 {
            self.add(row, first + 1, height * (1.0 - head - tail));
        } else {
            let second = per_column * (1.5 - start);
            self.add(row, first + 1, height * (second - head));
            for column in first + 2..(end - 1).min(self.width) {
                self.add(row, column, height * per_column);
            }
            let before = second + (end - first - 3) as f64 * per_column;
            self.add(row, end - 1, height * (1.0 - before - tail));
        }
        self.add(row, end, height * tail);
    }

    #[inline]
    fn add(&mut self, row: usize, column: usize, area: f64) {
        if column < self.width {
            self.cells[row * self.width + column] += area as f32;
            self.touched[row * self.words_per_row + column / 64] |= 1 << (column % 64);
        }
    }

    /// Gives out the rows that have ink, from the top, each with its spans from the left, and
    /// makes room for the next outline.
    pub fn finish(&mut self, mut sink: impl FnMut(i32, &[Span])) {
        for row in 0..self.height {
            self.spans.clear();
            let cells = &mut self.cells[row * self.width..(row + 1) * self.width];
            let words = &mut self.touched[row * self.words_per_row..(row + 1) * self.words_per_row];
            let mut out = RowSpans {
                spans: &mut self.spans,
                x: self.x,
                crop_left: self.crop_left,
            };
            // Summed in double: along a level edge thousands of equal steps would drift in single.
            let (mut sum, mut coverage, mut begin) = (0.0f64, 0u8, 0usize);
            for (k, word) in words.iter_mut().enumerate() {
                let mut bits = std::mem::take(word);
                while bits != 0 {
                    let column = k * 64 + bits.trailing_zeros() as usize;
                    bits &= bits - 1;
                    sum += f64::from(std::mem::take(&mut cells[column]));
                    let next = (sum.abs().min(1.0) * 255.0 + 0.5) as u8;
                    if next != coverage {
                        out.push(begin, column, coverage);
                        (begin, coverage) = (column, next);
                    }
                }
            }
            out.push(begin, self.width, coverage);
            if !self.spans.is_empty() {
                sink(self.y + row as i32, &self.spans);
            }
        }
        self.height = 0;
    }
}

struct RowSpans<'a> {
    spans: &'a mut Vec<Span>,
    x: i32,
    crop_left: usize,
}

impl RowSpans<'_> {
    #[inline]
    fn push(&mut self, from: usize, to: usize, coverage: u8) {
        let from = from.max(self.crop_left);
        if from >= to || coverage == 0 {
            return;
        }
        let (x, len) = (self.x + from as i32, (to - from) as i32);
        self.spans.push(Span { x, len, coverage });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const EVERYWHERE: Bounds = Bounds {
        left: -1e9,
        top: -1e9,
        right: 1e9,
        bottom: 1e9,
    };

    fn points(list: &[(f64, f64)]) -> Vec<Point> {
        list.iter().map(|&(x, y)| Point::new(x, y)).collect()
    }

    fn coverage_in(
        raster: &mut Raster,
        contours: &[Vec<Point>],
        clip: Bounds,
        window: Rect,
    ) -> Vec<u8> {
        let mut grid = vec![0u8; window.area() as usize];
        // As the painter does it: the work space starts at the window's left or further right.
        let clip = clip.intersection(&Bounds::from_rect([
            window.x,
            window.y,
            window.width,
            window.height,
        ]));
        raster.begin(clip, window);
        for contour in contours {
            raster.contour(contour.iter().copied());
        }
        raster.finish(|y, spans| {
            let mut end = i32::MIN;
            for s in spans {
                assert!(
                    s.x >= end && s.len > 0 && s.coverage > 0,
                    "spans rise and are not empty"
                );
                end = s.x + s.len;
                for x in s.x..end {
                    assert!(window.contains(x, y));
                    grid[((y - window.y) * window.width + x - window.x) as usize] = s.coverage;
                }
            }
        });
        grid
    }

    fn coverage(contours: &[Vec<Point>], clip: Bounds, width: i32, height: i32) -> Vec<u8> {
        coverage_in(
            &mut Raster::new(),
            contours,
            clip,
            Rect::new(0, 0, width, height),
        )
    }

    /// Sutherland-Hodgman against one side: keeps where `inside` is not negative.
    fn cut(polygon: &[Point], inside: impl Fn(Point) -> f64) -> Vec<Point> {
        let mut out = Vec::new();
        for (k, &b) in polygon.iter().enumerate() {
            let a = polygon[(k + polygon.len() - 1) % polygon.len()];
            let (da, db) = (inside(a), inside(b));
            if (da >= 0.0) != (db >= 0.0) {
                let t = da / (da - db);
                out.push(Point::new(a.x + (b.x - a.x) * t, a.y + (b.y - a.y) * t));
            }
            if db >= 0.0 {
                out.push(b);
            }
        }
        out
    }

    /// The literal method: every polygon cut to every pixel, area by the shoelace formula.
    fn slow_area(contours: &[Vec<Point>], clip: Bounds, x: i32, y: i32) -> f64 {
        let pixel = clip.intersection(&Bounds::from_rect([x, y, 1, 1]));
        if pixel.is_empty() {
            return 0.0;
        }
        let mut sum = 0.0;
        for contour in contours {
            let mut p = cut(contour, |q| q.x - pixel.left);
            p = cut(&p, |q| pixel.right - q.x);
            p = cut(&p, |q| q.y - pixel.top);
            p = cut(&p, |q| pixel.bottom - q.y);
            for (k, b) in p.iter().enumerate() {
                let a = p[(k + p.len() - 1) % p.len()];
                sum += (a.x - x as f64) * (b.y - y as f64) - (b.x - x as f64) * (a.y - y as f64);
            }
        }
        (sum / 2.0).abs().min(1.0)
    }

    fn assert_exact(contours: &[Vec<Point>], clip: Bounds, width: i32, height: i32) {
        let fast = coverage(contours, clip, width, height);
        for y in 0..height {
            for x in 0..width {
                let slow = slow_area(contours, clip, x, y) * 255.0;
                let got = f64::from(fast[(y * width + x) as usize]);
                assert!(
                    (got - slow).abs() <= 0.51,
                    "pixel ({x}, {y}): {got} against {slow}"
                );
            }
        }
    }

    #[test]
    fn whole_pixels_are_opaque_and_halves_are_half() {
        let square = points(&[(1.0, 1.0), (3.5, 1.0), (3.5, 2.5), (1.0, 2.5)]);
        #[rustfmt::skip]
        assert_eq!(coverage(&[square], EVERYWHERE, 5, 4), [
            0,   0,   0,   0, 0,
            0, 255, 255, 128, 0,
            0, 128, 128,  64, 0,
            0,   0,   0,   0, 0,
        ]);
    }

    #[test]
    fn diagonal_halves_the_pixels_it_crosses() {
        let triangle = points(&[(0.0, 0.0), (3.0, 3.0), (0.0, 3.0)]);
        #[rustfmt::skip]
        assert_eq!(coverage(&[triangle], EVERYWHERE, 3, 3), [
            128,   0,   0,
            255, 128,   0,
            255, 255, 128,
        ]);
    }

    #[test]
    fn opposite_contours_cut_holes_and_equal_ones_do_not() {
        let outer = points(&[(0.0, 0.0), (4.0, 0.0), (4.0, 3.0), (0.0, 3.0)]);
        let inner = points(&[(1.0, 1.0), (3.0, 1.0), (3.0, 2.0), (1.0, 2.0)]);
        let hole: Vec<Point> = inner.iter().rev().copied().collect();
        #[rustfmt::skip]
        assert_eq!(coverage(&[outer.clone(), hole], EVERYWHERE, 4, 3), [
            255, 255, 255, 255,
            255,   0,   0, 255,
            255, 255, 255, 255,
        ]);
        assert_eq!(coverage(&[outer, inner], EVERYWHERE, 4, 3), [255; 12]);
    }

    #[test]
    fn thin_lines_keep_their_area() {
        let line = points(&[(1.45, 0.0), (1.55, 0.0), (1.55, 2.0), (1.45, 2.0)]);
        assert_eq!(coverage(&[line], EVERYWHERE, 3, 2), [0, 26, 0, 0, 26, 0]);
        let level = points(&[(0.0, 0.95), (2.0, 0.95), (2.0, 1.05), (0.0, 1.05)]);
        assert_eq!(coverage(&[level], EVERYWHERE, 2, 2), [13, 13, 13, 13]);
    }

    #[test]
    fn the_clip_cuts_pixels() {
        let square = points(&[(-9.0, -9.0), (9.0, -9.0), (9.0, 9.0), (-9.0, 9.0)]);
        let clip = Bounds {
            left: 0.5,
            top: 0.5,
            right: 2.25,
            bottom: 2.0,
        };
        #[rustfmt::skip]
        assert_eq!(coverage(&[square], clip, 4, 3), [
            64, 128,  32, 0,
           128, 255,  64, 0,
             0,   0,   0, 0,
        ]);
    }

    #[test]
    fn tiny_canvases_and_far_outlines_are_fine() {
        let huge = points(&[
            (-1e300, -1e300),
            (1e300, -1e300),
            (1e300, 1e300),
            (-1e300, 1e300),
        ]);
        assert_eq!(coverage(&[huge], EVERYWHERE, 1, 1), [255]);
        for shift in [-1e6, 1e6] {
            for (dx, dy) in [(shift, 0.0), (0.0, shift)] {
                let away = points(&[(dx, dy), (dx + 5.0, dy), (dx + 5.0, dy + 5.0)]);
                assert_eq!(coverage(&[away], EVERYWHERE, 2, 1), [0, 0]);
            }
        }
        let wide = points(&[(-1e8, 0.5), (1e8, 0.5), (1e8, 7.0), (-1e8, 7.0)]);
        assert_eq!(coverage(&[wide], EVERYWHERE, 2, 1), [128, 128]);
    }

    #[test]
    fn degenerate_outlines_draw_nothing_and_bad_points_are_left_out() {
        let nan = f64::NAN;
        for list in [
            &[][..],
            &[(1.0, 1.0)],
            &[(0.0, 0.0), (2.0, 2.0)],
            &[(nan, 0.0), (0.0, nan)],
        ] {
            assert_eq!(coverage(&[points(list)], EVERYWHERE, 2, 2), [0; 4]);
        }
        let square = [
            (0.0, 0.0),
            (2.0, 0.0),
            (nan, 1.0),
            (2.0, 1.0),
            (f64::INFINITY, 1.0),
            (0.0, 1.0),
        ];
        assert_eq!(
            coverage(&[points(&square)], EVERYWHERE, 2, 2),
            [255, 255, 0, 0]
        );
        let empty = Bounds {
            left: nan,
            ..EVERYWHERE
        };
        let mut raster = Raster::new();
        raster.begin(empty, Rect::new(0, 0, 2, 2));
        raster.contour(points(&square));
        raster.finish(|_, _| panic!("a clip that is not a number is empty"));
    }

    /// Summed in single precision, the coverage half way along drifts by 0.02 levels.
    #[test]
    fn very_wide_rows_stay_exact() {
        let bars: Vec<Vec<Point>> = [3.0, 2000.0, 4095.5, 4096.0, 8999.25]
            .map(|x| points(&[(x, 0.0), (x + 0.5, 0.0), (x + 0.5, 1.0), (x, 1.0)]))
            .into();
        assert_exact(&bars, EVERYWHERE, 9001, 1);
        let wide = points(&[(1.5, 0.0), (8999.0, 0.5), (8999.0, 2.0), (1.5, 2.0)]);
        assert_exact(&[wide], EVERYWHERE, 9001, 2);
    }

    #[test]
    fn nearly_level_edge_across_a_wide_row_is_exact() {
        let wedge = points(&[(0.0, 1.0), (300.0, 0.0), (300.0, 3.0), (0.0, 3.0)]);
        assert_exact(&[wedge], EVERYWHERE, 300, 3);
    }

    /// What the brief for the renderer asks to be shown: edge positions read from coverage.
    #[test]
    fn level_edges_have_no_bias_here_and_a_tenth_of_a_pixel_when_sub_sampled() {
        let (mut ours, mut theirs) = (0.0f64, 0.0f64);
        let mut raster = Raster::new();
        for k in 0..64 {
            let bottom = 4.0 + f64::from(k) / 64.0;
            let square = points(&[(0.0, 0.0), (4.0, 0.0), (4.0, bottom), (0.0, bottom)]);
            let grid = coverage_in(&mut raster, &[square], EVERYWHERE, Rect::new(0, 0, 4, 8));
            let read = grid.iter().map(|&c| f64::from(c)).sum::<f64>() / 255.0 / 4.0;
            ours = ours.max((read - bottom).abs());

            let mut map = tiny_skia::Pixmap::new(4, 8).expect("4 x 8 pixels fit");
            // A slanted corner outside the map keeps tiny-skia off its path for plain rectangles.
            let mut path = tiny_skia::PathBuilder::new();
            path.move_to(-2.0, -3.0);
            path.line_to(6.0, -2.0);
            path.line_to(6.0, bottom as f32);
            path.line_to(-2.0, bottom as f32);
            path.close();
            let paint = tiny_skia::Paint {
                anti_alias: true,
                ..tiny_skia::Paint::default()
            };
            let path = path.finish().expect("four points make a path");
            let fill = tiny_skia::FillRule::Winding;
            map.fill_path(&path, &paint, fill, tiny_skia::Transform::identity(), None);
            let read = map
                .pixels()
                .iter()
                .map(|p| f64::from(p.alpha()))
                .sum::<f64>()
                / 255.0
                / 4.0;
            theirs = theirs.max((read - bottom).abs());
        }
        assert!(ours <= 0.5 / 255.0 + 1e-6, "ours: {ours} px");
        assert!((0.08..=0.2).contains(&theirs), "tiny-skia: {theirs} px");
    }

    fn contour() -> impl Strategy<Value = Vec<Point>> {
        let coordinate = prop_oneof![
            -4.0..16.0f64,
            (-8..40i32).prop_map(|k| f64::from(k) / 2.0),
            -1e4..1e4f64
        ];
        prop::collection::vec((coordinate.clone(), coordinate), 0..7)
            .prop_map(|list| list.into_iter().map(|(x, y)| Point::new(x, y)).collect())
    }

    fn clip() -> impl Strategy<Value = Bounds> {
        (-2.0..8.0f64, -2.0..8.0f64, 0.0..14.0f64, 0.0..14.0f64).prop_map(|(left, top, w, h)| {
            Bounds {
                left,
                top,
                right: left + w,
                bottom: top + h,
            }
        })
    }

    proptest! {
        #[test]
        fn coverage_is_the_area_in_the_pixel(
            contours in prop::collection::vec(contour(), 1..3),
            clip in prop_oneof![Just(EVERYWHERE), clip()],
            width in 1..13i32,
            height in 1..11i32,
        ) {
            assert_exact(&contours, clip, width, height);
        }

        #[test]
        fn the_window_changes_no_pixel_and_scratch_space_is_left_clean(
            contours in prop::collection::vec(contour(), 1..3),
            clip in clip(),
            x in 0..8i32, y in 0..8i32, width in 1..9i32, height in 1..9i32,
        ) {
            let mut raster = Raster::new();
            let whole = Rect::new(0, 0, 80, 12);
            let clip = clip.intersection(&Bounds::from_rect([0, 0, 80, 12]));
            let all = coverage_in(&mut raster, &contours, clip, whole);
            let window = Rect::new(x, y, width, height);
            let mut part = vec![0u8; window.area() as usize];
            raster.begin(clip, window);
            contours.iter().for_each(|c| raster.contour(c.iter().copied()));
            raster.finish(|row, spans| for s in spans {
                for column in s.x..s.x + s.len {
                    part[((row - y) * width + column - x) as usize] = s.coverage;
                }
            });
            for row in 0..height.min(12 - y) {
                for column in 0..width {
                    let want = all[((row + y) * 80 + column + x) as usize];
                    prop_assert_eq!(part[(row * width + column) as usize], want);
                }
            }
            prop_assert!(raster.cells.iter().all(|&c| c == 0.0));
            prop_assert!(raster.touched.iter().all(|&w| w == 0));
        }
    }
}
