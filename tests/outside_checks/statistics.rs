//! What is claimed from k of n, rates, percentiles, fitted curves and tails; each source is named at its check and in
//! its fixture.

use framevouch::campaign::statistics::Confidence;
use framevouch::campaign::statistics::binomial::{
    Sides, clopper_pearson, trials_without_miss, wilson,
};
use framevouch::campaign::statistics::detection::{
    Curve, Detection, Scale, ScaleChoice, Trial, fit,
};
use framevouch::campaign::statistics::diagnostic::{
    Level, diagnostic_coverage, safe_failure_fraction,
};
use framevouch::campaign::statistics::extremes::GeneralizedPareto;
use framevouch::campaign::statistics::poisson::Rate;
use framevouch::campaign::statistics::roc::{Roc, Sample};
use framevouch::campaign::statistics::spread::percentile;
use serde_json::Value;

use crate::{fixture, list, number};

/// 95 % of everything.
const CONFIDENCE: Confidence = Confidence::USUAL;

fn close(found: f64, published: f64, relative: f64, what: &Value) {
    assert!(
        (found - published).abs() <= relative * published.abs(),
        "{what}: found {found}, published {published}"
    );
}

fn count(case: &Value, name: &str) -> u64 {
    case[name].as_u64().expect("a count")
}

/// Clopper and Pearson 1934, Biometrika 26, 404-413.
#[test]
fn exact_bounds_of_a_share_are_those_of_clopper_and_pearson() {
    let fixture = fixture(include_str!("../checks/clopper_pearson.json"));
    for case in list(&fixture, "cases") {
        for (sides, name) in [(Sides::Both, "two_sided"), (Sides::Each, "one_sided")] {
            let found = clopper_pearson(count(case, "k"), count(case, "n"), CONFIDENCE, sides);
            let found = found.expect("k is at most n").expect("there are trials");
            close(
                found.lower,
                number(&case[format!("lower_{name}_95")]),
                1e-8,
                case,
            );
            close(
                found.upper,
                number(&case[format!("upper_{name}_95")]),
                1e-8,
                case,
            );
        }
    }
    for case in list(&fixture, "zero_miss_demonstration") {
        let confidence = Confidence::new(number(&case["confidence"])).expect("a level");
        let found = trials_without_miss(number(&case["coverage"]), confidence);
        assert_eq!(
            found,
            Ok(count(case, "all_detected_trials_needed")),
            "{case}"
        );
    }
}

/// Wilson 1927, J. Amer. Statist. Assoc. 22, 209-212.
#[test]
fn score_bounds_of_a_share_are_those_of_wilson() {
    for case in list(&fixture(include_str!("../checks/wilson.json")), "cases") {
        let found = wilson(count(case, "k"), count(case, "n"), CONFIDENCE);
        let found = found.expect("k is at most n").expect("there are trials");
        // Small lower bounds are a difference of larger numbers.
        assert!(
            (found.lower - number(&case["lower_95"])).abs() <= 1e-12,
            "{case}: {found:?}"
        );
        assert!(
            (found.upper - number(&case["upper_95"])).abs() <= 1e-12,
            "{case}: {found:?}"
        );
    }
}

/// Garwood 1936, Biometrika 28, 437-442.
#[test]
fn exact_bounds_of_a_rate_are_those_of_garwood() {
    for case in list(&fixture(include_str!("../checks/poisson.json")), "cases") {
        let found = Rate::new(count(case, "events"), number(&case["hours"]), CONFIDENCE)
            .expect("hours above 0");
        for (found, name) in [
            (found.two_sided_per_hour, "two_sided"),
            (found.one_sided_per_hour, "one_sided"),
        ] {
            let found = found.expect("there was time");
            close(
                found.lower,
                number(&case[format!("lower_{name}_95")]),
                1e-8,
                case,
            );
            close(
                found.upper,
                number(&case[format!("upper_{name}_95")]),
                1e-8,
                case,
            );
        }
    }
}

/// Conover, Practical Nonparametric Statistics, section 3.2; Wilks 1941, Ann. Math. Stat. 12, 91-96.
#[test]
fn bounds_of_percentiles_have_the_ranks_of_the_binomial_law() {
    for case in list(
        &fixture(include_str!("../checks/order_statistics.json")),
        "cases",
    ) {
        let values: Vec<f64> = (1..=count(case, "n")).map(|rank| rank as f64).collect();
        let found = percentile(&values, number(&case["share"]), CONFIDENCE).expect("a share");
        let found = found.expect("there are values");
        assert_eq!(found.lower, case["lower_rank"].as_f64(), "{case}");
        assert_eq!(found.upper, case["upper_rank"].as_f64(), "{case}");
    }
}

