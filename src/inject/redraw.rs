//! Drawing a region anew over captured pixels, as it would look with other inputs or another definition.
//!
//! The region is drawn twice: as it should be and as the fault has it. Where both are the same the captured
//! pixels stay; where they differ, and on the pixels next to those, the second is painted, blurred and with
//! noise as the chain has them. The neighbours are painted since the unit's own ink reaches a little farther than
//! the reference's: without that a ghost of the true outline would stay, and tell on the fault.

use super::paint::{Noise, plane_area, steps};
use super::{Clip, Delivery, Injector};
use crate::capture::CapturedFrame;
use crate::capture::profile::Profile;
use crate::definition::Definition;
use crate::examine::subject::Subject;
use crate::picture::{Picture, Plane, Rect, Subsampling};
use crate::recording::inputs::Inputs;
use crate::reference::canvas::{chroma_area, subsample};
use crate::reference::drawing::Drawing;
use crate::reference::painter::{Filter, Painter};
use crate::reference::region_canvas::RegionCanvas;
use crate::reference::scene::Scene;

/// A difference that a person sees, levels of luma; half as many of colour.
pub const CLEAR_LEVELS: u8 = 32;

/// Pixels that a drawn fault must change at its onset to be one.
pub const LEAST_PX: usize = 12;

/// Draws one region of one definition.
struct Drawer {
    canvas: RegionCanvas,
    scene: Scene,
    chroma: [Plane; 2],
}

impl Drawer {
    fn new(clip: &Clip, subject: Subject, region: usize, painter: &mut Painter) -> Self {
        let definition = subject.definition();
        let area = clip.area(super::Target {
            region: Some(region),
            ..Default::default()
        });
        let look = clip.chain().look;
        let mut canvas = RegionCanvas::new(area, 3, look, definition.background());
        let mut scene = Scene::default();
        subject.region_static(region, &mut scene);
        canvas.set_fixed(painter, definition.fonts(), &scene, Filter::ALL);
        let c = chroma_area(area, clip.profile.subsampling);
        Self {
            canvas,
            scene,
            chroma: [(); 2].map(|()| Plane::filled(c.width as usize, c.height as usize, 128)),
        }
    }

    fn draw(
        &mut self,
        clip: &Clip,
        subject: Subject,
        region: usize,
        inputs: &Inputs,
        edit: impl FnOnce(&mut Scene),
        painter: &mut Painter,
    ) {
        self.scene.clear();
        subject.region_moving(region, inputs, &mut self.scene);
        edit(&mut self.scene);
        self.canvas
            .update(painter, subject.definition().fonts(), &self.scene);
        let canvas = self.canvas.canvas();
        if clip.profile.subsampling != Subsampling::None {
            for (k, plane) in self.chroma.iter_mut().enumerate() {
                let area = canvas.area();
                subsample(
                    &canvas.planes()[k + 1],
                    (area.x, area.y),
                    clip.profile.subsampling,
                    clip.profile.siting,
                    area,
                    plane,
                );
            }
        }
    }

    fn plane(&self, clip: &Clip, plane: usize) -> &Plane {
        match (plane, clip.profile.subsampling) {
            (0, _) | (_, Subsampling::None) => &self.canvas.canvas().planes()[plane],
            _ => &self.chroma[plane - 1],
        }
    }
}

/// Draws one region of a clip as it is and as a fault has it.
pub struct Redraw {
    region: usize,
    /// The definition that the fault draws by, when it is another one.
    other: Option<(Definition, Drawing)>,
    truth: Drawer,
    fault: Drawer,
    painter: Painter,
    inputs: Inputs,
    seed: u64,
}

