//! Is the capture chain still the one that was measured?
//!
//! A chain that changes on the way makes every verdict worthless, and is no fault of the display. Three
//! signs are looked for: some region disagrees, and all parts of the picture are displaced alike, or blurred; nearly
//! all regions disagree, and one rule for colours explains the whole picture; or the colours are those of another
//! matrix, range or gain, which may stay within the tolerance of every region, and which nothing on a display does by
//! chance. A picture that does not show the display is none of these: its lines must stand where they are due. More noise is
//! not told as another chain: a display may be noisy, and noise that hides what it shows is raised as garbled.

use crate::capture::CapturedFrame;
use crate::definition::Definition;
use crate::examine::comparison::{ChainLook, Comparison, captured_area};
use crate::examine::resemblance::shows_what_is_due;
use crate::examine::subject::Subject;
use crate::examine::view::View;
use crate::picture::{Encoding, Point, Rect};
use crate::recording::inputs::Inputs;
use crate::reference::canvas::{ColorMap, Geometry, Look};
use crate::reference::painter::Painter;

use super::change::{CHAIN_LEVELS, CHAIN_SHIFT_PX};
use super::colors::{self, ColorFit, Rule, between};
use super::register::{self, FrameReference, LumaReference};
use super::shades::{LEFT_SHARE, Shades, common_gain};
use crate::chain::constants::watch::{
    EDGES_EVERY_S, LEAST_PARTS, LEFT_ON_EDGES, LOOK_EVERY_S, LOOK_WHEN_WRONG_S, MORE_BLUR_PX2,
    SURE_S, SUSPECT_S, SUSPECT_SHARE, WRONG_REGIONS,
};

/// The chain is not, or no longer, the one that was measured.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Changed {
    /// First frame that may show the changed chain: nothing is raised from there on. `None` when nothing was judged.
    pub since_frame: Option<u64>,
    /// What is not as it was measured.
    pub what: String,
    /// The same as a sentence.
    pub words: String,
}

/// A change of colours that chains are known to make, as a map of levels.
#[derive(Clone, Debug, PartialEq)]
struct KnownChange {
    words: String,
    map: ColorMap,
}

/// A picture and what is known of it.
pub struct Sight<'a> {
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
pub struct Told {
    /// All of them.
    pub with_ink: usize,
    /// Show a readable picture that nothing explains.
    pub wrong: usize,
    /// Are blank.
    pub blank: usize,
    /// Cannot be read.
    pub garbled: usize,
}

/// Watches the chain, frame after frame.
#[derive(Clone)]
pub struct ChainWatch {
    known: Vec<KnownChange>,
    /// Most regions have agreed once: what never did was not changed.
    has_agreed: bool,
    suspect: Option<Suspicion>,
    looked_s: f64,
    /// What explains the colours of the last frames, and since when.
    explained: Option<(Change, Since)>,
    /// Last frame whose colours were looked at, and which no change of the chain explains.
    unchanged_frame: Option<u64>,
    /// Since when some regions have disagreed, and when they last did, s.
    troubled: Option<(Since, f64)>,
    /// Last frame whose edges were looked at, and were where they had been.
    edges_seen: Option<Since>,
}

/// A frame from which on something is so: its number and capture time, s.
#[derive(Clone, Copy, Debug)]
struct Since {
    frame: u64,
    time_s: f64,
}

/// Nearly all regions disagree since a frame.
#[derive(Clone, Copy, Debug)]
struct Suspicion {
    since: Since,
    is_looked_at: bool,
}

/// What changed the colours of the whole picture.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Change {
    /// One of the known changes.
    Known(usize),
    /// Gain and offset.
    Gain,
}

impl ChainWatch {
    /// For a chain that delivers `encoding`.
    pub fn new(encoding: Encoding) -> Self {
        Self {
            known: known_changes(encoding),
            has_agreed: false,
            suspect: None,
            looked_s: f64::NEG_INFINITY,
            explained: None,
            unchanged_frame: None,
            troubled: None,
            edges_seen: None,
        }
    }

