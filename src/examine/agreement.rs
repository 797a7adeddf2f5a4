//! Agreement: which ink the capture lacks, and which it has beyond the reference.
//!
//! Two rasterisers never give the same bytes, and a codec adds ringing, so equality is not
//! the question. A pixel agrees when its level lies inside the envelope of the other
//! picture's 3 x 3 neighbourhood, widened by a tolerance that grows with the contrast of that
//! neighbourhood; this is asked both ways round. A line that is missing, or one too many, leaves
//! the envelope by its whole contrast, while half a pixel of displacement stays inside. Pixels
//! that leave it count only in company (two neighbours that leave it the same way), so
//! scattered noise adds up to nothing.
//!
//! One line of pixels that is lost stays inside the envelope, since its neighbours above and below are
//! there. So lines are asked by themselves as well ([`super::strokes`]).
//!
//! Looking at every pixel's neighbourhood is too dear for every frame, so a first pass sums
//! squared differences over cells of 8 x 8 pixels and holds them against the gradient
//! energy of the reference; the envelope is asked only in cells where the ratio is suspicious. A
//! displacement of e pixels gives a ratio of about e^2 / `GRADIENT_SHARE`.
//!
//! What it cannot see: changes below the tolerance, displacements below about a pixel (the readings
//! are for these), and strokes of small digits (read cell by cell).

use super::strokes;
use super::view::View;
pub use crate::examine::constants::agreement::CELL;
use crate::examine::constants::agreement::GRADIENT_SHARE;
use crate::picture::Rect;

/// Limits of the test; levels are codes of 8 bits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerance {
    /// Mean squared difference on flat ground that needs no second look.
    pub flat_energy: f32,
    /// Difference beyond the envelope that is allowed on flat ground, levels.
    pub flat: i32,
    /// Additional allowance as a share of the contrast in the neighbourhood.
    pub contrast_share: f32,
}

/// Gradient energy of the reference in cells, kept between frames for what did not change.
#[derive(Clone, Debug, Default)]
pub struct GradientCells {
    columns: usize,
    rows: usize,
    energy: Vec<f32>,
}

impl GradientCells {
    /// Recomputes the cells that `dirty`, relative to the view, touches.
    pub fn update(&mut self, reference: View, dirty: Rect) {
        let (columns, rows) = (
            reference.width().div_ceil(CELL),
            reference.height().div_ceil(CELL),
        );
        let mut area = dirty.grown(1).intersection(&Rect::new(
            0,
            0,
            reference.width() as i32,
            reference.height() as i32,
        ));
        if (columns, rows) != (self.columns, self.rows) {
            self.columns = columns;
            self.rows = rows;
            self.energy.clear();
            self.energy.resize(columns * rows, 0.0);
            area = Rect::new(0, 0, reference.width() as i32, reference.height() as i32);
        }
        if area.is_empty() {
            return;
        }
        let (c0, c1) = (
            area.x as usize / CELL,
            (area.right() as usize).div_ceil(CELL),
        );
        let (r0, r1) = (
            area.y as usize / CELL,
            (area.bottom() as usize).div_ceil(CELL),
        );
        let last = reference.height() - 1;
        for r in r0..r1 {
            let line = &mut self.energy[r * columns + c0..r * columns + c1];
            let height = CELL.min(reference.height() - r * CELL);
            // A band of cells and the line below; the last line of all has itself below.
            let lines: [&[u8]; CELL + 1] =
                std::array::from_fn(|k| reference.row((r * CELL + k).min(last)));
            for (k, sum) in line.iter_mut().enumerate() {
                let x0 = (c0 + k) * CELL;
                let x1 = (x0 + CELL).min(reference.width());
                let found: i32 = if height == CELL && x0 + CELL < reference.width() {
                    inner_gradient_energy(&lines, x0)
                } else {
                    let pairs = lines.windows(2).take(height);
                    pairs
                        .map(|pair| gradient_energy(pair[0], pair[1], x0, x1))
                        .sum()
                };
                *sum = found as f32;
            }
        }
    }
}

