//! In which ways the parts of a region move with their channels, and which values stand there as digits: what the
//! examiner measures. All of it follows from the parts.

use super::affine::Affine;
use super::drive::{Drive, Way};
use super::reach::Lever;
use super::{Assembly, Ink, What, words};
use crate::definition::Definition;
use crate::definition::model::Readout;
use crate::picture::Point;
use crate::recording::condition::all_hold;
use crate::recording::inputs::{ChannelId, Inputs};
use crate::reference::scale::half_period;
use crate::reference::scene::Bounds;

/// One way in which a symbol moves continuously with a channel.
#[derive(Clone, Debug, PartialEq)]
pub struct Freedom {
    /// Index of the symbol in its region.
    pub symbol: usize,
    /// The channel that drives it.
    pub channel: ChannelId,
    /// The channel that is taken off its own: it stands where the difference puts it.
    pub from: Option<ChannelId>,
    /// What moves: `pointer`, `pitch`, `roll`, ...: the name of the motion.
    pub what: What,
    /// Values this far apart look the same.
    pub period: Option<f64>,
    /// Values this far apart look much the same but for words: a turn of a pointer, the marks of a scale.
    pub repeats: Option<f64>,
    /// Whether digits that roll show it, and nothing else.
    pub is_rolling: bool,
    /// Lowest value that is shown; lower ones look like it.
    pub low: f64,
    /// Highest value that is shown; higher ones look like it.
    pub high: f64,
    /// What moves with the channel.
    movers: Vec<Mover>,
    /// Where its ink can be.
    bounds: Bounds,
}

/// A part that moves with a channel.
#[derive(Clone, Debug, PartialEq)]
struct Mover {
    at: Moving,
    /// Other parts that move the same way: one of them may be drawn in its place.
    others: Vec<Moving>,
    /// What shows a motion of a unit of place, times `scale`.
    lever: Lever,
    scale: f64,
}

/// A part, and which of its motions is meant; the rolling of its own digits when absent.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Moving {
    node: usize,
    drive: Option<usize>,
}

/// A value that stands in a symbol as digits or text.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadoutField<'a> {
    /// Index of the symbol in its region.
    pub symbol: usize,
    /// Which one: the name of its part, `readout` when it has none.
    pub what: What,
    /// The channel that it shows.
    pub channel: ChannelId,
    /// How it looks.
    pub model: &'a Readout,
    node: usize,
}

impl Freedom {
    /// The value that it shows when its channel has `v`: brought into its period or stopped at its ends.
    #[must_use]
    pub fn shown_value(&self, v: f64) -> f64 {
        match self.period {
            Some(period) => self.low + (v - self.low).rem_euclid(period),
            None => v.min(self.high).max(self.low),
        }
    }

    /// `to` minus `from`, the short way round where values go round.
    #[must_use]
    pub fn difference(&self, to: f64, from: f64) -> f64 {
        self.period
            .map_or(to - from, |period| half_period(to - from, period))
    }

    /// What is `shown` minus what is due when its channel has `v`.
    #[must_use]
    pub fn error(&self, shown: f64, v: f64) -> f64 {
        match self.period {
            Some(_) => self.difference(shown, v),
            None => shown - self.shown_value(v),
        }
    }

    /// A motion that another part has as well shows best in the one of both that reaches farther.
    fn add(&mut self, mover: Mover, parts: &Assembly) {
        let drive = parts.drive_of(mover.at);
        let is_same = |m: &&mut Mover| parts.drive_of(m.at).moves_as(drive);
        match self.movers.iter_mut().find(is_same) {
            Some(same) => {
                same.lever = same.lever.best(mover.lever);
                same.others.push(mover.at);
            }
            None => self.movers.push(mover),
        }
    }

    /// Area of the page in which its ink can move.
    #[must_use]
    pub const fn bounds(&self) -> Bounds {
        self.bounds
    }
}

impl Assembly {
    /// All freedoms, in the order of symbols and parts.
    pub(crate) fn freedoms(&self, d: &Definition) -> Vec<Freedom> {
        let mut found = Vec::new();
        for &root in self.symbols.iter().flatten() {
            self.freedoms_of(root, d, &mut found);
        }
        found
    }

