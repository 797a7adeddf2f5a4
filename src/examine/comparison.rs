//! One region's reference, drawn for some inputs, held against the capture.

use std::sync::Arc;

use super::agreement::{self, Disagreement, GradientCells, Scratch, Tolerance};
use super::digits::Written;
use super::subject::Subject;
use super::view::View;
use crate::capture::profile::Profile;
use crate::capture::reading_errors::ReadingErrors;
use crate::definition::Definition;
pub use crate::examine::constants::comparison::{CHROMA_EXCESS, CHROMA_PX, LUMA_PX};
use crate::picture::{Picture, Plane, Rect, Subsampling};
use crate::recording::inputs::Inputs;
use crate::reference::canvas::{Look, Siting, chroma_area};
use crate::reference::glyphs::pixels_of;
use crate::reference::painter::{Filter, Painter};
use crate::reference::region_canvas::RegionCanvas;
use crate::reference::scene::{Bounds, Scene};
use crate::reference::slivers;

/// How the capture chain shows a good picture: where reference frames are brought to.
#[derive(Clone, Debug, PartialEq)]
pub struct ChainLook {
    /// Encoding, geometry and colours.
    pub look: Look,
    /// Resolution of the colour planes.
    pub subsampling: Subsampling,
    /// Where colour samples sit.
    pub siting: Siting,
    /// Limits for luma.
    pub luma: Tolerance,
    /// Limits for colour.
    pub chroma: Tolerance,
    /// Blur of edges that the reference has not, standard deviation, px.
    pub blur_px: f64,
    /// How far readings lie off.
    pub reading_errors: Arc<ReadingErrors>,
}

impl ChainLook {
    /// How the chain of a profile shows a good picture.
    #[must_use]
    pub fn of(profile: &Profile) -> Self {
        let noise = |k: usize| profile.noise[k];
        let tolerance = |sigma: f64, flat: i32| Tolerance {
            flat_energy: (30.0 + 6.0 * sigma * sigma) as f32,
            flat: flat + (3.0 * sigma) as i32,
            contrast_share: 0.25,
        };
        Self {
            look: profile.look(),
            subsampling: profile.subsampling,
            siting: profile.siting,
            luma: tolerance(noise(0), 24),
            chroma: tolerance(noise(1).max(noise(2)), 16),
            blur_px: profile.blur_left_px(),
            reading_errors: Arc::new(profile.reading_errors.clone()),
        }
    }
}

/// What disagrees in a region.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Difference {
    /// In luma.
    pub luma: Disagreement,
    /// In colour, the worse of both planes.
    pub chroma: Disagreement,
}

impl Difference {
    /// True when the pictures agree.
    #[must_use]
    pub const fn agrees(&self) -> bool {
        self.luma.densest_px < LUMA_PX
            && (self.chroma.densest_px < CHROMA_PX || self.chroma.densest_excess < CHROMA_EXCESS)
    }

    /// A figure that is smaller the better the pictures agree.
    #[must_use]
    pub const fn size(&self) -> u64 {
        self.luma.excess + self.chroma.excess + (self.luma.px() + self.chroma.px()) as u64
    }
}

/// The reference of one region and the buffers to compare it.
#[derive(Clone)]
pub struct Comparison<'d> {
    subject: Subject<'d>,
    region: usize,
    chain: ChainLook,
    area: Rect,
    scene: Scene,
    canvas: RegionCanvas,
    chroma: [Plane; 2],
    gradients: [GradientCells; 3],
    scratch: Scratch,
    unchecked: [Vec<Rect>; 2],
    /// What was last drawn again, relative to the region.
    dirty: Vec<Rect>,
    is_fresh: bool,
}

