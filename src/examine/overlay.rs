//! The reference laid over one captured frame: how far each region lies off, and where it disagrees most.
//!
//! For whoever writes a definition for a display that exists: nothing is judged here, and no chain is measured; what the
//! definition says is held against the picture as it is.

use super::comparison::{ChainLook, Comparison, Difference};
use super::displacement::displacement;
use super::place::{place_of, symbol_at};
use super::region::due_time_s;
use super::subject::Subject;
use super::view::View;
use crate::capture::CapturedFrame;
use crate::examine::constants::overlay::AGE_STEP_S;
use crate::picture::Rect;
use crate::recording::Recording;
use crate::recording::inputs::{Inputs, Value};
use crate::reference::painter::Painter;

/// One region of the display that is due, over the captured picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Placed {
    /// Index of the region.
    pub region: usize,
    /// Its pixels in the capture.
    pub area: Rect,
    /// How far right and down of the reference the picture lies, px; `None` along an axis without edges across it.
    pub displacement_px: [Option<f64>; 2],
    /// What disagrees.
    pub difference: Difference,
    /// Where that is, px of the capture; `None` when it agrees.
    pub place: Option<Rect>,
    /// The symbol that this is most likely about.
    pub symbol: Option<usize>,
}

/// Lays the regions that are due over `frame`, which was taken at `time_s` of the recording. Gives the age of the data that
/// agree best, s, of those that the display may show, and the regions that the recording has the data for.
#[must_use]
pub fn overlay(
    subject: Subject,
    recording: &Recording,
    frame: &CapturedFrame,
    time_s: f64,
    chain: &ChainLook,
    painter: &mut Painter,
) -> (f64, Vec<Placed>) {
    let definition = subject.definition();
    let size = (frame.picture.width(), frame.picture.height());
    let mut inputs = Inputs::default();
    recording.inputs_at(due_time_s(recording, time_s, 0.0), &mut inputs);
    let has_data = |k: usize, inputs: &Inputs| {
        let mut channels = definition.channels_needed(k).into_iter();
        channels.all(|name| *inputs.value(definition.channel(name)) != Value::Missing)
    };
    let due: Vec<usize> = (definition.regions_due(&inputs))
        .filter(|(k, r)| !r.is_unchecked() && has_data(*k, &inputs))
        .map(|(k, _)| k)
        .collect();
    let mut regions: Vec<Comparison> = (due.iter())
        .map(|k| Comparison::new(subject, *k, chain, size, painter))
        .collect();
    let most_s = definition.file().display.max_latency_ms / 1000.0;
    let steps = libm::floor(most_s / AGE_STEP_S) as usize;
    let mut best = (f64::INFINITY, 0.0);
    for step in 0..=steps {
        let age_s = step as f64 * AGE_STEP_S;
        recording.inputs_at(due_time_s(recording, time_s, age_s), &mut inputs);
        let mut left = 0.0;
        for comparison in &mut regions {
            comparison.draw(&inputs, painter);
            left += squares(comparison, frame);
        }
        if left < best.0 {
            best = (left, age_s);
        }
    }
    let age_s = best.1;
    recording.inputs_at(due_time_s(recording, time_s, age_s), &mut inputs);
    let placed = due.into_iter().zip(&mut regions);
    let placed = placed.map(|(region, comparison)| {
        comparison.draw(&inputs, painter);
        let difference = comparison.compare(&frame.picture);
        let area = comparison.area();
        let place = (!difference.agrees()).then(|| place_of(&difference, area, chain));
        Placed {
            region,
            area,
            displacement_px: displacement(
                comparison.captured(&frame.picture)[0],
                comparison.reference()[0],
            ),
            difference,
            place,
            symbol: place
                .and_then(|place| symbol_at(subject, region, (place, &difference), chain, &inputs)),
        }
    });
    (age_s, placed.collect())
}

fn squares(comparison: &Comparison, frame: &CapturedFrame) -> f64 {
    let [captured, reference] = [
        comparison.captured(&frame.picture)[0],
        comparison.reference()[0],
    ];
    let row = |y: usize| {
        let pairs = captured.row(y).iter().zip(View::row(&reference, y));
        let squares = pairs.map(|(a, b)| u64::from(a.abs_diff(*b)).pow(2));
        squares.sum::<u64>()
    };
    (0..captured.height()).map(row).sum::<u64>() as f64
}
