//! The rules of the verdicts in words: the one place that `framevouch explain`, the README's table and whoever writes of
//! them take the sentences from.
//!
//! Each sentence says what the code of its stage does, with the code's own constants in it; limits that a definition
//! sets are named by their keys, never by a number. A change of a rule changes its sentence here.

use super::constants::{ALARM, HELD_BACK_PX, LONGEST_DELAY_S, STRETCH_S};
use super::verdict::Verdict;
use crate::definition::model::Hazard;

/// When a picture gets the verdict, in one line.
#[must_use]
pub const fn when(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Agrees => {
            "the picture agrees at a permitted age, and every reading is within tolerance"
        }
        Verdict::Blind => "it agrees, but nothing moved enough for a freeze to be seen",
        Verdict::Blank => "one colour where ink is due",
        Verdict::Garbled => "there is a picture that cannot be read: noise, lost lines, tearing",
        Verdict::Late => "it follows its inputs, but with data older than permitted",
        Verdict::Frozen => "it stands still while its inputs move",
        Verdict::Misleading => {
            "it can be read and is wrong: a value, a digit, a colour, a place, something missing or extra, a plausible value on invalid data"
        }
        Verdict::NotJudged => {
            "the recording lacks a channel that the region needs, does not reach this frame, or does not say well enough what is due there"
        }
    }
}

/// How a picture is held against the reference.
pub const AGREEMENT: &str = "A pixel agrees when its level lies within the levels of the 3 x 3 pixels round its place in \
    the other picture, widened by the noise of the chain and by a share of the contrast there; this is asked both ways round, \
    for ink that is due and missing and for ink that is there and foreign. Pixels that disagree count in company, so that \
    scattered noise adds up to nothing.";

/// How a verdict is decided, step by step.
#[must_use]
pub fn decided(verdict: Verdict) -> String {
    match verdict {
        Verdict::Agrees => "The picture agrees with the reference of inputs no older than max_latency_ms, every value that \
             is read from it is within its tolerance, and a freeze would have been seen."
            .into(),
        Verdict::Blind => format!(
            "The picture agrees. But the same sum that tells a freeze, run over the inputs alone, stays below {ALARM}, or they \
             moved by less than {HELD_BACK_PX} px: had the picture stood still in that time, it would look the same."
        ),
        Verdict::Blank => "Nothing that the display could show explains the picture, and it is one colour, or test bars of \
             the chain, where the reference has ink."
            .into(),
        Verdict::Garbled => "Nothing that the display could show explains the picture, it is not blank, and it has the signs \
             of one that cannot be read: noise all over flat ground, lines that have nothing to do with the reference between \
             lines that agree, or bands of lines that stand aside by different amounts."
            .into(),
        Verdict::Late => format!(
            "The picture, or the values read from it over the stretch since it went wrong, are explained better by inputs of one \
             delay, up to {LONGEST_DELAY_S} s, than by standing still or by an offset, and that delay is more than \
             max_latency_ms. On a straight ramp a delay and an offset look alike: then other regions that follow newer data decide for \
             an offset."
        ),
        Verdict::Frozen => format!(
            "For each value a sum of log-likelihoods runs from frame to frame: that it is held where it was last seen within \
             the inputs of a live display, against that it follows them. At {ALARM} it counts as held, once the inputs have left it \
             by {HELD_BACK_PX} px; where nothing is read, one moment of the recording explains all pictures of the stretch. The onset is \
             dated back to the first held frame."
        ),
        Verdict::Misleading => {
            let all = [Misled::Value, Misled::Picture, Misled::Digits, Misled::Invalid];
            all.map(misleading).join(" ")
        }
        Verdict::NotJudged => "Nothing is said of a region without the channels that it needs, of one that is unchecked, of one that \
             a page lacks which may stand there (as while a reversion is awaited), and of frames outside the recording."
            .into(),
    }
}

/// What a misleading picture misleads by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Misled {
    /// A value that is read from something that moves.
    Value,
    /// The picture, whatever its values.
    Picture,
    /// A number that stands there as digits.
    Digits,
    /// A value without valid data.
    Invalid,
}