    /// Looks at the whole of the next frame, where regions disagree.
    ///
    /// # Errors
    /// [`Changed`] when the chain has changed.
    pub fn watch(
        &mut self,
        sight: &Sight,
        told: Told,
        painter: &mut Painter,
    ) -> Result<(), Changed> {
        let is_suspect =
            told.with_ink >= 2 && told.wrong as f64 >= SUSPECT_SHARE * told.with_ink as f64;
        self.has_agreed |= told.with_ink >= 2 && 2 * (told.wrong + told.blank) < told.with_ink;
        let now = Since {
            frame: sight.frame.index,
            time_s: sight.frame.time_s,
        };
        let calm_s = |(_, last_s): &(Since, f64)| now.time_s - last_s;
        self.troubled = self.troubled.filter(|t| calm_s(t) <= SUSPECT_S);
        if told.wrong > 0 {
            let (since, _) = self.troubled.unwrap_or((now, now.time_s));
            self.troubled = Some((since, now.time_s));
            let seen = self.edges_seen.filter(|s| s.frame >= since.frame);
            let is_time = seen.map_or(now.time_s - since.time_s > SUSPECT_S, |s| {
                now.time_s - s.time_s > EDGES_EVERY_S
            });
            if self.has_agreed && is_time {
                let first = seen.map_or(since.frame, |s| s.frame + 1);
                look_at_edges(sight, first, painter)?;
                self.edges_seen = Some(now);
            }
        }
        let before = self.suspect.filter(|_| is_suspect);
        let mut suspect = before.unwrap_or(Suspicion {
            since: now,
            is_looked_at: false,
        });
        let has_lasted = now.time_s - suspect.since.time_s > SUSPECT_S;
        if self.has_agreed && is_suspect && has_lasted && !suspect.is_looked_at {
            suspect.is_looked_at = true;
            let first = suspect.since.frame;
            look_at_edges(sight, first, painter)?;
            look_at_all_colors(sight, first, painter)?;
        }
        self.suspect = is_suspect.then_some(suspect);
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
    /// [`Changed`] when they are those of another chain.
    pub fn look_at_colors<'c, 'd: 'c>(
        &mut self,
        definition: &Definition,
        frame: &CapturedFrame,
        is_garbled: bool,
        regions: impl Iterator<Item = &'c Comparison<'d>>,
    ) -> Result<(), Changed> {
        let regions: Vec<_> = regions.collect();
        let mut parts = Vec::new();
        for region in &regions {
            let mut shades = Shades::default();
            colors::flat_samples(
                region.captured(&frame.picture),
                region.reference(),
                frame.picture.subsampling(),
                region.unchecked(),
                |clean, shown| shades.add(clean.map(f64::from), shown.map(f64::from)),
            );
            parts.push(shades);
        }
        let shades = Shades::of_all(&parts);
        let left: Vec<f64> = self.known.iter().map(|c| shades.left(&c.map)).collect();
        let found = (0..left.len())
            .filter(|k| left[*k] < LEFT_SHARE)
            .min_by(|a, b| left[*a].total_cmp(&left[*b]))
            .map(|k| (Change::Known(k), self.known[k].words.clone()));
        // Noise that is cut at black and white looks like a loss of contrast.
        let gain = || {
            let map = (!is_garbled).then(|| common_gain(&parts, &shades));
            map.flatten()
        };
        let is_far = |map: &ColorMap| {
            colors::largest_change(map, definition, frame.picture.encoding()) > CHAIN_LEVELS
        };
        let found = found.or_else(|| Some((Change::Gain, gain_in_words(&gain().filter(is_far)?))));
        let is_shown = || {
            let lumas = regions.iter();
            shows_what_is_due(lumas.map(|r| (r.captured(&frame.picture)[0], r.reference()[0])))
        };
        let Some((change, words)) = found.filter(|_| is_shown()) else {
            self.explained = None;
            self.unchanged_frame = Some(frame.index);
            return Ok(());
        };
        let since = match self.explained {
            Some((before, since)) if before == change => since,
            _ => Since {
                frame: frame.index,
                time_s: frame.time_s,
            },
        };
        self.explained = Some((change, since));
        if frame.time_s - since.time_s < SURE_S {
            return Ok(());
        }
        let first = since.frame;
        let since_frame = self.unchanged_frame.map(|f| f + 1);
        let place = format!("at frame {first} or within half a second before");
        Err(another_chain(since_frame, &place, words))
    }
}

