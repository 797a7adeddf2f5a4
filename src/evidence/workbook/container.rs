//! Files in one file: the container of a workbook, a ZIP archive whose files are not packed.
//!
//! Nothing is packed, so that no other crate's way of packing decides the bytes; a workbook of some thousand rows has a
//! few megabytes. Dates are the first that the format knows.
//!
//! # Source
//! PKWARE, .ZIP File Format Specification (APPNOTE), 6.3: 4.3.7 local file header, 4.3.12 central directory, 4.3.16 its
//! end (from memory; tests have the archives read by another implementation).

use std::io::{Error, Result};

/// Method 0: stored as it is.
const STORED: u16 = 0;
/// Version 2.0 of the format is enough to read it.
const VERSION: u16 = 20;
/// 1980-01-01, 00:00.
const DATE: u16 = (1 << 5) | 1;
/// Names are UTF-8.
const FLAGS: u16 = 1 << 11;

/// Puts `files`, names and contents, into one.
///
/// # Errors
/// When it would have 4 GiB or more, or more than 65535 files: the format's first form ends there.
pub fn archive(files: &[(String, Vec<u8>)]) -> Result<Vec<u8>> {
    let too_large = || Error::other("a workbook of 4 GiB or more is not written");
    let mut out = Vec::new();
    let mut directory = Vec::new();
    for (name, bytes) in files {
        let begin = u32::try_from(out.len()).map_err(|_| too_large())?;
        let length = u32::try_from(bytes.len()).map_err(|_| too_large())?;
        let name_length = u16::try_from(name.len()).map_err(|_| too_large())?;
        let mut common = Vec::new();
        for short in [VERSION, FLAGS, STORED, 0, DATE] {
            common.extend(short.to_le_bytes());
        }
        for long in [crc32fast::hash(bytes), length, length] {
            common.extend(long.to_le_bytes());
        }
        for short in [name_length, 0] {
            common.extend(short.to_le_bytes());
        }
        out.extend(b"PK\x03\x04");
        out.extend(&common);
        out.extend(name.as_bytes());
        out.extend(bytes);
        directory.extend(b"PK\x01\x02");
        directory.extend(VERSION.to_le_bytes());
        directory.extend(&common);
        // No comment, first disk, no attributes.
        directory.extend([0; 10]);
        directory.extend(begin.to_le_bytes());
        directory.extend(name.as_bytes());
    }
    let begin = u32::try_from(out.len()).map_err(|_| too_large())?;
    let length = u32::try_from(directory.len()).map_err(|_| too_large())?;
    let count = u16::try_from(files.len()).map_err(|_| too_large())?;
    out.extend(directory);
    out.extend(b"PK\x05\x06");
    for short in [0, 0, count, count] {
        out.extend(u16::to_le_bytes(short));
    }
    for long in [length, begin] {
        out.extend(long.to_le_bytes());
    }
    out.extend([0; 2]);
    Ok(out)
}
