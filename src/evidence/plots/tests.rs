//! Every plot on figures like those of a campaign: well-formed, named, with its text as text.
//!
//! `FRAMEVOUCH_PLOTS=folder cargo test --lib plots` keeps the pictures, to be looked at.

use super::*;
use crate::campaign::statistics::Confidence;
use crate::campaign::statistics::confusion::Confusion;
use crate::campaign::statistics::detection::{self, Detection, ScaleChoice, Trial};
use crate::campaign::statistics::extremes::{self, GeneralizedPareto, Outcome, Settings, Tail};

/// Checks a plot: XML, head, title, description, every word asked for, and nothing outside of the page.
fn check(name: &str, drawn: &Result<String, Error>, words: &[&str]) {
    let drawn = drawn.as_ref().expect("it can be drawn");
    let folder = tempfile::tempdir().expect("a folder");
    let kept = std::env::var_os("FRAMEVOUCH_PLOTS").map(std::path::PathBuf::from);
    let file = kept
        .as_deref()
        .unwrap_or(folder.path())
        .join(format!("{name}.svg"));
    std::fs::write(&file, drawn).expect("it can be written");
    let read = std::fs::read_to_string(&file).expect("it can be read");

    let document = roxmltree::Document::parse(&read).expect("it is XML");
    let root = document.root_element();
    assert_eq!(
        (
            root.attribute("role"),
            root.attribute("width"),
            root.attribute("height")
        ),
        (Some("img"), None, None)
    );
    let view: Vec<f64> = root
        .attribute("viewBox")
        .expect("a view box")
        .split(' ')
        .map(|side| side.parse().expect("a number"))
        .collect();
    let text_of = |tag: &str| -> Vec<String> {
        let nodes = document.descendants().filter(|node| node.has_tag_name(tag));
        nodes
            .map(|node| node.text().unwrap_or_default().trim().to_owned())
            .collect()
    };
    let (titles, descriptions, texts) = (text_of("title"), text_of("desc"), text_of("text"));
    assert_eq!((titles.len(), descriptions.len()), (1, 1));
    assert!(
        texts.join(" ").contains(&titles[0]),
        "the title is drawn: {texts:?}"
    );
    assert!(descriptions[0].len() > 20, "{descriptions:?}");
    for word in words {
        assert!(
            texts.iter().any(|text| text.contains(word)),
            "{name}: {word:?} is not in {texts:?}"
        );
    }
    for node in document
        .descendants()
        .filter(|node| node.has_tag_name("text"))
    {
        assert_eq!(node.attribute("font-family"), Some("sans-serif"));
        let number = |name: &str| {
            node.attribute(name)
                .and_then(|value| value.parse::<f64>().ok())
                .expect("a number")
        };
        let width = 0.5
            * number("font-size")
            * node.text().unwrap_or_default().trim().chars().count() as f64;
        let part = match node.attribute("text-anchor") {
            Some("middle") => 0.5,
            Some("end") => 1.0,
            _ => 0.0,
        };
        let (at, end) = if node.attribute("transform").is_some() {
            (view[3] - number("y"), view[3])
        } else {
            (number("x"), view[2])
        };
        let (start, stop) = (at - part * width, at + (1.0 - part) * width);
        assert!(
            start >= 0.0 && stop <= end,
            "{name}: {:?} is cut ({start} to {stop} of {end})",
            node.text()
        );
    }
}

/// Sizes on a grid or all different, found with a chance that rises with the size; no randomness but a stride.
fn trials(distinct: usize, repeats: usize) -> Vec<Trial> {
    let chance = |size: f64| 1.0 / (1.0 + (-(2.2 * size.ln() - 1.0)).exp());
    (0..distinct * repeats)
        .map(|k| {
            let size = 0.2 * (60.0_f64.ln() * (k % distinct) as f64 / (distinct - 1) as f64).exp();
            Trial {
                size,
                is_detected: ((k * 7919 + 13) % 1009) as f64 / 1009.0 < chance(size),
            }
        })
        .collect()
}

fn curve_plot<'a>(trials: &'a [Trial], detection: &'a Detection) -> DetectionCurve<'a> {
    DetectionCurve {
        title: "Smallest error found: bias of a pointer <pitch & roll>",
        size_name: "error shown",
        unit: "px",
        trials,
        detection,
        tolerance: Some(3.0),
    }
}