/// How it is decided that a picture misleads by this.
#[must_use]
pub fn misleading(by: Misled) -> String {
    match by {
        Misled::Value => format!(
            "A value misleads when its error against the inputs of every age up to max_latency_ms, in this frame or over stretches \
             of {} s to {} s with one age for all frames, less three standard errors of measuring, is more than \
             the tolerance, and the values since it went wrong neither stand still nor follow with one delay. Where no permitted age \
             explains it, its error is that at the age that the display's other regions show.",
            STRETCH_S[0], STRETCH_S[1]
        ),
        Misled::Picture => "A picture misleads when neither the inputs of a permitted or an earlier moment nor the values read from it \
             explain it, and it is not blank or garbled; also when it is that of an earlier moment for want of one alert that has come \
             since, while other regions follow newer data."
            .into(),
        Misled::Digits => "Digits mislead when characters stand there that the due number does not have, or the number is off by \
             more than the readout's own tolerance, half of its last digit and what measuring explains."
            .into(),
        Misled::Invalid => "A value misleads also when there have been no valid data for it for as long as a display may be late."
            .into(),
    }
}

/// How verdicts become an event.
pub const CONFIRMED: &str = "A fault is raised when a region's frames have been faulty without a break for confirm_ms or, \
    where confirm_frames = [k, n] is set, when k of the last n were; it ends when they have agreed for recover_ms. The event \
    takes the class that its frames mostly say, later ones weighing more.";

/// How a budget decides.
pub const BUDGET: &str = "Where the hazard class has a budget and the region no confirm_ms or confirm_frames, three questions about a \
    value are decided by sums of log-likelihoods over time, each reading counting as the share of an independent one that it is worth: \
    whether it is off by more than its tolerance, whether it is held, and whether data of no permitted age explain it. A sum raises \
    its event at once when it reaches the log of the independent readings that must lie between its false alarms, by the equal part of \
    nuisance_per_hour that it may spend. The error that is looked for is the smallest beyond the tolerance that can be told within \
    time_to_alert_ms. Pictures that are wrong in themselves, texts and liveness cells have no reading whose error would say how \
    seldom they look so: they are confirmed by time.";

/// When an event is the whole frame's.
pub const WHOLE_FRAME: &str = "Events of one class that overlap become one. It is the whole frame's when no other region \
    contradicts: by a picture that is there (blank, garbled), or by values seen to follow their inputs since (late, \
    frozen); a garbled picture is also the whole frame's where most of the time all lines of the frame, or most regions, \
    were broken. Misleading pictures stand for themselves, but for what another page, or halves in each other's place, put there \
    as a whole.";

/// When a display that must revert has not.
pub const REVERSION: &str = "From the frame in which a fault of a catastrophic or hazardous region (or alert) is confirmed the page of \
    the reversion has within_ms to stand there: most of what it alone has must be explained. After that it is an event of its own. A \
    page that comes when no such fault has lasted for half of its confirmation time is a wrong page.";

/// When two displays differ.
pub const BESIDE: &str = "Where both agree with their inputs, the errors of what they show of a channel must not differ by more than \
    the tolerance, beyond three standard errors of both and what the input changes by within a frame.";

/// What the monitor does about an event of a hazard class.
#[must_use]
pub const fn action(hazard: Hazard) -> &'static str {
    match hazard {
        Hazard::Catastrophic | Hazard::Hazardous => {
            "catastrophic and hazardous: remove the picture and put up the reversionary display"
        }
        Hazard::Major => "major: flag the region to the crew",
        Hazard::Minor | Hazard::None => "minor and without effect: write it down",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [Verdict; 8] = [
        Verdict::Agrees,
        Verdict::Blind,
        Verdict::Blank,
        Verdict::Garbled,
        Verdict::Late,
        Verdict::Frozen,
        Verdict::Misleading,
        Verdict::NotJudged,
    ];

    #[test]
    fn the_readme_has_the_same_sentences() {
        let readme = include_str!("../../README.md");
        for verdict in ALL {
            let word = super::super::event::name(verdict).replace(' ', "_");
            let row = format!("| `{word}` | {} |", when(verdict));
            assert!(readme.contains(&row), "the README lacks: {row}");
        }
    }

    #[test]
    fn a_rule_is_one_paragraph_that_names_limits_and_does_not_restate_them() {
        for verdict in ALL {
            let words = decided(verdict);
            assert!(words.ends_with('.') && !words.contains("  "), "{words}");
            assert!(!words.contains('\n'), "{words}");
        }
        for words in [AGREEMENT, CONFIRMED, BUDGET, WHOLE_FRAME, REVERSION, BESIDE] {
            assert!(words.ends_with('.') && !words.contains("  "), "{words}");
        }
        assert!(decided(Verdict::Late).contains("max_latency_ms"));
        assert!(decided(Verdict::Misleading).contains(&misleading(Misled::Digits)));
    }
}
