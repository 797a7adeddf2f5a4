//! Which characters of a region are wrong, found cell by cell ([`super::cells`]).

use std::collections::BTreeMap;

use super::cells::{
    CERTAIN, Held, LEAST_MATCH, MARGIN, alternatives, best_correlation, correlation,
};
use super::comparison::ChainLook;
use super::subject::Subject;
use super::view::View;
use crate::examine::constants::words::{
    LEAST_CAP_PX, MATCHED_A_FRAME, MOST_MATCHED, MOST_SUSPECTS,
};
use crate::picture::{Point, Rect, Rgb};
use crate::reference::canvas::Canvas;
use crate::reference::painter::Painter;
use crate::reference::placement::cells;
use crate::reference::resample::draw_seen;
use crate::reference::scene::{Bounds, Scene, Shape, Words};

/// One character of the reference.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cell {
    /// The character that is due.
    pub due: char,
    /// Its box, relative to the region, a pixel larger than the ink.
    pub rect: Rect,
    /// Its line, for drawing other characters in its place.
    pub words: Words,
    /// Left end of its base line, display px.
    pub origin: Point,
}

/// A character that is not the one that is due.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WrongCell {
    /// The character that is due.
    pub due: char,
    /// The character that is shown.
    pub shown: char,
    /// How much better the shown one matches.
    pub margin: f32,
    /// Its box, relative to the region.
    pub rect: Rect,
}

/// Checks the characters of one region.
#[derive(Clone)]
pub struct WordChecker<'d> {
    subject: Subject<'d>,
    chain: ChainLook,
    area: Rect,
    cells: Vec<Cell>,
    fixed_cells: usize,
    turn: usize,
    suspects: Vec<(i32, i32)>,
    scene: Scene,
    matched: Matched,
}

/// What cells were found to show, by the pixels that they were told from: most of a coded picture stands still.
#[derive(Clone, Default)]
struct Matched {
    found: BTreeMap<Vec<u8>, Option<WrongCell>>,
    key: Vec<u8>,
}

impl Matched {
    /// Makes `cell` of these pictures the one that is asked for; false where a part of it lies outside them.
    fn ask_for(&mut self, captured: View, reference: View, cell: &Cell) -> bool {
        let area = cell.rect.grown(1);
        self.key.clear();
        for view in [captured, reference] {
            let window = view.crop(area);
            if (window.width() as i32, window.height() as i32) != (area.width, area.height) {
                return false;
            }
            for y in 0..window.height() {
                self.key.extend_from_slice(window.row(y));
            }
        }
        let (origin, words) = (cell.origin, &cell.words);
        let numbers = [
            origin.x,
            origin.y,
            words.size,
            words.direction.0,
            words.direction.1,
        ];
        let places = [area.x, area.y, area.width, area.height].map(i32::to_ne_bytes);
        self.key
            .extend(numbers.iter().flat_map(|v| v.to_ne_bytes()));
        self.key.extend_from_slice(places.as_flattened());
        self.key.extend_from_slice(&words.font.0.to_ne_bytes());
        self.key
            .extend_from_slice(&u32::from(cell.due).to_ne_bytes());
        true
    }

    fn found(&self) -> Option<Option<WrongCell>> {
        self.found.get(&self.key).copied()
    }

    fn keep(&mut self, found: Option<WrongCell>) {
        if self.found.len() >= MOST_MATCHED {
            self.found.clear();
        }
        self.found.insert(std::mem::take(&mut self.key), found);
    }
}

impl<'d> WordChecker<'d> {
    /// For region pixels `area` with the static artwork `fixed`.
    pub fn new(subject: Subject<'d>, chain: &ChainLook, area: Rect, fixed: &Scene) -> Self {
        let mut checker = Self {
            subject,
            chain: chain.clone(),
            area,
            cells: Vec::new(),
            fixed_cells: 0,
            turn: 0,
            suspects: Vec::new(),
            scene: Scene::default(),
            matched: Matched::default(),
        };
        checker.add(fixed);
        checker.fixed_cells = checker.cells.len();
        checker
    }

