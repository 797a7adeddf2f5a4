//! The demo's faults: what goes wrong, where and when.
//!
//! At least one of every class, spread over the scenario with at least [`CLEAN_S`] of good
//! picture between two of them, so that each can be found, and its end, on its own. The
//! seed moves the onsets a little; the order and the kinds stay. A fault acts at one of three
//! places: on what the unit is given, on what it draws, or on the picture that it sends.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{RngCore, SeedableRng};
use serde::Serialize;

use super::chain::gaussian;
use crate::definition::Definition;
use crate::picture::{Picture, Rect, Rgb};
use crate::recording::inputs::{ChannelId, Inputs, Value};
use crate::reference::scene::{Item, Layer, Shape};
use crate::reference::symbols::alerts;

use super::standin::Edit;

/// Least time of good picture between two faults, s.
pub const CLEAN_S: f64 = 3.0;

/// How long a fault lasts, s.
const LENGTH_S: f64 = 1.4;

/// Onset of the first fault, s: before it the chain can be measured.
const FIRST_S: f64 = 5.0;

/// From onset to onset, s.
const STRIDE_S: f64 = 4.6;

/// Largest delay of an onset by the seed, s.
const JITTER_S: f64 = 0.15;

/// What a monitor should call a fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Class {
    /// Data older than allowed, by a steady amount.
    Late,
    /// A picture that stands still while its data move.
    Frozen,
    /// Nothing there.
    Blank,
    /// Readable and wrong.
    Misleading,
    /// Not readable.
    Garbled,
    /// Nothing: it is no fault, or none that a monitor may act on.
    Harmless,
}

/// One fault: the truth beside the capture.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Fault {
    /// What a monitor should call it.
    pub class: Class,
    /// Regions that it falls on; `*` alone for the whole frame.
    pub regions: Vec<String>,
    /// Capture time of the first faulty frame, s.
    pub onset_s: f64,
    /// Capture time of the first good frame after it, s.
    pub end_s: f64,
    /// In words.
    pub what: String,
    /// How it is made.
    #[serde(skip)]
    pub kind: Kind,
}

/// How a fault is made. Regions are indices into the definition's.
#[derive(Clone, Debug, PartialEq)]
pub enum Kind {
    /// The whole picture stands still.
    FreezeAll,
    /// One region stands still.
    FreezeRegion(usize),
    /// All inputs are older than they should be, s.
    Late(f64),
    /// The whole picture has one colour.
    BlankAll(Rgb),
    /// One region has one colour.
    BlankRegion(usize, Rgb),
    /// One channel of one region shows its value and this much more.
    Bias(usize, ChannelId, f64),
    /// The digit at this place, counted from the last one, reads three more in the longest
    /// moving number of a region.
    WrongDigit(usize, usize),
    /// The moving outlines of a region (its pointers) are not drawn.
    Erase(usize),
    /// One colour of a region is drawn as another.
    Recolor(usize, Rgb, Rgb),
    /// The first active alert of a region is not drawn.
    DropAlert(usize),
    /// A region is drawn this many px farther right and down.
    Move(usize, [i32; 2]),
    /// Below a row that wanders, the picture is the one of several frames ago, shifted.
    Tear,
    /// Rows are lost: black.
    LostLines,
    /// Noise of this standard deviation, levels, covers a region.
    Noise(usize, f64),
    /// One channel of one region shows this value.
    Set(usize, ChannelId, Value),
    /// One channel of a region shows another's value.
    Copy {
        /// The region.
        region: usize,
        /// The channel whose value is shown.
        from: ChannelId,
        /// The channel that shows it.
        to: ChannelId,
    },
    /// Two channels of one region show each other's values.
    Swap(usize, ChannelId, ChannelId),
    /// This page is shown, whichever is due.
    Page(usize),
    /// The upper and the lower half of the picture stand in each other's place.
    ExchangeHalves,
    /// Nothing is done: what is wrong is that something does not happen.
    Nothing,
}

