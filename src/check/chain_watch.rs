//! Is the capture chain still the one that was measured?
//!
//! A chain that changes on the way makes every verdict worthless, and is no fault of the display. Two signs are
//! looked for: nearly all regions disagree, and one shift or one rule for colours explains the whole picture; or
//! the colours are those of another matrix or range, which may stay within the tolerance of every region, and
//! which nothing on a display does by chance.

use crate::capture::CapturedFrame;
use crate::definition::Definition;
use crate::examine::calibrate::between;
use crate::examine::comparison::{ChainLook, Comparison};
use crate::examine::register::{self, ColorFit, FrameReference};
use crate::examine::subject::Subject;
use crate::picture::{Encoding, Matrix, Range};
use crate::recording::inputs::Inputs;
use crate::reference::canvas::ColorMap;
use crate::reference::painter::Painter;

use super::Error;
use super::stretch::{CHAIN_LEVELS, CHAIN_SHIFT_PX};

/// Frames in a row in which nearly all regions disagree, after which the chain is looked at.
const SUSPECT_FRAMES: u32 = 8;
/// Share of regions with ink that make it nearly all.
const SUSPECT_SHARE: f64 = 0.7;
/// Time between looks at the colours of the whole picture while all is well, s.
const LOOK_EVERY_S: f64 = 0.5;
/// The same while regions disagree, s.
const LOOK_WHEN_WRONG_S: f64 = 0.2;
/// Regions that must disagree for that.
const WRONG_REGIONS: usize = 3;
/// Colours of the picture count for a known change where it moves a level by so much. BT.709 sky and earth read
/// with the matrix of BT.601 move by 1.5 to 3.
const MOVED_LEVELS: f64 = 1.5;
/// One colour alone is enough where it moves by so much.
const FAR_LEVELS: f64 = 6.0;
/// Share of a colour's samples that must have moved: all of them did, but noise hides a small step of half of them.
const MOVED_SHARE: f64 = 0.3;
/// Levels that make two colours of the reference different ones.
const ANOTHER_COLOR_LEVELS: f64 = 16.0;
/// Fewest samples of a colour.
const LEAST_SAMPLES: f64 = 50.0;
/// Share of the squared differences that an explanation may leave, of all colours and of each.
const LEFT_SHARE: f64 = 0.3;
const LEFT_OF_EACH: f64 = 0.6;
/// Frames in a row that one known change must explain.
const SURE_FRAMES: u32 = 4;

/// A change of colours that chains are known to make, as a map of levels.
#[derive(Clone, Debug, PartialEq)]
struct KnownChange {
    words: String,
    map: ColorMap,
}

/// A picture and what is known of it.
pub(super) struct Sight<'a> {
    /// What the display shows.
    pub subject: Subject<'a>,
    /// The chain as it was measured.
    pub chain: &'a ChainLook,
    /// The inputs that are due.
    pub inputs: &'a Inputs,
    /// The frame.
    pub frame: &'a CapturedFrame,
}

/// What regions said of a frame, of those that have ink.
#[derive(Clone, Copy)]
pub(super) struct Told {
    /// All of them.
    pub with_ink: usize,
    /// Show a readable picture that nothing explains.
    pub wrong: usize,
    /// Are blank.
    pub blank: usize,
}

/// Watches the chain, frame after frame.
#[derive(Clone)]
pub(super) struct ChainWatch {
    known: Vec<KnownChange>,
    /// Most regions have agreed once: what never did was not changed.
    has_agreed: bool,
    suspect: u32,
    looked_s: f64,
    /// Index of the known change that explains the last frames, and in how many.
    explained: Option<(usize, u32)>,
}

impl ChainWatch {
    /// For a chain that delivers `encoding`.
    pub fn new(encoding: Encoding) -> Self {
        Self {
            known: known_changes(encoding),
            has_agreed: false,
            suspect: 0,
            looked_s: f64::NEG_INFINITY,
            explained: None,
        }
    }

    /// Looks at the whole of the next frame, where nearly all regions disagree.
    ///
    /// # Errors
    /// [`Error::Chain`] when the chain has changed.
    pub fn watch(&mut self, sight: &Sight, told: Told, painter: &mut Painter) -> Result<(), Error> {
        let is_suspect =
            told.with_ink >= 2 && told.wrong as f64 >= SUSPECT_SHARE * told.with_ink as f64;
        self.has_agreed |= told.with_ink >= 2 && 2 * (told.wrong + told.blank) < told.with_ink;
        self.suspect = if is_suspect { self.suspect + 1 } else { 0 };
        if self.has_agreed && self.suspect == SUSPECT_FRAMES {
            look_at_all(sight, painter)?;
        }
        Ok(())
    }

