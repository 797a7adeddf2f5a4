//! The fault models, a file each. To add one: a file with its [`Model`], its line in [`MODELS`].

mod alert_added;
mod alert_dropped;
mod alert_order;
mod bias;
mod blank;
mod dim;
mod drift;
mod dropped_frames;
mod foreign_object;
mod freeze;
mod gain;
mod hold_and_jump;
mod jitter;
mod lost_lines;
mod matrix_change;
mod mirrored;
mod missing_symbol;
mod moved;
mod no_reversion;
mod noise;
mod older_data;
mod range_change;
mod reordered_frames;
mod repeated_frames;
mod scaled;
mod sign;
mod split;
mod stuck;
mod stuck_bit;
mod swapped_channel;
mod swapped_planes;
mod swapped_symbols;
mod tear;
#[cfg(test)]
mod tests;
mod turned;
mod wrong_color;
mod wrong_digit;
mod wrong_flag;
mod wrong_page;
mod wrong_unit;

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{RngCore, SeedableRng};

use super::redraw::{CLEAR_LEVELS, LEAST_PX};
use super::{Clip, Delivery, Fault, Injector, Model, Target, paint};
use crate::capture::CapturedFrame;
use crate::definition::Definition;
use crate::definition::model::{Alerts, Region, Symbol};
use crate::examine::subject::Subject;
use crate::recording::inputs::Inputs;
use crate::reference::symbols::alerts;

/// All kinds of faults, in the order of reports.
pub const MODELS: &[&dyn Model] = &[
    &blank::Blank,
    &freeze::Freeze,
    &hold_and_jump::HoldAndJump,
    &missing_symbol::MissingSymbol,
    &moved::Moved,
    &mirrored::Mirrored,
    &turned::Turned,
    &scaled::Scaled,
    &swapped_symbols::SwappedSymbols,
    &wrong_color::WrongColor,
    &dim::Dim,
    &foreign_object::ForeignObject,
    &wrong_digit::WrongDigit,
    &alert_dropped::AlertDropped,
    &alert_added::AlertAdded,
    &alert_order::AlertOrder,
    &wrong_unit::WrongUnit,
    &wrong_page::WrongPage,
    &no_reversion::NoReversion,
    &wrong_flag::WrongFlag,
    &bias::Bias,
    &gain::Gain,
    &stuck::Stuck,
    &drift::Drift,
    &sign::Sign,
    &swapped_channel::SwappedChannel,
    &split::Split,
    &older_data::OlderData,
    &noise::Noise,
    &lost_lines::LostLines,
    &tear::Tear,
    &stuck_bit::StuckBit,
    &swapped_planes::SwappedPlanes,
    &range_change::RangeChange,
    &matrix_change::MatrixChange,
    &dropped_frames::DroppedFrames,
    &repeated_frames::RepeatedFrames,
    &reordered_frames::ReorderedFrames,
    &jitter::Jitter,
];

/// The model called `name`.
#[must_use]
pub fn model(name: &str) -> Option<&'static dyn Model> {
    MODELS.iter().copied().find(|m| m.about().name == name)
}

/// The whole frame.
const WHOLE: Target = Target {
    region: None,
    symbol: None,
    channel: None,
};

/// Every region as a whole, but for those that are not judged at all.
fn regions(subject: Subject) -> Vec<Target> {
    regions_that(subject, |r| {
        let mut symbols = r.symbol.iter();
        symbols.any(|s| !s.is_unchecked())
    })
}

/// Every region with something in it whose look is known: more than liveness marks and unchecked areas.
fn drawn_regions(subject: Subject) -> Vec<Target> {
    regions_that(subject, |r| {
        let mut symbols = r.symbol.iter();
        symbols.any(Symbol::is_drawn)
    })
}

fn regions_that(subject: Subject, is_one: impl Fn(&Region) -> bool) -> Vec<Target> {
    let regions = subject.definition().regions().iter().enumerate();
    regions
        .filter(|(_, r)| is_one(r))
        .map(|(k, _)| Target {
            region: Some(k),
            ..WHOLE
        })
        .collect()
}

/// The whole frame, then every region.
fn whole_and_regions(subject: Subject) -> Vec<Target> {
    let mut targets = vec![WHOLE];
    targets.extend(regions(subject));
    targets
}

/// Every symbol that `is_one`.
fn symbols_that(subject: Subject, is_one: impl Fn(&Symbol) -> bool) -> Vec<Target> {
    let regions = subject.definition().regions().iter().enumerate();
    regions
        .flat_map(|(k, region)| {
            let symbols = region.symbol.iter().enumerate();
            symbols
                .filter(|(_, s)| is_one(s))
                .map(move |(n, _)| Target {
                    region: Some(k),
                    symbol: Some(n),
                    ..WHOLE
                })
                .collect::<Vec<_>>()
        })
        .collect()
}

/// The symbol that a fault strikes.
fn symbol<'a>(clip: &Clip<'a>, fault: &Fault) -> Option<&'a Symbol> {
    let region = &clip.definition().regions()[fault.target.region?];
    region.symbol.get(fault.target.symbol?)
}

/// Every channel that a region has a tolerance for.
fn channels(definition: &Definition) -> Vec<Target> {
    let regions = definition.regions().iter().enumerate();
    regions
        .flat_map(|(k, region)| {
            region.tolerance.keys().map(move |name| Target {
                region: Some(k),
                symbol: None,
                channel: Some(definition.channel(name)),
            })
        })
        .collect()
}