/// Sum of the lines of a cell that has a column to its right, each with the line below.
fn inner_gradient_energy(lines: &[&[u8]; CELL + 1], x0: usize) -> i32 {
    // Columns are summed side by side and added up once a cell.
    let mut sums = [0i32; CELL];
    let of_line = |k: usize| -> &[u8; CELL + 1] {
        lines[k][x0..]
            .first_chunk()
            .expect("a column lies to the right")
    };
    let mut here = of_line(0);
    for k in 1..=CELL {
        let below = of_line(k);
        let [cell, aside, down] = [&here[..CELL], &here[1..], &below[..CELL]]
            .map(|part| part.try_into().expect("a cell is 8 wide"));
        add_squares(cell, aside, &mut sums);
        add_squares(cell, down, &mut sums);
        here = below;
    }
    sums.iter().sum()
}

/// The same of a line of a cell at the right edge, whose last column is its own neighbour.
fn gradient_energy(here: &[u8], below: &[u8], x0: usize, x1: usize) -> i32 {
    let square = |a: u8, b: u8| (i32::from(a) - i32::from(b)).pow(2);
    (x0..x1)
        .map(|x| square(here[x], here[(x + 1).min(here.len() - 1)]) + square(here[x], below[x]))
        .sum()
}

/// What disagrees in one plane of a region.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Disagreement {
    /// Pixels whose ink the reference has and the capture lacks.
    pub missing_px: u32,
    /// Pixels whose ink the capture has and the reference lacks.
    pub foreign_px: u32,
    /// The most disagreeing pixels in any window of 2 x 2 cells.
    pub densest_px: u32,
    /// Sum of what the disagreeing pixels differ by beyond what flat ground may, levels.
    pub excess: u64,
    /// The most of that in any window of 2 x 2 cells.
    pub densest_excess: u32,
    /// Bounds of the disagreeing pixels, relative to the view.
    pub bounds: Rect,
}

impl Disagreement {
    /// All disagreeing pixels.
    #[must_use]
    pub const fn px(&self) -> u32 {
        self.missing_px + self.foreign_px
    }
}

/// Scratch of [`compare`]; one per thread or region.
#[derive(Clone, Debug, Default)]
pub struct Scratch {
    /// Cells that have a part outside unchecked areas, and those with their neighbours.
    asked: Vec<bool>,
    near: Vec<bool>,
    energy: Vec<u32>,
    hot: Vec<bool>,
    /// Disagreeing pixels of each cell, and what they differ by beyond what flat ground may, levels.
    counts: Vec<[u32; 2]>,
    /// Sign of what each pixel leaves its envelope by, and which picture's.
    marks: Vec<i8>,
    envelopes: Envelopes,
}

/// Compares `captured` with `reference` outside `unchecked` (rectangles relative to the views).
///
/// `background` says what counts as ink: a pixel of the reference that differs from its
/// surroundings' mean is not needed; missing and foreign are told apart by which picture has
/// more contrast in the neighbourhood. Once a window holds `enough` disagreeing pixels, the rest is not looked at.
///
/// # Panics
/// When the views differ in size, or `gradients` belongs to a view of another size.
pub fn compare(
    captured: View,
    reference: View,
    gradients: &GradientCells,
    tolerance: &Tolerance,
    unchecked: &[Rect],
    enough: u32,
    scratch: &mut Scratch,
) -> Disagreement {
    assert_eq!(
        (captured.width(), captured.height()),
        (reference.width(), reference.height())
    );
    let (columns, rows) = (
        captured.width().div_ceil(CELL),
        captured.height().div_ceil(CELL),
    );
    assert_eq!(
        (columns, rows),
        (gradients.columns, gradients.rows),
        "gradients of the same view"
    );
    mark_asked(columns, rows, reference, unchecked, scratch);
    let Scratch { near, energy, .. } = scratch;
    sum_energy(captured, reference, (columns, rows), near, energy);
    let any_hot = mark_hot(columns, rows, gradients, tolerance, scratch);
    let mut found = Disagreement::default();
    if !any_hot {
        return found;
    }
    scratch.counts.clear();
    scratch.counts.resize(columns * rows, [0; 2]);
    scratch.marks.clear();
    scratch
        .marks
        .resize(captured.width() * captured.height(), 0);
    mark_row(
        captured, reference, 0, columns, tolerance, unchecked, scratch,
    );
    for r in 0..rows {
        // Company of a line of cells reaches into the next.
        if r + 1 < rows {
            mark_row(
                captured,
                reference,
                r + 1,
                columns,
                tolerance,
                unchecked,
                scratch,
            );
        }
        count_company(
            captured, reference, r, columns, tolerance, scratch, &mut found,
        );
        let counts = |r: usize| &scratch.counts[r * columns..][..columns];
        let (here, above) = (counts(r), counts(r.saturating_sub(1)));
        for c in 0..columns {
            let mut window = [0; 2];
            for line in [Some(here), (r > 0).then_some(above)].into_iter().flatten() {
                for cell in &line[c..(c + 2).min(columns)] {
                    window = [window[0] + cell[0], window[1] + cell[1]];
                }
            }
            found.densest_px = found.densest_px.max(window[0]);
            found.densest_excess = found.densest_excess.max(window[1]);
        }
        if found.densest_px >= enough {
            return found;
        }
    }
    // A lost line stays within the envelope: it matters where nothing else disagrees.
    if found.densest_px >= strokes::LOST_PX {
        return found;
    }
    for y in 1..captured.height().saturating_sub(1) {
        let cells = &scratch.hot[y / CELL * columns..][..columns];
        if let Some(gone) = strokes::lost_px(captured, reference, y, cells, unchecked) {
            found.missing_px += gone;
            found.densest_px = found.densest_px.max(gone);
            let pairs = captured.row(y).iter().zip(reference.row(y)).enumerate();
            let far = pairs.filter(|(x, (a, b))| {
                cells[x / CELL] && i32::from(a.abs_diff(**b)) > tolerance.flat
            });
            for (x, _) in far {
                found.bounds = found.bounds.union(&Rect::new(x as i32, y as i32, 1, 1));
            }
        }
    }
    found
}