    /// Whether the colours of the frame at `time_s` are to be looked at.
    pub fn wants_colors(&mut self, told: Told, time_s: f64) -> bool {
        let every_s = if told.wrong >= WRONG_REGIONS {
            LOOK_WHEN_WRONG_S
        } else {
            LOOK_EVERY_S
        };
        // A black picture has dark areas as much darker as another range would make them.
        if told.blank > 0 || !self.has_agreed {
            self.explained = None;
            return false;
        }
        let wants = self.explained.is_some() || time_s - self.looked_s >= every_s;
        if wants {
            self.looked_s = time_s;
        }
        wants
    }

    /// Looks at the colours of a frame in `regions`, whose references are drawn for it.
    ///
    /// # Errors
    /// [`Error::Chain`] when they are those of another chain.
    pub fn look_at_colors<'c, 'd: 'c>(
        &mut self,
        frame: &CapturedFrame,
        regions: impl Iterator<Item = &'c Comparison<'d>>,
    ) -> Result<(), Error> {
        let mut shades = Shades::default();
        for region in regions {
            register::flat_samples(
                region.captured(&frame.picture),
                region.reference(),
                frame.picture.subsampling(),
                region.unchecked(),
                |clean, shown| shades.add(clean, shown),
            );
        }
        let left: Vec<f64> = self.known.iter().map(|c| shades.left(&c.map)).collect();
        let found = (0..left.len())
            .filter(|k| left[*k] < LEFT_SHARE)
            .min_by(|a, b| left[*a].total_cmp(&left[*b]));
        self.explained = match (found, self.explained) {
            (Some(k), Some((before, count))) if k == before => Some((k, count + 1)),
            (Some(k), _) => Some((k, 1)),
            (None, _) => None,
        };
        match self.explained {
            Some((k, SURE_FRAMES)) => {
                let first = frame.index + 1 - u64::from(SURE_FRAMES);
                Err(Error::Chain(format!(
                    "the capture chain changed at frame {first} or within half a second before: {}; frames from there on are not judged",
                    self.known[k].words
                )))
            }
            _ => Ok(()),
        }
    }
}

/// Flat samples of one colour of the reference, as they are shown.
struct Shade {
    clean: [f64; 3],
    count: f64,
    /// Sums of shown minus clean, by plane.
    sum: [f64; 3],
    /// How often shown minus clean was each number of levels, by plane.
    steps: Vec<[u32; STEPS]>,
}

/// Steps of levels there are: -255 to 255.
const STEPS: usize = 511;

impl Shade {
    fn new(clean: [f64; 3]) -> Self {
        Self {
            clean,
            count: 0.0,
            sum: [0.0; 3],
            steps: vec![[0; STEPS]; 3],
        }
    }

    fn add(&mut self, shown: [f64; 3]) {
        self.count += 1.0;
        for (k, shown) in shown.into_iter().enumerate() {
            let step = shown - self.clean[k];
            self.sum[k] += step;
            let place = libm::round(step) as i32 + 255;
            self.steps[k][place.clamp(0, STEPS as i32 - 1) as usize] += 1;
        }
    }

    /// Share of the samples that are nearer to a level `moved` away in plane `k` than to where they belong. Lines that
    /// are lost move the mean of all, but few of the samples.
    fn share_moved(&self, k: usize, moved: f64) -> f64 {
        let is_nearer = |step: f64| (step - moved).abs() < step.abs();
        let steps = (-255i32..=255).zip(&self.steps[k]);
        let nearer: u32 = steps
            .filter(|(step, _)| is_nearer(f64::from(*step)))
            .map(|(_, n)| *n)
            .sum();
        f64::from(nearer) / self.count
    }
}

/// The colours of a picture.
#[derive(Default)]
struct Shades(Vec<Shade>);

impl Shades {
    fn add(&mut self, clean: [f64; 3], shown: [f64; 3]) {
        // Neighbours have the same colour nearly always, so the colour met last is looked at first.
        let at = self.0.iter().rposition(|s| s.clean == clean);
        let at = at.unwrap_or_else(|| {
            self.0.push(Shade::new(clean));
            self.0.len() - 1
        });
        let last = self.0.len() - 1;
        self.0.swap(at, last);
        self.0[last].add(shown);
    }