/// Regions disagree since the frame `first`: is the whole picture displaced or blurred?
fn look_at_edges(sight: &Sight, first: u64, painter: &mut Painter) -> Result<(), Changed> {
    let look = sight.chain.look.clone();
    let due = sight.draw(&look, painter);
    let picture = &sight.frame.picture;
    if let Some((geometry, moved)) = sight.displacement(painter) {
        let there = sight.draw(&Look { geometry, ..look }, painter);
        // Every region with static edges is asked: one that stands in the wrong place is a fault of its own, and one
        // that shows something else says nothing.
        let (mut explained, mut is_contradicted) = (0, false);
        for region in sight.subject.definition().regions() {
            let (width, height) = (picture.width(), picture.height());
            let area = captured_area(region.area(), sight.chain, width, height);
            let here = due.distance_on_edges(picture, area);
            if let (Some(here), Some(there)) = (here, there.distance_on_edges(picture, area)) {
                explained += usize::from(there < LEFT_ON_EDGES * here);
                is_contradicted |= here < LEFT_ON_EDGES * there;
            }
        }
        if explained >= LEAST_PARTS && !is_contradicted && sight.shows(&there) {
            let axes: Vec<String> = [("x", moved[0]), ("y", moved[1])]
                .into_iter()
                .filter(|(_, moved)| *moved > CHAIN_SHIFT_PX)
                .map(|(axis, moved)| format!("up to {moved:.2} px in {axis}"))
                .collect();
            let what = format!("the whole picture is displaced by {}", axes.join(" and "));
            return Err(another_chain(Some(first), &at_frame(first), what));
        }
    }
    let usual_px2 = sight.chain.blur_px * sight.chain.blur_px;
    let seen: Vec<f64> = sight
        .quarters()
        .into_iter()
        .filter_map(|area| due.blur_of_both_sides_px2(picture, area))
        .map(|v| v - usual_px2)
        .collect();
    let least_px2 = seen.iter().copied().fold(f64::INFINITY, f64::min);
    if seen.len() < LEAST_PARTS || least_px2 < MORE_BLUR_PX2 || !sight.shows(&due) {
        return Ok(());
    }
    let what = format!(
        "the whole picture is blurred, by {:.2} px more than was measured (one standard deviation)",
        least_px2.sqrt()
    );
    Err(another_chain(Some(first), &at_frame(first), what))
}

fn at_frame(first: u64) -> String {
    format!("at frame {first}")
}

/// What is said of a chain that is not as it was measured since a frame: that it changed only where frames before were.
fn another_chain(since_frame: Option<u64>, place: &str, what: String) -> Changed {
    let words = if since_frame.is_none_or(|first| first == 0) {
        format!(
            "the capture chain is not what was measured of it, from the first frame on: {what}; no frame is judged"
        )
    } else {
        format!("the capture chain changed {place}: {what}; frames from there on are not judged")
    };
    Changed {
        since_frame,
        what,
        words,
    }
}

/// A gain and offset of luma and a gain of colour in words, as far as they are any.
fn gain_in_words(ColorMap([luma, color, _]): &ColorMap) -> String {
    let [gain, of_color] = [luma[0], color[1]].map(|gain| format!("{gain:.2}"));
    let offset = format!("{:+.0}", luma[3]);
    let mut parts = Vec::new();
    if gain != "1.00" || offset.trim_matches(['+', '-']) != "0" {
        parts.push(format!(
            "the levels of the whole picture are {gain} times those that are due, and {offset}"
        ));
    }
    if of_color != "1.00" {
        parts.push(format!(
            "the colours of the whole picture are {of_color} times those that are due"
        ));
    }
    parts.join(", ")
}