/// The region's pixels in the capture: its rectangle through the chain's geometry, inwards to whole
/// colour samples. Of a region that is seen at an angle, all that its outline is part of.
#[must_use]
pub fn captured_area(rect: Rect, chain: &ChainLook, width: usize, height: usize) -> Rect {
    let g = &chain.look.geometry;
    let inwards_low = |v: f64| libm::ceil(v - 0.01) as i32;
    let inwards_high = |v: f64| libm::floor(v + 0.01) as i32;
    let seen = g.map_bounds(&Bounds::from_rect([
        rect.x,
        rect.y,
        rect.width,
        rect.height,
    ]));
    let (mut x0, mut x1) = (inwards_low(seen.left), inwards_high(seen.right));
    let (mut y0, mut y1) = (inwards_low(seen.top), inwards_high(seen.bottom));
    (x0, y0) = (x0.max(0), y0.max(0));
    (x1, y1) = (x1.min(width as i32), y1.min(height as i32));
    let even_up = |v: i32| v + (v & 1);
    let even_down = |v: i32| v - (v & 1);
    match chain.subsampling {
        Subsampling::None => {}
        Subsampling::Columns => (x0, x1) = (even_up(x0), even_down(x1)),
        Subsampling::Both => {
            (x0, x1) = (even_up(x0), even_down(x1));
            (y0, y1) = (even_up(y0), even_down(y1));
        }
    }
    Rect::new(x0, y0, (x1 - x0).max(0), (y1 - y0).max(0))
}

impl<'d> Comparison<'d> {
    /// Draws the static artwork of region `region` once.
    pub fn new(
        subject: Subject<'d>,
        region: usize,
        chain: &ChainLook,
        size: (usize, usize),
        painter: &mut Painter,
    ) -> Self {
        let definition = subject.definition();
        let area = captured_area(definition.regions()[region].area(), chain, size.0, size.1);
        let mut scene = Scene::default();
        subject.region_static(region, &mut scene);
        let mut canvas = RegionCanvas::new(area, 3, chain.look.clone(), definition.background());
        canvas.set_fixed(painter, definition.fonts(), &scene, Filter::ALL);
        let c = chroma_area(area, chain.subsampling);
        let chroma = [(); 2].map(|()| Plane::filled(c.width as usize, c.height as usize, 128));
        let mut unchecked = [Vec::new(), Vec::new()];
        for rect in definition.unchecked() {
            leave_out(rect, chain, area, &mut unchecked);
        }
        let own = definition.regions()[region].area();
        for rect in chain.look.geometry.outside(own, area) {
            leave_out_pixels(rect, chain, area, &mut unchecked);
        }
        scene.clear();
        Self {
            subject,
            region,
            chain: chain.clone(),
            area,
            scene,
            canvas,
            chroma,
            gradients: Default::default(),
            scratch: Scratch::default(),
            unchecked,
            dirty: Vec::new(),
            is_fresh: true,
        }
    }