/// Marks the pixels of a line of cells that leave the other picture's envelope.
fn mark_row(
    captured: View,
    reference: View,
    r: usize,
    columns: usize,
    tolerance: &Tolerance,
    unchecked: &[Rect],
    scratch: &mut Scratch,
) {
    let (marks, envelopes) = (&mut scratch.marks, &mut scratch.envelopes);
    let (y0, y1) = (r * CELL, ((r + 1) * CELL).min(captured.height()));
    for_each_run(&scratch.hot[r * columns..][..columns], |c0, c1| {
        let x = (c0 * CELL, (c1 * CELL).min(captured.width()));
        mark(
            captured,
            reference,
            (x, (y0, y1)),
            tolerance,
            marks,
            envelopes,
        );
    });
    let row = Rect::new(0, y0 as i32, captured.width() as i32, (y1 - y0) as i32);
    for u in unchecked {
        let u = u.intersection(&row);
        for y in u.y..u.bottom() {
            let line = &mut marks[y as usize * captured.width()..];
            line[u.x as usize..u.right() as usize].fill(0);
        }
    }
}

/// Marks the cells that are not wholly in one unchecked area: no other is asked. A cell beside them is looked at as
/// well, since a suspicious one takes its neighbours with it.
fn mark_asked(columns: usize, rows: usize, view: View, unchecked: &[Rect], scratch: &mut Scratch) {
    let Scratch { asked, near, .. } = scratch;
    asked.clear();
    asked.resize(columns * rows, true);
    let (width, height) = (view.width() as i32, view.height() as i32);
    for rect in unchecked {
        let rect = rect.intersection(&Rect::new(0, 0, width, height));
        if rect.is_empty() {
            continue;
        }
        // The last cells are cut off at the edge.
        let end = |v: i32, edge: i32| {
            let v = v as usize;
            if v == edge as usize {
                v.div_ceil(CELL)
            } else {
                v / CELL
            }
        };
        let (c0, c1) = ((rect.x as usize).div_ceil(CELL), end(rect.right(), width));
        let (r0, r1) = ((rect.y as usize).div_ceil(CELL), end(rect.bottom(), height));
        for r in r0..r1 {
            asked[r * columns..][c0.min(c1)..c1].fill(false);
        }
    }
    near.clone_from(asked);
    if unchecked.is_empty() {
        return;
    }
    for r in 0..rows {
        for_each_run(&asked[r * columns..][..columns], |c0, c1| {
            let around = c0.saturating_sub(1)..(c1 + 1).min(columns);
            for r in r.saturating_sub(1)..(r + 2).min(rows) {
                near[r * columns..][around.clone()].fill(true);
            }
        });
    }
}