/// The faults of the demo display, in the order of their onsets.
///
/// Onsets and ends lie on whole frames of `frames_per_s`. Faults on regions or channels that
/// `definition` does not have are left out, so that other displays can be run too.
#[must_use]
pub fn demo_faults(definition: &Definition, frames_per_s: f64, seed: u64) -> Vec<Fault> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut faults = Vec::new();
    for (k, (class, region, kind, what)) in planned(&Names(definition)).into_iter().enumerate() {
        // Drawn for left-out faults as well, so that the others stay where they are.
        let jitter_s = f64::from(rng.next_u32()) / f64::from(u32::MAX) * JITTER_S;
        let Some(kind) = kind else {
            continue;
        };
        let onset_s = FIRST_S + k as f64 * STRIDE_S + jitter_s;
        let span_s = [onset_s, onset_s + LENGTH_S];
        faults.push(Fault::on_frames(
            frames_per_s,
            class,
            &[region],
            span_s,
            kind,
            what,
        ));
    }
    faults
}

impl Fault {
    /// A fault whose onset and end lie on whole frames.
    pub(super) fn on_frames(
        frames_per_s: f64,
        class: Class,
        regions: &[&str],
        span_s: [f64; 2],
        kind: Kind,
        what: &str,
    ) -> Self {
        let [onset_s, end_s] = span_s.map(|t| libm::round(t * frames_per_s) / frames_per_s);
        Self {
            class,
            regions: regions.iter().map(|r| (*r).to_owned()).collect(),
            onset_s,
            end_s,
            what: what.into(),
            kind,
        }
    }
}

/// What faults name, looked up in a definition; nothing where it has no such thing.
pub(super) struct Names<'d>(pub(super) &'d Definition);

impl Names<'_> {
    pub(super) fn region(&self, id: &str) -> Option<usize> {
        self.0.regions().iter().position(|r| r.id == id)
    }

    pub(super) fn channel(&self, name: &str) -> Option<ChannelId> {
        let mut channels = self.0.channels().iter();
        channels.position(|(n, _)| n == name).map(ChannelId)
    }

    pub(super) fn color(&self, name: &str) -> Option<Rgb> {
        let has = self.0.file().colors.contains_key(name);
        has.then(|| self.0.color(name))
    }

    pub(super) fn bias(&self, region: &str, channel: &str, by: f64) -> Option<Kind> {
        Some(Kind::Bias(self.region(region)?, self.channel(channel)?, by))
    }

    pub(super) fn recolor(&self, region: &str, from: &str, to: &str) -> Option<Kind> {
        Some(Kind::Recolor(
            self.region(region)?,
            self.color(from)?,
            self.color(to)?,
        ))
    }

    pub(super) fn drop_alert(&self, region: &str) -> Option<Kind> {
        self.region(region).map(Kind::DropAlert)
    }

    pub(super) fn freeze(&self, region: &str) -> Option<Kind> {
        self.region(region).map(Kind::FreezeRegion)
    }
}

/// The region name that stands for the whole frame.
const WHOLE: &str = "*";