    /// The definition.
    #[must_use]
    pub fn definition(&self) -> &'d Definition {
        self.subject.definition()
    }

    /// The region's pixels in the capture.
    #[must_use]
    pub const fn area(&self) -> Rect {
        self.area
    }

    /// How it is compared.
    #[must_use]
    pub const fn chain(&self) -> &ChainLook {
        &self.chain
    }

    /// What moves, as last laid out.
    #[must_use]
    pub const fn scene(&self) -> &Scene {
        &self.scene
    }

    /// Areas that are not judged, relative to the region.
    #[must_use]
    pub fn unchecked(&self) -> &[Rect] {
        &self.unchecked[0]
    }

    /// Reference planes as last drawn: luma, Cb, Cr.
    #[must_use]
    pub fn reference(&self) -> [View<'_>; 3] {
        let luma = View::whole(&self.canvas.canvas().planes()[0]);
        match self.chain.subsampling {
            Subsampling::None => {
                let p = self.canvas.canvas().planes();
                [luma, View::whole(&p[1]), View::whole(&p[2])]
            }
            Subsampling::Columns | Subsampling::Both => [
                luma,
                View::whole(&self.chroma[0]),
                View::whole(&self.chroma[1]),
            ],
        }
    }

    /// Copies the luma that was last drawn to its place in a whole frame.
    pub fn copy_luma_to(&self, frame: &mut Plane) {
        let luma = &self.canvas.canvas().planes()[0];
        let (x, width) = (self.area.x as usize, self.area.width as usize);
        for y in 0..self.area.height as usize {
            frame.row_mut(self.area.y as usize + y)[x..x + width].copy_from_slice(luma.row(y));
        }
    }

    /// Planes of the static artwork alone, all at full resolution.
    #[must_use]
    pub fn fixed(&self) -> [View<'_>; 3] {
        let p = self.canvas.base().planes();
        [View::whole(&p[0]), View::whole(&p[1]), View::whole(&p[2])]
    }

    /// The region's part of a captured frame: luma, Cb, Cr.
    #[must_use]
    pub fn captured<'p>(&self, frame: &'p Picture) -> [View<'p>; 3] {
        let c = chroma_area(self.area, self.chain.subsampling);
        let p = frame.planes();
        [
            View::new(&p[0], self.area),
            View::new(&p[1], c),
            View::new(&p[2], c),
        ]
    }

    /// Draws the region for `inputs`.
    pub fn draw(&mut self, inputs: &Inputs, painter: &mut Painter) {
        self.lay_out(inputs, &[]);
        self.draw_laid_out(painter);
    }

    /// What the region shows for `inputs`, but with these numbers in the lines that they stand in; nothing is drawn.
    pub fn lay_out(&mut self, inputs: &Inputs, numbers: &[Written]) {
        self.scene.clear();
        self.subject
            .region_moving(self.region, inputs, &mut self.scene);
        for number in numbers {
            self.scene.reword(number.item, &number.words);
        }
    }

    /// Draws what was laid out.
    pub fn draw_laid_out(&mut self, painter: &mut Painter) {
        let fonts = self.subject.definition().fonts();
        let whole = Rect::new(0, 0, self.area.width, self.area.height);
        let area = self.area;
        let mut dirty = std::mem::take(&mut self.dirty);
        dirty.clear();
        dirty.extend(
            self.canvas
                .update(painter, fonts, &self.scene)
                .iter()
                .map(|r| r.moved(-area.x, -area.y).intersection(&whole)),
        );
        if std::mem::take(&mut self.is_fresh) {
            dirty.clear();
            dirty.push(whole);
        }
        self.renew(&dirty);
        self.dirty = dirty;
    }

    /// Brings colour planes and gradients up to date where luma was drawn again.
    fn renew(&mut self, dirty: &[Rect]) {
        let whole = Rect::new(0, 0, self.area.width, self.area.height);
        let subsampling = self.chain.subsampling;
        let planes = self.canvas.canvas().planes();
        if subsampling != Subsampling::None {
            for rect in dirty {
                let grown = rect.grown(2).intersection(&whole);
                for (k, plane) in self.chroma.iter_mut().enumerate() {
                    crate::reference::canvas::subsample(
                        &planes[k + 1],
                        (0, 0),
                        subsampling,
                        self.chain.siting,
                        grown,
                        plane,
                    );
                }
            }
        }
        let views = {
            let luma = View::whole(&planes[0]);
            match subsampling {
                Subsampling::None => [luma, View::whole(&planes[1]), View::whole(&planes[2])],
                _ => [
                    luma,
                    View::whole(&self.chroma[0]),
                    View::whole(&self.chroma[1]),
                ],
            }
        };
        for rect in dirty {
            let grown = rect.grown(2).intersection(&whole);
            let chroma = match subsampling {
                Subsampling::None => *rect,
                halved => samples_about(grown, halved).grown(1),
            };
            for (k, view) in views.into_iter().enumerate() {
                self.gradients[k].update(view, if k == 0 { *rect } else { chroma });
            }
        }
    }

    /// Compares what was last drawn with a captured frame.
    pub fn compare(&mut self, frame: &Picture) -> Difference {
        self.compare_past_slivers(frame, u32::MAX)
    }

    /// Whether what was last drawn agrees with a captured frame.
    pub fn agrees(&mut self, frame: &Picture) -> bool {
        self.compare_past_slivers(frame, LUMA_PX).agrees()
    }

    fn compare_past_slivers(&mut self, frame: &Picture, enough: u32) -> Difference {
        let mut unchecked = std::mem::take(&mut self.unchecked);
        let mut found = self.compare_outside(frame, &unchecked, enough);
        if !found.agrees() {
            let slivers = slivers::around(&self.scene);
            if !slivers.is_empty() {
                let kept = [unchecked[0].len(), unchecked[1].len()];
                for rect in slivers {
                    leave_out(rect, &self.chain, self.area, &mut unchecked);
                }
                found = self.compare_outside(frame, &unchecked, enough);
                unchecked[0].truncate(kept[0]);
                unchecked[1].truncate(kept[1]);
            }
        }
        self.unchecked = unchecked;
        found
    }

    /// Colour is not looked at once `enough` pixels of luma disagree.
    fn compare_outside(
        &mut self,
        frame: &Picture,
        unchecked: &[Vec<Rect>; 2],
        enough: u32,
    ) -> Difference {
        let captured = self.captured(frame);
        let mut scratch = std::mem::take(&mut self.scratch);
        let reference = self.reference();
        let mut found = [Disagreement::default(); 3];
        for k in 0..3 {
            let (tolerance, unchecked, enough) = if k == 0 {
                (&self.chain.luma, &unchecked[0], enough)
            } else {
                (&self.chain.chroma, &unchecked[1], u32::MAX)
            };
            found[k] = agreement::compare(
                captured[k],
                reference[k],
                &self.gradients[k],
                tolerance,
                unchecked,
                enough,
                &mut scratch,
            );
            if k == 0 && found[0].densest_px >= enough {
                break;
            }
        }
        self.scratch = scratch;
        let chroma = if found[1].densest_px >= found[2].densest_px {
            found[1]
        } else {
            found[2]
        };
        Difference {
            luma: found[0],
            chroma,
        }
    }
}

