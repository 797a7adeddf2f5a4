//! How different two colours look: sRGB to CIE L\*a\*b\*, CIEDE2000, contrast.
//!
//! # Source
//! IEC 61966-2-1:1999 (sRGB), CIE 15 (L\*a\*b\*), Sharma, Wu and Dalal 2005, "The CIEDE2000
//! Color-Difference Formula: Implementation Notes, Supplementary Test Data, and Mathematical
//! Observations", Color Res. Appl. 30(1), 21-30.

use std::sync::LazyLock;

use crate::picture::Rgb;

/// A colour in CIE 1976 L\*a\*b\* under D65, 2 degree observer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lab {
    /// Lightness, 0 (black) to 100 (white).
    pub l: f64,
    /// Green (negative) to red.
    pub a: f64,
    /// Blue (negative) to yellow.
    pub b: f64,
}

impl Lab {
    /// The colour with these coordinates.
    #[must_use]
    pub const fn new(l: f64, a: f64, b: f64) -> Self {
        Self { l, a, b }
    }
}

/// Linear light of each 8-bit level, 0 to 1 (IEC 61966-2-1, 5.2).
static LINEAR: LazyLock<[f64; 256]> = LazyLock::new(|| {
    std::array::from_fn(|level| {
        let v = level as f64 / 255.0;
        if v <= 0.04045 {
            v / 12.92
        } else {
            libm::pow((v + 0.055) / 1.055, 2.4)
        }
    })
});

/// CIE XYZ of an sRGB colour, Y of white being 1.
fn srgb_to_xyz(colour: Rgb) -> [f64; 3] {
    let [r, g, b] = colour.0.map(|level| LINEAR[usize::from(level)]);
    [
        0.4124 * r + 0.3576 * g + 0.1805 * b,
        0.2126 * r + 0.7152 * g + 0.0722 * b,
        0.0193 * r + 0.1192 * g + 0.9505 * b,
    ]
}

/// L\*a\*b\* of an sRGB colour.
///
/// # Source
/// IEC 61966-2-1:1999 with its matrix of four digits; CIE 15, D65 white (0.95047, 1, 1.08883).
#[must_use]
pub fn srgb_to_lab(colour: Rgb) -> Lab {
    const WHITE: [f64; 3] = [0.95047, 1.0, 1.08883];
    // (6/29)^3 and 1 / (3 (6/29)^2).
    const LINEAR_BELOW: f64 = 216.0 / 24389.0;
    const SLOPE: f64 = 841.0 / 108.0;
    let xyz = srgb_to_xyz(colour);
    let f = |k: usize| {
        let t = xyz[k] / WHITE[k];
        if t > LINEAR_BELOW {
            libm::cbrt(t)
        } else {
            SLOPE * t + 4.0 / 29.0
        }
    };
    let (x, y, z) = (f(0), f(1), f(2));
    Lab {
        l: 116.0 * y - 16.0,
        a: 500.0 * (x - y),
        b: 200.0 * (y - z),
    }
}

/// Luminance of an sRGB colour against white, 0 to 1.
#[must_use]
pub fn relative_luminance(colour: Rgb) -> f64 {
    srgb_to_xyz(colour)[1]
}