/// Class, region, how it is made (where the display has what it names), and in words.
fn planned(names: &Names) -> Vec<(Class, &'static str, Option<Kind>, &'static str)> {
    use Class::{Blank, Frozen, Garbled, Late, Misleading};
    let region = |id| names.region(id);
    let black = Rgb([0, 0, 0]);
    vec![
        (
            Frozen,
            "attitude",
            names.freeze("attitude"),
            "attitude stands still, all else goes on",
        ),
        (
            Misleading,
            "airspeed",
            names.bias("airspeed", "airspeed", 9.0),
            "airspeed reads 9 kt too high",
        ),
        (
            Late,
            WHOLE,
            Some(Kind::Late(0.5)),
            "all data are half a second too old",
        ),
        (
            Blank,
            "rotor",
            region("rotor").map(|r| Kind::BlankRegion(r, black)),
            "rotor and engine speed are gone",
        ),
        (
            Misleading,
            "vertical_speed",
            region("vertical_speed").map(Kind::Erase),
            "the vertical speed pointer is missing",
        ),
        (Garbled, WHOLE, Some(Kind::Tear), "the picture is torn"),
        (
            Misleading,
            "altitude",
            region("altitude").map(|r| Kind::WrongDigit(r, 2)),
            "the hundreds of the altitude read three more",
        ),
        (
            Frozen,
            WHOLE,
            Some(Kind::FreezeAll),
            "the whole picture stands still",
        ),
        (
            Misleading,
            "alerts",
            names.drop_alert("alerts"),
            "the most urgent alert is missing",
        ),
        (
            Misleading,
            "torque",
            names.recolor("torque", "green", "red"),
            "the normal range of torque is red",
        ),
        (
            Garbled,
            WHOLE,
            Some(Kind::LostLines),
            "every few rows one is lost",
        ),
        (
            Blank,
            WHOLE,
            Some(Kind::BlankAll(black)),
            "the whole picture is black",
        ),
        (
            Misleading,
            "heading",
            region("heading").map(|r| Kind::Move(r, [6, 0])),
            "the heading rose stands 6 px too far right",
        ),
        (
            Garbled,
            "altitude",
            region("altitude").map(|r| Kind::Noise(r, 70.0)),
            "noise covers the altitude",
        ),
    ]
}

/// The fault that acts at `time_s` (capture time), when there is one.
#[must_use]
pub fn active_at(faults: &[Fault], time_s: f64) -> Option<&Fault> {
    // Half a frame at 1 kHz: far below any frame, far above the rounding of times.
    let slack_s = 0.0005;
    faults
        .iter()
        .find(|f| time_s >= f.onset_s - slack_s && time_s < f.end_s - slack_s)
}

impl Kind {
    /// How much older than usual the unit's inputs are, s.
    #[must_use]
    pub const fn delay_s(&self) -> f64 {
        match self {
            Self::Late(delay_s) => *delay_s,
            _ => 0.0,
        }
    }

    /// Changes what `region` is given.
    pub fn change_inputs(&self, definition: &Definition, region: usize, inputs: &mut Inputs) {
        match self {
            Self::Bias(r, channel, by) if *r == region => {
                if let Value::Number(v) = &mut inputs.values[channel.0] {
                    *v += by;
                }
            }
            Self::Set(r, channel, value) if *r == region => {
                inputs.values[channel.0].clone_from(value);
            }
            Self::Copy {
                region: r,
                from,
                to,
            } if *r == region => {
                inputs.values[to.0] = inputs.values[from.0].clone();
            }
            Self::Swap(r, a, b) if *r == region => inputs.values.swap(a.0, b.0),
            Self::DropAlert(r) if *r == region => {
                if let Some(k) = most_urgent(definition, region, inputs) {
                    inputs.active_since_s[k] = None;
                }
            }
            _ => {}
        }
    }

    /// True when [`Kind::edit`] may change something.
    #[must_use]
    pub const fn edits(&self) -> bool {
        matches!(
            self,
            Self::WrongDigit(..) | Self::Erase(_) | Self::Recolor(..)
        )
    }

    /// What the unit makes of one item.
    #[must_use]
    pub fn edit(&self, region: usize, item: &Item, words: Option<&str>) -> Edit {
        match *self {
            Self::Erase(r)
                if r == region
                    && item.layer == Layer::Moving
                    && matches!(item.shape, Shape::Fill { .. }) =>
            {
                Edit::Drop
            }
            Self::Recolor(r, from, to) if r == region && item.color == from => Edit::Recolor(to),
            Self::WrongDigit(r, place)
                if r == region && item.layer == Layer::Moving && is_large(item) =>
            {
                words
                    .and_then(|w| with_wrong_digit(w, place))
                    .map_or(Edit::Keep, Edit::Reword)
            }
            _ => Edit::Keep,
        }
    }

