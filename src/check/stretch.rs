//! From which stretch of a capture the chain is measured, and whether it is the one of a profile.

use crate::capture::profile::Profile;
use crate::capture::{CapturedFrame, Error as CaptureError};
use crate::chain::change::chain_change;
use crate::chain::measure::{Given, Measured, in_words, measure};
use crate::chain::offset::find_offset;
use crate::chain::stretch::Stretch;
use crate::definition::Definition;
use crate::evidence::records::thousandths;
use crate::examine::comparison::ChainLook;
use crate::examine::subject::Subject;
use crate::picture::Subsampling;
use crate::recording::Recording;
use crate::reference::canvas::Geometry;
use crate::reference::painter::Painter;

use super::place::{Place, displaced, settle_place};
use super::run::Run;
use super::{Error, FrameSource, Offset};
use crate::check::constants::stretch::{
    FARTHEST_REFINED_S, FIRST_FRAMES, FIRST_STRETCH_S, INDISTINCT, SEARCH_S,
};

/// What a stretch of a capture says.
#[derive(Clone, Debug, PartialEq)]
pub struct Settled {
    /// Recording time = capture time + offset, s.
    pub offset_s: f64,
    /// Where the offset comes from, in words.
    pub offset_from: String,
    /// The chain, measured at this offset.
    pub measured: Measured,
    /// Where the display was expected.
    pub expected: Geometry,
    /// Which frames these were, in words; `None` for the first of a capture.
    pub stretch: Option<String>,
}

/// Reads the next stretch of a capture that the chain can be measured from.
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

/// Looks for the first stretch of a capture that agrees, where the first of all does not: displays are
/// often dark, or show a test picture, when a capture begins. `None` when there is none within two minutes,
/// or before the capture's first damage.
///
/// # Errors
/// [`Error::Elsewhere`] where the display is there, and not where it usually is.
pub fn find_stretch(
    subject: Subject,
    recording: &Recording,
    source: &mut dyn FrameSource,
    offset: Offset,
    place: Place,
    profile: Option<&Profile>,
) -> Result<Option<Settled>, Error> {
    let mut painter = Painter::new();
    let mut begin_s = None;
    for stretch in 1u32.. {
        let Ok((frames, ended)) = first_stretch(source) else {
            return Ok(None);
        };
        let (Some(first), Some(last)) = (frames.first(), frames.last()) else {
            return Ok(None);
        };
        let begun_s = *begin_s.get_or_insert(first.time_s);
        let frames_in_words = format!("frames {} to {}", first.index, last.index);
        let siting = source.info().siting;
        // Offsets and places are looked for at distances that double: each search tries all of them.
        let place = match (stretch.is_power_of_two(), offset, place) {
            (true, _, place) => Some(place),
            (false, Offset::Given(_), Place::Usual) => Some(Place::Given(Geometry::IDENTITY)),
            (false, Offset::Given(_), Place::Given(_)) => Some(place),
            (false, ..) => None,
        };
        let place = place
            .map(|place| settle_place(subject, recording, &frames, place, offset, &mut painter));
        let settled = match place {
            Some(Err(e @ Error::Elsewhere { .. })) => return Err(e),
            None | Some(Err(_)) => None,
            Some(Ok(place)) => {
                let given = Given {
                    siting,
                    place,
                    profile,
                };
                Some(settle(subject, recording, &frames, given, offset))
            }
        };
        if let Some(settled) = settled.filter(|s| s.measured.is_good()) {
            return Ok(Some(Settled {
                stretch: Some(frames_in_words),
                ..settled
            }));
        }
        if ended.is_some() || last.time_s - begun_s > SEARCH_S {
            break;
        }
    }
    Ok(None)
}

/// Finds the offset that is asked for, and measures the chain from `frames` at it.
pub fn settle(
    subject: Subject,
    recording: &Recording,
    frames: &[CapturedFrame],
    given: Given,
    offset: Offset,
) -> Settled {
    let stretch = Stretch {
        frames: frames.iter().collect(),
        subject,
        recording,
        offset_s: 0.0,
    };
    let at = |offset_s: f64, offset_from: String| Settled {
        offset_s,
        offset_from,
        measured: measure(&stretch.at(offset_s), given),
        expected: given.place,
        stretch: None,
    };
    let at_zero = match offset {
        Offset::Given(offset_s) => return at(offset_s, "given".into()),
        Offset::Usual => Some(at(0.0, "0, at which all regions agree".into())),
        Offset::Auto => None,
    };
    let is_plain = |m: &Measured| m.is_good() && m.agreeing >= 1.0 && !m.is_ahead();
    let at_zero = match at_zero {
        Some(zero) if is_plain(&zero.measured) => return zero,
        // With one page, the artwork that is not there is due at every other moment too.
        Some(zero) if zero.measured.is_nothing() && subject.definition().pages().len() <= 1 => {
            return at_none(zero);
        }
        other => other,
    };
    let found = find_offset(&stretch, &given.place);
    let next = if found.runner_up.is_finite() {
        format!("{:.2} at the next best", found.runner_up)
    } else {
        "no other candidate".to_owned()
    };
    let distance = found.distance;
    let from = format!("found from the material: mean difference {distance:.2} levels, {next}");
    let mut there = at(found.offset_s, from.clone());
    // Readings tell time finer than differences of pictures do. The display's own latency goes into the offset: here
    // the two cannot be told apart.
    if let Some(latency_s) = there
        .measured
        .latency_s
        .filter(|s| s.abs() < FARTHEST_REFINED_S)
    {
        let refined = at(found.offset_s - latency_s, from);
        if refined.measured.agreeing >= there.measured.agreeing {
            there = refined;
        }
    }
    let is_distinct = distance <= INDISTINCT * found.runner_up;
    let share = |s: &Settled| 100.0 * s.measured.agreeing;
    match at_zero {
        // What is wrong on the display may look right at another moment.
        Some(zero) if zero.measured.is_good() => {
            let gain = there.measured.agreeing - zero.measured.agreeing;
            let is_better = gain > 0.0 || (gain == 0.0 && zero.measured.is_ahead());
            if is_better && is_distinct && there.measured.is_good() {
                return there;
            }
            let offset_from = format!(
                "0, at which {:.0} % of the regions agree; {:.0} % at the best other, {} s",
                share(&zero),
                share(&there),
                thousandths(found.offset_s)
            );
            Settled {
                offset_from,
                ..zero
            }
        }
        _ if there.measured.is_good() || is_distinct => there,
        zero => at_none(zero.unwrap_or_else(|| at(0.0, String::new()))),
    }
}