    fn add(&mut self, scene: &Scene) {
        let whole = Rect::new(0, 0, self.area.width, self.area.height);
        for item in scene.items() {
            let Shape::Words(w) = item.shape else {
                continue;
            };
            let face = self.subject.definition().face(w.font);
            let cap = face.cap_height * w.size;
            if cap < LEAST_CAP_PX {
                continue;
            }
            let g = &self.chain.look.geometry;
            let (c, s) = w.direction;
            for (due, origin, advance) in cells(scene, &w, face, &self.chain.look.text) {
                if alternatives(due).is_empty() {
                    continue;
                }
                let (mut left, mut top, mut right, mut bottom) =
                    (f64::MAX, f64::MAX, f64::MIN, f64::MIN);
                for (a, d) in [(0.0, 0.0), (advance, 0.0), (0.0, -cap), (advance, -cap)] {
                    let corner = Point::new(origin.x + a * c - d * s, origin.y + a * s + d * c);
                    let Point { x, y } = g.map(corner);
                    (left, right) = (left.min(x), right.max(x));
                    (top, bottom) = (top.min(y), bottom.max(y));
                }
                let x0 = libm::floor(left) as i32 - self.area.x;
                let y0 = libm::floor(top) as i32 - 1 - self.area.y;
                let x1 = libm::ceil(right) as i32 - self.area.x;
                let y1 = libm::ceil(bottom) as i32 + 1 - self.area.y;
                let rect = Rect::new(x0, y0, x1 - x0, y1 - y0);
                // Cut cells (labels that leave the scale) are judged by their ink alone.
                let seen = item.clip.map_or(whole, |b| {
                    whole.intersection(&local(b, &self.chain, self.area))
                });
                if !rect.is_empty() && rect.intersection(&seen) == rect {
                    self.cells.push(Cell {
                        due,
                        rect,
                        words: w,
                        origin,
                    });
                }
            }
        }
    }

    /// Whether no character of `captured` is found to be another than that of the reference, which shows `moving` besides
    /// the static artwork. With `all`, every doubtful cell is matched; otherwise those that were wrong and some in turn.
    pub fn are_likely_right(
        &mut self,
        captured: View,
        reference: View,
        moving: &Scene,
        all: bool,
        painter: &mut Painter,
    ) -> bool {
        let doubtful = self.doubtful(captured, reference, moving);
        let suspects = std::mem::take(&mut self.suspects);
        if doubtful.is_empty() {
            return true;
        }
        let position = |c: &Cell| (c.rect.x, c.rect.y);
        let is_suspect = |c: &Cell| {
            let (x, y) = position(c);
            suspects
                .iter()
                .any(|(sx, sy)| (sx - x).abs() <= 3 && (sy - y).abs() <= 3)
        };
        let mut chosen: Vec<usize> = doubtful
            .iter()
            .copied()
            .filter(|k| is_suspect(&self.cells[*k]))
            .take(MOST_SUSPECTS)
            .collect();
        self.turn = self.turn.wrapping_add(MATCHED_A_FRAME);
        let count = if all {
            doubtful.len()
        } else {
            MATCHED_A_FRAME.min(doubtful.len())
        };
        for k in 0..count {
            let next = doubtful[(self.turn + k) % doubtful.len()];
            if !chosen.contains(&next) {
                chosen.push(next);
            }
        }
        for k in chosen {
            let cell = self.cells[k];
            if self
                .match_cell(captured, reference, &cell, painter)
                .is_some()
            {
                self.suspects.push(position(&cell));
            }
        }
        self.suspects.is_empty()
    }

    /// Characters of these `lines` in `captured` that are not those of the reference, which shows `moving` besides the static
    /// artwork.
    pub fn wrong_in(
        &mut self,
        lines: &[Words],
        captured: View,
        reference: View,
        moving: &Scene,
        painter: &mut Painter,
    ) -> Vec<WrongCell> {
        if lines.is_empty() {
            return Vec::new();
        }
        let doubtful = self.doubtful(captured, reference, moving);
        let mut wrong = Vec::new();
        for k in doubtful {
            let cell = self.cells[k];
            if lines.contains(&cell.words) {
                wrong.extend(self.match_cell(captured, reference, &cell, painter));
            }
        }
        wrong
    }