#[test]
fn a_curve_of_detection_is_drawn() {
    for (name, trials) in [
        ("detection_curve", trials(80, 1)),
        ("detection_curve_grid", trials(10, 30)),
    ] {
        let found = detection::fit(&trials, ScaleChoice::LowerDeviance, Confidence::USUAL).unwrap();
        assert!(matches!(found, Detection::Fitted(_)), "{found:?}");
        let words = [
            "probability of detection",
            "error shown (px)",
            "a90:",
            "a90/95:",
            "tolerance: 3 px",
            "0.8",
        ];
        let drawn = detection_curve(&curve_plot(&trials, &found));
        check(name, &drawn, &words);
        assert_eq!(
            drawn,
            detection_curve(&curve_plot(&trials, &found)),
            "same figures, same bytes"
        );
    }
}

#[test]
fn a_refused_curve_says_why() {
    let all_found: Vec<Trial> = trials(40, 1)
        .into_iter()
        .map(|trial| Trial {
            is_detected: true,
            ..trial
        })
        .collect();
    let found = detection::fit(&all_found, ScaleChoice::LowerDeviance, Confidence::USUAL).unwrap();
    check(
        "detection_curve_refused",
        &detection_curve(&curve_plot(&all_found, &found)),
        &["no misses in 40 trials"],
    );
    assert!(detection_curve(&curve_plot(&[], &found)).is_err());
}

#[test]
fn times_of_detection_are_drawn() {
    let names = [
        "frozen",
        "misleading",
        "late",
        "blank",
        "garbled",
        "flickering",
        "missing symbol",
        "wrong page",
    ];
    let times: Vec<Vec<f64>> = (0..names.len())
        .map(|kind| {
            (1..=40)
                .map(|k| 0.2 + 0.1 * kind as f64 + 0.3 * -(1.0 - f64::from(k) / 41.0).ln())
                .collect()
        })
        .collect();
    let series: Vec<TimeSeries<'_>> = names
        .iter()
        .zip(&times)
        .enumerate()
        .map(|(k, (name, times_s))| TimeSeries {
            name,
            times_s,
            missed: k as u64,
        })
        .collect();
    let plot = DetectionTimes {
        title: "Detection time by kind of fault",
        series: &series,
        limit_s: Some(2.0),
    };
    let words = [
        "time from onset to detection (s)",
        "share of faults found",
        "median",
        "limit: 2 s",
        "frozen (40 of 40)",
    ];
    check("detection_time", &detection_time(&plot), &words);
    assert!(
        detection_time(&DetectionTimes {
            series: &[],
            ..plot
        })
        .is_err()
    );
    let odd = [TimeSeries {
        name: "frozen",
        times_s: &[f64::NAN],
        missed: 0,
    }];
    assert!(
        detection_time(&DetectionTimes {
            series: &odd,
            ..plot
        })
        .is_err()
    );
}

#[test]
fn a_trade_off_is_drawn() {
    let choices: Vec<Choice> = (0..60)
        .map(|k| {
            let (strict, off) = (f64::from(k % 20) / 19.0, f64::from(k / 20));
            Choice {
                nuisance_per_hour: if k % 20 == 19 {
                    0.0
                } else {
                    40.0 * (-9.0 * strict).exp() * (1.0 + 0.5 * off)
                },
                missed_share: 0.01 + 0.2 * strict * strict + 0.04 * off,
                detection_time_s: 0.3 + 1.5 * strict,
                is_on_front: off == 0.0,
                is_present: k == 12,
            }
        })
        .collect();
    let plot = TradeOff {
        title: "Trade-off of thresholds",
        misses_name: "faults missed (upper 95 % bound of the share)",
        nuisance_name: "nuisance trips",
        choices: &choices,
    };
    let words = [
        "faults missed",
        "nuisance trips (1/h)",
        "as they are: missed",
        "none",
        "detection time up to",
    ];
    check("trade_off", &trade_off(&plot), &words);
    assert!(
        trade_off(&TradeOff {
            choices: &[],
            ..plot
        })
        .is_err()
    );
    let odd = [Choice {
        missed_share: f64::NAN,
        ..choices[0]
    }];
    assert!(
        trade_off(&TradeOff {
            choices: &odd,
            ..plot
        })
        .is_err()
    );
    for same in [&choices[..1], &choices[19..20]] {
        assert!(
            trade_off(&TradeOff {
                choices: same,
                ..plot
            })
            .is_ok(),
            "one choice alone"
        );
    }
}

