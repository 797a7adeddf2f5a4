//! From the SVG reader's tree to plates.

use std::collections::BTreeMap;
use std::ops::Range;
use std::rc::Rc;

use usvg::{Node, PaintOrder};

use super::error::Error;
use super::outline::{self, Matrix};
use super::region::Region;
use super::screen::Screened;
use super::{Paint, Plate, Replacement};
use crate::colour::{Shade, Stop};
use crate::picture::{Point, Rgb};

/// Most corners of all outlines together, clip paths counted each time that they cut.
const CORNERS_MAX: usize = 2_000_000;

/// What becomes of a file.
pub(super) struct Plates {
    pub plates: Vec<Plate>,
    /// By id: which plates.
    pub ids: BTreeMap<String, Range<usize>>,
}

/// Reads off what `tree` draws.
///
/// # Errors
/// What is not drawn and could not be told from the file's words.
pub(super) fn plates(
    tree: &usvg::Tree,
    screened: &Screened,
    replace: &BTreeMap<Rgb, Replacement>,
) -> Result<Plates, Error> {
    let size = [tree.size().width(), tree.size().height()].map(f64::from);
    let Some(page) = Region::rectangle(size) else {
        return Err(Error::of_file(format!(
            "{} x {} px is too large to draw",
            size[0], size[1]
        )));
    };
    let mut reading = Reading {
        screened,
        replace,
        size,
        plates: Vec::new(),
        regions: Vec::new(),
        ids: BTreeMap::new(),
        corners: 0,
        within: Vec::new(),
    };
    let page = Rc::new(Clip {
        is_page: true,
        region: page,
    });
    reading.group(
        tree.root(),
        outline::matrix(usvg::Transform::identity()),
        &page,
    )?;
    Ok(Plates {
        plates: reading.plates,
        ids: reading.ids,
    })
}

struct Clip {
    /// The whole picture: what lies inside needs no cutting.
    is_page: bool,
    region: Region,
}

struct Reading<'a> {
    screened: &'a Screened,
    replace: &'a BTreeMap<Rgb, Replacement>,
    size: [f64; 2],
    plates: Vec<Plate>,
    /// What each plate covers.
    regions: Vec<Region>,
    ids: BTreeMap<String, Range<usize>>,
    corners: usize,
    /// Ids of the elements that are being read, outermost first.
    within: Vec<String>,
}