    /// Share of the differences, squared, that `change` leaves in the colours that it moves, by their means: codecs
    /// and noise average out. 1 when it cannot be told from a wrong colour of one thing: every colour
    /// must go along, and there must be two of them, or one that moves far.
    fn left(&self, change: &ColorMap) -> f64 {
        let (mut before, mut after) = (0.0, 0.0);
        let mut first: Option<[f64; 3]> = None;
        let mut is_plain = false;
        for shade in self.0.iter().filter(|s| s.count >= LEAST_SAMPLES) {
            let mapped = change.map(shade.clean);
            let moved = [0, 1, 2].map(|k| mapped[k] - shade.clean[k]);
            let plane = (0..3).max_by(|a, b| moved[*a].abs().total_cmp(&moved[*b].abs()));
            let plane = plane.unwrap_or(0);
            let farthest = moved[plane].abs();
            if farthest < MOVED_LEVELS {
                continue;
            }
            if shade.share_moved(plane, moved[plane]) < MOVED_SHARE {
                return 1.0;
            }
            let shown = shade.sum.map(|s| s / shade.count);
            let squares: f64 = shown.iter().map(|d| d * d).sum();
            let left: f64 = (0..3).map(|k| (shown[k] - moved[k]).powi(2)).sum();
            if left >= LEFT_OF_EACH * squares {
                return 1.0;
            }
            before += shade.count * squares;
            after += shade.count * left;
            let is_another = first.is_some_and(|f| {
                (0..3).any(|k| (f[k] - shade.clean[k]).abs() >= ANOTHER_COLOR_LEVELS)
            });
            first.get_or_insert(shade.clean);
            is_plain |= is_another || farthest >= FAR_LEVELS;
        }
        if is_plain { after / before } else { 1.0 }
    }
}

/// Nearly all regions disagree: is the whole picture displaced, or are its colours changed by one rule?
fn look_at_all(sight: &Sight, painter: &mut Painter) -> Result<(), Error> {
    let definition: &Definition = sight.subject.definition();
    let picture = &sight.frame.picture;
    let look = sight.chain.look;
    let found = register::register(
        sight.subject,
        sight.inputs,
        &look,
        (sight.chain.subsampling, sight.chain.siting),
        picture,
        painter,
    );
    let first = sight.frame.index + 1 - u64::from(SUSPECT_FRAMES);
    let Some(found) = found else { return Ok(()) };
    let (g, h) = (found.geometry, look.geometry);
    let size = (picture.width() as f64, picture.height() as f64);
    let moved_x = [g.x(0.0) - h.x(0.0), g.x(size.0) - h.x(size.0)];
    let moved_y = [g.y(0.0) - h.y(0.0), g.y(size.1) - h.y(size.1)];
    let most = |moved: [f64; 2]| moved[0].abs().max(moved[1].abs());
    if most(moved_x).max(most(moved_y)) > CHAIN_SHIFT_PX {
        return Err(Error::Chain(format!(
            "the capture chain changed at frame {first}: the whole picture is displaced by up to {:.2} px in x and {:.2} px in y; frames {first}.. are not judged",
            most(moved_x),
            most(moved_y),
        )));
    }
    let mut fit = ColorFit::default();
    let drawn = FrameReference::draw(
        sight.subject,
        sight.inputs,
        &look,
        (sight.chain.subsampling, sight.chain.siting),
        (picture.width(), picture.height()),
        painter,
    );
    fit.add(picture, &drawn);
    let map = fit.map();
    let change = register::largest_change(&map, definition, look.encoding);
    if change > CHAIN_LEVELS && fit.is_explained_by(&map) {
        return Err(Error::Chain(format!(
            "the capture chain changed at frame {first}: the colours of the whole picture differ by up to {change:.0} levels (matrix, range or gain); frames {first}.. are not judged"
        )));
    }
    Ok(())
}

