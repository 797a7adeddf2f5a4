//! The same scenario at 12.5 to 60 frames a second: the same events, within a few frames.

use framevouch::demo::faults::Kind;
use framevouch::demo::unit::Plan;
use framevouch::judge::verdict::Verdict;

use crate::bench::{Bench, ONE_DIAL, RATES, table};

const LENGTH_S: f64 = 3.2;
/// After what the chain is measured from.
const ONSET_S: f64 = 1.8;

/// Class, onset and detection (s) of the one event that `kind` makes at this rate.
fn found(kind: &impl Fn(&Bench) -> Kind, rate: (u32, u32)) -> (Verdict, f64, f64) {
    let csv = table(["speed"], LENGTH_S, |t| {
        [75.0 + 20.0 * (3.0 * t).sin() + 4.0 * (11.0 * t).sin()]
    });
    let mut bench = Bench::small(ONE_DIAL, &csv);
    bench.plan = Plan { rate, ..bench.plan };
    let frames = bench.frames(Some((kind(&bench), ONSET_S, 10.0)));
    let checked = bench.check(&frames);
    let [event] = &checked.outcome.events[..] else {
        panic!("one event was due at {rate:?}\n{}", checked.told());
    };
    (event.class, event.onset_s, event.detected_s)
}

/// Finds it as its class at every rate, begun and confirmed within so many frames of 25 a second (or of the rate, where it is lower).
/// Before (e1dafea) stories were told and sums grew by frames.
fn is_found_alike(kind: impl Fn(&Bench) -> Kind, class: Verdict, frames: [f64; 2]) {
    let (_, onset_s, detected_s) = found(&kind, RATES[1]);
    for rate in RATES {
        let frame_s = f64::from(rate.1) / f64::from(rate.0);
        let within_s = frame_s.max(0.04) + 1e-6;
        let (found, its_onset_s, its_detected_s) = found(&kind, rate);
        assert_eq!(found, class, "at {rate:?}");
        let told = format!(
            "{its_onset_s} and {its_detected_s} at {rate:?}, {onset_s} and {detected_s} at 25"
        );
        let [onset, detected] = frames.map(|n| n * within_s);
        assert!((its_onset_s - onset_s).abs() <= onset, "{told}");
        assert!((its_detected_s - detected_s).abs() <= detected, "{told}");
    }
}

#[test]
fn a_bias() {
    let bias = |bench: &Bench| Kind::Bias(0, bench.definition.channel("speed"), 4.5);
    is_found_alike(bias, Verdict::Misleading, [1.0, 2.0]);
}

#[test]
fn a_freeze() {
    // Any picture may come a frame late, so inputs must move on for longer at a lower rate.
    is_found_alike(|_| Kind::FreezeRegion(0), Verdict::Frozen, [2.0, 4.0]);
}

#[test]
fn late_data() {
    is_found_alike(|_| Kind::Late(0.5), Verdict::Late, [1.0, 2.0]);
}
