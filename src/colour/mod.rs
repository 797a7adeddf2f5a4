//! Colour: picture encodings, and how different two colours look.

mod difference;
mod encoding;
mod shade;

pub use difference::{
    Lab, ciede2000, contrast_ratio, delta_e_1976, relative_luminance, srgb_to_lab,
};
pub use encoding::{
    Siting, Upsampling, decode_unit, decode8, encode, encode_unit, encode8, rgb_to_ycbcr,
    rgb_to_ycbcr_into, to_rgb, to_rgb_into,
};
pub use shade::{Shade, Stop};
