//! CRC-32/ISO-HDLC: ISO/IEC 13239, RFC 1952, 8.

use framevouch::picture::{Encoding, Picture, Plane, Subsampling};

use crate::{fixture, list};

const FIXTURE: &str = include_str!("../checks/crc32.json");

fn from_hex(text: &str) -> Vec<u8> {
    let digits: Vec<u32> = text
        .chars()
        .map(|c| c.to_digit(16).expect("a hexadecimal digit"))
        .collect();
    digits
        .chunks(2)
        .map(|pair| (16 * pair[0] + pair[1]) as u8)
        .collect()
}

fn crc_from(case: &serde_json::Value) -> u32 {
    u32::from_str_radix(case["crc32_hex"].as_str().expect("text"), 16).expect("hexadecimal")
}

#[test]
fn strings_have_the_published_check_values() {
    let fixture = fixture(FIXTURE);
    let residue = u32::from_str_radix(fixture["residue_hex"].as_str().expect("text"), 16)
        .expect("hexadecimal");
    for case in list(&fixture, "cases") {
        // Long ones are given by their length and a rule in the name; only spelled ones are read.
        let Some(hex) = case["hex"].as_str() else {
            continue;
        };
        let mut bytes = from_hex(hex);
        if case["len"].as_u64() != Some(bytes.len() as u64) {
            continue;
        }
        let crc = crc32fast::hash(&bytes);
        assert_eq!(crc, crc_from(case), "{}", case["name"]);
        bytes.extend(crc.to_le_bytes());
        assert_eq!(crc32fast::hash(&bytes), residue, "{}", case["name"]);
    }
    assert_eq!(crc32fast::hash(b"123456789"), 0xCBF4_3926);
}

fn level(rule: &str, x: usize, y: usize) -> u8 {
    let value = match rule {
        "(3*x+5*y)%256" => 3 * x + 5 * y,
        "(x^y)%256" => x ^ y,
        "(x*x+3*y)%256" => x * x + 3 * y,
        other => panic!("the fixture has a new rule: {other}"),
    };
    (value % 256) as u8
}

#[test]
fn pictures_have_the_published_values_plane_after_plane() {
    for case in list(&fixture(FIXTURE), "images") {
        let size = |name: &str| case[name].as_u64().expect("a size") as usize;
        let (width, height) = (size("width"), size("height"));
        let rule = case["pixel"].as_str().expect("text");
        let levels: Vec<u8> = (0..width * height)
            .map(|k| level(rule, k % width, k / width))
            .collect();
        assert_eq!(crc32fast::hash(&levels), crc_from(case));

        // The value of a picture is that of its planes one after the other: cut the fixture's
        // bytes into luma and two planes of half resolution, 4 + 1 + 1 parts of 6.
        let (w, h) = (width / 2, height / 3);
        if width * height != 6 * w * h || (2 * w) * (2 * h) * 6 != 4 * width * height {
            continue;
        }
        let (luma, rest) = levels.split_at(4 * w * h);
        let (cb, cr) = rest.split_at(w * h);
        let planes = [
            Plane::from_levels(2 * w, 2 * h, luma.to_vec()),
            Plane::from_levels(w, h, cb.to_vec()),
            Plane::from_levels(w, h, cr.to_vec()),
        ];
        let picture = Picture::from_planes(planes, Encoding::Rgb, Subsampling::Both);
        assert_eq!(picture.crc32(), crc_from(case));
    }
}
