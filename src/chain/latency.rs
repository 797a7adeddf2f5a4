//! How late the display usually is, and how far readings lie off, from the readings of a stretch that shows what is due.

use rayon::prelude::*;

use super::error_model::{self, Residual};
use super::register::LumaReference;
use super::stretch::Stretch;
use crate::capture::profile::Profile;
use crate::capture::reading_errors::ReadingErrors;
use crate::chain::constants::error_model::MOST;
pub(super) use crate::chain::constants::latency::FEW_FRAMES;
use crate::chain::constants::latency::{BACK_S, BEST_PART, FARTHEST_PX, READING_PX, SETTLED_S};
use crate::chain::constants::measure::GOOD_SHARE;
use crate::examine::comparison::ChainLook;
use crate::examine::data_time;
use crate::examine::reader::RECOGNISED;
use crate::examine::region::{RegionExaminer, due_time_s};
use crate::recording::inputs::Inputs;
use crate::reference::painter::Painter;

/// What the readings of all regions tell of a chain.
pub(super) struct FromReadings {
    /// Age of what is shown, and its standard error, s.
    pub latency: Option<(f64, f64)>,
    /// The largest share of regions that agree in one frame.
    pub agreeing: f64,
    /// How far the readings lie off.
    pub errors: ReadingErrors,
}

/// A latency from which readings find what is shown, s: 0 unless so much moves within the permitted ages that they would
/// find the next label; then that whose pictures are most like what was captured.
fn near_latency_s(stretch: &Stretch, profile: &Profile) -> f64 {
    let subject = stretch.subject;
    let definition = subject.definition();
    let oldest_s = definition.file().display.max_latency_ms / 1000.0;
    let picked = stretch.spread(6);
    let mut starts = 1;
    for f in &picked.frames {
        let time_s = picked.time_s(f);
        let inputs = picked.inputs_at(time_s);
        for region in 0..definition.regions().len() {
            let freedoms = subject.drawing().freedoms(definition, region);
            let px_per_unit = |k: usize| {
                let f = &freedoms[k];
                subject
                    .drawing()
                    .px_per_unit(definition, region, f, &inputs)
            };
            let within_s = [time_s - oldest_s, time_s];
            let here = data_time::starts(&freedoms, px_per_unit, stretch.recording, within_s);
            starts = here.max(starts);
        }
    }
    if starts == 1 {
        return 0.0;
    }
    let look = profile.look();
    let distance = |latency_s: f64| -> f64 {
        let earlier = picked.at(picked.offset_s - latency_s);
        let each = earlier.each(|f, inputs, painter| {
            LumaReference::draw(subject, inputs, &look, earlier.size(), painter)
                .distance(&f.picture, 3)
        });
        each.iter().sum()
    };
    let ages = (0..=starts).map(|k| oldest_s * k as f64 / starts as f64);
    let far = ages.map(|age_s| (distance(age_s), age_s));
    let nearest = far.min_by(|a, b| a.0.total_cmp(&b.0));
    nearest.map_or(0.0, |(_, age_s)| age_s)
}

/// What is read in a region.
struct RegionRead {
    names: Vec<String>,
    /// Readings count from 0.
    residuals: Vec<Residual>,
    /// By frame: whether it agrees; `None` where it is not on the page that is due.
    agrees: Vec<Option<bool>>,
}

impl RegionRead {
    /// Of region `k` in each frame, by what is due in it, is shown in it, and was [`BACK_S`] before.
    fn of(k: usize, stretch: &Stretch, chain: &ChainLook, inputs: &[[Inputs; 3]]) -> Self {
        let painter = &mut Painter::new();
        let (subject, frames) = (stretch.subject, &stretch.frames);
        let mut examiner = RegionExaminer::new(subject, k, chain, stretch.size(), painter);
        let mut out = Self {
            names: examiner.reading_names(),
            residuals: Vec::new(),
            agrees: Vec::with_capacity(frames.len()),
        };
        for (frame, (f, [due, shown, before])) in frames.iter().zip(inputs).enumerate() {
            if !subject.definition().pages_of(k).contains(due.page) {
                out.agrees.push(None);
                continue;
            }
            let (readings, agrees) = examiner.readings_only(&f.picture, due, painter);
            out.agrees.push(Some(agrees));
            for (reading, (freedom, fitted)) in
                examiner.freedoms().iter().zip(&readings).enumerate()
            {
                let Some(fitted) = fitted.filter(|f| f.misfit <= RECOGNISED) else {
                    continue;
                };
                let (Some(v), Some(u)) = (
                    shown.value(freedom.channel).number(),
                    before.value(freedom.channel).number(),
                ) else {
                    continue;
                };
                let px = |d: f64| d * fitted.px_per_unit;
                let (v_shown, u_shown) = (freedom.shown_value(v), freedom.shown_value(u));
                out.residuals.push(Residual {
                    frame,
                    reading,
                    error_px: px(freedom.error(fitted.value, v)),
                    told_px: fitted.told_error * fitted.px_per_unit,
                    speed_px_s: px(freedom.difference(v_shown, u_shown)) / BACK_S,
                });
            }
        }
        out
    }
}