    /// Whether all characters of `captured` are those of the reference, which shows `moving` besides the static artwork.
    pub fn are_right(
        &mut self,
        captured: View,
        reference: View,
        moving: &Scene,
        painter: &mut Painter,
    ) -> bool {
        let doubtful = self.doubtful(captured, reference, moving);
        doubtful.into_iter().all(|k| {
            let cell = self.cells[k];
            self.match_cell(captured, reference, &cell, painter)
                .is_none()
        })
    }

    /// Takes over what moves, and returns the cells that may show something else.
    fn doubtful(&mut self, captured: View, reference: View, moving: &Scene) -> Vec<usize> {
        self.cells.truncate(self.fixed_cells);
        self.add(moving);
        let is_doubtful = |c: &Cell| correlation(captured, reference, c.rect, 0, 0) < CERTAIN;
        let cells = self.cells.iter().enumerate();
        let doubtful = cells.filter(|(_, c)| is_doubtful(c));
        doubtful.map(|(k, _)| k).collect()
    }

    /// Matches a cell with every character that could stand there.
    fn match_cell(
        &mut self,
        captured: View,
        reference: View,
        cell: &Cell,
        painter: &mut Painter,
    ) -> Option<WrongCell> {
        if !self.matched.ask_for(captured, reference, cell) {
            return None;
        }
        if let Some(found) = self.matched.found() {
            return found;
        }
        let found = self.match_anew(captured, reference, cell, painter);
        self.matched.keep(found);
        found
    }

    fn match_anew(
        &mut self,
        captured: View,
        reference: View,
        cell: &Cell,
        painter: &mut Painter,
    ) -> Option<WrongCell> {
        let as_due = best_correlation(captured, reference, cell.rect, 1);
        if as_due >= CERTAIN {
            return None;
        }
        let (mut shown, mut best) = (cell.due, as_due);
        let area = cell.rect.grown(1);
        let absolute = area.moved(self.area.x, self.area.y);
        let mut canvas = Canvas::new(absolute, 1, self.chain.look.levels(Rgb([0, 0, 0])));
        let mut held = Held::new(captured.crop(area));
        let due_alone = self.drawn_match(cell, cell.due, &mut canvas, &mut held, painter);
        // Scene and single character differ where something else crosses the cell: no judgement then.
        if (due_alone - as_due).abs() > 0.25 {
            return None;
        }
        let as_due = as_due.max(due_alone);
        best = best.max(as_due);
        for c in alternatives(cell.due).chars().filter(|c| *c != cell.due) {
            let r = self.drawn_match(cell, c, &mut canvas, &mut held, painter);
            if r > best {
                (shown, best) = (c, r);
            }
        }
        (shown != cell.due && best > LEAST_MATCH && best - as_due > MARGIN).then_some(WrongCell {
            due: cell.due,
            shown,
            margin: best - as_due,
            rect: cell.rect,
        })
    }

    /// How well `c`, alone in the cell, matches; signed contrast does not matter.
    fn drawn_match(
        &mut self,
        cell: &Cell,
        c: char,
        canvas: &mut Canvas,
        held: &mut Held,
        painter: &mut Painter,
    ) -> f32 {
        self.scene.clear();
        let mut text = [0; 4];
        let face = self.subject.definition().face(cell.words.font);
        let w = cell.words;
        // A narrower or wider character stands where the due one begins in a line of equal advances.
        let advance = face.advance(c) * w.size;
        self.scene.words_at(
            Rgb([255, 255, 255]),
            w.font,
            w.size,
            cell.origin,
            w.direction,
            advance,
            c.encode_utf8(&mut text),
        );
        let look = &self.chain.look;
        draw_seen(
            painter,
            &self.scene,
            self.subject.definition().fonts(),
            look,
            canvas,
            look.levels(Rgb([0, 0, 0])),
        );
        held.match_with(View::whole(&canvas.planes()[0]))
    }
}

/// Clip bounds as pixels relative to the region, inwards.
fn local(b: Bounds, chain: &ChainLook, area: Rect) -> Rect {
    let seen = chain.look.geometry.map_bounds(&b);
    let x0 = libm::floor(seen.left + 0.01) as i32 - area.x;
    let y0 = libm::floor(seen.top + 0.01) as i32 - area.y;
    let x1 = libm::ceil(seen.right - 0.01) as i32 - area.x;
    let y1 = libm::ceil(seen.bottom - 0.01) as i32 - area.y;
    Rect::new(x0, y0, x1 - x0, y1 - y0)
}