impl Reading<'_> {
    /// An error that names the innermost element that has a place.
    fn error(&self, message: impl Into<String>) -> Error {
        let place = self
            .within
            .iter()
            .rev()
            .find_map(|id| self.screened.places.get(id));
        match place {
            Some(place) => place.error(message),
            None => Error::of_file(message),
        }
    }

    /// Reads what has the id `id`, and remembers which plates came of it.
    fn element(
        &mut self,
        id: &str,
        read: impl FnOnce(&mut Self) -> Result<(), Error>,
    ) -> Result<(), Error> {
        let first = self.plates.len();
        self.within.push(id.to_owned());
        read(self)?;
        self.within.pop();
        let is_own = !id.is_empty() && !id.starts_with(&self.screened.given);
        if is_own && self.plates.len() > first {
            self.ids.insert(id.to_owned(), first..self.plates.len());
        }
        Ok(())
    }

    fn group(&mut self, group: &usvg::Group, outer: Matrix, clip: &Rc<Clip>) -> Result<(), Error> {
        let matrix = outline::product(outer, outline::matrix(group.transform()));
        self.element(group.id(), |own| own.members(group, matrix, clip))
    }

    fn members(
        &mut self,
        group: &usvg::Group,
        matrix: Matrix,
        clip: &Rc<Clip>,
    ) -> Result<(), Error> {
        // The file's words were looked at; this is what the reader made of them.
        if group.mask().is_some()
            || !group.filters().is_empty()
            || group.blend_mode() != usvg::BlendMode::Normal
        {
            return Err(self.error("masks, filters and blend modes are not drawn"));
        }
        let clip = match group.clip_path() {
            None => Rc::clone(clip),
            Some(path) => {
                let region = self.clip_path(path, matrix)?.intersection(&clip.region);
                let is_page = false;
                Rc::new(Clip { is_page, region })
            }
        };
        let first = self.plates.len();
        for node in group.children() {
            match node {
                Node::Group(inner) => self.group(inner, matrix, &clip)?,
                Node::Path(path) => self.element(path.id(), |own| own.path(path, matrix, &clip))?,
                Node::Text(text) => self.element(text.id(), |own| {
                    own.anchor(text)?;
                    own.group(text.flattened(), matrix, &clip)
                })?,
                Node::Image(_) => return Err(self.error("raster pictures are not drawn")),
            }
        }
        let opacity = f64::from(group.opacity().get());
        if opacity < 1.0 {
            self.fade(first, opacity, group)?;
        }
        Ok(())
    }

    /// Programs differ on whether the space after the last letter counts when a spaced text is held by its middle or end.
    fn anchor(&self, text: &usvg::Text) -> Result<(), Error> {
        let is_spaced = |c: &usvg::TextChunk| c.spans().iter().any(|s| s.letter_spacing() != 0.0);
        let is_held = |c: &usvg::TextChunk| c.anchor() != usvg::TextAnchor::Start;
        if text.chunks().iter().any(|c| is_held(c) && is_spaced(c)) {
            return Err(self.error("letter-spacing with a text-anchor other than start is drawn in two ways; give it a start"));
        }
        Ok(())
    }

    /// Lets the plates from `first` on shine through as a group.
    fn fade(&mut self, first: usize, opacity: f64, group: &usvg::Group) -> Result<(), Error> {
        let regions = &self.regions[first..];
        for (k, region) in regions.iter().enumerate() {
            if regions[..k].iter().any(|other| other.overlaps(region)) {
                let message = "opacity of what overlaps itself (fill and stroke, or several shapes) is not drawn; give each \
                               its own fill-opacity or stroke-opacity";
                // The reader wraps a shape in a group without an id; the shape has it.
                if group.id().is_empty() {
                    self.within.extend(first_id(group));
                }
                return Err(self.error(message));
            }
        }
        for plate in &mut self.plates[first..] {
            plate.opacity *= opacity;
        }
        Ok(())
    }

    fn path(&mut self, path: &usvg::Path, matrix: Matrix, clip: &Rc<Clip>) -> Result<(), Error> {
        if !path.is_visible() {
            return Ok(());
        }
        let data = outline::path(path.data());
        let is_fill_first = path.paint_order() == PaintOrder::FillAndStroke;
        for is_fill in [is_fill_first, !is_fill_first] {
            if is_fill && let Some(fill) = path.fill() {
                let is_even_odd = fill.rule() == usvg::FillRule::EvenOdd;
                let region = self.region(&data, matrix, is_even_odd)?;
                self.plate(region, fill.paint(), fill.opacity(), matrix, clip)?;
            }
            if !is_fill && let Some(stroke) = path.stroke() {
                // The stroker must not be asked for what is too large to draw.
                self.region(&data, matrix, false)?;
                let scale = outline::largest_scale(matrix);
                let outline =
                    outline::stroke(&data, stroke, scale).map_err(|why| self.error(why))?;
                let region = self.region(&outline, matrix, false)?;
                self.plate(region, stroke.paint(), stroke.opacity(), matrix, clip)?;
            }
        }
        Ok(())
    }

    fn region(
        &mut self,
        path: &kurbo::BezPath,
        matrix: Matrix,
        is_even_odd: bool,
    ) -> Result<Region, Error> {
        let contours = outline::contours(path, matrix);
        let count: usize = contours.iter().flatten().map(Vec::len).sum();
        self.count(count)?;
        let region = contours.and_then(|c| Region::covered(&c, is_even_odd));
        region.ok_or_else(|| {
            let far = super::region::FAR_PX;
            self.error(format!(
                "it reaches farther than {far} px from the picture's corner; make it smaller"
            ))
        })
    }

    fn count(&mut self, corners: usize) -> Result<(), Error> {
        self.corners += corners;
        if self.corners > CORNERS_MAX {
            return Err(self.error(format!(
                "the outlines have more than {CORNERS_MAX} corners; make them simpler"
            )));
        }
        Ok(())
    }

    /// Cuts what a fill or stroke covers, and adds it.
    fn plate(
        &mut self,
        region: Region,
        paint: &usvg::Paint,
        opacity: usvg::Opacity,
        matrix: Matrix,
        clip: &Rc<Clip>,
    ) -> Result<(), Error> {
        let region = if clip.is_page && self.is_on_page(&region) {
            region
        } else {
            self.count(clip.region.corners())?;
            region.intersection(&clip.region)
        };
        let opacity = f64::from(opacity.get());
        if region.is_empty() || opacity <= 0.0 {
            return Ok(());
        }
        let (paint, own, color_name) = self.paint(paint, matrix)?;
        self.plates.push(Plate {
            contours: region.contours(),
            paint,
            opacity: opacity * own,
            color_name,
        });
        self.regions.push(region);
        Ok(())
    }

    fn is_on_page(&self, region: &Region) -> bool {
        let [width, height] = self.size;
        let is_on = |p: &Point| p.x >= 0.0 && p.y >= 0.0 && p.x <= width && p.y <= height;
        region.contours().iter().flatten().all(is_on)
    }

    /// A paint, an opacity of its own, and the name that replaces its colour.
    fn paint(
        &self,
        paint: &usvg::Paint,
        matrix: Matrix,
    ) -> Result<(Paint, f64, Option<String>), Error> {
        let gradient = match paint {
            usvg::Paint::Color(c) => {
                let (color, name) = self.replaced(*c);
                return Ok((Paint::Flat(color), 1.0, name));
            }
            usvg::Paint::LinearGradient(gradient) => gradient,
            usvg::Paint::RadialGradient(_) | usvg::Paint::Pattern(_) => {
                return Err(
                    self.error("of gradients and patterns, only linear gradients are drawn")
                );
            }
        };
        let stop = |s: &usvg::Stop| Stop {
            offset: f64::from(s.offset().get()),
            color: self.replaced(s.color()).0,
            opacity: f64::from(s.opacity().get()),
        };
        let stops: Vec<Stop> = gradient.stops().iter().map(stop).collect();
        let Some(last) = stops.last() else {
            return Err(self.error("its gradient has no colours; give it stops"));
        };
        let point = |x: f32, y: f32| Point::new(f64::from(x), f64::from(y));
        let (from, to) = (
            point(gradient.x1(), gradient.y1()),
            point(gradient.x2(), gradient.y2()),
        );
        let placed = outline::product(matrix, outline::matrix(gradient.transform()));
        let shade = Shade::new(from, to, &stops).and_then(|s| s.mapped(placed));
        // SVG 1.1, 13.2.2: a line without a length is painted in the colour and opacity of the last stop.
        Ok(match shade {
            Some(shade) => (Paint::Linear(shade), 1.0, None),
            None => (Paint::Flat(last.color), last.opacity, None),
        })
    }

    fn replaced(&self, color: usvg::Color) -> (Rgb, Option<String>) {
        let own = Rgb([color.red, color.green, color.blue]);
        self.replace
            .get(&own)
            .map_or((own, None), |to| (to.color, Some(to.name.clone())))
    }

    /// What a clip path lets through, for what is drawn under `outer`.
    fn clip_path(&mut self, clip: &usvg::ClipPath, outer: Matrix) -> Result<Region, Error> {
        let matrix = outline::product(outer, outline::matrix(clip.transform()));
        let own = self.clip_group(clip.root(), matrix)?;
        match clip.clip_path() {
            None => Ok(own),
            // In the coordinates of what is cut, as the reader hands it over.
            Some(other) => Ok(own.intersection(&self.clip_path(other, outer)?)),
        }
    }

    fn clip_group(&mut self, group: &usvg::Group, outer: Matrix) -> Result<Region, Error> {
        let matrix = outline::product(outer, outline::matrix(group.transform()));
        let mut covered = Region::default();
        for node in group.children() {
            let region = match node {
                Node::Group(inner) => self.clip_group(inner, matrix)?,
                Node::Text(text) => self.clip_group(text.flattened(), matrix)?,
                Node::Image(_) => return Err(self.error("raster pictures are not drawn")),
                Node::Path(path) => match path.fill() {
                    Some(fill) if path.is_visible() => {
                        let is_even_odd = fill.rule() == usvg::FillRule::EvenOdd;
                        self.region(&outline::path(path.data()), matrix, is_even_odd)?
                    }
                    _ => continue,
                },
            };
            self.count(covered.corners())?;
            covered = covered.union(&region);
        }
        match group.clip_path() {
            None => Ok(covered),
            Some(clip) => Ok(covered.intersection(&self.clip_path(clip, matrix)?)),
        }
    }
}

/// The id of the first thing in a group that has one.
fn first_id(group: &usvg::Group) -> Option<String> {
    let of = |node: &Node| match node {
        Node::Group(g) if g.id().is_empty() => first_id(g),
        other => Some(other.id().to_owned()),
    };
    group
        .children()
        .first()
        .and_then(of)
        .filter(|id| !id.is_empty())
}