    /// Changes the picture that is sent (R'G'B' 4:4:4). `held` is the last one before the
    /// fault, `earlier` the one of several frames ago; `index` counts frames.
    pub fn change_picture(
        &self,
        definition: &Definition,
        index: u64,
        held: &Picture,
        earlier: &Picture,
        picture: &mut Picture,
    ) {
        let (width, height) = definition.size();
        let all = Rect::new(0, 0, width as i32, height as i32);
        let area = |r: usize| definition.regions()[r].area().intersection(&all);
        match *self {
            Self::FreezeAll => picture.clone_from(held),
            Self::FreezeRegion(r) => copy(held, picture, area(r), [0, 0]),
            Self::BlankAll(color) => paint(picture, all, color),
            Self::BlankRegion(r, color) => paint(picture, area(r), color),
            Self::Move(r, by) => {
                let still = picture.clone();
                paint(picture, area(r), definition.background());
                copy(&still, picture, area(r), by);
            }
            Self::Tear => {
                // The tear rolls down the picture, as it does when two clocks drift.
                let row = (height as u64 / 4 + index * 37 % (height as u64 / 2)) as i32;
                let below = Rect::new(0, row, width as i32, height as i32 - row);
                copy(earlier, picture, below, [width as i32 / 6, 0]);
            }
            Self::LostLines => {
                let mut rng = ChaCha8Rng::seed_from_u64(index);
                let mut row = 0;
                while row < height as i32 {
                    paint(picture, Rect::new(0, row, width as i32, 2), Rgb([0, 0, 0]));
                    row += 4 + (rng.next_u32() % 5) as i32;
                }
            }
            Self::Noise(r, sigma) => add_noise(picture, area(r), sigma, index),
            Self::ExchangeHalves => {
                let still = picture.clone();
                for (plane, from) in picture.planes_mut().iter_mut().zip(still.planes()) {
                    for y in 0..height {
                        plane
                            .row_mut(y)
                            .copy_from_slice(from.row((y + height / 2) % height));
                    }
                }
            }
            Self::Set(..)
            | Self::Copy { .. }
            | Self::Swap(..)
            | Self::Page(_)
            | Self::Nothing
            | Self::Late(_)
            | Self::Bias(..)
            | Self::WrongDigit(..)
            | Self::Erase(_)
            | Self::Recolor(..)
            | Self::DropAlert(_) => {}
        }
    }
}

/// Index into [`Inputs::active_since_s`] of the most urgent active alert of a region.
fn most_urgent(definition: &Definition, region: usize, inputs: &Inputs) -> Option<usize> {
    let mut base = 0;
    for (r, of) in definition.regions().iter().enumerate() {
        for symbol in &of.symbol {
            let Some(list) = symbol.alerts().next() else {
                continue;
            };
            if r == region {
                return alerts::order(list, base, inputs).next().map(|k| base + k);
            }
            base += list.alert.len();
        }
    }
    None
}

/// Readouts in windows are larger than the numbers of a scale.
fn is_large(item: &Item) -> bool {
    matches!(item.shape, Shape::Words(w) if w.size >= 24.0)
}

/// `words` with the digit at `place`, counted from the last digit, three higher; `None` when
/// there is no such digit.
fn with_wrong_digit(words: &str, place: usize) -> Option<String> {
    let (at, digit) = words
        .char_indices()
        .rev()
        .filter_map(|(k, c)| Some((k, c.to_digit(10)?)))
        .nth(place)?;
    let wrong = char::from_digit((digit + 3) % 10, 10)?;
    Some(format!("{}{wrong}{}", &words[..at], &words[at + 1..]))
}