impl Redraw {
    /// For region `region` of `clip`; the fault draws by the definition `other` when it is given, which must
    /// have the same channels and the same region at the same place.
    #[must_use]
    pub fn new(clip: &Clip, region: usize, other: Option<Definition>, seed: u64) -> Self {
        let mut painter = Painter::new();
        let other = other.map(|d| {
            let drawing = Drawing::new(&d);
            (d, drawing)
        });
        let subject = other
            .as_ref()
            .map_or(clip.subject, |(d, drawing)| Subject::new(d, drawing));
        let fault = Drawer::new(clip, subject, region, &mut painter);
        Self {
            region,
            truth: Drawer::new(clip, clip.subject, region, &mut painter),
            fault,
            other,
            painter,
            inputs: Inputs::default(),
            seed,
        }
    }

    /// Paints frame `k` of the clip, with inputs that `change` has changed.
    pub fn apply(
        &mut self,
        clip: &Clip,
        k: usize,
        picture: &mut Picture,
        change: impl FnOnce(&mut Inputs),
    ) {
        self.draw(clip, k, change, |_| {});
        self.paint(clip, k, picture);
    }

    /// Draws frame `k` of the clip, with inputs that `change` has changed and a scene that `edit` has edited.
    pub fn draw(
        &mut self,
        clip: &Clip,
        k: usize,
        change: impl FnOnce(&mut Inputs),
        edit: impl FnOnce(&mut Scene),
    ) {
        let mut inputs = std::mem::take(&mut self.inputs);
        clip.inputs(k, &mut inputs);
        let (region, painter) = (self.region, &mut self.painter);
        self.truth
            .draw(clip, clip.subject, region, &inputs, |_| {}, painter);
        change(&mut inputs);
        let subject = self
            .other
            .as_ref()
            .map_or(clip.subject, |(d, drawing)| Subject::new(d, drawing));
        self.fault
            .draw(clip, subject, region, &inputs, edit, painter);
        self.inputs = inputs;
    }

    /// Pixels that what was drawn last has clearly different from what is due, in luma or in colour.
    #[must_use]
    pub fn changed_px(&self, clip: &Clip) -> usize {
        let count = |plane: usize, levels: u8| {
            let pairs = self.truth.plane(clip, plane).levels().iter();
            pairs
                .zip(self.fault.plane(clip, plane).levels())
                .filter(|(a, b)| a.abs_diff(**b) > levels)
                .count()
        };
        let [sx, sy] = steps(clip.profile.subsampling, 1);
        let colors = count(1, CLEAR_LEVELS / 2).max(count(2, CLEAR_LEVELS / 2));
        count(0, CLEAR_LEVELS).max(colors * (sx * sy) as usize)
    }

    /// Paints what was drawn last, which was frame `k` of the clip.
    pub fn paint(&self, clip: &Clip, k: usize, picture: &mut Picture) {
        let area = self.fault.canvas.canvas().area();
        let mut noise = Noise::new(self.seed, clip.frames[k].index);
        for plane in 0..3 {
            let (truth, fault) = (self.truth.plane(clip, plane), self.fault.plane(clip, plane));
            let part = plane_area(picture, plane, area);
            let sigma = clip.profile.noise[plane];
            let blur = taps(clip.profile, plane);
            let differs = |y: usize| {
                let pairs = truth.row(y).iter().zip(fault.row(y));
                pairs.map(|(a, b)| a != b).collect::<Vec<bool>>()
            };
            let (width, height) = (part.width as usize, part.height as usize);
            let rows: Vec<Vec<bool>> = (0..height).map(differs).collect();
            for y in 0..height {
                let near = &rows[y.saturating_sub(1)..(y + 2).min(height)];
                if !near.iter().flatten().any(|d| *d) {
                    continue;
                }
                let target = &mut picture.planes_mut()[plane].row_mut(part.y as usize + y)
                    [part.x as usize..part.right() as usize];
                for (x, level) in target.iter_mut().enumerate() {
                    let columns = x.saturating_sub(1)..(x + 2).min(width);
                    if near.iter().any(|row| row[columns.clone()].contains(&true)) {
                        *level = noise.on(blurred(fault, x, y, blur), sigma);
                    }
                }
            }
        }
    }

    /// The region's pixels.
    #[must_use]
    pub fn area(&self) -> Rect {
        self.fault.canvas.canvas().area()
    }
}