/// Adds `rect`, in pixels of the display, to the areas of luma and colour that are left out of a region,
/// relative to the region's `area`.
fn leave_out(rect: Rect, chain: &ChainLook, area: Rect, unchecked: &mut [Vec<Rect>; 2]) {
    leave_out_pixels(captured_outwards(rect, chain), chain, area, unchecked);
}

/// The same of pixels of the capture.
fn leave_out_pixels(rect: Rect, chain: &ChainLook, area: Rect, unchecked: &mut [Vec<Rect>; 2]) {
    let r = rect.intersection(&area);
    if r.is_empty() {
        return;
    }
    let local = r.moved(-area.x, -area.y);
    unchecked[0].push(local);
    unchecked[1].push(samples_about(local, chain.subsampling));
}

/// The colour samples of the pixels in `rect`, and the next one where it may have taken some of their colour.
fn samples_about(rect: Rect, subsampling: Subsampling) -> Rect {
    let (columns, rows) = (rect.width / 2 + 1, rect.height / 2 + 1);
    match subsampling {
        Subsampling::None => rect,
        Subsampling::Columns => Rect::new(rect.x / 2, rect.y, columns, rect.height),
        Subsampling::Both => Rect::new(rect.x / 2, rect.y / 2, columns, rows),
    }
}

/// `rect` through the chain's geometry, outwards to whole pixels.
fn captured_outwards(rect: Rect, chain: &ChainLook) -> Rect {
    let bounds = Bounds::from_rect([rect.x, rect.y, rect.width, rect.height]);
    pixels_of(&chain.look.geometry.map_bounds(&bounds))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::Encoding;
    use crate::reference::drawing::Drawing;
    use crate::reference::parts::bench;

    const BAR: &str = r##"
        kind = "bar"
        rect = [20, 20, 160, 100]
        channel = "a"
        direction = "up"
        edge = "left"
        breakpoints = [[0.0, 0.0], [100.0, 1.0]]
        color = "white"
        failure = { rect = [20, 20, 160, 100], font = "sans", size = 10.0, color = "red", background = "ground" }
    "##;

    /// What a display differs by that shows no bar where one of `length` px is due.
    fn without_bar(length: f64) -> Difference {
        let d = bench::display(BAR);
        let drawing = Drawing::new(&d);
        let subject = Subject::new(&d, &drawing);
        let (size, sub) = ((200, 200), Subsampling::None);
        let chain = ChainLook::of(&Profile::plain(size, Encoding::Rgb, sub, Siting::Left));
        let mut painter = Painter::default();
        let mut comparison = Comparison::new(subject, 0, &chain, size, &mut painter);
        comparison.draw(&bench::inputs(&d, &[("a", length)]), &mut painter);
        comparison.compare(&Picture::filled(200, 200, Encoding::Rgb, sub, [0; 3]))
    }

    #[test]
    fn a_sliver_that_is_left_out_is_not_missing_and_a_bar_is() {
        assert!(without_bar(0.3).agrees(), "{:?}", without_bar(0.3));
        assert!(!without_bar(0.7).agrees());
        assert!(!without_bar(4.0).agrees());
    }
}
