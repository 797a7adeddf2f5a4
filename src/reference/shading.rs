//! How light falls off over a picture that a camera took: less at its edges, or to one side of them.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Gain of what is above black at the pixel (x, y) of the capture: a + b x + c y + d x² + e x y + f y².
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Shading(pub [f64; 6]);

impl Default for Shading {
    fn default() -> Self {
        Self::NONE
    }
}

impl Shading {
    /// The same light everywhere.
    pub const NONE: Self = Self([1.0, 0.0, 0.0, 0.0, 0.0, 0.0]);

    /// What each of the six is multiplied by.
    #[must_use]
    pub fn terms(x: f64, y: f64) -> [f64; 6] {
        [1.0, x, y, x * x, x * y, y * y]
    }

    /// Whether it changes nothing.
    #[must_use]
    pub fn is_none(&self) -> bool {
        *self == Self::NONE
    }

    /// The gain at a place, px of the capture.
    #[must_use]
    pub fn gain(&self, x: f64, y: f64) -> f64 {
        let terms = Self::terms(x, y);
        self.0.iter().zip(terms).map(|(a, b)| a * b).sum()
    }

    /// Dims the levels of a row that begins at (`x`, `y`), of a plane whose black is `black`.
    pub fn dim(&self, row: &mut [u8], (x, y): (i32, i32), black: u8) {
        let y = f64::from(y) + 0.5;
        let black = f64::from(black);
        // Along a row it is of second order in x alone.
        let [whole, across, down, across2, both, down2] = self.0;
        let (whole, across) = (whole + down * y + down2 * y * y, across + both * y);
        for (k, level) in row.iter_mut().enumerate() {
            let x = f64::from(x) + k as f64 + 0.5;
            let gain = whole + x * (across + across2 * x);
            *level = (black + gain * (f64::from(*level) - black) + 0.5).clamp(0.0, 255.0) as u8;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn light_falls_off_about_black() {
        // All of it at x = 0, half of it at 100; centres of pixels lie half a pixel farther on.
        let shading = Shading([1.0, 0.0, 0.0, -0.5e-4, 0.0, 0.0]);
        let mut row = [16, 116, 216];
        shading.dim(&mut row, (99, 7), 16);
        assert_eq!(row, [16, 65, 113]);
        let mut same = [16, 116, 216];
        Shading::NONE.dim(&mut same, (99, 7), 16);
        assert_eq!(same, [16, 116, 216]);
        assert!((shading.gain(100.0, 3.0) - 0.5).abs() < 1e-12);
    }
}
