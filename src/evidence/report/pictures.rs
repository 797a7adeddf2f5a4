//! The pictures of an event as they stand on the page from the start, without a script: captured, reference and
//! difference, and the part that disagrees most, cut out.

use std::io::Cursor;

use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use image::{
    DynamicImage, GrayImage, ImageEncoder, ImageError, ImageFormat, ImageReader, Limits, RgbImage,
};

use super::embed::Embedded;
use super::inline::Png;

/// Memory that a stored frame may take once decoded, bytes: 8192 x 4320 px.
const MOST_BYTES: u64 = 110_000_000;

/// One of the three pictures.
#[derive(Debug)]
pub struct Shown {
    /// `captured`, `reference` or `difference`.
    pub kind: &'static str,
    /// What it is called.
    pub title: &'static str,
    /// The whole of it.
    pub whole: Png,
    /// The part that disagrees most.
    pub part: Png,
}

/// Captured, reference and difference of a stored frame.
#[derive(Debug)]
pub struct Pictures {
    /// The three, in the order of the page.
    pub shown: [Shown; 3],
    /// Width and height of each, px.
    pub size: (u32, u32),
    /// Where the part lies in them: x, y, width, height, px.
    pub part: [u32; 4],
}

impl Pictures {
    /// Of a frame that is stored for `area` of the display and disagrees most in `focus` (both `[x, y, width,
    /// height]`, px of the display).
    ///
    /// # Errors
    /// When a picture is no PNG or too large, or the reference has no such part.
    pub fn of(still: &Embedded, area: [i32; 4], focus: [i32; 4]) -> Result<Self, ImageError> {
        let captured = decoded(&still.captured)?;
        let reference = decoded(&still.reference)?;
        let size = captured.dimensions();
        let difference = GrayImage::from_fn(size.0, size.1, |x, y| {
            let a = captured.get_pixel(x, y);
            let b = reference.get_pixel_checked(x, y).unwrap_or(a);
            let d = (0..3).map(|k| a.0[k].abs_diff(b.0[k])).max().unwrap_or(0);
            image::Luma([d.saturating_mul(2)])
        });
        let part = part_of(size, area, focus);
        let difference = DynamicImage::from(difference);
        let wholes = [
            still.captured.clone(),
            still.reference.clone(),
            encoded(&difference)?,
        ];
        let cut = |picture: &DynamicImage| {
            let [x, y, width, height] = part;
            encoded(&picture.crop_imm(x, y, width, height))
        };
        let parts = [
            cut(&captured.into())?,
            cut(&reference.into())?,
            cut(&difference)?,
        ];
        let names = [
            ("captured", "Captured"),
            ("reference", "Reference"),
            ("difference", "Difference, twice as strong"),
        ];
        let mut made = names.into_iter().zip(wholes).zip(parts);
        let shown = std::array::from_fn(|_| {
            let (((kind, title), whole), part) = made.next().expect("there are three");
            Shown {
                kind,
                title,
                whole,
                part,
            }
        });
        Ok(Self { shown, size, part })
    }
}

/// Where `focus` lies in a picture of `area`, at least one pixel of it.
fn part_of(size: (u32, u32), area: [i32; 4], focus: [i32; 4]) -> [u32; 4] {
    let along = |k: usize, length: u32| {
        let from = i64::from(focus[k]) - i64::from(area[k]);
        let to = from + i64::from(focus[k + 2]);
        let length = i64::from(length);
        let from = from.clamp(0, length - 1);
        let to = to.clamp(from + 1, length);
        (from as u32, (to - from) as u32)
    };
    let ((x, width), (y, height)) = (along(0, size.0), along(1, size.1));
    [x, y, width, height]
}

fn decoded(png: &Png) -> Result<RgbImage, ImageError> {
    let mut reader = ImageReader::with_format(Cursor::new(&png.0), ImageFormat::Png);
    let mut limits = Limits::default();
    limits.max_alloc = Some(MOST_BYTES);
    reader.limits(limits);
    Ok(reader.decode()?.into_rgb8())
}

/// Small: it stands in the page.
fn encoded(picture: &DynamicImage) -> Result<Png, ImageError> {
    let mut bytes = Vec::new();
    PngEncoder::new_with_quality(&mut bytes, CompressionType::Best, FilterType::Adaptive)
        .write_image(
            picture.as_bytes(),
            picture.width(),
            picture.height(),
            picture.color().into(),
        )?;
    Ok(Png(bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn still(captured: &RgbImage, reference: &RgbImage) -> Embedded {
        Embedded {
            frame: 7,
            time_s: 0.28,
            roles: "shows it best".into(),
            is_best: true,
            captured: encoded(&captured.clone().into()).unwrap(),
            reference: encoded(&reference.clone().into()).unwrap(),
        }
    }

    #[test]
    fn the_part_is_cut_out_of_all_three_and_the_difference_is_twice_as_strong() {
        let captured = RgbImage::from_fn(20, 10, |x, y| image::Rgb([x as u8, y as u8, 9]));
        let mut reference = captured.clone();
        reference.put_pixel(12, 4, image::Rgb([12, 64, 9]));
        let made = Pictures::of(
            &still(&captured, &reference),
            [100, 50, 20, 10],
            [110, 52, 6, 4],
        )
        .unwrap();
        assert_eq!((made.size, made.part), ((20, 10), [10, 2, 6, 4]));
        let [a, b, d] = made
            .shown
            .map(|s| (decoded(&s.whole).unwrap(), decoded(&s.part).unwrap()));
        assert_eq!((a.0, b.0), (captured, reference));
        assert_eq!(d.0.get_pixel(12, 4).0, [120; 3]);
        assert_eq!(d.0.pixels().filter(|p| p.0 != [0; 3]).count(), 1);
        assert_eq!(a.1.dimensions(), (6, 4));
        assert_eq!(b.1.get_pixel(2, 2).0, [12, 64, 9]);
        assert_eq!(d.1.get_pixel(2, 2).0, [120; 3]);
    }

    #[test]
    fn what_is_no_picture_is_said_and_a_part_beside_it_is_harmless() {
        let picture = RgbImage::new(4, 4);
        let mut broken = still(&picture, &picture);
        broken.reference = Png(b"no".to_vec());
        assert!(Pictures::of(&broken, [0, 0, 4, 4], [0, 0, 2, 2]).is_err());
        let beside = Pictures::of(
            &still(&picture, &picture),
            [0, 0, 4, 4],
            [i32::MAX, -9, 2, 2],
        );
        assert!(beside.is_ok());
    }
}