/// What a stretch says that agrees at no offset.
fn at_none(zero: Settled) -> Settled {
    Settled {
        offset_from: "0, since the picture agrees at none".into(),
        ..zero
    }
}

/// The profile to judge with, and where it comes from.
pub(super) fn settle_profile(
    definition: &Definition,
    given: Option<&Profile>,
    settled: Settled,
    notes: &mut Vec<String>,
) -> Result<(Profile, String), Error> {
    let (measured, stretch) = (settled.measured, settled.stretch);
    let Some(given) = given else {
        let is_good = measured.is_good();
        if !is_good {
            notes.push(format!(
                "only {:.0} % of the regions agree in the first stretch: either the display is wrong all along, or the offset, the recording or the definition is not the capture's; where only the chain is in doubt, make a profile with `framevouch calibrate` from a stretch that is known to be good",
                100.0 * measured.agreeing
            ));
        }
        notes.extend(measured.notes);
        let size = definition.size();
        notes.extend(displaced(
            &measured.profile.look().geometry,
            &settled.expected,
            size,
        ));
        let from = match stretch {
            Some(stretch) => format!(
                "measured from {stretch} of this capture, the first stretch that agrees; no profile was given"
            ),
            None if is_good => format!(
                "measured from the first {} frames of this capture, no profile was given",
                measured.profile.frames
            ),
            None => "measured from the first stretch of this capture, which does not agree".into(),
        };
        return Ok((measured.profile, from));
    };
    let found = &measured.profile;
    if (given.width, given.height) != (found.width, found.height) {
        return Err(Error::chain(
            format!(
                "the profile is for frames of {}x{}, the capture has {}x{}",
                given.width, given.height, found.width, found.height
            ),
            "calibrate this chain anew",
        ));
    }
    if (given.encoding, given.subsampling) != (found.encoding, found.subsampling) {
        return Err(Error::chain(
            format!(
                "the profile is for {}, the capture has {}",
                planes_in_words(given),
                planes_in_words(found)
            ),
            "calibrate this chain anew, or set --matrix and --range as they were",
        ));
    }
    if measured.is_good()
        && let Some(what) = chain_change(definition, given, found)
    {
        return Err(Error::Chain {
            since_frame: None,
            words: format!(
                "the capture chain is not the one of the profile: {what}; calibrate it anew"
            ),
            what,
        });
    }
    notes.extend(measured.notes.into_iter().filter(|n| n.contains("data")));
    Ok((given.clone(), "given".into()))
}

fn planes_in_words(profile: &Profile) -> String {
    let resolution = match profile.subsampling {
        Subsampling::None => "4:4:4",
        Subsampling::Columns => "4:2:2",
        Subsampling::Both => "4:2:0",
    };
    format!("{} {resolution}", in_words(profile.encoding))
}

/// Whether a check accepts what was `settled` as the chain of these frames: of the `first` stretch of a capture, from
/// which a check measures again, and of `frames` anywhere in it; gives the ids of regions that disagree in more than half
/// of them by this chain, which a check would raise. A chain that its place and one map of colours do not
/// describe comes out differently from stretch to stretch, or leaves what no chain that was measured would.
///
/// # Errors
/// [`Error::NoAgreement`] where the frames do not show what is due, and what a check would say: [`Error::Chain`].
pub fn confirm(
    subject: Subject,
    recording: &Recording,
    (first, frames): (&[CapturedFrame], &[CapturedFrame]),
    given: Given,
    settled: &Settled,
) -> Result<Vec<String>, Error> {
    if !settled.measured.is_good() {
        return Err(Error::NoAgreement);
    }
    let definition = subject.definition();
    let profile = &settled.measured.profile;
    let offset = Offset::Given(settled.offset_s);
    let given = Given {
        profile: Some(profile),
        ..given
    };
    let again = settle(subject, recording, first, given, offset);
    settle_profile(definition, Some(profile), again, &mut Vec::new())?;
    let mut run = Run::new(
        definition,
        subject,
        recording,
        &ChainLook::of(profile),
        (profile.width, profile.height),
        settled.offset_s,
        profile.latency_s,
        Painter::new(),
    );
    let regions = definition.regions();
    let mut faulty = vec![0; regions.len()];
    for frame in frames {
        let examined = run.examine(frame, None);
        for (count, told) in faulty.iter_mut().zip(run.judge(frame, examined)?) {
            *count += usize::from(told.verdict.is_faulty());
        }
    }
    let raised = regions.iter().zip(faulty);
    let raised = raised.filter(|(_, count)| 2 * count > frames.len());
    Ok(raised.map(|(r, _)| r.id.clone()).collect())
}