/// Sum of squared differences of the cells that are `near`; 0 of others.
fn sum_energy(
    captured: View,
    reference: View,
    (columns, rows): (usize, usize),
    near: &[bool],
    energy: &mut Vec<u32>,
) {
    energy.clear();
    energy.resize(columns * rows, 0);
    let full = captured.width() / CELL;
    for (r, line) in energy.chunks_exact_mut(columns.max(1)).enumerate() {
        let band = r * CELL..((r + 1) * CELL).min(captured.height());
        if band.len() == CELL {
            let a: [&[[u8; CELL]]; CELL] =
                std::array::from_fn(|k| captured.row(band.start + k).as_chunks().0);
            let b: [&[[u8; CELL]]; CELL] =
                std::array::from_fn(|k| reference.row(band.start + k).as_chunks().0);
            for_each_run(&near[r * columns..][..full], |c0, c1| {
                for (c, sum) in (c0..c1).zip(&mut line[c0..c1]) {
                    // Columns are summed side by side and only then added up, so that the compiler can
                    // use vector code throughout.
                    let mut sums = [0i32; CELL];
                    for k in 0..CELL {
                        add_squares(&a[k][c], &b[k][c], &mut sums);
                    }
                    *sum = sums.iter().sum::<i32>() as u32;
                }
            });
        } else {
            for y in band.clone() {
                let (a, b) = (
                    captured.row(y).as_chunks().0,
                    reference.row(y).as_chunks().0,
                );
                for (sum, (a, b)) in line.iter_mut().zip(a.iter().zip(b)) {
                    let mut sums = [0i32; CELL];
                    add_squares(a, b, &mut sums);
                    *sum += sums.iter().sum::<i32>() as u32;
                }
            }
        }
        if full < columns {
            for y in band {
                let (a, b) = (captured.row(y), reference.row(y));
                for x in full * CELL..captured.width() {
                    let d = i32::from(a[x]) - i32::from(b[x]);
                    line[full] += (d * d) as u32;
                }
            }
        }
    }
}

fn add_squares(a: &[u8; CELL], b: &[u8; CELL], sums: &mut [i32; CELL]) {
    for k in 0..CELL {
        let d = i16::from(a[k]) - i16::from(b[k]);
        sums[k] += i32::from(d) * i32::from(d);
    }
}

/// Marks the cells that need the envelope; a suspicious cell takes its neighbours with it.
fn mark_hot(
    columns: usize,
    rows: usize,
    gradients: &GradientCells,
    tolerance: &Tolerance,
    scratch: &mut Scratch,
) -> bool {
    let mut any = false;
    scratch.hot.clear();
    scratch.hot.resize(columns * rows, false);
    let flat = tolerance.flat_energy * (CELL * CELL) as f32;
    for k in 0..columns * rows {
        let (energy, gradient) = (scratch.energy[k] as f32, gradients.energy[k]);
        if energy > flat + GRADIENT_SHARE * gradient {
            any = true;
            let (c, r) = (k % columns, k / columns);
            for r in r.saturating_sub(1)..(r + 2).min(rows) {
                for k in r * columns + c.saturating_sub(1)..r * columns + (c + 2).min(columns) {
                    scratch.hot[k] = scratch.asked[k];
                }
            }
        }
    }
    any
}

/// Calls `each` with begin and end of every run of cells that are true.
pub(super) fn for_each_run(cells: &[bool], mut each: impl FnMut(usize, usize)) {
    let mut c = 0;
    while c < cells.len() {
        let begin = c;
        while c < cells.len() && cells[c] {
            c += 1;
        }
        if c > begin {
            each(begin, c);
        }
        c += 1;
    }
}

/// Lowest and highest levels of the 3 x 3 neighbourhoods of a stretch of a line, cut at the view's edge.
#[derive(Clone, Debug, Default)]
struct Envelope {
    low: Vec<u8>,
    high: Vec<u8>,
    /// The same of the three lines alone.
    low_down: Vec<u8>,
    high_down: Vec<u8>,
}

/// Envelopes of both pictures.
#[derive(Clone, Debug, Default)]
struct Envelopes {
    captured: Envelope,
    reference: Envelope,
}