/// Fawcett 2006, Pattern Recognition Letters 27, 861-874; Hanley and McNeil 1982, Radiology 143, 29-36.
#[test]
fn curves_of_alarms_are_as_published() {
    for case in list(&fixture(include_str!("../checks/roc.json")), "cases") {
        let samples: Vec<Sample> = list(case, "labels")
            .iter()
            .zip(list(case, "scores"))
            .map(|(label, score)| Sample {
                score: number(score),
                is_fault: label == 1,
            })
            .collect();
        let found = Roc::new(&samples).expect("both kinds");
        let area = number(&case["auc"]);
        assert!((found.area - area).abs() < 1e-12, "{case}: {}", found.area);
        let named = [
            list(case, "fpr"),
            list(case, "tpr"),
            list(case, "thresholds"),
        ];
        assert!(
            named.iter().all(|named| named.len() == found.points.len()),
            "{case}: {found:?}"
        );
        for (k, point) in found.points.iter().enumerate() {
            assert!(
                (point.false_alarms - number(&named[0][k])).abs() < 1e-12,
                "{case}: {point:?}"
            );
            assert!(
                (point.true_alarms - number(&named[1][k])).abs() < 1e-12,
                "{case}: {point:?}"
            );
            // "inf" in the fixture is a threshold above every score.
            assert_eq!(point.threshold, named[2][k].as_f64(), "{case}");
        }
        let youden = found.youden;
        let gain = youden.true_alarms - youden.false_alarms;
        assert!(
            (gain - number(&case["youden_j"])).abs() < 1e-12,
            "{case}: {youden:?}"
        );
        assert_eq!(
            youden.threshold,
            case["youden_threshold"].as_f64(),
            "{case}"
        );
    }
}

/// IEC 61508-2:2010, annex C; ISO 13849-1.
#[test]
fn diagnostic_coverage_is_that_of_the_standard() {
    let fixture = fixture(include_str!("../checks/diagnostic_coverage.json"));
    let name = |level| match level {
        Level::None => "none",
        Level::Low => "low",
        Level::Medium => "medium",
        Level::High => "high",
    };
    for case in list(&fixture, "band_cases") {
        assert_eq!(name(Level::of(number(&case["dc"]))), case["band"], "{case}");
    }
    for case in list(&fixture, "worked_dc") {
        let [safe, detected, undetected] =
            ["lambda_s", "lambda_dd", "lambda_du"].map(|name| number(&case[name]));
        let coverage = diagnostic_coverage(detected, undetected).expect("rates");
        close(coverage, number(&case["dc"]), 1e-12, case);
        close(
            safe_failure_fraction(safe, detected, undetected).expect("rates"),
            number(&case["sff"]),
            1e-12,
            case,
        );
        assert_eq!(name(Level::of(coverage)), case["band"], "{case}");
    }
}

/// Pickands 1975; Coles 2001, chapter 4.
#[test]
fn tails_are_those_of_the_generalized_pareto_distribution() {
    let fixture = fixture(include_str!("../checks/gpd.json"));
    let tail = |case: &Value| GeneralizedPareto {
        shape: number(&case["xi"]),
        scale: number(&case["sigma"]),
    };
    for case in list(&fixture, "quantiles") {
        let share = number(&case["p"]);
        let quantile = number(&case["quantile"]);
        close(tail(case).quantile(share), quantile, 1e-9, case);
        close(tail(case).survival(quantile), 1.0 - share, 1e-8, case);
    }
    for case in list(&fixture, "return_levels") {
        let peaks = number(&case["m_observations"]) * number(&case["zeta_u"]);
        close(
            tail(case).return_level(number(&case["u"]), peaks),
            number(&case["return_level"]),
            1e-12,
            case,
        );
    }
    for case in list(&fixture, "fits") {
        let truth = GeneralizedPareto {
            shape: number(&case["true_xi"]),
            scale: number(&case["true_sigma"]),
        };
        let n = count(case, "n");
        let excesses: Vec<f64> = (1..=n)
            .map(|k| truth.quantile((k as f64 - 0.5) / n as f64))
            .collect();
        close(excesses.iter().sum(), number(&case["sum_x"]), 1e-9, case);
        let found = GeneralizedPareto::fit(&excesses).expect("a usual tail");
        let published = &case["mle"];
        let tolerance = number(&published["xi_tolerance"]);
        assert!(
            (found.shape - number(&published["xi"])).abs() <= tolerance,
            "{case}: {found:?}"
        );
        close(found.scale, number(&published["sigma"]), 1e-4, case);
        // No worse than the reference, to the digits that it gives.
        let loss = found.negative_log_likelihood(&excesses);
        assert!(
            (loss - number(&published["neg_log_likelihood"])).abs() < 2e-8,
            "{case}: {loss}"
        );
    }
}

