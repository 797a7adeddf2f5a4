//! From which stretch of a capture the chain is measured, and whether it is the one of a profile.

use crate::capture::CapturedFrame;
use crate::capture::Error as CaptureError;
use crate::capture::profile::Profile;
use crate::definition::Definition;
use crate::examine::calibrate::{self, Measured};
use crate::examine::subject::Subject;
use crate::recording::Recording;
use crate::reference::painter::Painter;

use super::{Chain, Error, FrameSource, Offset};

/// Frames that the chain is measured from, at most; and the stretch that they cover, s.
const FIRST_FRAMES: usize = 48;
const FIRST_STRETCH_S: f64 = 1.6;
/// Share of the next best offset's difference at which the best is no better.
const INDISTINCT: f64 = 0.98;
/// Shift that counts as a changed chain, px.
pub(super) const CHAIN_SHIFT_PX: f64 = 0.4;
/// Colour change that counts as a changed chain, levels.
pub(super) const CHAIN_LEVELS: f64 = 8.0;

/// What a stretch that agrees says of the chain.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// The chain.
    pub profile: Profile,
    /// The time offset, s, and where it comes from.
    pub offset: (f64, String),
    /// Where the stretch lies, in words.
    pub from: String,
    /// What is to be noted of it.
    pub notes: Vec<String>,
}

/// Measures the chain from the first stretch of a capture: what `check` does without a profile.
///
/// # Errors
/// When the capture cannot be read, or is empty.
pub fn first_stretch(
    source: &mut dyn FrameSource,
) -> Result<(Vec<CapturedFrame>, Option<CaptureError>), Error> {
    let mut frames: Vec<CapturedFrame> = Vec::new();
    while frames.len() < FIRST_FRAMES {
        let mut frame = CapturedFrame::new();
        match source.next_into(&mut frame) {
            Ok(true) => {
                let covered = frame.time_s - frames.first().map_or(frame.time_s, |f| f.time_s);
                frames.push(frame);
                if covered >= FIRST_STRETCH_S {
                    break;
                }
            }
            Ok(false) => break,
            Err(e) if frames.is_empty() => return Err(e.into()),
            Err(e) => return Ok((frames, Some(e))),
        }
    }
    Ok((frames, None))
}

/// How far into a capture a stretch that agrees is looked for, s.
const SEARCH_S: f64 = 120.0;

/// Looks for the first stretch of a capture that agrees, where the first of all does not: displays are
/// often dark, or show a test picture, when a capture begins. `None` when there is none within two minutes,
/// or before the capture's first damage.
pub fn find_stretch(
    subject: Subject,
    recording: &Recording,
    source: &mut dyn FrameSource,
    offset: Offset,
) -> Option<Found> {
    let mut painter = Painter::new();
    let mut begin_s = None;
    loop {
        let (frames, ended) = first_stretch(source).ok()?;
        let (first, last) = (frames.first()?, frames.last()?);
        let begun_s = *begin_s.get_or_insert(first.time_s);
        let place = format!("frames {} to {}", first.index, last.index);
        let is_last = ended.is_some() || last.time_s - begun_s > SEARCH_S;
        let usual = if offset == Offset::Usual {
            Offset::Given(0.0)
        } else {
            offset
        };
        let (offset_s, from) = settle_offset(subject, recording, &frames, usual, &mut painter);
        let from = if offset == Offset::Usual {
            format!("0, at which {place} agree")
        } else {
            from
        };
        let list: Vec<&CapturedFrame> = frames.iter().collect();
        let siting = source.info().siting;
        let measured =
            calibrate::measure(subject, recording, &list, siting, offset_s, &mut painter);
        if measured.is_good() {
            return Some(Found {
                profile: measured.profile,
                offset: (offset_s, from),
                from: format!(
                    "measured from {place} of this capture, the first stretch that agrees; no profile was given"
                ),
                notes: measured.notes,
            });
        }
        if is_last {
            return None;
        }
    }
}