fn paint(picture: &mut Picture, area: Rect, Rgb(levels): Rgb) {
    for (plane, level) in picture.planes_mut().iter_mut().zip(levels) {
        let area = area.intersection(&Rect::new(
            0,
            0,
            plane.width() as i32,
            plane.height() as i32,
        ));
        for y in area.y..area.bottom() {
            plane.row_mut(y as usize)[area.x as usize..area.right() as usize].fill(level);
        }
    }
}

/// Copies `area` of `from`, moved by `by`; what would leave the area is lost.
fn copy(from: &Picture, to: &mut Picture, area: Rect, [dx, dy]: [i32; 2]) {
    let target = area.moved(dx, dy).intersection(&area);
    if target.is_empty() {
        return;
    }
    for (source, plane) in from.planes().iter().zip(to.planes_mut()) {
        for y in target.y..target.bottom() {
            let begin = (target.x - dx) as usize;
            let row = &source.row((y - dy) as usize)[begin..begin + target.width as usize];
            plane.row_mut(y as usize)[target.x as usize..target.right() as usize]
                .copy_from_slice(row);
        }
    }
}

fn add_noise(picture: &mut Picture, area: Rect, sigma: f64, index: u64) {
    let mut rng = ChaCha8Rng::seed_from_u64(index);
    let count = (area.width * area.height) as usize;
    let noise: Vec<f64> = gaussian(&mut rng, count).collect();
    for plane in picture.planes_mut() {
        for (row, y) in noise
            .chunks_exact(area.width.max(1) as usize)
            .zip(area.y..area.bottom())
        {
            let levels = &mut plane.row_mut(y as usize)[area.x as usize..area.right() as usize];
            for (level, n) in levels.iter_mut().zip(row) {
                *level = (f64::from(*level) + n * sigma).clamp(0.0, 255.0) as u8;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::picture::{Encoding, Subsampling};

    #[test]
    fn a_wrong_digit_is_a_digit_and_wrong() {
        assert_eq!(with_wrong_digit("4560", 2).as_deref(), Some("4860"));
        assert_eq!(with_wrong_digit("+9.8°", 1).as_deref(), Some("+2.8°"));
        assert_eq!(with_wrong_digit("95", 2), None);
        assert_eq!(with_wrong_digit("---", 0), None);
    }

    #[test]
    fn every_class_is_planned_and_clean_time_lies_between() {
        let display = Definition::from_toml(super::super::DISPLAY, "display.toml", Path::new(""));
        let display = display.expect("the bundled display is right");
        let plan = planned(&Names(&display));
        assert!(plan.iter().all(|(.., kind, _)| kind.is_some()));
        for class in [
            Class::Late,
            Class::Frozen,
            Class::Blank,
            Class::Misleading,
            Class::Garbled,
        ] {
            assert!(plan.iter().any(|p| p.0 == class), "{class:?}");
        }
        // A frame of 1/15 s may be lost to rounding at either end.
        const { assert!(STRIDE_S - LENGTH_S - JITTER_S >= CLEAN_S) };
        let last_s = FIRST_S + (plan.len() - 1) as f64 * STRIDE_S + LENGTH_S + JITTER_S;
        assert!(last_s + 1.5 < super::super::scenario::LENGTH_S, "{last_s}");
    }

    #[test]
    fn a_moved_area_stays_in_its_place() {
        let mut from = Picture::filled(6, 4, Encoding::Rgb, Subsampling::None, [9; 3]);
        from.planes_mut()[0].row_mut(1)[1] = 50;
        let mut to = Picture::filled(6, 4, Encoding::Rgb, Subsampling::None, [0; 3]);
        copy(&from, &mut to, Rect::new(1, 1, 3, 2), [1, 0]);
        assert_eq!(to.planes()[0].row(0), [0; 6]);
        assert_eq!(to.planes()[0].row(1), [0, 0, 50, 9, 0, 0]);
        assert_eq!(to.planes()[0].row(2), [0, 0, 9, 9, 0, 0]);
    }
}