/// What another matrix or range makes of the levels of a chain that delivers `encoding`: written by the one and
/// read by the other, either way round.
fn known_changes(encoding: Encoding) -> Vec<KnownChange> {
    let Encoding::YCbCr { matrix, range } = encoding else {
        let step = 219.0 / 255.0;
        let scaled = |gain: f64, more: f64| {
            let row = |k| {
                let mut row = [0.0, 0.0, 0.0, more];
                row[k] = gain;
                row
            };
            ColorMap([0, 1, 2].map(row))
        };
        return vec![
            KnownChange {
                words: "full levels are squeezed into the limited range".into(),
                map: scaled(step, 16.0),
            },
            KnownChange {
                words: "levels are stretched as if they were of the limited range".into(),
                map: scaled(1.0 / step, -16.0 / step),
            },
        ];
    };
    let mut changes = Vec::new();
    for m in [Matrix::Bt601, Matrix::Bt709] {
        for r in [Range::Limited, Range::Full] {
            if (m, r) == (matrix, range) {
                continue;
            }
            let other = Encoding::YCbCr {
                matrix: m,
                range: r,
            };
            let what = match (m == matrix, r == range) {
                (false, true) => "matrix",
                (true, false) => "range",
                _ => "matrix and range",
            };
            for (read, written, way) in [
                (encoding, other, "written with"),
                (other, encoding, "read with"),
            ] {
                changes.push(KnownChange {
                    words: format!("colours are {way} another {what} ({m:?}, {r:?}) than before"),
                    map: between(read, written),
                });
            }
        }
    }
    changes
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::encode_unit;

    const BT709: Encoding = Encoding::YCbCr {
        matrix: Matrix::Bt709,
        range: Range::Limited,
    };
    const BT601: Encoding = Encoding::YCbCr {
        matrix: Matrix::Bt601,
        range: Range::Limited,
    };

    fn encode(rgb: [f64; 3]) -> [f64; 3] {
        encode_unit(rgb, BT709)
    }

    #[test]
    fn limited_levels_read_as_full_go_by_the_steps_of_bt709() {
        // ITU-R BT.709-6, item 4.6: black 16, white 235, colour 16 to 240; full range 0 to 255.
        let full = Encoding::YCbCr {
            matrix: Matrix::Bt709,
            range: Range::Full,
        };
        let ColorMap(map) = between(BT709, full);
        let level =
            |row: [f64; 4], v: [f64; 3]| row[0] * v[0] + row[1] * v[1] + row[2] * v[2] + row[3];
        assert!(level(map[0], [16.0, 128.0, 128.0]).abs() < 1e-9);
        assert!((level(map[0], [235.0, 128.0, 128.0]) - 255.0).abs() < 1e-9);
        assert!((level(map[1], [100.0, 240.0, 128.0]) - 255.5).abs() < 1e-9);
    }

    #[test]
    fn another_matrix_leaves_greys_alone() {
        let ColorMap(map) = between(BT709, BT601);
        for (k, row) in map.iter().enumerate() {
            let grey = row[0] * 100.0 + (row[1] + row[2]) * 128.0 + row[3];
            assert!((grey - [100.0, 128.0, 128.0][k]).abs() < 1e-9);
        }
    }

    #[test]
    fn a_change_of_one_colour_alone_is_not_explained_by_another_matrix() {
        let map = between(BT709, BT601);
        let (green, red) = (encode([0.1, 0.8, 0.2]), encode([0.8, 0.1, 0.1]));
        let left = |shown: [[f64; 3]; 2]| {
            let mut shades = Shades::default();
            for _ in 0..LEAST_SAMPLES as u32 {
                for (clean, shown) in [green, red].into_iter().zip(shown) {
                    shades.add(clean, shown);
                }
            }
            shades.left(&map)
        };
        assert!(left([map.map(green), map.map(red)]) < 1e-9);
        assert!(left([map.map(green), red]) > LEFT_SHARE);
        assert!(left([green, red]) > 1.0 - 1e-9);
    }

    #[test]
    fn small_shifts_of_two_colors_tell_another_matrix_and_of_one_do_not() {
        // BT.709-6 and BT.601-7, coefficients of luma: a blue and a brown move by no more than 3 levels.
        let map = between(BT709, BT601);
        let (blue, brown) = (encode([0.17, 0.43, 0.66]), encode([0.44, 0.3, 0.17]));
        let left = |colors: &[[f64; 3]], off: f64| {
            let mut shades = Shades::default();
            for k in 0..2 * LEAST_SAMPLES as u32 {
                for clean in colors {
                    // Noise of a level up and down.
                    let noise = if k % 2 == 0 { 1.0 } else { -1.0 };
                    shades.add(*clean, map.map(*clean).map(|v| v + noise + off));
                }
            }
            shades.left(&map)
        };
        assert!(left(&[blue, brown], 0.3) < LEFT_SHARE);
        assert!(left(&[blue], 0.3) > 1.0 - 1e-9);
        // Levels that are off by as much, but in another direction.
        assert!(left(&[blue, brown], 3.0) > LEFT_SHARE);
    }

    #[test]
    fn noise_on_some_lines_is_no_squeezed_range() {
        // Every tenth line shows noise: the mean of dark and bright colours moves towards the middle.
        let full = Encoding::YCbCr {
            matrix: Matrix::Bt709,
            range: Range::Full,
        };
        let squeezed = between(full, BT709);
        let left = |lost: bool| {
            let mut shades = Shades::default();
            for k in 0..2000u32 {
                for clean in [[20.0, 128.0, 128.0], [230.0, 128.0, 128.0]] {
                    let shown = match lost {
                        true if k % 10 == 0 => [f64::from(k * 7 % 256), 128.0, 128.0],
                        true => clean,
                        false => squeezed.map(clean),
                    };
                    shades.add(clean, shown);
                }
            }
            shades.left(&squeezed)
        };
        assert!(left(false) < 1e-9);
        assert!(left(true) > 1.0 - 1e-9);
    }

    #[test]
    fn every_other_encoding_is_known_both_ways_round() {
        assert_eq!(known_changes(BT709).len(), 6);
        assert_eq!(known_changes(Encoding::Rgb).len(), 2);
    }
}
