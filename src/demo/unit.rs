//! The demo's capture, frame by frame: inputs, stand-in unit, faults, chain.
//!
//! Frame k is captured at k / rate seconds after the recording begins, and shows the inputs of
//! [`Plan::latency_s`] earlier. Frames come one at a time, so memory stays flat; the capture can
//! be checked as it comes or be written to a file with [`produce`].

use std::collections::VecDeque;
use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::Path;

use super::chain::Chain;
use super::faults::{Fault, Kind, active_at};
use super::standin::{RegionScenes, StandIn};
use crate::capture::{Siting, Y4mWriter};
use crate::definition::Definition;
use crate::picture::{Encoding, Picture, Range, Rect, Rgb, Subsampling};
use crate::recording::Recording;
use crate::recording::inputs::Inputs;
use crate::reference::drawing::Drawing;
use crate::reference::scene::Scene;

/// Name of the captured video in the demo's folder.
pub const CAPTURE_FILE: &str = "capture.y4m";

/// Name of the list of seeded faults in the demo's folder.
pub const TRUTH_FILE: &str = "truth.json";

/// A torn picture shows frames this many apart.
const TORN_FRAMES: usize = 6;

/// How the demo's capture is made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plan {
    /// Frames a second, as a fraction.
    pub rate: (u32, u32),
    /// Age of the data that the healthy unit shows, s.
    pub latency_s: f64,
    /// Standard deviation of the chain's noise, levels.
    pub noise: f64,
    /// Seed of faults and noise.
    pub seed: u64,
}

impl Default for Plan {
    fn default() -> Self {
        Self {
            rate: (25, 1),
            latency_s: 0.04,
            noise: 1.5,
            seed: 2,
        }
    }
}

impl Plan {
    /// Frames a second.
    #[must_use]
    pub fn frames_per_s(&self) -> f64 {
        f64::from(self.rate.0) / f64::from(self.rate.1)
    }
}

/// The display unit on the bench, with its capture chain.
pub struct Unit<'a> {
    definition: &'a Definition,
    recording: &'a Recording,
    plan: Plan,
    faults: Vec<Fault>,
    drawing: Drawing,
    unit: StandIn,
    chain: Chain,
    still: Vec<Scene>,
    moving: Vec<Scene>,
    inputs: Inputs,
    sent: Picture,
    /// The newest good pictures, oldest first.
    good: VecDeque<Picture>,
    index: u64,
}

impl<'a> Unit<'a> {
    /// A unit that shows `recording` on `definition`, with `faults` (an empty list for a healthy
    /// one).
    #[must_use]
    pub fn new(
        definition: &'a Definition,
        recording: &'a Recording,
        plan: Plan,
        faults: Vec<Fault>,
    ) -> Self {
        let drawing = Drawing::new(definition);
        let count = definition.regions().len();
        let mut still = vec![Scene::default(); count];
        for (k, scene) in still.iter_mut().enumerate() {
            drawing.region_static(definition, k, scene);
        }
        let (width, height) = definition.size();
        Self {
            definition,
            recording,
            plan,
            faults,
            drawing,
            unit: StandIn::new(definition),
            chain: Chain::new(plan.noise, plan.seed),
            still,
            moving: vec![Scene::default(); count],
            inputs: Inputs::default(),
            sent: Picture::filled(width, height, Encoding::Rgb, Subsampling::None, [0; 3]),
            good: VecDeque::with_capacity(TORN_FRAMES),
            index: 0,
        }
    }

    /// The seeded faults.
    #[must_use]
    pub fn faults(&self) -> &[Fault] {
        &self.faults
    }

    /// Frames that the whole recording gives.
    #[must_use]
    pub fn frame_count(&self) -> u64 {
        let (from_s, to_s) = self.recording.span_s();
        libm::floor((to_s - from_s) * self.plan.frames_per_s() + 1e-6) as u64 + 1
    }

    /// Goes to frame `index`: what comes next starts there. Faults that depend on frames before
    /// (a freeze) need the frames just before their onset to be drawn.
    pub fn seek(&mut self, index: u64) {
        self.index = index;
        self.good.clear();
    }

    /// Draws the next frame and gives its capture time, s, counted from the first row of the
    /// recording; `None` at the end. `out` is made anew when it has another shape.
    pub fn next_frame(&mut self, out: &mut Picture) -> Option<f64> {
        if self.index >= self.frame_count() {
            return None;
        }
        let time_s = self.index as f64 / self.plan.frames_per_s();
        let fault = active_at(&self.faults, time_s).map(|f| f.kind.clone());
        self.draw(time_s, fault.as_ref());
        match &fault {
            Some(kind) => {
                // A fault from the first frame on has nothing before it; it then holds itself.
                let first = self.sent.clone();
                let held = self.good.back().unwrap_or(&first);
                let earlier = self.good.front().unwrap_or(&first);
                kind.change_picture(self.definition, self.index, held, earlier, &mut self.sent);
            }
            None => self.remember(),
        }
        self.chain.send(&self.sent, self.index, out);
        self.index += 1;
        Some(time_s)
    }