fn curve(case: &Value) -> Curve {
    let trials: Vec<Trial> = list(case, "size")
        .iter()
        .zip(list(case, "hit"))
        .map(|(size, hit)| Trial {
            size: number(size),
            is_detected: hit == 1,
        })
        .collect();
    let scale = if case["scale"] == "log" {
        Scale::Log
    } else {
        Scale::Linear
    };
    match fit(&trials, ScaleChoice::Given(scale), CONFIDENCE).expect("sizes are sound") {
        Detection::Fitted(curve) => *curve,
        Detection::Refused(refusal) => panic!("{}: {refusal}", case["name"]),
    }
}

/// Logistic regression as in MIL-HDBK-1823A, appendix G, against another library; Hosmer and Lemeshow 1980.
#[test]
fn curves_of_detection_are_those_of_another_library() {
    for case in list(&fixture(include_str!("../checks/hit_miss.json")), "cases") {
        let name = &case["name"];
        let found = curve(case);
        close(found.intercept, number(&case["intercept"]), 1e-8, name);
        close(found.slope, number(&case["slope"]), 1e-8, name);
        for (row, column) in [(0, 0), (0, 1), (1, 0), (1, 1)] {
            close(
                found.covariance[row][column],
                number(&case["covariance"][row][column]),
                1e-6,
                name,
            );
        }
        close(
            found.goodness.deviance,
            number(&case["deviance"]),
            1e-9,
            name,
        );
        close(
            found.goodness.null_deviance,
            number(&case["null_deviance"]),
            1e-9,
            name,
        );
        close(found.goodness.pearson, number(&case["pearson"]), 1e-7, name);
        close(found.a50, number(&case["a50"]), 1e-8, name);
        close(found.a90, number(&case["a90"]), 1e-8, name);
        close(found.a90_95_wald, number(&case["a90_95_wald"]), 1e-7, name);
        close(
            found.a90_95,
            number(&case["a90_95_likelihood_ratio"]),
            1e-6,
            name,
        );

        let test = found.goodness.hosmer_lemeshow.expect("sizes are distinct");
        let published = &case["hosmer_lemeshow"];
        assert_eq!(test.groups, count(published, "groups"), "{name}");
        close(test.statistic, number(&published["statistic"]), 1e-7, name);
        close(test.p_value, number(&published["p_value"]), 1e-7, name);
    }
}

/// The band is computed at sizes of its own; the published points must lie on it.
#[test]
fn bands_of_detection_are_those_of_another_library() {
    for case in list(&fixture(include_str!("../checks/hit_miss.json")), "cases") {
        let found = curve(case);
        for published in list(case, "band") {
            let size = number(&published["size"]);
            let after = found.band.partition_point(|point| point.size < size);
            let (left, right) = (found.band[after - 1], found.band[after]);
            let (from, to) = (found.scale.of(left.size), found.scale.of(right.size));
            let part = (found.scale.of(size) - from) / (to - from);
            let logit = |p: f64| (p / (1.0 - p)).ln();
            for (name, left, right) in [
                ("probability", left.probability, right.probability),
                ("lower", left.lower, right.lower),
                ("upper", left.upper, right.upper),
            ] {
                // Straight between two points in log odds: what bends there stays below the tolerance.
                let between = logit(left) + part * (logit(right) - logit(left));
                let off = (between - logit(number(&published[name]))).abs();
                assert!(
                    off < 2e-3,
                    "{}, {name} at {size}: off by {off}",
                    case["name"]
                );
            }
        }
    }
}