/// Up or down, by the lowest bit of the seed.
const fn sign(seed: u64) -> f64 {
    if seed & 1 == 0 { 1.0 } else { -1.0 }
}

/// Random numbers of their own for each `stream` (a frame, say).
fn random(seed: u64, stream: u64) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(stream);
    rng
}

/// A whole number below `end`, which must not be 0.
fn below(rng: &mut ChaCha8Rng, end: usize) -> usize {
    (rng.next_u64() % end as u64) as usize
}

/// `list` from a place on that the seed chooses, and round.
fn from_seed<T>(list: &[T], seed: u64) -> impl Iterator<Item = &T> {
    let begin = if list.is_empty() {
        0
    } else {
        (seed % list.len() as u64) as usize
    };
    list[begin..].iter().chain(&list[..begin])
}

/// The look of a fault that is gone after its first frame, which no monitor may take for one: a fault is
/// raised only when it lasts for the confirmation time, and that is longer than a frame.
const ONE_FRAME: &str = "one frame only";

/// Looks of kinds that have no others.
const LASTING: &[&str] = &["lasting", ONE_FRAME];

fn is_brief(model: &dyn Model, fault: &Fault) -> bool {
    model.about().looks.get(fault.look) == Some(&ONE_FRAME)
}

/// The same fault for a single frame, as the nearest harmless change.
fn briefly(model: &dyn Model, fault: &Fault) -> Option<(Fault, &'static str)> {
    let look = model.about().looks.iter().position(|l| *l == ONE_FRAME)?;
    let twin = Fault {
        look,
        ..fault.clone()
    };
    Some((twin, "the same for a single frame"))
}

/// `injector` for as long as the fault's look says.
fn lasting(model: &dyn Model, fault: &Fault, injector: Box<dyn Injector>) -> Box<dyn Injector> {
    if is_brief(model, fault) {
        Box::new(Brief(injector))
    } else {
        injector
    }
}

struct Brief(Box<dyn Injector>);

impl Injector for Brief {
    fn apply(&mut self, clip: &Clip, k: usize, frame: &mut CapturedFrame) -> Delivery {
        if k == clip.onset {
            self.0.apply(clip, k, frame)
        } else {
            Delivery::Sent
        }
    }
}

/// From the centre of the target's area to its corner, px.
fn radius_px(clip: &Clip, target: Target) -> f64 {
    let area = clip.area(target);
    libm::hypot(f64::from(area.width), f64::from(area.height)) / 2.0
}

/// Whether something stands out from the ground in the target's area. Where nothing does (no alert is on) there
/// is nothing to be moved, dimmed or lost.
fn has_ink(clip: &Clip, target: Target) -> bool {
    let picture = &clip.frames[clip.onset].picture;
    let ground = clip.definition().background();
    let mut empty = picture.clone();
    let area = clip.area(target);
    paint::fill(&mut empty, area, ground, &clip.chain().look);
    paint::differing_px(picture, &empty, area, CLEAR_LEVELS) >= LEAST_PX as u64
}

/// `injector`, when the frame of the onset clearly shows it.
fn that_shows(
    clip: &Clip,
    target: Target,
    mut injector: Box<dyn Injector>,
) -> Option<Box<dyn Injector>> {
    let clean = &clip.frames[clip.onset];
    let mut frame = clean.clone();
    injector.apply(clip, clip.onset, &mut frame);
    let area = clip.area(target);
    let changed = paint::differing_px(&clean.picture, &frame.picture, area, CLEAR_LEVELS);
    (changed >= LEAST_PX as u64).then_some(injector)
}

/// How long an alert must stay so that a fault of it can be confirmed, s.
const CONFIRMABLE_S: f64 = 1.0;

/// The fewest alerts of a list that are shown at once, from the onset on for as long as a fault takes to be
/// confirmed. `base` is the index of the list's first alert in [`Inputs::active_since_s`].
fn fewest_alerts(clip: &Clip, list: &Alerts, base: usize) -> usize {
    let mut inputs = Inputs::default();
    (clip.onset..clip.frames.len())
        .take_while(|k| clip.since_onset_s(*k) <= CONFIRMABLE_S)
        .map(|k| {
            clip.inputs(k, &mut inputs);
            alerts::order(list, base, &inputs).take(list.slots).count()
        })
        .min()
        .unwrap_or(0)
}

/// Another fault as the nearest harmless change of `fault`.
fn twin(
    fault: &Fault,
    kind: &'static str,
    size: f64,
    look: usize,
    words: &'static str,
) -> Option<(Fault, &'static str)> {
    let twin = Fault {
        kind,
        size,
        look,
        ..fault.clone()
    };
    Some((twin, words))
}

/// Half the tolerance, as the nearest harmless change of a wrong value.
fn half_tolerance(fault: &Fault) -> Option<(Fault, &'static str)> {
    twin(fault, "bias", 0.5, 0, "half the tolerance")
}

/// Copies the target's area of frame `k` of the clip.
fn show_frame(clip: &Clip, target: Target, k: usize, frame: &mut CapturedFrame) {
    paint::copy(
        &clip.frames[k].picture,
        &mut frame.picture,
        clip.area(target),
    );
}
