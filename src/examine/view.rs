//! A rectangle of a plane, read in place.

use crate::picture::{Plane, Rect};

/// Rows of a rectangle that lies inside a plane.
///
/// # Guarantees
/// `rect` lies inside the plane; rows have exactly `width` levels.
#[derive(Clone, Copy, Debug)]
pub struct View<'a> {
    levels: &'a [u8],
    stride: usize,
    width: usize,
    height: usize,
}

impl<'a> View<'a> {
    /// The part of `plane` that `rect` covers.
    ///
    /// # Panics
    /// When `rect` reaches outside `plane`.
    #[must_use]
    pub fn new(plane: &'a Plane, rect: Rect) -> Self {
        let whole = Rect::new(0, 0, plane.width() as i32, plane.height() as i32);
        assert_eq!(
            rect.intersection(&whole),
            rect,
            "a view lies inside its plane"
        );
        let (width, height) = (rect.width as usize, rect.height as usize);
        if width == 0 || height == 0 {
            return Self {
                levels: &[],
                stride: 0,
                width: 0,
                height: 0,
            };
        }
        let first = rect.y as usize * plane.width() + rect.x as usize;
        let last = first + (height - 1) * plane.width() + width;
        Self {
            levels: &plane.levels()[first..last],
            stride: plane.width(),
            width,
            height,
        }
    }

    /// The whole of `plane`.
    #[must_use]
    pub fn whole(plane: &'a Plane) -> Self {
        Self::new(
            plane,
            Rect::new(0, 0, plane.width() as i32, plane.height() as i32),
        )
    }

    /// Columns.
    #[must_use]
    pub const fn width(&self) -> usize {
        self.width
    }

    /// Rows.
    #[must_use]
    pub const fn height(&self) -> usize {
        self.height
    }

    /// Row `y`.
    #[must_use]
    pub fn row(&self, y: usize) -> &'a [u8] {
        &self.levels[y * self.stride..y * self.stride + self.width]
    }

    /// The level at (`x`, `y`).
    #[must_use]
    pub fn at(&self, x: usize, y: usize) -> u8 {
        self.levels[y * self.stride + x]
    }

    /// The part that `rect`, relative to this view, covers; what reaches outside is cut off.
    #[must_use]
    pub fn crop(&self, rect: Rect) -> Self {
        let r = rect.intersection(&Rect::new(0, 0, self.width as i32, self.height as i32));
        if r.is_empty() {
            return Self {
                levels: &[],
                stride: 0,
                width: 0,
                height: 0,
            };
        }
        let (width, height) = (r.width as usize, r.height as usize);
        let first = r.y as usize * self.stride + r.x as usize;
        let last = first + (height - 1) * self.stride + width;
        Self {
            levels: &self.levels[first..last],
            stride: self.stride,
            width,
            height,
        }
    }
}