impl Envelope {
    /// Takes columns `x0..x1` of line `y`.
    fn take(&mut self, view: View, (x0, x1): (usize, usize), y: usize) {
        // One column more to each side; at the view's edge it is the outermost once more.
        let (left, right) = (x0.saturating_sub(1), (x1 + 1).min(view.width()));
        let (above, below) = (y.saturating_sub(1), (y + 1).min(view.height() - 1));
        let lines = [above, y, below].map(|y| &view.row(y)[left..right]);
        let (low, high) = (&mut self.low_down, &mut self.high_down);
        let width = x1 - x0 + 2;
        low.resize(width, 0);
        high.resize(width, 0);
        let begin = left + 1 - x0;
        let inside = begin..begin + (right - left);
        for ((low, high), ((a, b), c)) in low[inside.clone()]
            .iter_mut()
            .zip(&mut high[inside.clone()])
            .zip(lines[0].iter().zip(lines[1]).zip(lines[2]))
        {
            *low = (*a).min(*b).min(*c);
            *high = (*a).max(*b).max(*c);
        }
        if begin == 1 {
            (low[0], high[0]) = (low[1], high[1]);
        }
        if inside.end < width {
            (low[width - 1], high[width - 1]) = (low[width - 2], high[width - 2]);
        }
        self.low.resize(x1 - x0, 0);
        self.high.resize(x1 - x0, 0);
        let downs = low.windows(3).zip(high.windows(3));
        for ((low, high), (l, h)) in self.low.iter_mut().zip(&mut self.high).zip(downs) {
            *low = l[0].min(l[1]).min(l[2]);
            *high = h[0].max(h[1]).max(h[2]);
        }
    }
}

/// How far `level` lies outside `low..=high` widened by the tolerance; signed, 0 inside.
fn beyond(level: u8, low: u8, high: u8, tolerance: &Tolerance) -> i32 {
    let (level, low, high) = (i32::from(level), i32::from(low), i32::from(high));
    let allowed = tolerance.flat + ((high - low) as f32 * tolerance.contrast_share) as i32;
    if level > high + allowed {
        level - high - allowed
    } else if level < low - allowed {
        level - low + allowed
    } else {
        0
    }
}

const FOREIGN: i8 = 1;
const MISSING: i8 = 2;

/// Marks the pixels of a stretch of lines that leave the other picture's envelope.
fn mark(
    captured: View,
    reference: View,
    ((x0, x1), (y0, y1)): ((usize, usize), (usize, usize)),
    tolerance: &Tolerance,
    marks: &mut [i8],
    envelopes: &mut Envelopes,
) {
    let flat = tolerance.flat.clamp(0, 255) as u8;
    let differs = |(a, b): (&u8, &u8)| a.abs_diff(*b) > flat;
    for y in y0..y1 {
        let (cap, refe) = (&captured.row(y)[x0..x1], &reference.row(y)[x0..x1]);
        // Nearly all lines are decided here.
        if !cap.iter().zip(refe).fold(false, |any, p| any | differs(p)) {
            continue;
        }
        envelopes.captured.take(captured, (x0, x1), y);
        envelopes.reference.take(reference, (x0, x1), y);
        let (c, r) = (&envelopes.captured, &envelopes.reference);
        let line = &mut marks[y * captured.width()..][x0..x1];
        for (k, mark) in line.iter_mut().enumerate() {
            let (a, b) = (cap[k], refe[k]);
            if !differs((&a, &b)) {
                continue;
            }
            let foreign = beyond(a, r.low[k], r.high[k], tolerance);
            let missing = beyond(b, c.low[k], c.high[k], tolerance);
            if foreign == 0 && missing == 0 {
                continue;
            }
            // Both can hold (a shifted line): the larger step out of the envelope names it. The sign
            // tells neighbours apart that leave it in opposite directions.
            let (kind, step) = if foreign.abs() >= missing.abs() {
                (FOREIGN, foreign)
            } else {
                (MISSING, missing)
            };
            *mark = if step > 0 { kind } else { -kind };
        }
    }
}

fn is_unmarked(marks: &[i8]) -> bool {
    match <&[i8; CELL]>::try_from(marks) {
        Ok(whole) => *whole == [0; CELL],
        Err(_) => marks.iter().all(|m| *m == 0),
    }
}

