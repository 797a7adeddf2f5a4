//! Areas of the picture with straight edges: what lies in both, whether two overlap.
//!
//! Corners stand on a grid, so that every machine has the same ones, whatever the last digits of its sines are.

use i_overlay::core::fill_rule::FillRule;
use i_overlay::core::overlay::{Overlay, ShapeType};
use i_overlay::core::overlay_rule::OverlayRule;
use i_overlay::core::relate::PredicateOverlay;
use i_overlay::i_float::int::point::IntPoint;

use crate::picture::Point;

/// Steps of the grid in a pixel.
const STEPS: f64 = 4096.0;
/// Farthest that a corner may lie from the origin, px. The areas' arithmetic holds up to 262,144 px.
pub(super) const FAR_PX: f64 = 32_768.0;

/// Contours that do not cross each other or themselves: non-zero rule and even-odd rule say the same.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Region {
    contours: Vec<Vec<IntPoint<i32>>>,
}

impl Region {
    /// What closed contours cover by the non-zero or, with `is_even_odd`, by the even-odd rule. `None` where a corner is
    /// farther than [`FAR_PX`] from the origin.
    pub fn covered(contours: &[Vec<Point>], is_even_odd: bool) -> Option<Self> {
        let is_near = |p: &Point| p.x.abs() <= FAR_PX && p.y.abs() <= FAR_PX;
        if !contours.iter().flatten().all(is_near) {
            return None;
        }
        let step = |v: f64| libm::round(v * STEPS) as i32;
        let mut overlay = Overlay::<i32>::new(contours.iter().map(Vec::len).sum());
        for contour in contours {
            let points = contour.iter().map(|p| IntPoint::new(step(p.x), step(p.y)));
            overlay.add_path_iter(points, ShapeType::Subject);
        }
        let rule = if is_even_odd {
            FillRule::EvenOdd
        } else {
            FillRule::NonZero
        };
        let shapes = overlay.overlay(OverlayRule::Subject, rule);
        Some(Self::of(shapes))
    }

    /// A rectangle from the origin, px.
    pub fn rectangle([width, height]: [f64; 2]) -> Option<Self> {
        let corners = [(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)];
        let contour = corners.map(|(x, y)| Point::new(x, y)).to_vec();
        Self::covered(&[contour], false)
    }

    fn of(shapes: Vec<Vec<Vec<IntPoint<i32>>>>) -> Self {
        Self {
            contours: shapes.into_iter().flatten().collect(),
        }
    }

    fn with(&self, other: &Self, rule: OverlayRule) -> Self {
        let mut overlay = Overlay::from_subj_and_clip(&self.contours, &other.contours);
        Self::of(overlay.overlay(rule, FillRule::NonZero))
    }

    /// What lies in both.
    pub fn intersection(&self, other: &Self) -> Self {
        self.with(other, OverlayRule::Intersect)
    }

    /// What lies in one or the other.
    pub fn union(&self, other: &Self) -> Self {
        self.with(other, OverlayRule::Union)
    }

    /// Whether they have an area in common; a common edge is none.
    pub fn overlaps(&self, other: &Self) -> bool {
        let mut overlay = PredicateOverlay::from_subj_and_clip(&self.contours, &other.contours);
        overlay.interiors_intersect()
    }

    /// Whether nothing is covered.
    pub fn is_empty(&self) -> bool {
        self.contours.is_empty()
    }

    /// Number of corners.
    pub fn corners(&self) -> usize {
        self.contours.iter().map(Vec::len).sum()
    }

    /// The contours, px.
    pub fn contours(&self) -> Vec<Vec<Point>> {
        let point = |p: &IntPoint<i32>| Point::new(f64::from(p.x) / STEPS, f64::from(p.y) / STEPS);
        let contour = |c: &Vec<IntPoint<i32>>| c.iter().map(point).collect();
        self.contours.iter().map(contour).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(x: f64, y: f64, side: f64) -> Vec<Point> {
        [(0.0, 0.0), (side, 0.0), (side, side), (0.0, side)]
            .map(|(dx, dy)| Point::new(x + dx, y + dy))
            .to_vec()
    }

    fn area(region: &Region) -> f64 {
        let twice = |c: &Vec<Point>| {
            let next = c.iter().cycle().skip(1);
            c.iter()
                .zip(next)
                .map(|(a, b)| a.x * b.y - b.x * a.y)
                .sum::<f64>()
        };
        let total: f64 = region.contours().iter().map(twice).sum();
        total.abs() / 2.0
    }

    #[test]
    fn rules_say_what_overlapping_contours_cover() {
        let both = [square(0.0, 0.0, 4.0), square(2.0, 2.0, 4.0)];
        let area_by = |is_even_odd| area(&Region::covered(&both, is_even_odd).expect("near"));
        assert_eq!(area_by(false), 28.0);
        assert_eq!(area_by(true), 24.0);
    }

    #[test]
    fn what_touches_does_not_overlap() {
        let region = |x| Region::covered(&[square(x, 0.0, 2.0)], false).expect("near");
        assert!(region(0.0).overlaps(&region(1.0)));
        assert!(!region(0.0).overlaps(&region(2.0)));
        assert!(!region(0.0).overlaps(&region(9.0)));
        assert_eq!(area(&region(0.0).intersection(&region(1.5))), 1.0);
        assert_eq!(area(&region(0.0).union(&region(1.0))), 6.0);
        assert!(region(0.0).intersection(&region(5.0)).is_empty());
    }

    #[test]
    fn corners_stand_on_the_grid_and_not_too_far() {
        let region = Region::covered(&[square(0.1, 0.2, 1.0)], false).expect("near");
        for p in region.contours().concat() {
            assert_eq!((p.x * STEPS).fract(), 0.0);
        }
        assert!(Region::covered(&[square(FAR_PX, 0.0, 1.0)], false).is_none());
        assert!(Region::covered(&[square(f64::NAN, 0.0, 1.0)], false).is_none());
    }
}
