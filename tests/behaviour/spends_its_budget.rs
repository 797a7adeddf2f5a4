//! Values decided by sums of log-likelihoods, under a budget of nuisance trips and a time to the alert.

use framevouch::demo::faults::Kind;
use framevouch::demo::unit::Plan;
use framevouch::judge::event::Event;
use framevouch::judge::region::Tested;
use framevouch::judge::verdict::Verdict;

use crate::bench::{Bench, Files, ONE_DIAL, RATES, inputs_until, table, y4m};

const TIME_S: f64 = 0.6;

const LENGTH_S: f64 = 3.2;
const ONSET_S: f64 = 1.2;

const CONFIRMED: &str = "confirm_ms = 300\n";

/// The display where a hazard class has a budget, and `confirmed` stands in its region.
fn display(hazard: &str, confirmed: &str) -> String {
    let budget =
        format!("[budget.{hazard}]\nnuisance_per_hour = 0.01\ntime_to_alert_ms = 600\n[fonts]");
    ONE_DIAL
        .replace("[fonts]", &budget)
        .replace(CONFIRMED, confirmed)
}

fn bench(rate: (u32, u32)) -> Bench {
    let csv = table(["speed"], LENGTH_S, |t| [75.0 + 5.0 * (3.0 * t).sin()]);
    let mut bench = Bench::small(&display("hazardous", ""), &csv);
    bench.plan = Plan { rate, ..bench.plan };
    bench
}

/// The one event that `kind` makes at this rate.
fn found(kind: impl Fn(&Bench) -> Kind, rate: (u32, u32)) -> Event {
    let bench = bench(rate);
    let frames = bench.frames(Some((kind(&bench), ONSET_S, 10.0)));
    let checked = bench.check(&frames);
    let [event] = &checked.outcome.events[..] else {
        panic!("one event was due at {rate:?}\n{}", checked.told());
    };
    event.clone()
}

fn bias(tolerances: f64) -> impl Fn(&Bench) -> Kind {
    move |bench| Kind::Bias(0, bench.definition.channel("speed"), 3.0 * tolerances)
}

#[test]
fn twice_the_tolerance_is_found_in_time_at_every_rate() {
    for rate in RATES {
        let frame_s = f64::from(rate.1) / f64::from(rate.0);
        let event = found(bias(2.0), rate);
        assert_eq!(event.class, Verdict::Misleading, "at {rate:?}");
        let test = event.test.as_ref().expect("a test decided");
        assert_eq!((test.of, test.channel.as_str()), (Tested::Value, "speed"));
        assert!(test.sum >= test.threshold - 1e-6, "{test:?}");
        let told = format!("{} and {} at {rate:?}", event.onset_s, event.detected_s);
        assert!((event.onset_s - ONSET_S).abs() <= 1.01 * frame_s, "{told}");
        let after_s = event.detected_s - ONSET_S;
        assert!(after_s <= TIME_S + 1.01 * frame_s, "{told}");
        // The whole time is used, so that errors as small as can be are found.
        assert!(after_s >= TIME_S - 2.0 * frame_s, "{told}");
    }
}

#[test]
fn what_is_held_or_late_is_decided_by_its_sum() {
    for rate in RATES {
        let event = found(|_| Kind::FreezeRegion(0), rate);
        assert_eq!(event.class, Verdict::Frozen, "at {rate:?}");
        let of = event.test.expect("a test decided").of;
        assert_eq!(of, Tested::Held, "at {rate:?}");
        let event = found(|_| Kind::Late(0.5), rate);
        assert_eq!(event.class, Verdict::Late, "at {rate:?}");
        assert!(event.detected_s - ONSET_S < 1.5, "{event:?} at {rate:?}");
    }
}

#[test]
fn a_good_display_and_an_error_within_the_tolerance_raise_nothing() {
    for rate in RATES {
        for fault in [None, Some(0.5), Some(0.8), Some(-0.8)] {
            let bench = bench(rate);
            let kind = fault.map(|size| (bias(size)(&bench), ONSET_S, 10.0));
            let checked = bench.check(&bench.frames(kind));
            let told = checked.told();
            assert!(
                checked.outcome.events.is_empty(),
                "{fault:?} at {rate:?}\n{told}"
            );
        }
    }
}

/// Times of its own keep their meaning, whatever the budget of the class is.
#[test]
fn a_confirmation_time_goes_before_a_budget() {
    let detected_s = |display: &str| {
        let csv = table(["speed"], LENGTH_S, |t| [75.0 + 5.0 * (3.0 * t).sin()]);
        let bench = Bench::small(display, &csv);
        let frames = bench.frames(Some((bias(2.0)(&bench), ONSET_S, 10.0)));
        let events = bench.check(&frames).outcome.events;
        assert_eq!(events.len(), 1);
        assert_eq!(events[0].test, None);
        events[0].detected_s
    };
    let soon = "confirm_ms = 200\n";
    assert_eq!(
        detected_s(&display("hazardous", soon)),
        detected_s(&ONE_DIAL.replace(CONFIRMED, soon))
    );
    // Without a budget for its class, the usual time holds.
    assert_eq!(
        detected_s(&display("minor", "")),
        detected_s(&ONE_DIAL.replace(CONFIRMED, ""))
    );
}

#[test]
fn an_event_under_a_budget_says_its_sum_and_threshold() {
    let files = Files::new();
    let display = files.text("display.toml");
    let lines = display.lines().filter(|l| !l.starts_with("confirm_"));
    let budgets = ["catastrophic", "hazardous", "major"].map(|hazard| {
        format!("[budget.{hazard}]\nnuisance_per_hour = 0.01\ntime_to_alert_ms = 500\n")
    });
    let display = format!(
        "{}\n{}",
        lines.collect::<Vec<_>>().join("\n"),
        budgets.concat()
    );
    files.write("display.toml", display.as_bytes());
    let bench = Bench::engine_strip(3.2);
    files.write("inputs.csv", inputs_until(3.2).as_bytes());
    let channel = bench.definition.channel("torque");
    let kind = Kind::Bias(bench.region("torque"), channel, 4.0);
    files.write("clip.y4m", &y4m(&bench.frames(Some((kind, 1.8, 2.8)))));
    let ran = files.check("clip.y4m", &["--quiet", "--matrix", "bt709"]);
    assert_eq!(ran.status, 1, "{}{}", ran.stdout, ran.stderr);
    let event = &files.json("out/events.json")[0];
    assert_eq!(event["test"]["of"], "value", "{event}");
    let ran = files.run(&["explain", "--from", "out", "0"]);
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    let told = ran.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    for said in [
        "the sum of log-likelihoods that it is off by more than its tolerance reached",
        "asked for are",
        "500 ms to the alert",
    ] {
        assert!(told.contains(said), "{said}: {told}");
    }
}