/// Counts marked pixels of a line of cells that have at least two marked neighbours.
fn count_company(
    captured: View,
    reference: View,
    r: usize,
    columns: usize,
    tolerance: &Tolerance,
    scratch: &mut Scratch,
    found: &mut Disagreement,
) {
    let (width, height) = (captured.width(), captured.height());
    let mut bounds = found.bounds;
    for c in 0..columns {
        let k = r * columns + c;
        if !scratch.hot[k] {
            continue;
        }
        for y in r * CELL..((r + 1) * CELL).min(height) {
            let columns = c * CELL..((c + 1) * CELL).min(width);
            if is_unmarked(&scratch.marks[y * width..][columns.clone()]) {
                continue;
            }
            for x in columns {
                let mark = scratch.marks[y * width + x];
                if mark == 0 {
                    continue;
                }
                let mut company = 0;
                for yy in y.saturating_sub(1)..(y + 2).min(height) {
                    for xx in x.saturating_sub(1)..(x + 2).min(width) {
                        company += u32::from(scratch.marks[yy * width + xx] != 0);
                    }
                }
                // The pixel itself is one of them.
                if company < 3 {
                    continue;
                }
                let difference = i32::from(captured.at(x, y).abs_diff(reference.at(x, y)));
                let excess = (difference - tolerance.flat).max(0) as u32;
                scratch.counts[k][0] += 1;
                scratch.counts[k][1] += excess;
                if mark.abs() == FOREIGN {
                    found.foreign_px += 1;
                } else {
                    found.missing_px += 1;
                }
                found.excess += u64::from(excess);
                bounds = bounds.union(&Rect::new(x as i32, y as i32, 1, 1));
            }
        }
    }
    found.bounds = bounds;
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::examine::strokes::tests::{strokes, strokes_half_aside};
    use crate::picture::Plane;
    use proptest::prelude::*;

    const LUMA: Tolerance = Tolerance {
        flat_energy: 30.0,
        flat: 24,
        contrast_share: 0.25,
    };

    fn compared(captured: &Plane, reference: &Plane) -> Disagreement {
        let mut gradients = GradientCells::default();
        gradients.update(View::whole(reference), Rect::default());
        compare(
            View::whole(captured),
            View::whole(reference),
            &gradients,
            &LUMA,
            &[],
            u32::MAX,
            &mut Scratch::default(),
        )
    }

    /// A vertical line two pixels wide at column `x`, from row 4 to row 28.
    fn with_line(x: usize) -> Plane {
        let mut plane = Plane::filled(40, 32, 20);
        for y in 4..28 {
            plane.row_mut(y)[x..x + 2].fill(220);
        }
        plane
    }

    #[test]
    fn energy_is_the_sum_of_squares_of_each_cell() {
        for (width, height) in [(8, 8), (19, 21), (5, 3), (32, 17)] {
            let level = |k: usize, f: usize| (k * f * k % 251) as u8;
            let of = |f: usize| {
                let levels = (0..width * height).map(|k| level(k, f)).collect();
                Plane::from_levels(width, height, levels)
            };
            let (a, b) = (of(7), of(13));
            let (columns, rows) = (width.div_ceil(CELL), height.div_ceil(CELL));
            let mut expected = vec![0u32; columns * rows];
            for y in 0..height {
                for x in 0..width {
                    let d = u32::from(a.at(x, y).abs_diff(b.at(x, y)));
                    expected[y / CELL * columns + x / CELL] += d * d;
                }
            }
            let mut energy = Vec::new();
            let (near, cells) = (vec![true; columns * rows], (columns, rows));
            sum_energy(View::whole(&a), View::whole(&b), cells, &near, &mut energy);
            assert_eq!(energy, expected, "{width} x {height}");
        }
    }

    #[test]
    fn a_picture_agrees_with_itself() {
        assert_eq!(
            compared(&with_line(12), &with_line(12)),
            Disagreement::default()
        );
    }

    #[test]
    fn one_pixel_aside_agrees_and_three_do_not() {
        assert_eq!(compared(&with_line(13), &with_line(12)).px(), 0);
        assert!(compared(&with_line(15), &with_line(12)).densest_px > 20);
    }

    #[test]
    fn a_missing_line_is_missing_and_an_extra_line_is_foreign() {
        let empty = Plane::filled(40, 32, 20);
        let missing = compared(&empty, &with_line(12));
        assert!(
            missing.missing_px >= 40 && missing.foreign_px == 0,
            "{missing:?}"
        );
        assert_eq!(missing.bounds, Rect::new(12, 4, 2, 24));
        let foreign = compared(&with_line(12), &empty);
        assert!(
            foreign.foreign_px >= 40 && foreign.missing_px == 0,
            "{foreign:?}"
        );
    }

    #[test]
    fn scattered_pixels_add_up_to_nothing() {
        let mut noisy = Plane::filled(40, 32, 20);
        for y in (1..32).step_by(4) {
            for x in (1..40).step_by(4) {
                noisy.row_mut(y)[x] = 200;
            }
        }
        assert_eq!(compared(&noisy, &Plane::filled(40, 32, 20)).px(), 0);
    }

    #[test]
    fn nothing_is_asked_of_unchecked_areas() {
        let empty = Plane::filled(40, 32, 20);
        let reference = with_line(12);
        let mut gradients = GradientCells::default();
        gradients.update(View::whole(&reference), Rect::default());
        let found = compare(
            View::whole(&empty),
            View::whole(&reference),
            &gradients,
            &LUMA,
            &[Rect::new(10, 0, 8, 32)],
            u32::MAX,
            &mut Scratch::default(),
        );
        assert_eq!(found.px(), 0);
    }

    #[test]
    fn one_lost_line_across_strokes_is_missing() {
        let mut lost = strokes();
        lost.row_mut(15).fill(20);
        let found = compared(&lost, &strokes());
        assert_eq!((found.missing_px, found.foreign_px), (16, 0), "{found:?}");
        assert_eq!(found.bounds, Rect::new(3, 15, 58, 1));
    }

    #[test]
    fn half_a_pixel_aside_is_no_lost_line() {
        assert_eq!(compared(&strokes_half_aside(), &strokes()).px(), 0);
    }

    /// Lowest and highest level of the 3 x 3 neighbourhood, cut at the view's edge.
    fn neighbourhood(view: View, x: usize, y: usize) -> (u8, u8) {
        let columns = x.saturating_sub(1)..(x + 2).min(view.width());
        let lines = y.saturating_sub(1)..(y + 2).min(view.height());
        let levels = lines.flat_map(|y| view.row(y)[columns.clone()].iter());
        levels.fold((255, 0), |(low, high), v| (low.min(*v), high.max(*v)))
    }

    proptest! {
        #[test]
        fn envelopes_are_those_of_the_neighbourhood(
            (width, height) in (1usize..24, 1usize..6),
            levels in proptest::collection::vec(any::<u8>(), 24 * 6),
            ends in (0usize..24, 0usize..24),
        ) {
            let plane = Plane::from_levels(width, height, levels[..width * height].to_vec());
            let view = View::whole(&plane);
            let (x0, x1) = (ends.0.min(ends.1) % width, (ends.0.max(ends.1) % width) + 1);
            prop_assume!(x0 < x1);
            let mut envelope = Envelope::default();
            for y in 0..height {
                envelope.take(view, (x0, x1), y);
                for x in x0..x1 {
                    let found = (envelope.low[x - x0], envelope.high[x - x0]);
                    prop_assert_eq!(found, neighbourhood(view, x, y));
                }
            }
        }

        #[test]
        fn who_stops_early_says_the_same(
            (x, y, side) in (0usize..60, 0usize..50, 1usize..9),
            level in any::<u8>(),
            unchecked in (0i32..60, 0i32..50, 0i32..20),
        ) {
            let reference = strokes();
            let mut captured = strokes();
            for y in y.min(31)..(y + side).min(32) {
                captured.row_mut(y)[x..(x + side).min(64)].fill(level);
            }
            let mut gradients = GradientCells::default();
            let (a, b) = (View::whole(&captured), View::whole(&reference));
            gradients.update(b, Rect::default());
            let unchecked = [Rect::new(unchecked.0, unchecked.1, unchecked.2, unchecked.2)];
            let densest = |enough: u32| {
                let mut scratch = Scratch::default();
                compare(a, b, &gradients, &LUMA, &unchecked, enough, &mut scratch).densest_px
            };
            prop_assert_eq!(densest(6) >= 6, densest(u32::MAX) >= 6);
        }
    }
}
