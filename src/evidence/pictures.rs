//! Pictures of events: captured, reference and difference, side by side.

use image::{Rgb, RgbImage};
use imageproc::drawing::draw_hollow_rect_mut;

use crate::colour;
use crate::picture::{Picture, Plane, Rect};

/// Space between the three panels, px.
const GAP: u32 = 8;

/// A Y'CbCr picture as R'G'B' for people.
#[must_use]
pub fn to_rgb(picture: &Picture) -> RgbImage {
    let rgb = colour::to_rgb(picture, colour::Upsampling::Bilinear, colour::Siting::Left);
    let mut out = RgbImage::new(picture.width() as u32, picture.height() as u32);
    let [r, g, b] = rgb.planes().each_ref().map(Plane::levels);
    for (pixel, ((r, g), b)) in out.pixels_mut().zip(r.iter().zip(g).zip(b)) {
        *pixel = Rgb([*r, *g, *b]);
    }
    out
}

/// Colour of the box round what disagrees; no display has it.
const MARK: Rgb<u8> = Rgb([255, 70, 200]);
/// Space between it and the box, px.
const MARK_PX: i32 = 3;

/// Puts a box round `place`, which is where [`side_by_side`] shows `area`, into its third panel.
pub fn mark(panels: &mut RgbImage, area: Rect, place: Rect) {
    let place = place.grown(MARK_PX).intersection(&area);
    if place.is_empty() {
        return;
    }
    let first = 2 * (area.width + GAP as i32);
    let (x, y) = (first + place.x - area.x, place.y - area.y);
    let (width, height) = (place.width.unsigned_abs(), place.height.unsigned_abs());
    let outline = imageproc::rect::Rect::at(x, y).of_size(width, height);
    draw_hollow_rect_mut(panels, outline, MARK);
}

/// Captured, reference and difference of `area`, side by side. The difference is the largest of the three
/// channels, twice as strong as it is, white where it reaches half the range.
#[must_use]
pub fn side_by_side(captured: &RgbImage, reference: &RgbImage, area: Rect) -> RgbImage {
    let whole = Rect::new(0, 0, captured.width() as i32, captured.height() as i32);
    let area = area.intersection(&whole);
    let (w, h) = (area.width.max(1) as u32, area.height.max(1) as u32);
    let mut out = RgbImage::from_pixel(3 * w + 2 * GAP, h, Rgb([96, 96, 96]));
    for y in 0..area.height.max(0) as u32 {
        for x in 0..area.width.max(0) as u32 {
            let (sx, sy) = (x + area.x as u32, y + area.y as u32);
            let a = captured.get_pixel(sx, sy);
            let b = reference.get_pixel(sx, sy);
            let d = (0..3)
                .map(|k| a.0[k].abs_diff(b.0[k]))
                .max()
                .unwrap_or(0)
                .saturating_mul(2);
            out.put_pixel(x, y, *a);
            out.put_pixel(x + w + GAP, y, *b);
            out.put_pixel(x + 2 * (w + GAP), y, Rgb([d, d, d]));
        }
    }
    out
}