/// Contrast of two sRGB colours, 1 (none) to 21 (black on white), whichever is brighter.
///
/// # Source
/// Web Content Accessibility Guidelines 2.x, "contrast ratio".
#[must_use]
pub fn contrast_ratio(one: Rgb, other: Rgb) -> f64 {
    let (a, b) = (relative_luminance(one), relative_luminance(other));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

/// Distance of two colours in L\*a\*b\* (CIE 1976).
#[must_use]
pub fn delta_e_1976(one: Lab, other: Lab) -> f64 {
    libm::sqrt((one.l - other.l).powi(2) + (one.a - other.a).powi(2) + (one.b - other.b).powi(2))
}

/// Colour difference CIEDE2000 with kL = kC = kH = 1. About 1 is just visible side by side.
///
/// # Source
/// Sharma, Wu and Dalal 2005, equations 2 to 22.
#[must_use]
pub fn ciede2000(one: Lab, other: Lab) -> f64 {
    const POW_25_7: f64 = 6_103_515_625.0;
    let share = |chroma: f64| {
        let c7 = chroma.powi(7);
        libm::sqrt(c7 / (c7 + POW_25_7))
    };
    // 2 to 7: chroma and hue with a* stretched for grey colours.
    let mean_c = f64::midpoint(libm::hypot(one.a, one.b), libm::hypot(other.a, other.b));
    let stretch = 1.0 + 0.5 * (1.0 - share(mean_c));
    let polar = |lab: Lab| {
        let a = stretch * lab.a;
        let hue = if a == 0.0 && lab.b == 0.0 {
            0.0
        } else {
            libm::atan2(lab.b, a).to_degrees()
        };
        (
            libm::hypot(a, lab.b),
            if hue < 0.0 { hue + 360.0 } else { hue },
        )
    };
    let ((c1, h1), (c2, h2)) = (polar(one), polar(other));
    let is_grey = c1 * c2 == 0.0;

    // 8 to 11: differences.
    let dl = other.l - one.l;
    let dc = c2 - c1;
    let dh = match h2 - h1 {
        _ if is_grey => 0.0,
        d if d > 180.0 => d - 360.0,
        d if d < -180.0 => d + 360.0,
        d => d,
    };
    let dh = 2.0 * libm::sqrt(c1 * c2) * sin_deg(dh / 2.0);

    // 12 to 14: means.
    let l = f64::midpoint(one.l, other.l);
    let c = f64::midpoint(c1, c2);
    let h = match h1 + h2 {
        sum if is_grey => sum,
        sum if (h1 - h2).abs() <= 180.0 => sum / 2.0,
        sum if sum < 360.0 => (sum + 360.0) / 2.0,
        sum => (sum - 360.0) / 2.0,
    };

    // 15 to 22: weights and the sum.
    let t =
        1.0 - 0.17 * cos_deg(h - 30.0) + 0.24 * cos_deg(2.0 * h) + 0.32 * cos_deg(3.0 * h + 6.0)
            - 0.20 * cos_deg(4.0 * h - 63.0);
    let turn = 30.0 * libm::exp(-((h - 275.0) / 25.0).powi(2));
    let l50 = (l - 50.0).powi(2);
    let dl = dl / (1.0 + 0.015 * l50 / libm::sqrt(20.0 + l50));
    let dc = dc / (1.0 + 0.045 * c);
    let dh = dh / (1.0 + 0.015 * c * t);
    let rotation = -sin_deg(2.0 * turn) * 2.0 * share(c);
    // Rounding may carry a difference of nothing a little below 0.
    libm::sqrt((dl * dl + dc * dc + dh * dh + rotation * dc * dh).max(0.0))
}

fn sin_deg(degrees: f64) -> f64 {
    libm::sin(degrees.to_radians())
}

fn cos_deg(degrees: f64) -> f64 {
    libm::cos(degrees.to_radians())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_colour_differs_from_itself_by_nothing() {
        for rgb in [[0, 0, 0], [255, 255, 255], [255, 0, 0], [12, 200, 99]] {
            let lab = srgb_to_lab(Rgb(rgb));
            assert_eq!(ciede2000(lab, lab), 0.0);
            assert_eq!(contrast_ratio(Rgb(rgb), Rgb(rgb)), 1.0);
        }
    }

    proptest! {
        #[test]
        fn colour_difference_has_no_direction(a in any::<[u8; 3]>(), b in any::<[u8; 3]>()) {
            let (a, b) = (srgb_to_lab(Rgb(a)), srgb_to_lab(Rgb(b)));
            let (there, back) = (ciede2000(a, b), ciede2000(b, a));
            prop_assert!(there >= 0.0 && (there - back).abs() < 1e-9);
        }
    }
}