/// Leaves out what lies far off what is usual for its reading about the latency that fits most of them: a fault that begins within
/// the stretch is no error of the chain.
fn leave_faults_out(residuals: &mut Vec<Residual>, readings: usize) {
    // The step to the latency that leaves the least sum of distances.
    let moving = residuals.iter().filter(|r| r.speed_px_s != 0.0);
    let mut steps: Vec<(f64, f64)> = moving
        .map(|r| (-r.error_px / r.speed_px_s, r.speed_px_s.abs()))
        .collect();
    steps.sort_by(|a, b| a.0.total_cmp(&b.0));
    let half = steps.iter().map(|(_, weight)| weight).sum::<f64>() / 2.0;
    let mut passed = 0.0;
    let step_s = steps.iter().find_map(|(step_s, weight)| {
        passed += weight;
        (passed >= half).then_some(*step_s)
    });
    let left_px = |r: &Residual| (r.error_px + r.speed_px_s * step_s.unwrap_or(0.0)).abs();
    let usual_px: Vec<f64> = (0..readings)
        .map(|k| {
            let own = residuals.iter().filter(|r| r.reading == k);
            let mut own: Vec<f64> = own.map(left_px).collect();
            let middle = own.len() / 2;
            own.sort_by(f64::total_cmp);
            own.get(middle).map_or(READING_PX, |px| px.max(READING_PX))
        })
        .collect();
    // Half of normal errors lie within two thirds of a standard error.
    residuals.retain(|r| left_px(r) <= 2.0 * MOST * usual_px[r.reading]);
}

/// Reads all regions with the latency that fits the readings best, which is looked for from `usual_s` where that is known.
pub(super) fn from_readings(
    stretch: &Stretch,
    profile: &Profile,
    usual_s: Option<f64>,
) -> FromReadings {
    let recording = stretch.recording;
    let chain = ChainLook::of(profile);
    let count = stretch.subject.definition().regions().len();
    let mut latency_s = usual_s.unwrap_or_else(|| near_latency_s(stretch, profile));
    let mut found = FromReadings {
        latency: None,
        agreeing: 0.0,
        errors: ReadingErrors::default(),
    };
    let few = stretch.spread(FEW_FRAMES);
    // From what is usual one step leads to within what is asked for.
    let rounds = if usual_s.is_some() { 1 } else { 3 };
    let mut asked = &few;
    for _ in 0..rounds {
        let frames = &asked.frames;
        // What is due in each frame, is shown in it, and was just before.
        let inputs: Vec<[Inputs; 3]> = frames
            .iter()
            .map(|f| {
                let time_s = asked.time_s(f);
                let (due_s, shown_s) =
                    (due_time_s(recording, time_s, latency_s), time_s - latency_s);
                [due_s, shown_s, shown_s - BACK_S].map(|time_s| asked.inputs_at(time_s))
            })
            .collect();
        let read: Vec<RegionRead> = (0..count)
            .into_par_iter()
            .map(|k| RegionRead::of(k, asked, &chain, &inputs))
            .collect();
        let (mut names, mut residuals) = (Vec::new(), Vec::new());
        let mut shares = vec![(0usize, 0usize); frames.len()];
        for region in read {
            let first = names.len();
            names.extend(region.names);
            residuals.extend(region.residuals.into_iter().map(|r| Residual {
                reading: first + r.reading,
                ..r
            }));
            for (share, agrees) in shares.iter_mut().zip(region.agrees) {
                share.0 += usize::from(agrees == Some(true));
                share.1 += usize::from(agrees.is_some());
            }
        }
        residuals.retain(|r| r.error_px.abs() <= FARTHEST_PX);
        found.agreeing = shares
            .iter()
            .map(|(a, n)| *a as f64 / (*n).max(1) as f64)
            .fold(found.agreeing, f64::max);
        leave_faults_out(&mut residuals, names.len());
        let squares: f64 = residuals.iter().map(|r| r.speed_px_s.powi(2)).sum();
        let information = squares / (READING_PX * READING_PX);
        let is_settled = if information < 1.0 {
            true
        } else {
            let along: f64 = residuals.iter().map(|r| -r.speed_px_s * r.error_px).sum();
            let step_s = along / squares;
            latency_s += step_s;
            found.latency = Some((latency_s, 1.0 / information.sqrt()));
            for r in &mut residuals {
                r.error_px += r.speed_px_s * step_s;
            }
            step_s.abs() < SETTLED_S
        };
        let usual: Vec<Residual> = (residuals.iter().copied())
            .filter(|r| r.frame >= frames.len() / BEST_PART)
            .collect();
        found.errors = error_model::measure(&usual, &names);
        // All frames tell the latency to within what remains small, and the errors; of a stretch that shows something else they tell
        // nothing.
        let is_shown = found.agreeing >= GOOD_SHARE;
        if is_settled && (asked.frames.len() == stretch.frames.len() || !is_shown) {
            break;
        }
        if is_shown {
            asked = stretch;
        }
    }
    found
}