    /// What moves within a part comes before what moves all of it. All that moves with a channel in one place of a symbol is
    /// one freedom, and all that moves by the same motion: one value says where it stands, and two that are fitted side by
    /// side would share what they show between them.
    fn freedoms_of(&self, k: usize, d: &Definition, found: &mut Vec<Freedom>) {
        let node = &self.nodes[k];
        for &member in &node.members {
            self.freedoms_of(member, d, found);
        }
        let drives = node.drives.iter().enumerate();
        let drives = drives.map(|(n, drive)| (Some(n), drive));
        for (n, drive) in node.roll.iter().map(|roll| (None, roll)).chain(drives) {
            let [low, high] = drive.ends();
            let (lever, scale) = match &drive.way {
                Way::Turn(about) => (self.lever(k, *about, d), 1f64.to_radians()),
                Way::Carry(about) => {
                    // Digits that roll are not carried.
                    let before = n.unwrap_or_default();
                    (self.farthest_carried(k, before, *about), 1f64.to_radians())
                }
                Way::Sector(s) => {
                    let about = Point::new(s.about[0], s.about[1]);
                    (self.lever(k, about, d), 1f64.to_radians())
                }
                Way::Shift(along) => (Lever::Corner(libm::hypot(along.x, along.y)), 1.0),
                Way::Strip(s) => (Lever::Corner(s.length()), 1.0),
            };
            let bounds = self.on_page(k, d);
            if !self.has_outline(k) {
                continue;
            }
            let mover = Mover {
                at: Moving { node: k, drive: n },
                others: Vec::new(),
                lever,
                scale,
            };
            let same = found.iter_mut().find(|f| {
                let mut drives = f.movers.iter().map(|m| self.drive_of(m.at));
                (f.symbol, f.channel) == (node.symbol, drive.channel)
                    && (!f.bounds.intersection(&bounds).is_empty()
                        || drives.any(|other| drive.moves_as(other)))
            });
            if let Some(f) = same {
                f.add(mover, self);
                f.bounds = f.bounds.union(&bounds);
                f.low = f.low.min(low);
                f.high = f.high.max(high);
                f.period = f.period.filter(|p| drive.period == Some(*p));
                f.is_rolling &= n.is_none();
                f.repeats = greatest(f.repeats, self.repeats(k, n, drive));
                continue;
            }
            found.push(Freedom {
                symbol: node.symbol,
                channel: drive.channel,
                from: drive.minus,
                what: drive.name.clone(),
                period: drive.period,
                repeats: self.repeats(k, n, drive),
                is_rolling: n.is_none(),
                low,
                high,
                movers: vec![mover],
                bounds,
            });
        }
    }

    fn drive_of(&self, m: Moving) -> &Drive {
        let node = &self.nodes[m.node];
        let own = m.drive.map(|n| &node.drives[n]);
        own.or(node.roll.as_ref()).expect("a mover has its motion")
    }

    /// How far apart values are that a motion of part `k` shows much alike, words left out.
    fn repeats(&self, k: usize, motion: Option<usize>, drive: &Drive) -> Option<f64> {
        let per_unit = drive.even_px()?;
        let of_digits = || {
            let mut inks = self.nodes[k].inks.iter();
            inks.find_map(|i| match i {
                Ink::Drum(m) => Some(f64::from(words::positions(m)) * m.unit),
                _ => None,
            })
        };
        match (&drive.way, motion) {
            (_, None) => of_digits(),
            (Way::Turn(_), _) => greatest(
                drive.period.is_none().then(|| 360.0 / per_unit),
                self.marked_every(k, &drive.way).map(|step| step / per_unit),
            ),
            (Way::Shift(_), _) => self.marked_every(k, &drive.way).map(|step| step / per_unit),
            (Way::Carry(_) | Way::Strip(_) | Way::Sector(_), _) => None,
        }
        .filter(|repeats| repeats.is_finite())
    }

    /// How far apart marks of part `k` or of its members look alike that are put along the same way, deg or px.
    fn marked_every(&self, k: usize, way: &Way) -> Option<f64> {
        let node = &self.nodes[k];
        let has_outline = node.inks.iter().any(|i| matches!(i, Ink::Outline { .. }));
        let own = node.marks.as_ref().filter(|_| has_outline);
        let own = own.and_then(|m| m.alike_every(way));
        let members = node.members.iter().map(|m| self.marked_every(*m, way));
        members.fold(own, greatest)
    }

