//! At which offset in time do frames agree with the recording?

use rayon::prelude::*;

use super::register::LumaReference;
use super::stretch::Stretch;
use crate::chain::constants::offset::{CLOSE_LOOKS, MOST_OFFSETS};
use crate::reference::canvas::{Geometry, Look};
use crate::reference::painter::Painter;

/// A time offset that was found, and how clearly.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FoundOffset {
    /// Recording time = capture time + offset, s.
    pub offset_s: f64,
    /// Mean difference of luma at the best offset, levels.
    pub distance: f64,
    /// The same at the best offset elsewhere (more than a second away); infinite when the recording is
    /// not longer.
    pub runner_up: f64,
}

/// Finds the offset at which the frames of a stretch agree with the recording best, whatever its own is, of a display that
/// stands at `place`.
#[must_use]
pub fn find_offset(stretch: &Stretch, place: &Geometry) -> FoundOffset {
    let look = Look {
        geometry: *place,
        ..Look::new(stretch.frames[0].picture.encoding())
    };
    let (begin_s, end_s) = stretch.recording.span_s();
    let few = stretch.spread(6);
    let (first, last) = (few.frames[0], few.frames[few.frames.len() - 1]);
    let low = begin_s - first.time_s;
    let high = (end_s - last.time_s).max(low);
    let step_s = ((high - low) / MOST_OFFSETS as f64).max(0.1);
    let score = |offset_s: f64, stretch: &Stretch, painter: &mut Painter| -> f64 {
        let here = stretch.at(offset_s);
        let each = here.frames.iter().map(|frame| {
            let inputs = here.inputs_at(here.time_s(frame));
            LumaReference::draw(here.subject, &inputs, &look, here.size(), painter)
                .distance(&frame.picture, 3)
        });
        each.sum::<f64>() / here.frames.len() as f64
    };
    // By score, then by offset.
    let sort = |list: &mut Vec<(f64, f64)>| {
        list.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    };
    let count = ((high - low) / step_s) as usize;
    let of_first = few.with(vec![first]);
    let mut coarse: Vec<(f64, f64)> = (0..=count)
        .into_par_iter()
        .map_init(Painter::new, |painter, k| {
            let offset_s = low + step_s * k as f64;
            (score(offset_s, &of_first, painter), offset_s)
        })
        .collect();
    sort(&mut coarse);
    coarse.truncate(CLOSE_LOOKS);
    let mut fine: Vec<(f64, f64)> = coarse
        .into_par_iter()
        .map_init(Painter::new, |painter, (_, around)| {
            let mut best = (f64::INFINITY, around);
            for k in -10..=10 {
                let offset_s = around + step_s * f64::from(k) / 10.0;
                let s = score(offset_s, &few, painter);
                if s < best.0 {
                    best = (s, offset_s);
                }
            }
            best
        })
        .collect();
    sort(&mut fine);
    let (mut distance, mut offset_s) = fine[0];
    let mut reach_s = step_s / 10.0;
    let painter = &mut Painter::new();
    while reach_s > 0.001 {
        for o in [
            offset_s - reach_s,
            offset_s + reach_s,
            offset_s - reach_s / 2.0,
            offset_s + reach_s / 2.0,
        ] {
            let s = score(o, &few, painter);
            if s < distance {
                (distance, offset_s) = (s, o);
            }
        }
        reach_s /= 2.0;
    }
    let elsewhere = fine.iter().filter(|(_, o)| (o - offset_s).abs() > 1.0);
    FoundOffset {
        offset_s,
        distance,
        runner_up: elsewhere.map(|(s, _)| *s).fold(f64::INFINITY, f64::min),
    }
}
