//! Readings are the values that the unit drew, within their tolerance and near their standard error.

use std::collections::BTreeMap;

use framevouch::demo::faults::Kind;

use framevouch::judge::verdict::Verdict;

use crate::bench::{Bench, ONE_DIAL, table};

/// Errors of the readings by region, channel and what was read.
type Errors = BTreeMap<(String, String, String), Vec<(f64, Option<f64>)>>;

fn errors(bench: &Bench) -> Errors {
    let checked = bench.check(&bench.frames(None));
    let mut out = Errors::new();
    for frame in &checked.frames {
        for (region, record) in &frame.regions {
            for r in &record.readings {
                assert!(r.displayed.is_finite() && r.standard_error.is_finite());
                let key = (region.clone(), r.channel.clone(), r.what.clone());
                out.entry(key).or_default().push((r.error, r.px_per_unit));
            }
        }
    }
    out
}

/// The floor for readings: root mean square of twice 0.05 px on a clean chain.
const FLOOR_PX: f64 = 0.1;

#[test]
fn moving_symbols_are_read_to_a_tenth_of_a_pixel() {
    let errors = errors(&Bench::engine_strip(2.4));
    let mut seen = 0;
    for (key, list) in &errors {
        let px: Vec<f64> = list.iter().filter_map(|(e, k)| Some(e * (*k)?)).collect();
        if px.len() < 10 {
            continue;
        }
        seen += 1;
        let rms = (px.iter().map(|e| e * e).sum::<f64>() / px.len() as f64).sqrt();
        let told = format!("{key:?}: {rms:.3} px over {} readings", px.len());
        assert!(rms < FLOOR_PX, "{told}");
    }
    assert!(
        seen >= 5,
        "continuous readings of {seen} symbols: {:?}",
        errors.keys()
    );
}

#[test]
fn a_bias_is_read_as_what_it_is() {
    let bench = Bench::engine_strip(4.4);
    let region = bench.region("torque");
    let channel = bench.definition.channel("torque");
    let checked = bench.check(&bench.frames(Some((Kind::Bias(region, channel, 6.0), 2.2, 3.8))));
    let event =
        checked.outcome.events.first().unwrap_or_else(|| {
            panic!("a bias of three tolerances is an event\n{}", checked.told())
        });
    let worst = event.worst_error.as_ref().expect("torque can be read");
    assert_eq!(
        (worst.channel.as_str(), worst.unit.as_str()),
        ("torque", "%")
    );
    let error = worst.displayed - worst.expected;
    assert!((error - 6.0).abs() < 0.6, "{error}\n{}", checked.told());
}

/// Before (d7991d7) a pointer that was off and went on by 20 px a frame was lost until it was looked for again, 0.2 s
/// later: an error within the tolerance was nearly raised.
#[test]
fn what_is_off_is_read_however_fast_it_moves() {
    let display = ONE_DIAL.replace("speed = 3.0", "speed = 8.0");
    let csv = table(["speed"], 3.0, |t| {
        [10.0 + 300.0 * (t - 1.6).clamp(0.0, 0.4)]
    });
    let mut bench = Bench::small(&display, &csv);
    bench.plan.latency_s = 0.0;
    let fault = Kind::Bias(0, bench.definition.channel("speed"), 7.0);
    let checked = bench.check(&bench.frames(Some((fault, 1.7, 10.0))));
    for frame in checked.frames.iter().filter(|f| f.time_s >= 1.75) {
        let dial = &frame.regions["dial"];
        let told = format!("{} s: {:?}", frame.time_s, dial.verdict);
        assert_ne!(dial.verdict, Verdict::Misleading, "{told}");
        let [reading] = &dial.readings[..] else {
            panic!("{told}: one reading was due");
        };
        assert!((reading.error - 7.0).abs() < 1.0, "{told}: {reading:?}");
    }
}
