//! A stretch of a capture, and what is due in each of its frames.

use rayon::prelude::*;

use crate::capture::CapturedFrame;
use crate::examine::subject::Subject;
use crate::recording::Recording;
use crate::recording::inputs::Inputs;
use crate::reference::painter::Painter;

/// Frames of one capture, at least one, and the recording of what they show.
#[derive(Clone)]
pub struct Stretch<'a> {
    /// The frames, in order.
    pub frames: Vec<&'a CapturedFrame>,
    /// What they are of.
    pub subject: Subject<'a>,
    /// Inputs of the display.
    pub recording: &'a Recording,
    /// Recording time = capture time + offset, s.
    pub offset_s: f64,
}

impl<'a> Stretch<'a> {
    /// Width and height of the frames, px.
    #[must_use]
    pub fn size(&self) -> (usize, usize) {
        let picture = &self.frames[0].picture;
        (picture.width(), picture.height())
    }

    /// Recording time of a frame, s.
    #[must_use]
    pub const fn time_s(&self, frame: &CapturedFrame) -> f64 {
        frame.time_s + self.offset_s
    }

    /// The inputs at recording time `time_s`.
    #[must_use]
    pub fn inputs_at(&self, time_s: f64) -> Inputs {
        let mut inputs = Inputs::default();
        self.recording.inputs_at(time_s, &mut inputs);
        inputs
    }

    /// Up to `count` of the frames, evenly spread.
    #[must_use]
    pub fn spread(&self, count: usize) -> Self {
        self.with(spread(&self.frames, count))
    }

    /// The same with other frames.
    #[must_use]
    pub fn with(&self, frames: Vec<&'a CapturedFrame>) -> Self {
        Self {
            frames,
            ..self.clone()
        }
    }

    /// The same at another offset, s.
    #[must_use]
    pub fn at(&self, offset_s: f64) -> Self {
        Self {
            offset_s,
            ..self.clone()
        }
    }

    /// What `of` says of each frame and what is due in it, in the order of the frames; several are asked at once.
    pub fn each<T: Send>(
        &self,
        of: impl Fn(&CapturedFrame, &Inputs, &mut Painter) -> T + Sync,
    ) -> Vec<T> {
        let frames = self.frames.par_iter();
        frames
            .map_init(Painter::new, |painter, frame| {
                let inputs = self.inputs_at(self.time_s(frame));
                of(frame, &inputs, painter)
            })
            .collect()
    }
}

/// Up to `count` of the frames, evenly spread.
#[must_use]
pub fn spread<'f>(frames: &[&'f CapturedFrame], count: usize) -> Vec<&'f CapturedFrame> {
    let n = frames.len();
    let count = count.min(n);
    (0..count)
        .map(|k| frames[k * (n - 1) / (count - 1).max(1)])
        .collect()
}