/// Finds the offset that `settings` asks for: offset, where it comes from.
pub fn settle_offset(
    subject: Subject,
    recording: &Recording,
    frames: &[CapturedFrame],
    offset: Offset,
    painter: &mut Painter,
) -> (f64, String) {
    let list: Vec<&CapturedFrame> = frames.iter().collect();
    if let Offset::Given(offset_s) = offset {
        return (offset_s, "given".into());
    }
    if offset == Offset::Usual {
        let at_zero = calibrate::measure(subject, recording, &list, None, 0.0, painter);
        if at_zero.is_good() {
            return (0.0, "0, at which the first stretch agrees".into());
        }
    }
    let found = calibrate::find_offset(subject, recording, &list, painter);
    if offset == Offset::Usual && found.distance > INDISTINCT * found.runner_up {
        let there = calibrate::measure(subject, recording, &list, None, found.offset_s, painter);
        if !there.is_good() {
            return (0.0, "0, since no other agrees".into());
        }
    }
    let confidence = if found.runner_up.is_finite() {
        format!(
            "found from the material: mean difference {:.2} levels, {:.2} at the next best",
            found.distance, found.runner_up
        )
    } else {
        format!(
            "found from the material: mean difference {:.2} levels, no other candidate",
            found.distance
        )
    };
    (found.offset_s, confidence)
}

/// The profile to judge with, and where it comes from.
pub(super) fn settle_profile(
    definition: &Definition,
    chain: &Chain,
    measured: Measured,
    notes: &mut Vec<String>,
) -> Result<(Profile, String), Error> {
    let Chain::Given(given) = chain else {
        notes.extend(measured.notes.iter().cloned());
        let from = if measured.is_good() {
            format!(
                "measured from the first {} frames of this capture, no profile was given",
                measured.profile.frames
            )
        } else {
            notes.push(format!(
                "only {:.0} % of the regions agree in the first stretch: either the display is wrong all along, or the offset, the recording or the definition is not the capture's; where only the chain is in doubt, make a profile with `framevouch calibrate` from a stretch that is known to be good",
                100.0 * measured.agreeing
            ));
            "measured from the first stretch of this capture, which does not agree".into()
        };
        return Ok((measured.profile, from));
    };
    let found = &measured.profile;
    if (given.width, given.height) != (found.width, found.height) {
        return Err(Error::Chain(format!(
            "the profile is for frames of {}x{}, the capture has {}x{}; calibrate this chain anew",
            given.width, given.height, found.width, found.height
        )));
    }
    if (given.encoding, given.subsampling) != (found.encoding, found.subsampling) {
        return Err(Error::Chain(format!(
            "the profile is for {:?} {:?}, the capture has {:?} {:?}; calibrate this chain anew, or set matrix and range as they were",
            given.encoding, given.subsampling, found.encoding, found.subsampling
        )));
    }
    if measured.is_good()
        && let Some(what) = chain_change(definition, given, found)
    {
        return Err(Error::Chain(format!(
            "the capture chain is not the one of the profile: {what}; calibrate it anew"
        )));
    }
    notes.extend(measured.notes.into_iter().filter(|n| n.contains("data")));
    Ok((Profile::clone(given), "given".into()))
}

/// In what `found` differs from `given`, in words.
fn chain_change(definition: &Definition, given: &Profile, found: &Profile) -> Option<String> {
    for (axis, k, length) in [("x", 0, given.width), ("y", 1, given.height)] {
        let at = |p: &Profile, v: f64| p.scale[k] * v + p.shift_px[k];
        for place in [0.0, length as f64] {
            let moved = at(found, place) - at(given, place);
            if moved.abs() > CHAIN_SHIFT_PX {
                return Some(format!(
                    "the picture is displaced by {moved:.2} px in {axis} at {place:.0} px"
                ));
            }
        }
    }
    let (a, b) = (given.look(), found.look());
    for color in definition.file().colors.keys() {
        let rgb = definition.color(color);
        let (a, b) = (a.levels(rgb), b.levels(rgb));
        for k in 0..3 {
            let change = f64::from(a[k].abs_diff(b[k]));
            if change > CHAIN_LEVELS {
                return Some(format!(
                    "colour \"{color}\" differs by {change:.0} levels over the whole picture"
                ));
            }
        }
    }
    None
}
