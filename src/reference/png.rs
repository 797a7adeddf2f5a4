//! Pictures as PNG files.

use image::{ExtendedColorType, ImageEncoder, ImageError, codecs::png};

use super::canvas::Canvas;

/// An R'G'B' canvas as a PNG file, 8 bits a channel; a canvas of one plane comes out grey.
///
/// The same canvas gives the same bytes.
///
/// # Errors
/// When the canvas has no pixel.
pub fn png(canvas: &Canvas) -> Result<Vec<u8>, ImageError> {
    let area = canvas.area();
    png_of_rgb(
        area.width.unsigned_abs(),
        area.height.unsigned_abs(),
        &canvas.interleaved(),
    )
}

/// R, G, B, R, G, B, ... row by row as a PNG file.
///
/// # Errors
/// When there is no pixel.
///
/// # Panics
/// When `rgb` does not hold exactly 3 x `width` x `height` levels.
pub fn png_of_rgb(width: u32, height: u32, rgb: &[u8]) -> Result<Vec<u8>, ImageError> {
    let mut out = Vec::new();
    let encoder = png::PngEncoder::new_with_quality(
        &mut out,
        png::CompressionType::Fast,
        png::FilterType::Adaptive,
    );
    encoder.write_image(rgb, width, height, ExtendedColorType::Rgb8)?;
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::Rect;

    #[test]
    fn levels_survive() {
        let mut canvas = Canvas::new(Rect::new(5, 5, 3, 2), 3, [1, 2, 3]);
        canvas.fill(Rect::new(6, 5, 1, 1), [200, 100, 50]);
        let file = png(&canvas).expect("there are pixels");
        let read = image::load_from_memory(&file)
            .expect("it is a PNG")
            .into_rgb8();
        assert_eq!(read.dimensions(), (3, 2));
        assert_eq!(
            read.into_raw(),
            [1, 2, 3, 200, 100, 50, 1, 2, 3, 1, 2, 3, 1, 2, 3, 1, 2, 3]
        );
    }
}