impl Sight<'_> {
    fn size(&self) -> (usize, usize) {
        let picture = &self.frame.picture;
        (picture.width(), picture.height())
    }

    fn draw(&self, look: &Look, painter: &mut Painter) -> LumaReference {
        LumaReference::draw(self.subject, self.inputs, look, self.size(), painter)
    }

    /// Whether the frame shows the display as `reference` has it.
    fn shows(&self, reference: &LumaReference) -> bool {
        let picture = &self.frame.picture;
        let (width, height) = (picture.width(), picture.height());
        let regions = self.subject.definition().regions().iter();
        let areas = regions
            .map(|r| captured_area(r.area(), self.chain, width, height))
            .filter(|area| reference.is_known(*area));
        shows_what_is_due(areas.map(|area| {
            (
                View::new(&picture.planes()[0], area),
                View::new(reference.plane(), area),
            )
        }))
    }

    fn quarters(&self) -> [Rect; 4] {
        let picture = &self.frame.picture;
        let (width, height) = (picture.width() as i32 / 2, picture.height() as i32 / 2);
        [(0, 0), (1, 0), (0, 1), (1, 1)]
            .map(|(x, y)| Rect::new(x * width, y * height, width, height))
    }

    /// Where the picture is now, and how far that is from before along x and y, px; `None` where it did not move, or
    /// is not found.
    fn displacement(&self, painter: &mut Painter) -> Option<(Geometry, [f64; 2])> {
        let picture = &self.frame.picture;
        let look = &self.chain.look;
        let found = register::register(self.subject, self.inputs, look, picture, painter)?;
        let (g, h) = (found.geometry, look.geometry);
        let moved = g.corners_from(&h, self.subject.definition().size());
        let most = |axis: fn(&Point) -> f64| moved.iter().map(axis).fold(0.0, f64::max);
        let most = [most(|p| p.x.abs()), most(|p| p.y.abs())];
        (most[0].max(most[1]) > CHAIN_SHIFT_PX).then_some((g, most))
    }
}

/// Nearly all regions disagree: are the colours of the whole picture changed by one rule?
fn look_at_all_colors(sight: &Sight, first: u64, painter: &mut Painter) -> Result<(), Changed> {
    let definition: &Definition = sight.subject.definition();
    let look = sight.chain.look.clone();
    let mut fit = ColorFit::default();
    let (planes, size) = ((sight.chain.subsampling, sight.chain.siting), sight.size());
    let due = FrameReference::draw(sight.subject, sight.inputs, &look, planes, size, painter);
    if !sight.shows(due.luma()) {
        return Ok(());
    }
    fit.add(&sight.frame.picture, &due);
    let Rule::Measured(map) = fit.rule(look.encoding, &[]) else {
        return Ok(());
    };
    let change = colors::largest_change(&map, definition, look.encoding);
    if change > CHAIN_LEVELS {
        let what = format!(
            "the colours of the whole picture differ by up to {change:.0} levels (matrix, range or gain)"
        );
        return Err(another_chain(Some(first), &at_frame(first), what));
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
    for other in colors::other_encodings(encoding) {
        let Encoding::YCbCr {
            matrix: m,
            range: r,
        } = other
        else {
            continue;
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
                words: format!("colours are {way} another {what} ({m:?}, {r:?}) than was measured"),
                map: between(read, written),
            });
        }
    }
    changes
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::{Matrix, Range};

    const BT709: Encoding = Encoding::YCbCr {
        matrix: Matrix::Bt709,
        range: Range::Limited,
    };
    const BT601: Encoding = Encoding::YCbCr {
        matrix: Matrix::Bt601,
        range: Range::Limited,
    };

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
    fn a_gain_is_told_of_what_has_one() {
        let gain = |luma: f64, offset: f64, color: f64| {
            let row = |k: usize, gain: f64, offset: f64| {
                let mut row = [0.0, 0.0, 0.0, offset];
                row[k] = gain;
                row
            };
            let centre = 128.0 * (1.0 - color);
            gain_in_words(&ColorMap([
                row(0, luma, offset),
                row(1, color, centre),
                row(2, color, centre),
            ]))
        };
        let colors = gain(1.001, -0.2, 0.8);
        assert_eq!(
            colors,
            "the colours of the whole picture are 0.80 times those that are due"
        );
        let luma = gain(0.93, 1.1, 1.0);
        assert!(
            luma.contains("0.93 times") && !luma.contains("colours"),
            "{luma}"
        );
    }

    #[test]
    fn what_never_was_otherwise_has_not_changed() {
        // c5def52: "the capture chain changed at frame 0 or within half a second before".
        let told = |since| another_chain(since, "at frame 9", "it is blurred".into()).words;
        assert!(!told(None).contains("changed"), "{}", told(None));
        assert!(!told(Some(0)).contains("changed"), "{}", told(Some(0)));
        assert!(
            told(Some(9)).contains("changed at frame 9"),
            "{}",
            told(Some(9))
        );
    }

    #[test]
    fn every_other_encoding_is_known_both_ways_round() {
        assert_eq!(known_changes(BT709).len(), 6);
        assert_eq!(known_changes(Encoding::Rgb).len(), 2);
    }
}
