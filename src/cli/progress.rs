//! How far a check has come, on a terminal.

use std::io::IsTerminal;

use indicatif::{ProgressBar, ProgressStyle};

use crate::capture::StreamInfo;

/// A bar with rate and time left. Where the number of frames is not known, it goes by the times of the frames.
pub(super) struct Progress {
    bar: ProgressBar,
    measure: Measure,
    frames: u64,
}

/// What the bar counts.
enum Measure {
    Frames,
    /// Milliseconds since the time of the first frame, s, once it is known.
    Time(Option<f64>),
}

impl Progress {
    /// Hidden where nobody looks.
    pub fn new(info: &StreamInfo, quiet: bool) -> Self {
        let (bar, template, measure) = match (info.frame_count, info.stated_duration_s) {
            (Some(count), _) => (
                ProgressBar::new(count),
                "{bar:40} {pos}/{len} frames, {per_sec}, {eta} left",
                Measure::Frames,
            ),
            (None, Some(duration_s)) => (
                ProgressBar::new((1e3 * duration_s) as u64),
                "{bar:40} {percent} %, {msg}, {eta} left",
                Measure::Time(None),
            ),
            (None, None) => (
                ProgressBar::new_spinner(),
                "{spinner} {pos} frames, {per_sec}, {elapsed}",
                Measure::Frames,
            ),
        };
        let is_seen = !quiet && std::io::stderr().is_terminal();
        let bar = if is_seen { bar } else { ProgressBar::hidden() };
        if let Ok(style) = ProgressStyle::with_template(template) {
            bar.set_style(style);
        }
        Self {
            bar,
            measure,
            frames: 0,
        }
    }

    /// One more frame is judged.
    pub fn frame(&mut self, time_s: f64) {
        self.frames += 1;
        match &mut self.measure {
            Measure::Frames => self.bar.inc(1),
            Measure::Time(first_s) => {
                let first_s = *first_s.get_or_insert(time_s);
                if self.bar.is_hidden() {
                    return;
                }
                let rate_hz = self.frames as f64 / self.bar.elapsed().as_secs_f64().max(1e-3);
                self.bar
                    .set_message(format!("{} frames, {rate_hz:.1}/s", self.frames));
                self.bar.set_position((1e3 * (time_s - first_s)) as u64);
            }
        }
    }

    pub fn finish(&self) {
        self.bar.finish_and_clear();
    }
}
