//! How fast sets of thresholds are judged from stored measurements, against replaying the material once for
//! each set, in the same run.
//!
//! The material is made up (an hour of clean video at 25 frames a second and 1,000 faults of two seconds in one
//! region of the demo display): what is measured is arithmetic, not how good the thresholds are.
//!
//! `cargo bench --bench tune`

use std::hint::black_box;
use std::path::Path;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use framevouch::campaign::statistics::Confidence;
use framevouch::definition::Definition;
use framevouch::definition::model::Hazard;
use framevouch::demo::DISPLAY;
use framevouch::tune::material::{Clip, Material};
use framevouch::tune::search::{Demand, RegionReady};
use framevouch::tune::strength::{Confirmation, Strengths, factors};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{RngCore, SeedableRng};

const RATE_HZ: f64 = 25.0;
const CLEAN_FRAMES: usize = 90_000;
const FAULTS: u64 = 1_000;
const FAULT_FRAMES: usize = 50;
const LIMIT_MS: f64 = 500.0;

fn clip(region: usize, number: u64, count: usize, strength: impl FnMut(usize) -> f64) -> Clip {
    Clip {
        region,
        number,
        times_s: (0..count).map(|k| k as f64 / RATE_HZ).collect(),
        strengths: Strengths::plain((0..count).map(strength).collect()),
        why: None,
    }
}

fn material(region: usize) -> Material {
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let mut next = || f64::from(rng.next_u32()) / f64::from(u32::MAX);
    let clean = clip(region, 0, CLEAN_FRAMES, |_| 0.4 * next());
    let faults = (0..FAULTS)
        .map(|n| {
            let size = 4.0 * next();
            clip(region, n, FAULT_FRAMES, |_| size + 0.2 * next())
        })
        .collect();
    Material {
        clean: vec![clean],
        faults,
        harmless: Vec::new(),
        clean_hours: CLEAN_FRAMES as f64 / RATE_HZ / 3600.0,
        ..Material::default()
    }
}

/// The plain way: every clip confirmed anew and held against one set of thresholds.
fn replay(material: &Material, confirmation: Confirmation, factor: f64) -> usize {
    let clips = material.faults.iter().chain(&material.clean);
    clips
        .filter(|c| {
            let after = c.strengths.confirmed(&c.times_s, confirmation);
            after.iter().any(|s| *s > factor)
        })
        .count()
}

fn tune(c: &mut Criterion) {
    let definition =
        Definition::from_toml(DISPLAY, "demo", Path::new(".")).expect("the demo's definition");
    let region = 0;
    let material = material(region);
    let demand = Demand {
        nuisance_per_hour: 0.01,
        coverage: 0.99,
        detection_ms: LIMIT_MS,
        hazard: Hazard::Hazardous,
        confidence: Confidence::new(0.95).expect("a confidence"),
    };
    let mut group = c.benchmark_group("tune");
    group.sample_size(10);
    group.bench_function("prepare_a_region", |b| {
        b.iter(|| RegionReady::new(&material, &definition, region, &demand).expect("good"));
    });
    let ready = RegionReady::new(&material, &definition, region, &demand).expect("good");
    let confirms = ready.limits().count();
    let sets = confirms * factors().count();
    group.throughput(Throughput::Elements(sets as u64));
    group.bench_function("judge_all_sets", |b| {
        b.iter(|| {
            for confirm in 0..confirms {
                for factor in factors() {
                    black_box(ready.counts(confirm, factor, LIMIT_MS));
                }
            }
        });
    });
    group.throughput(Throughput::Elements(1));
    let confirmation = Confirmation {
        confirm_s: 0.3,
        often: None,
        recover_s: 0.5,
        plan: None,
    };
    group.bench_function("replay_one_set", |b| {
        b.iter(|| black_box(replay(&material, confirmation, 1.0)));
    });
    group.finish();
}

criterion_group!(benches, tune);
criterion_main!(benches);