    /// Whether a part or one of its members has ink that is read: readings leave words out, but for digits that roll.
    fn has_outline(&self, k: usize) -> bool {
        let node = &self.nodes[k];
        let mut inks = node.inks.iter();
        inks.any(|i| matches!(i, Ink::Outline { .. } | Ink::Drum(_)))
            || node.members.iter().any(|m| self.has_outline(*m))
    }

    /// All readouts, in the order of symbols and parts.
    pub(crate) fn readouts(&self, d: &Definition) -> Vec<ReadoutField<'_>> {
        let mut found = Vec::new();
        for (k, node) in self.nodes.iter().enumerate() {
            for ink in &node.inks {
                let Ink::Readout(model) = ink else { continue };
                found.push(ReadoutField {
                    symbol: node.symbol,
                    what: node.id.clone().unwrap_or_else(|| "readout".into()),
                    channel: d.channel(&model.channel),
                    model,
                    node: k,
                });
            }
        }
        found
    }

    /// True when a part is on the picture for these inputs: it and all that hold it are drawn.
    fn is_drawn(&self, node: usize, d: &Definition, inputs: &Inputs) -> bool {
        let mut at = Some(node);
        while let Some(k) = at {
            let n = &self.nodes[k];
            let has_values = n.drives.iter().all(|drive| drive.place(inputs).is_some());
            let has_failed = n
                .failure
                .as_ref()
                .is_some_and(|gate| gate.has_failed(inputs));
            if !has_values || has_failed || !all_hold(&n.when, d, inputs) {
                return false;
            }
            if let Some(parent) = n.parent.map(|p| &self.nodes[p]).filter(|p| p.choose) {
                let mut members = parent.members.iter();
                if members.find(|m| all_hold(&self.nodes[**m].when, d, inputs)) != Some(&k) {
                    return false;
                }
            }
            at = n.parent;
        }
        true
    }

    /// True when the readout's own words stand on the picture; dashes count.
    pub(crate) fn is_readout_shown(
        &self,
        f: &ReadoutField,
        d: &Definition,
        inputs: &Inputs,
    ) -> bool {
        self.is_drawn(f.node, d, inputs)
    }

    /// Pixels that the ink moves for a unit of the channel at these inputs, without sign, where it moves most: 0 when it is
    /// not shown or does not move here.
    pub(crate) fn px_per_unit(&self, f: &Freedom, d: &Definition, inputs: &Inputs) -> f64 {
        let shown = f.movers.iter().filter_map(|m| {
            let mut all = [m.at].into_iter().chain(m.others.iter().copied());
            Some((m, all.find(|at| self.is_drawn(at.node, d, inputs))?))
        });
        let px = shown.map(|(m, at)| {
            self.lever_px(m, at, inputs) * m.scale * self.drive_of(at).slope(inputs)
        });
        px.fold(0.0, f64::max)
    }

    /// How far from the middle of its turn there is ink of a mover, px: what is carried, where it stands now.
    fn lever_px(&self, m: &Mover, at: Moving, inputs: &Inputs) -> f64 {
        let node = &self.nodes[at.node];
        let (Way::Carry(about), Some(before)) = (&self.drive_of(at).way, at.drive) else {
            return m.lever.px();
        };
        let mut motion = Affine::IDENTITY;
        for drive in &node.drives[..before] {
            if let Some(place) = drive.place(inputs) {
                motion = drive.after(&motion, node.origin(), place);
            }
        }
        let at = motion.map(node.origin());
        libm::hypot(at.x - about.x, at.y - about.y)
    }

    /// Pixels that the ink moves for a unit of the channel where its scale is coarsest, without sign.
    pub(crate) fn least_px_per_unit(&self, f: &Freedom) -> f64 {
        let px = f
            .movers
            .iter()
            .map(|m| m.lever.px() * m.scale * self.drive_of(m.at).least_slope());
        px.fold(f64::MIN_POSITIVE, f64::max).min(f64::MAX)
    }
}

/// The greater of what there is.
fn greatest(a: Option<f64>, b: Option<f64>) -> Option<f64> {
    [a, b].into_iter().flatten().reduce(f64::max)
}
