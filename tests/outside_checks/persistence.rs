//! Chances that a confirmation rule trips on independent frames, found by driving the rules
//! themselves through every state they can be in.
//!
//! Feller, An Introduction to Probability Theory and Its Applications, vol. 1, XIII.7 (runs),
//! and the binomial law; see the fixture.

use std::collections::BTreeMap;

use framevouch::judge::persistence::{KOfN, RunLength};

use crate::{fixture, list, number};

const FIXTURE: &str = include_str!("../checks/kofn.json");

/// A confirmation rule as a machine: equal ones behave the same from here on.
trait Rule: Copy + Ord {
    fn push(&mut self, is_faulty: bool) -> bool;
}

impl Rule for KOfN {
    fn push(&mut self, is_faulty: bool) -> bool {
        Self::push(self, is_faulty)
    }
}

impl Rule for RunLength {
    fn push(&mut self, is_faulty: bool) -> bool {
        Self::push(self, is_faulty)
    }
}

/// The two ways on from a state: chance, state after, whether it has tripped.
fn steps<R: Rule>(state: R, p: f64) -> [(f64, R, bool); 2] {
    [(p, true), (1.0 - p, false)].map(|(chance, is_faulty)| {
        let mut after = state;
        let is_tripped = after.push(is_faulty);
        (chance, after, is_tripped)
    })
}

/// Chance that the rule has tripped at some time within so many frames.
fn tripped_within<R: Rule>(rule: R, p: f64, frames: u64) -> f64 {
    let mut waiting = BTreeMap::from([(rule, 1.0)]);
    let mut tripped = 0.0;
    for _ in 0..frames {
        let mut next = BTreeMap::new();
        for (state, held) in waiting {
            for (chance, after, is_tripped) in steps(state, p) {
                if is_tripped {
                    tripped += held * chance;
                } else {
                    *next.entry(after).or_insert(0.0) += held * chance;
                }
            }
        }
        waiting = next;
    }
    tripped
}

/// Mean number of frames until the rule trips: for each state E = 1 + sum of chance times E of
/// the state after, solved by elimination with pivots.
fn mean_frames_to_trip<R: Rule>(rule: R, p: f64) -> f64 {
    let mut numbers = BTreeMap::from([(rule, 0)]);
    let mut states = vec![rule];
    let mut k = 0;
    while k < states.len() {
        for (_, after, is_tripped) in steps(states[k], p) {
            if !is_tripped && !numbers.contains_key(&after) {
                numbers.insert(after, states.len());
                states.push(after);
            }
        }
        k += 1;
    }
    let n = states.len();
    let mut rows = vec![vec![0.0; n + 1]; n];
    for (row, &state) in rows.iter_mut().zip(&states) {
        row[numbers[&state]] += 1.0;
        row[n] = 1.0;
        for (chance, after, is_tripped) in steps(state, p) {
            if !is_tripped {
                row[numbers[&after]] -= chance;
            }
        }
    }
    for column in 0..n {
        let pivot =
            (column..n).max_by(|&a, &b| rows[a][column].abs().total_cmp(&rows[b][column].abs()));
        rows.swap(column, pivot.expect("a row is left"));
        let from = rows[column].clone();
        for row in rows
            .iter_mut()
            .skip(column + 1)
            .filter(|row| row[column] != 0.0)
        {
            let factor = row[column] / from[column];
            for (value, above) in row.iter_mut().zip(&from).skip(column) {
                *value -= factor * above;
            }
        }
    }
    let mut means = vec![0.0; n];
    for k in (0..n).rev() {
        let known: f64 = (k + 1..n).map(|j| rows[k][j] * means[j]).sum();
        means[k] = (rows[k][n] - known) / rows[k][k];
    }
    means[0]
}

fn close(found: f64, published: f64, relative: f64, what: &serde_json::Value) {
    assert!(
        (found - published).abs() <= relative * published.abs(),
        "{what}: found {found}"
    );
}

fn count(case: &serde_json::Value, name: &str) -> u32 {
    case[name].as_u64().expect("a count") as u32
}

/// The binomial law: a window that has just been filled.
#[test]
fn a_full_window_trips_by_the_binomial_law() {
    for case in list(&fixture(FIXTURE), "block_k_of_n") {
        let (k, n, p) = (count(case, "k"), count(case, "n"), number(&case["p"]));
        let mut chance = 0.0;
        for pattern in 0_u32..1 << n {
            let mut window = KOfN::new(k, n);
            let mut is_tripped = false;
            let mut weight = 1.0;
            for frame in 0..n {
                let is_faulty = pattern >> frame & 1 == 1;
                is_tripped = window.push(is_faulty);
                weight *= if is_faulty { p } else { 1.0 - p };
            }
            if is_tripped {
                chance += weight;
            }
        }
        close(chance, number(&case["probability"]), 1e-9, case);
    }
}

#[test]
fn sliding_windows_trip_as_often_as_published() {
    for case in list(&fixture(FIXTURE), "sliding_window") {
        let rule = KOfN::new(count(case, "k"), count(case, "n"));
        let p = number(&case["p"]);
        let frames = case["frames"].as_u64().expect("a count");
        close(
            tripped_within(rule, p, frames),
            number(&case["probability_tripped_by_then"]),
            1e-9,
            case,
        );
        close(
            mean_frames_to_trip(rule, p),
            number(&case["expected_frames_to_trip"]),
            1e-8,
            case,
        );
    }
}

#[test]
fn runs_trip_as_often_as_published() {
    for case in list(&fixture(FIXTURE), "run_within") {
        let k = count(case, "k_consecutive");
        let p = number(&case["p"]);
        let frames = case["frames"].as_u64().expect("a count");
        let published = number(&case["probability_at_least_one_trip"]);
        close(
            tripped_within(RunLength::new(k, 1), p, frames),
            published,
            1e-9,
            case,
        );
        // A run of k is k of the last k.
        if frames <= 60 {
            close(
                tripped_within(KOfN::new(k, k), p, frames),
                published,
                1e-9,
                case,
            );
        }
    }
    let fair = tripped_within(RunLength::new(3, 1), 0.5, 10);
    assert_eq!(
        fair,
        520.0 / 1024.0,
        "Feller: a run of 3 in 10 tosses of a fair coin"
    );
}

#[test]
fn first_runs_come_as_late_as_published() {
    let fixture = fixture(FIXTURE);
    let mut checked = 0;
    for case in list(&fixture, "mean_to_first_run") {
        let published = number(&case["expected_frames_to_first_run"]);
        // Beyond this the chance of a trip drowns in the rounding of 1 - p.
        if published > 1e9 {
            continue;
        }
        close(
            mean_frames_to_trip(RunLength::new(count(case, "k"), 1), number(&case["p"])),
            published,
            1e-6,
            case,
        );
        checked += 1;
    }
    assert!(checked >= 20, "{checked}");
    for case in list(&fixture, "detection_latency") {
        let rule = RunLength::new(count(case, "k_consecutive"), 1);
        let frames = mean_frames_to_trip(rule, number(&case["p_detect"]));
        close(frames, number(&case["mean_frames"]), 1e-9, case);
        close(
            frames * 1000.0 / 60.0,
            number(&case["mean_ms_at_60_hz"]),
            1e-9,
            case,
        );
    }
}
