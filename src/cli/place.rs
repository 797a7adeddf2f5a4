//! `--place`: where in the capture the display stands.

use std::str::FromStr;

use super::Failure;
use crate::check::place::Place;
use crate::definition::Definition;
use crate::picture::Point;
use crate::reference::canvas::Geometry;
use crate::suite::plan::{Auto, PlaceKey};

/// Where in the capture the display stands, as it is said.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum PlaceArgument {
    /// It is looked for.
    Auto,
    /// Left and upper edge, width and height, px of the capture.
    Rectangle([f64; 4]),
    /// Top left, top right, bottom right and bottom left corner, px of the capture.
    Corners([[f64; 2]; 4]),
}

/// Scales below which the display's lines vanish, and above which a picture is of something else.
const SCALES: [f64; 2] = [0.1, 10.0];

impl FromStr for PlaceArgument {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if text == "auto" {
            return Ok(Self::Auto);
        }
        let numbers: Option<Vec<f64>> = text
            .split(',')
            .map(|t| t.trim().parse().ok().filter(|v: &f64| v.abs() <= 1e5))
            .collect();
        numbers.as_deref().and_then(Self::of_numbers).ok_or_else(|| {
            format!(
                "\"{text}\" is not a place; give X,Y,WIDTH,HEIGHT of the display in px of the capture, or x and y of its four corners from the top left clockwise, or auto"
            )
        })
    }
}

impl PlaceArgument {
    /// The place that the plan of a suite says.
    pub fn of_plan(key: &PlaceKey) -> Option<Self> {
        match key {
            PlaceKey::Word(Auto::Auto) => Some(Self::Auto),
            PlaceKey::Numbers(numbers) => Self::of_numbers(numbers),
        }
    }

    fn of_numbers(numbers: &[f64]) -> Option<Self> {
        match *numbers {
            [x, y, width, height] => Some(Self::Rectangle([x, y, width, height])),
            [a, b, c, d, e, f, g, h] => Some(Self::Corners([[a, b], [c, d], [e, f], [g, h]])),
            _ => None,
        }
    }

    /// As it is written on the command line.
    pub fn words(&self) -> String {
        let joined = |list: &[f64]| {
            let each: Vec<String> = list.iter().map(f64::to_string).collect();
            each.join(",")
        };
        match self {
            Self::Auto => "auto".to_owned(),
            Self::Rectangle(r) => joined(r),
            Self::Corners(corners) => joined(corners.as_flattened()),
        }
    }

    /// The place of a display.
    ///
    /// # Errors
    /// When a display cannot stand there.
    pub fn of(&self, definition: &Definition) -> Result<Place, Failure> {
        let (width, height) = definition.size();
        let own = (width as f64, height as f64);
        let geometry = match *self {
            Self::Auto => return Ok(Place::Auto),
            Self::Rectangle([x, y, w, h]) => {
                Some(Geometry::upright([w / own.0, h / own.1], [x, y]))
            }
            Self::Corners(corners) => {
                Geometry::from_corners(own, corners.map(|[x, y]| Point::new(x, y)))
            }
        };
        let corners = [(0.0, 0.0), (own.0, 0.0), own, (0.0, own.1)];
        let is_sane = |g: &Geometry| {
            let scales = corners
                .iter()
                .flat_map(|at| g.scale_at(Point::new(at.0, at.1)));
            let mut signed = [g.sx, g.sy].into_iter().chain(scales);
            signed.all(|s| (SCALES[0]..=SCALES[1]).contains(&s))
        };
        geometry.filter(is_sane).map(Place::Given).ok_or_else(|| {
            format!(
                "--place {}: a display of {width}x{height} cannot stand there; corners go clockwise from the top left and make a shape without dents, at {} to {} times its size",
                self.words(),
                SCALES[0],
                SCALES[1]
            )
            .into()
        })
    }
}