    /// The R'G'B' picture that the unit sent last.
    #[must_use]
    pub const fn sent(&self) -> &Picture {
        &self.sent
    }

    fn draw(&mut self, time_s: f64, fault: Option<&Kind>) {
        let (from_s, _) = self.recording.span_s();
        let delay_s = self.plan.latency_s + fault.map_or(0.0, Kind::delay_s);
        // Before its first data the unit shows the first.
        let data_s = from_s + (time_s - delay_s).max(0.0);
        self.recording.inputs_at(data_s, &mut self.inputs);
        for (k, scene) in self.moving.iter_mut().enumerate() {
            scene.clear();
            match fault {
                Some(kind) => {
                    let mut changed = self.inputs.clone();
                    kind.change_inputs(self.definition, k, &mut changed);
                    self.drawing
                        .region_moving(self.definition, k, &changed, scene);
                }
                None => self
                    .drawing
                    .region_moving(self.definition, k, &self.inputs, scene),
            }
        }
        let page = match fault {
            Some(Kind::Page(page)) => *page,
            _ => self.inputs.page,
        };
        let regions = 0..self.definition.regions().len();
        let due: Vec<usize> = regions
            .filter(|k| self.definition.pages_of(*k).contains(page))
            .collect();
        let scenes = due.iter().map(|k| {
            let area = self.definition.regions()[*k].area();
            (&self.still[*k], &self.moving[*k], area)
        });
        let regions: Vec<RegionScenes> = scenes.collect();
        match fault.filter(|kind| kind.edits()) {
            Some(kind) => {
                self.unit.draw_edited(
                    &regions,
                    &mut |k, item, words| kind.edit(due[k], item, words),
                    &mut self.sent,
                );
            }
            None => self.unit.draw(&regions, &mut self.sent),
        }
        let shown = due.iter().map(|k| &self.definition.regions()[*k]);
        for symbol in shown.flat_map(|r| &r.symbol) {
            for area in symbol.unchecked() {
                let [x, y, width, height] = area.rect;
                draw_map(&mut self.sent, Rect::new(x, y, width, height), data_s);
            }
        }
    }

    /// Keeps the picture that was sent.
    fn remember(&mut self) {
        if self.good.len() < TORN_FRAMES {
            self.good.push_back(self.sent.clone());
        } else if let Some(mut oldest) = self.good.pop_front() {
            oldest.clone_from(&self.sent);
            self.good.push_back(oldest);
        }
    }
}

/// Something that cannot be told from the inputs, in an unchecked area: a map of lakes that
/// scrolls by.
fn draw_map(picture: &mut Picture, area: Rect, time_s: f64) {
    const LAND: Rgb = Rgb([44, 58, 46]);
    const SHORE: Rgb = Rgb([120, 132, 118]);
    const LAKE: Rgb = Rgb([30, 76, 116]);
    let area = area.intersection(&Rect::new(
        0,
        0,
        picture.width() as i32,
        picture.height() as i32,
    ));
    let height = |at: f64| libm::sin(at / 17.0) + 0.6 * libm::sin(at / 7.3 + 1.0);
    let across: Vec<f64> = (0..area.width)
        .map(|x| height(f64::from(x) + 11.0 * time_s))
        .collect();
    for y in area.y..area.bottom() {
        let down = height(f64::from(y) * 1.1 - 7.0 * time_s);
        for (k, plane) in picture.planes_mut().iter_mut().enumerate() {
            let row = &mut plane.row_mut(y as usize)[area.x as usize..area.right() as usize];
            for (level, across) in row.iter_mut().zip(&across) {
                let depth = across + down - 0.7;
                let Rgb(color) = if depth > 0.15 {
                    LAKE
                } else if depth > 0.0 {
                    SHORE
                } else {
                    LAND
                };
                *level = color[k];
            }
        }
    }
}

/// Writes the unit's capture ([`CAPTURE_FILE`]) and the faults in it ([`TRUTH_FILE`]) into
/// `folder`, which must exist. `progress` is told the frames done and all frames.
///
/// # Errors
/// What the system says when a file cannot be written.
pub fn produce(
    folder: &Path,
    mut unit: Unit,
    progress: &mut dyn FnMut(u64, u64),
) -> io::Result<Vec<Fault>> {
    let mut truth = serde_json::to_string_pretty(&unit.faults)?;
    truth.push('\n');
    std::fs::write(folder.join(TRUTH_FILE), truth)?;

    let file = BufWriter::with_capacity(1 << 20, File::create(folder.join(CAPTURE_FILE))?);
    let size = unit.definition.size();
    let mut writer = Y4mWriter::new(
        file,
        size,
        unit.plan.rate,
        Subsampling::Both,
        Siting::Center,
        Range::Limited,
    )?;
    let mut frame = Picture::filled(
        size.0,
        size.1,
        super::chain::ENCODING,
        Subsampling::Both,
        [16, 128, 128],
    );
    let count = unit.frame_count();
    while unit.next_frame(&mut frame).is_some() {
        writer.write(&frame)?;
        progress(unit.index, count);
    }
    writer.finish()?.flush()?;
    Ok(unit.faults)
}
