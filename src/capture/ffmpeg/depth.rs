//! Samples of more than 8 bits.

use crate::picture::Range;

/// Deep samples to 8 bits, rounded. Done here since the scaler of `ffmpeg` cuts bits off
/// instead, which darkens the picture by half a level.
///
/// # Source
/// Rec. ITU-T H.273, 8.3: limited range is scaled by powers of two, full range by
/// `2^bits - 1` with colour centred on `2^(bits - 1)`.
pub(super) struct Reduction {
    luma: Vec<u8>,
    colour: Vec<u8>,
}

impl Reduction {
    pub(super) fn new(bits: u32, range: Range) -> Self {
        let top = (1_u32 << bits) - 1;
        let centre = 1_u32 << (bits - 1);
        let limited = |v: u32| f64::from(v) / f64::from(1_u32 << (bits - 8));
        let scale = 255.0 / f64::from(top);
        let level = |v: f64| v.round().clamp(0.0, 255.0) as u8;
        let samples = || (0..=u32::from(u16::MAX)).map(|v| v.min(top));
        match range {
            Range::Limited => {
                let luma: Vec<u8> = samples().map(|v| level(limited(v))).collect();
                Self {
                    colour: luma.clone(),
                    luma,
                }
            }
            Range::Full => Self {
                luma: samples().map(|v| level(f64::from(v) * scale)).collect(),
                colour: samples()
                    .map(|v| level((f64::from(v) - f64::from(centre)) * scale + 128.0))
                    .collect(),
            },
        }
    }

    /// By the number of the plane.
    pub(super) fn table(&self, plane: usize) -> &[u8] {
        if plane == 0 { &self.luma } else { &self.colour }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn deep_samples_keep_black_white_and_neutral() {
        let limited = Reduction::new(10, Range::Limited);
        assert_eq!(
            [64, 65, 66, 512, 940, 1023].map(|v| limited.luma[v]),
            [16, 16, 17, 128, 235, 255]
        );
        let full = Reduction::new(12, Range::Full);
        assert_eq!([0, 4095].map(|v| full.luma[v]), [0, 255]);
        assert_eq!([0, 2048, 4095].map(|v| full.colour[v]), [0, 128, 255]);
    }
}