/// Weights of the chain's blur in a plane, of the pixel itself and of each neighbour in a row: three taps with the variance
/// of the Gaussian. Colour planes are blurred half as much in their own, larger samples.
pub(super) fn taps(profile: &Profile, plane: usize) -> [f64; 2] {
    if steps(profile.subsampling, plane)[0] > 1 {
        return [1.0, 0.0];
    }
    let sigma_px = profile.blur_left_px();
    let side = (sigma_px * sigma_px / 2.0).min(1.0 / 3.0);
    [1.0 - 2.0 * side, side]
}

/// A level of `plane`, blurred by such taps.
pub(super) fn blurred(plane: &Plane, x: usize, y: usize, [centre, side]: [f64; 2]) -> f64 {
    if side == 0.0 {
        return f64::from(plane.at(x, y));
    }
    let (left, right) = (x.saturating_sub(1), (x + 1).min(plane.width() - 1));
    let (up, down) = (y.saturating_sub(1), (y + 1).min(plane.height() - 1));
    let row = |y: usize| {
        centre * f64::from(plane.at(x, y))
            + side * (f64::from(plane.at(left, y)) + f64::from(plane.at(right, y)))
    };
    centre * row(y) + side * (row(up) + row(down))
}

/// How inputs are changed: in which clip, at which of its frames.
pub type Change = Box<dyn Fn(&Clip, usize, &mut Inputs) + Send>;

/// How the scene of a frame is edited; the inputs that it was drawn for are those that are due.
pub type Edit = Box<dyn Fn(&Clip, usize, &mut Scene) + Send>;

/// A region that is drawn otherwise than it should be.
pub struct Redrawn {
    redraw: Redraw,
    change: Change,
    edit: Edit,
}

impl Redrawn {
    /// Drawn by `other`. `None` when that shows no difference at the onset.
    #[must_use]
    pub fn by_definition(
        clip: &Clip,
        region: usize,
        other: Definition,
        seed: u64,
    ) -> Option<Box<dyn Injector>> {
        let redraw = Redraw::new(clip, region, Some(other), seed);
        Self {
            redraw,
            change: Box::new(|_, _, _| {}),
            edit: Box::new(|_, _, _| {}),
        }
        .that_shows(clip)
    }

    /// Drawn with inputs that `change` changes. `None` when that shows no difference at the onset.
    #[must_use]
    pub fn by_inputs(
        clip: &Clip,
        region: usize,
        change: Change,
        seed: u64,
    ) -> Option<Box<dyn Injector>> {
        let redraw = Redraw::new(clip, region, None, seed);
        Self {
            redraw,
            change,
            edit: Box::new(|_, _, _| {}),
        }
        .that_shows(clip)
    }

    /// Drawn from a scene that `edit` edits. `None` when that shows no difference at the onset.
    #[must_use]
    pub fn by_edit(clip: &Clip, region: usize, edit: Edit, seed: u64) -> Option<Box<dyn Injector>> {
        let redraw = Redraw::new(clip, region, None, seed);
        Self {
            redraw,
            change: Box::new(|_, _, _| {}),
            edit,
        }
        .that_shows(clip)
    }

    fn that_shows(mut self, clip: &Clip) -> Option<Box<dyn Injector>> {
        self.draw(clip, clip.onset);
        if self.redraw.changed_px(clip) < LEAST_PX {
            return None;
        }
        Some(Box::new(self))
    }

    fn draw(&mut self, clip: &Clip, k: usize) {
        let (change, edit) = (&self.change, &self.edit);
        self.redraw.draw(
            clip,
            k,
            |inputs| change(clip, k, inputs),
            |scene| edit(clip, k, scene),
        );
    }
}

impl Injector for Redrawn {
    fn apply(&mut self, clip: &Clip, k: usize, frame: &mut CapturedFrame) -> Delivery {
        self.draw(clip, k);
        self.redraw.paint(clip, k, &mut frame.picture);
        Delivery::Sent
    }
}
