//! Of which moment are the data that readings show?
//!
//! In one frame several moments explain the same values: whatever swings or turns passes through them again and again. But
//! the age of what a display shows is one process that changes little from frame to frame. So each age has a running sum
//! of how badly it explained the last readings, and the age that explains them all is the one that is told; where several
//! do, the one nearest to what was told before.

use super::reader::Fitted;
use super::region::OLDEST_S;
pub use crate::examine::constants::data_time::READING_PX;
use crate::examine::constants::data_time::{
    ALIKE, MEMORY_S, MOST, MOST_STARTS, START_PX, STEP_S, STEPS,
};
use crate::recording::Recording;
use crate::recording::inputs::Value;
use crate::reference::parts::Freedom;

/// What was read of a freedom.
pub type Read<'a> = (&'a Freedom, Fitted);

/// From how many moments between two recording times, s, values of `freedoms` are to be read, so that what shows the data
/// of any of them is found, and not the next label; `px_per_unit` is asked by freedom.
pub fn starts(
    freedoms: &[Freedom],
    px_per_unit: impl Fn(usize) -> f64,
    recording: &Recording,
    [from_s, to_s]: [f64; 2],
) -> usize {
    let mut paths_px = vec![0.0; freedoms.len()];
    let scales: Vec<f64> = (0..freedoms.len()).map(px_per_unit).collect();
    let (mut values, mut before): (Vec<Value>, Vec<Value>) = (Vec::new(), Vec::new());
    for k in 0..=MOST_STARTS {
        let at_s = from_s + (to_s - from_s) * k as f64 / MOST_STARTS as f64;
        let channels = freedoms.iter().map(|f| f.channel);
        recording.values_at(channels, at_s, &mut values);
        for (n, f) in freedoms.iter().enumerate() {
            let earlier = before.get(n).and_then(Value::number);
            if let (Some(v), Some(u)) = (values[n].number(), earlier) {
                paths_px[n] += f.difference(v, u).abs() * scales[n];
            }
        }
        std::mem::swap(&mut values, &mut before);
    }
    let farthest_px = paths_px.iter().copied().fold(0.0, f64::max);
    ((farthest_px / START_PX) as usize + 1).min(MOST_STARTS)
}

/// Follows the age of what a region shows.
#[derive(Clone, Debug, Default)]
pub struct AgeTrack {
    /// By age, in steps of [`STEP_S`].
    sums: Vec<f64>,
    last_s: f64,
}

impl AgeTrack {
    /// Forgets everything: the region shows what is due.
    pub fn clear(&mut self) {
        self.sums.clear();
    }

    /// Takes what was read at recording time `now_s`; gives the recording time of the data that are shown, s, that is
    /// nearest to an age of `usual_s` among those that explain this frame and those before. `None` where nothing explains
    /// this one.
    pub fn push(
        &mut self,
        read: &[Read],
        recording: &Recording,
        now_s: f64,
        usual_s: f64,
    ) -> Option<f64> {
        if read.is_empty() {
            return None;
        }
        let count = (OLDEST_S / STEP_S) as usize;
        let fades = libm::exp(-(now_s - self.last_s).max(0.0) / MEMORY_S);
        self.last_s = now_s;
        self.sums.resize(count, 0.0);
        let mut values = Vec::new();
        let mut younger = distances(read, recording, now_s, &mut values);
        let mut costs = vec![0.0; count];
        for (k, (sum, cost)) in self.sums.iter_mut().zip(&mut costs).enumerate() {
            let older = distances(
                read,
                recording,
                now_s - STEP_S * (k + 1) as f64,
                &mut values,
            );
            // Between two ages the inputs pass what lies between theirs.
            let least = younger.iter().zip(&older).map(|(a, b)| {
                let least = if a * b <= 0.0 {
                    0.0
                } else {
                    a.abs().min(b.abs())
                };
                (least * least).min(MOST)
            });
            *cost = least.sum::<f64>();
            *sum = *sum * fades + *cost;
            younger = older;
        }
        let best = self.sums.iter().copied().fold(f64::INFINITY, f64::min);
        let middle_s = |k: usize| STEP_S * (k as f64 + 0.5);
        let alike = (0..count).filter(|k| self.sums[*k] <= best + ALIKE);
        let nearest = alike.min_by(|a, b| {
            let far = |k: usize| (middle_s(k) - usual_s).abs();
            far(*a).total_cmp(&far(*b))
        })?;
        let is_explained = costs[nearest] < MOST * read.len() as f64;
        is_explained.then(|| {
            let from_s = now_s - STEP_S * (nearest + 1) as f64;
            moment_within(read, recording, [from_s, from_s + STEP_S])
        })
    }
}

/// The moment within two recording times, s, whose inputs fit what was read best.
pub fn moment_within(read: &[Read], recording: &Recording, [from_s, to_s]: [f64; 2]) -> f64 {
    let step_s = ((to_s - from_s) / 8.0).max(1e-4);
    let mut at_s = f64::midpoint(from_s, to_s);
    let mut values = Vec::new();
    for _ in 0..STEPS {
        let here = distances(read, recording, at_s, &mut values);
        let after = distances(read, recording, at_s + step_s, &mut values);
        let (mut along, mut squares) = (0.0, 0.0);
        for (here, after) in here.iter().zip(&after) {
            let speed = (here - after) / step_s;
            along += speed * here;
            squares += speed * speed;
        }
        if squares <= 0.0 {
            break;
        }
        at_s = (at_s + along / squares).clamp(from_s, to_s);
    }
    at_s
}

/// What is shown minus the inputs of a moment, in standard errors; the most that counts where they are not known.
fn distances(read: &[Read], recording: &Recording, at_s: f64, values: &mut Vec<Value>) -> Vec<f64> {
    let channels = read.iter().map(|(f, _)| f.channel);
    recording.values_at(channels, at_s, values);
    let each = read.iter().zip(values).map(|((f, r), value)| {
        let Some(v) = value.number() else {
            return MOST.sqrt();
        };
        f.error(r.value, v) * r.px_per_unit / (READING_PX + r.standard_error * r.px_per_unit)
    });
    each.collect()
}