fn fitted_tail() -> (Tail, Vec<f64>) {
    let truth = GeneralizedPareto {
        shape: 0.05,
        scale: 0.06,
    };
    let peaks: Vec<f64> = (0..120)
        .map(|k| 0.5 + truth.quantile((f64::from(k) + 0.5) / 120.0))
        .collect();
    let values: Vec<f64> = peaks.iter().flat_map(|&peak| [peak, 0.0, 0.0]).collect();
    let settings = Settings {
        threshold: 0.5,
        run_length: 2,
        levels: (0..=50).map(|k| 0.5 + 0.018 * f64::from(k)).collect(),
        confidence: Confidence::USUAL,
        replicates: 60,
        seed: 1,
    };
    match extremes::fit(&values, 1.6, &settings).unwrap() {
        Outcome::Fitted(tail) => (*tail, peaks),
        Outcome::Refused(refusal) => panic!("{refusal}"),
    }
}

#[test]
fn a_tail_is_drawn_with_its_caution() {
    let (fitted, peaks) = fitted_tail();
    let plot = TailFit {
        title: "Nuisance rate against threshold",
        value_name: "largest window of disagreeing pixels (share)",
        tail: &fitted,
        peaks: &peaks,
        current: Some(1.2),
    };
    let words = [
        "times passed an hour (1/h)",
        "largest window",
        "extrapolated",
        "threshold now: 1.2",
        "This is an extrapolation",
    ];
    check("tail", &tail(&plot), &words);
    assert!(tail(&TailFit { peaks: &[], ..plot }).is_err());
}

#[test]
fn a_large_matrix_of_coverage_is_drawn() {
    let kinds: Vec<String> = (0..37)
        .map(|k| format!("{} {k}", ["missing symbol", "pointer bias", "swap"][k % 3]))
        .collect();
    let regions: Vec<String> = (0..12)
        .map(|k| format!("{} {k}", ["attitude", "vertical_speed", "engine"][k % 3]))
        .collect();
    let counts: Vec<Vec<Option<Count>>> = (0..37)
        .map(|row| {
            let cell = |column: u64| match (row * 5 + column * 3) % 7 {
                0 => None,
                1 => Some(Count {
                    found: (row + column) % 60,
                    trials: 59 + (row + column) % 60,
                }),
                _ => Some(Count {
                    found: 120,
                    trials: 120,
                }),
            };
            (0..12).map(cell).collect()
        })
        .collect();
    let (kinds, regions): (Vec<&str>, Vec<&str>) = (
        kinds.iter().map(String::as_str).collect(),
        regions.iter().map(String::as_str).collect(),
    );
    let plot = CoverageMatrix {
        title: "Coverage by kind and region",
        kinds: &kinds,
        regions: &regions,
        counts: &counts,
    };
    let words = [
        "kind of fault",
        "region (found/tried)",
        "missing symbol 0",
        "vertical_speed 1",
        "120/120",
        "not tried",
    ];
    check("coverage_matrix", &coverage_matrix(&plot), &words);
    assert!(
        coverage_matrix(&CoverageMatrix {
            counts: &counts[1..],
            ..plot
        })
        .is_err()
    );
    let one = CoverageMatrix {
        kinds: &kinds[..1],
        regions: &regions[..1],
        counts: &[vec![None]],
        ..plot
    };
    check(
        "coverage_matrix_of_one",
        &coverage_matrix(&one),
        &["not tried"],
    );
}

#[test]
fn a_matrix_of_confusion_is_drawn() {
    let classes = [
        Some("frozen"),
        Some("late"),
        Some("misleading"),
        Some("blank"),
        Some("garbled"),
        None,
    ];
    let pairs = (0..6_usize).flat_map(|due| {
        (0..6_usize).flat_map(move |given| {
            let count = if due == given {
                110
            } else {
                (due * 3 + given) % 5
            };
            std::iter::repeat_n(
                (classes[due], classes[given]),
                if due == 3 { 0 } else { count },
            )
        })
    });
    let confusion = Confusion::new(pairs, Confidence::USUAL);
    let words = [
        "class due",
        "class given (trials)",
        "frozen",
        "none",
        "110",
        "never due",
    ];
    check(
        "confusion_matrix",
        &confusion_matrix("Class due against class given", &confusion),
        &words,
    );
    assert!(confusion_matrix("empty", &Confusion::new([], Confidence::USUAL)).is_err());
}
