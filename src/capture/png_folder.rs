//! A folder of PNG files, one a frame, with an optional `times.csv`.
//!
//! Without the table, files come in the order of the numbers in their names and are shown at
//! an even rate. With it, the table is the order. 8 and 16 bits, grey, palette, RGB and opaque
//! RGBA are read; what counts is the levels as stored (gamma and colour profile chunks are not
//! applied: a frame grabber knows nothing of them).

use std::cmp::Ordering;
use std::collections::BTreeMap;
use std::io::Cursor;
use std::path::{Path, PathBuf};

use image::codecs::png::PngDecoder;
use image::{ColorType, ImageDecoder, Limits};
use rayon::prelude::*;

use super::animated_png::animation;
use super::error::{Error, quoted};
use super::frame::CapturedFrame;
use super::info::{CONVERTED, Origin, StreamInfo, note_on_unused, size_problem};
use super::open::{OpenOptions, Source, Stopper, check_size};
use super::rgb;
use super::times::{TimedFile, read_times};
use crate::files::{self, Content, FileContent, Limit};
use crate::picture::Subsampling;

/// Frame rate of a folder without a table of times and without a given rate, 1/s.
pub const RATE_DEFAULT_HZ: f64 = 30.0;

/// The table of times beside the pictures.
pub const TIMES_FILE: &str = "times.csv";

/// Four times the bytes of a picture of 3840 x 2160 px, 24 bits each, that nothing could compress.
const PICTURE_LIMIT: Limit = Limit {
    kind: "a captured picture",
    bytes: 100 << 20,
};

/// Some 600,000 rows, five hours of pictures.
const TABLE_LIMIT: Limit = Limit {
    kind: "a table of times",
    bytes: 16 << 20,
};

/// Bytes that the decoder may take for what is beside the pixels. A colour profile is packed, and can grow a
/// thousandfold.
const BESIDE_PIXELS_MAX: u64 = 16 << 20;

/// Reads a folder of PNG files.
pub(super) struct PngFolder {
    folder: PathBuf,
    name: String,
    files: Vec<(PathBuf, f64)>,
    info: StreamInfo,
    /// Of the picture that was read last.
    bytes: Vec<u8>,
    /// Which one that is.
    loaded: Option<usize>,
    /// What the pictures held that were read.
    read: Vec<Option<Content>>,
    /// The table of times.
    table: Option<FileContent>,
    stored: Vec<u8>,
    triples: Vec<u8>,
}

impl PngFolder {
    pub(super) fn open(folder: &Path, options: &OpenOptions) -> Result<Self, Error> {
        let found = list_png_files(folder)?;
        let name = quoted(folder);
        if found.is_empty() {
            return Err(Error::NoFrames {
                name,
                hint: "a folder must hold files named *.png",
            });
        }
        let table = folder.join(TIMES_FILE);
        // Whatever has that name: a pipe is refused, and not passed over.
        if table.symlink_metadata().is_ok() {
            let (bytes, content) = files::read(&table, TABLE_LIMIT)?;
            let rows = read_times(&bytes[..], &quoted(&table))?;
            let files = match_files(&rows, &found, &quoted(&table))?;
            let mut source = Self::new(folder, files, Origin::Stream, None, Vec::new(), options)?;
            source.table = Some(FileContent {
                path: table,
                content,
            });
            return Ok(source);
        }
        let mut notes = Vec::new();
        let rate_hz = options.fps.unwrap_or(RATE_DEFAULT_HZ);
        let times_from = if options.fps.is_some() {
            Origin::Set
        } else {
            Origin::Assumed
        };
        if times_from == Origin::Assumed {
            notes.push(format!(
                "no {TIMES_FILE} and no frame rate given: {RATE_DEFAULT_HZ} frames a second assumed"
            ));
        }
        notes.extend(note_on_gaps(&found));
        let files = found
            .into_iter()
            .enumerate()
            .map(|(k, f)| (PathBuf::from(f), k as f64 / rate_hz))
            .collect();
        Self::new(folder, files, times_from, Some(rate_hz), notes, options)
    }

    /// One PNG as a capture of one frame, shown at 0 s; `None` for an animated one, which is a video.
    pub(super) fn open_one(path: &Path, options: &OpenOptions) -> Result<Option<Self>, Error> {
        let files = vec![(path.to_owned(), 0.0)];
        let source = Self::new(
            Path::new(""),
            files,
            Origin::Assumed,
            None,
            Vec::new(),
            options,
        )?;
        Ok((!source.is_animated()).then_some(source))
    }

    /// Whether the loaded picture is one of several in its file.
    fn is_animated(&self) -> bool {
        // Reading from memory cannot fail.
        animation(Cursor::new(&self.bytes)).is_ok_and(|a| a.is_some())
    }

    fn new(
        folder: &Path,
        files: Vec<(PathBuf, f64)>,
        times_from: Origin,
        rate_hz: Option<f64>,
        mut notes: Vec<String>,
        options: &OpenOptions,
    ) -> Result<Self, Error> {
        let name = if folder.as_os_str().is_empty() {
            quoted(&files[0].0)
        } else {
            quoted(folder)
        };
        notes.extend(note_on_unused(options.matrix, options.range));
        let info = StreamInfo {
            source: if files.len() == 1 {
                "one PNG file".to_owned()
            } else {
                format!("{} PNG files", files.len())
            },
            width: 0,
            height: 0,
            encoding: CONVERTED,
            subsampling: Subsampling::None,
            siting: None,
            is_grey: false,
            frame_count: Some(files.len() as u64),
            stated_duration_s: None,
            rate_hz,
            matrix_from: Origin::Converted,
            range_from: Origin::Converted,
            times_from,
            notes,
        };
        let mut source = Self {
            folder: folder.to_owned(),
            name,
            read: vec![None; files.len()],
            files,
            info,
            bytes: Vec::new(),
            loaded: None,
            table: None,
            stored: Vec::new(),
            triples: Vec::new(),
        };
        let (width, height) = source.first_size()?;
        check_size(&source.name, 0, (width, height), options)?;
        source.info.width = width;
        source.info.height = height;
        Ok(source)
    }

    fn first_size(&mut self) -> Result<(usize, usize), Error> {
        self.load(0)?;
        let decoder = self.decoder(0)?;
        let (width, height) = decoder.dimensions();
        let size = (width as usize, height as usize);
        match size_problem(size.0, size.1) {
            None => Ok(size),
            Some(problem) => Err(self.damage(0, &format!("has {problem}"))),
        }
    }

    /// Reads a picture's bytes, unless they are there already: a picture is read once.
    fn load(&mut self, index: usize) -> Result<(), Error> {
        if self.loaded == Some(index) {
            return Ok(());
        }
        let path = self.folder.join(&self.files[index].0);
        let (bytes, content) =
            files::read(&path, PICTURE_LIMIT).map_err(|source| Error::FrameFile {
                name: self.name.clone(),
                frame: index as u64,
                source,
            })?;
        (self.bytes, self.loaded) = (bytes, Some(index));
        self.read[index] = Some(content);
        Ok(())
    }

    fn decoder(&self, index: usize) -> Result<PngDecoder<Cursor<&[u8]>>, Error> {
        let mut limits = Limits::no_limits();
        limits.max_alloc = Some(BESIDE_PIXELS_MAX);
        PngDecoder::with_limits(Cursor::new(&self.bytes[..]), limits)
            .map_err(|e| self.damage(index, &unreadable(&e)))
    }

    fn damage(&self, index: usize, problem: &str) -> Error {
        let file = quoted(&self.files[index].0);
        Error::Frame {
            name: self.name.clone(),
            frame: index as u64,
            problem: format!("({file}) {problem}"),
        }
    }

    /// Decodes the loaded bytes into R', G', B' triples.
    fn decode(&mut self, index: usize) -> Result<(), Error> {
        let mut stored = std::mem::take(&mut self.stored);
        let result = self.decode_into(index, &mut stored);
        self.stored = stored;
        let color = result?;
        let count = self.info.width * self.info.height;
        spread(&self.stored, color, count, &mut self.triples)
            .map_err(|problem| self.damage(index, &problem))
    }

    /// Decodes the loaded bytes as they are stored.
    fn decode_into(&self, index: usize, stored: &mut Vec<u8>) -> Result<ColorType, Error> {
        if self.is_animated() {
            let problem = "is an animated PNG, and a file of a folder is one frame; give the animation by itself, or \
                           save each of its pictures as a file";
            return Err(self.damage(index, problem));
        }
        let decoder = self.decoder(index)?;
        let (width, height) = decoder.dimensions();
        let found = (width as usize, height as usize);
        let wanted = (self.info.width, self.info.height);
        if found != wanted {
            let whose = "the frames before it are";
            let name = quoted(&self.folder.join(&self.files[index].0));
            return Err(Error::Size {
                name,
                frame: index as u64,
                found,
                wanted,
                whose,
            });
        }
        let color = decoder.color_type();
        stored.resize(
            usize::try_from(decoder.total_bytes()).unwrap_or(usize::MAX),
            0,
        );
        decoder
            .read_image(stored)
            .map_err(|e| self.damage(index, &unreadable(&e)))?;
        Ok(color)
    }
}

fn unreadable(error: &image::ImageError) -> String {
    format!("is not a readable PNG: {error}; it was cut short or damaged")
}

/// Turns stored samples into R', G', B' triples of 8 bits.
fn spread(
    stored: &[u8],
    color: ColorType,
    count: usize,
    triples: &mut Vec<u8>,
) -> Result<(), String> {
    triples.clear();
    triples.reserve(3 * count);
    let wide =
        |px: &[u8], k: usize| rgb::reduce_16_to_8(u16::from_ne_bytes([px[2 * k], px[2 * k + 1]]));
    let transparent =
        || Err("is transparent in places; save frames without an alpha channel".to_owned());
    match color {
        ColorType::Rgb8 => triples.extend_from_slice(stored),
        ColorType::Rgba8 => {
            triples.extend(stored.chunks_exact(4).flat_map(|px| [px[0], px[1], px[2]]));
            if stored.chunks_exact(4).any(|px| px[3] != 255) {
                return transparent();
            }
        }
        ColorType::L8 => triples.extend(stored.iter().flat_map(|&v| [v; 3])),
        ColorType::La8 => {
            triples.extend(stored.chunks_exact(2).flat_map(|px| [px[0]; 3]));
            if stored.chunks_exact(2).any(|px| px[1] != 255) {
                return transparent();
            }
        }
        ColorType::L16 => triples.extend(stored.chunks_exact(2).flat_map(|px| [wide(px, 0); 3])),
        ColorType::La16 => {
            triples.extend(stored.chunks_exact(4).flat_map(|px| [wide(px, 0); 3]));
            if stored.chunks_exact(4).any(|px| px[2..] != [255, 255]) {
                return transparent();
            }
        }
        ColorType::Rgb16 => triples.extend(
            stored
                .chunks_exact(6)
                .flat_map(|px| [0, 1, 2].map(|k| wide(px, k))),
        ),
        ColorType::Rgba16 => {
            triples.extend(
                stored
                    .chunks_exact(8)
                    .flat_map(|px| [0, 1, 2].map(|k| wide(px, k))),
            );
            if stored.chunks_exact(8).any(|px| px[6..] != [255, 255]) {
                return transparent();
            }
        }
        // The enum is open; a PNG holds none of the others.
        other => {
            return Err(format!(
                "has samples of kind {other:?}; supported: grey, RGB, RGBA of 8 or 16 bits"
            ));
        }
    }
    Ok(())
}

impl Source for PngFolder {
    fn info(&self) -> &StreamInfo {
        &self.info
    }

    fn name(&self) -> &str {
        &self.name
    }

    fn hint_on_no_frames(&self) -> &'static str {
        "a folder must hold files named *.png"
    }

    fn time_s(&self, index: u64) -> Option<f64> {
        let at = usize::try_from(index).ok()?;
        self.files.get(at).map(|(_, time_s)| *time_s)
    }

    fn pass(&mut self, index: u64) -> Result<(), Error> {
        self.load(usize::try_from(index).unwrap_or(usize::MAX))
    }

    fn read(&mut self, index: u64, frame: &mut CapturedFrame) -> Result<bool, Error> {
        let at = usize::try_from(index).unwrap_or(usize::MAX);
        let Some(&(_, time_s)) = self.files.get(at) else {
            return Ok(false);
        };
        self.load(at)?;
        self.decode(at)?;
        frame.shape(
            (self.info.width, self.info.height),
            CONVERTED,
            Subsampling::None,
        );
        frame.crc32 = crc32fast::hash(&self.triples);
        rgb::fill_from_rgb(&self.triples, &mut frame.picture);
        frame.time_s = time_s;
        Ok(true)
    }

    fn stopper(&self) -> Stopper {
        Stopper::NotNeeded
    }

    fn contents(&mut self) -> Result<Vec<FileContent>, Error> {
        let pictures = self
            .files
            .par_iter()
            .zip(&self.read)
            .filter_map(|((file, _), read)| {
                let path = self.folder.join(file);
                let content = match read {
                    Some(content) => Ok(content.clone()),
                    // What is too large for a picture is refused unread, and nothing vouches for it.
                    None if is_larger_than(&path, PICTURE_LIMIT) => return None,
                    None => Content::of_file(&path),
                };
                Some(content.map(|content| FileContent { path, content }))
            });
        let mut all = pictures.collect::<Result<Vec<_>, files::Error>>()?;
        all.extend(self.table.clone());
        Ok(all)
    }
}

fn is_larger_than(path: &Path, limit: Limit) -> bool {
    std::fs::metadata(path).is_ok_and(|m| m.len() > limit.bytes)
}

/// Names of the PNG files in a folder, in natural order.
fn list_png_files(folder: &Path) -> Result<Vec<String>, Error> {
    let fail = |source| Error::Open {
        name: quoted(folder),
        source,
    };
    let mut names = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(fail)? {
        let name = entry.map_err(fail)?.file_name();
        let is_png = Path::new(&name)
            .extension()
            .is_some_and(|e| e.eq_ignore_ascii_case("png"));
        if !is_png {
            continue;
        }
        let words = name.into_string().map_err(|name| Error::Refused {
            name: quoted(folder),
            problem: format!(
                "the name of file {:?} is not UTF-8; rename it",
                name.to_string_lossy()
            ),
        })?;
        names.push(words);
    }
    names.sort_by(|a, b| natural_order(a, b));
    Ok(names)
}

/// Compares names such that runs of digits count as numbers: `f2` before `f10`. Names that are
/// equal so (`f2`, `f02`) are compared byte by byte.
fn natural_order(a: &str, b: &str) -> Ordering {
    let (mut left, mut right) = (a.as_bytes(), b.as_bytes());
    loop {
        let (Some(&l), Some(&r)) = (left.first(), right.first()) else {
            return left.len().cmp(&right.len()).then_with(|| a.cmp(b));
        };
        let order = if l.is_ascii_digit() && r.is_ascii_digit() {
            let (number_l, rest_l) = split_number(left);
            let (number_r, rest_r) = split_number(right);
            (left, right) = (rest_l, rest_r);
            number_l
                .len()
                .cmp(&number_r.len())
                .then_with(|| number_l.cmp(number_r))
        } else {
            (left, right) = (&left[1..], &right[1..]);
            l.cmp(&r)
        };
        if order != Ordering::Equal {
            return order;
        }
    }
}

/// The digits at the start without leading zeros, and what follows.
fn split_number(bytes: &[u8]) -> (&[u8], &[u8]) {
    let end = bytes
        .iter()
        .position(|b| !b.is_ascii_digit())
        .unwrap_or(bytes.len());
    let zeros = bytes[..end].iter().take_while(|&&b| b == b'0').count();
    (&bytes[zeros..end], &bytes[end..])
}

/// A note when the last numbers in the names do not rise by one: frames are probably missing,
/// and times counted by position are then wrong.
fn note_on_gaps(names: &[String]) -> Option<String> {
    let number = |name: &str| -> Option<u64> {
        let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
        let digits = stem.len() - stem.bytes().rev().take_while(u8::is_ascii_digit).count();
        stem[digits..].parse().ok()
    };
    let numbers: Option<Vec<u64>> = names.iter().map(|n| number(n)).collect();
    let numbers = numbers?;
    let jump = numbers
        .windows(2)
        .position(|w| w[1] != w[0].wrapping_add(1))?;
    Some(format!(
        "the numbers in the names jump from {:?} to {:?}; times are counted by position, so frames after a missing one \
         come too early; add a {TIMES_FILE}",
        names[jump],
        names[jump + 1]
    ))
}

/// Brings table and folder together: every row has its file and every file its row.
fn match_files(
    rows: &[TimedFile],
    found: &[String],
    table: &str,
) -> Result<Vec<(PathBuf, f64)>, Error> {
    let fail = |line: u64, problem: String| Error::Table {
        name: table.to_owned(),
        line,
        problem,
    };
    let mut open: BTreeMap<&str, Option<u64>> = found.iter().map(|f| (f.as_str(), None)).collect();
    for row in rows {
        match open.get_mut(row.file.as_str()) {
            None => return Err(fail(row.line, missing_file(&row.file, found))),
            Some(Some(line)) => {
                return Err(fail(
                    row.line,
                    format!("{:?} stands in line {line} already", row.file),
                ));
            }
            Some(seen) => *seen = Some(row.line),
        }
    }
    if let Some(name) = found.iter().find(|f| open[f.as_str()].is_none()) {
        let last = rows.last().map_or(1, |row| row.line);
        let problem = format!(
            "the folder holds {name:?}, for which the table has no row; add one, or move the file"
        );
        return Err(fail(last, problem));
    }
    Ok(rows
        .iter()
        .map(|row| (PathBuf::from(&row.file), row.time_s))
        .collect())
}

fn missing_file(file: &str, found: &[String]) -> String {
    let near = found
        .iter()
        .map(|f| (strsim::damerau_levenshtein(file, f), f))
        .min();
    match near {
        Some((distance, name)) if distance <= 2 => {
            format!("the folder has no PNG file {file:?}; nearest is {name:?}")
        }
        _ => format!("the folder has no PNG file {file:?}"),
    }
}

#[cfg(test)]
mod tests {
    use std::fs::File;

    use image::{ExtendedColorType, ImageEncoder, codecs::png::PngEncoder};
    use proptest::prelude::*;
    use tempfile::TempDir;

    use super::*;
    use crate::capture::Capture;

    fn write_png(
        folder: &TempDir,
        name: &str,
        samples: &[u8],
        size: (u32, u32),
        color: ExtendedColorType,
    ) {
        let file = File::create(folder.path().join(name)).unwrap();
        PngEncoder::new(file)
            .write_image(samples, size.0, size.1, color)
            .unwrap();
    }

    fn grey_frame(folder: &TempDir, name: &str, level: u8) {
        write_png(folder, name, &[level; 12], (2, 2), ExtendedColorType::Rgb8);
    }

    fn read_all(folder: &TempDir, options: &OpenOptions) -> (Vec<(f64, u8)>, Option<Error>) {
        let mut capture = match Capture::open(folder.path(), options) {
            Ok(capture) => capture,
            Err(error) => return (Vec::new(), Some(error)),
        };
        let mut frame = CapturedFrame::new();
        let mut frames = Vec::new();
        loop {
            match capture.next_into(&mut frame) {
                Ok(true) => frames.push((frame.time_s, frame.picture.planes()[0].at(0, 0))),
                Ok(false) => return (frames, None),
                Err(error) => return (frames, Some(error)),
            }
        }
    }

    #[test]
    fn names_are_ordered_by_their_numbers() {
        let folder = TempDir::new().unwrap();
        for (name, level) in [
            ("f10.png", 30),
            ("f9.PNG", 20),
            ("f1.png", 10),
            ("notes.txt.bak", 0),
        ] {
            if name.ends_with("bak") {
                std::fs::write(folder.path().join(name), "x").unwrap();
            } else {
                grey_frame(&folder, name, level);
            }
        }
        let options = OpenOptions {
            fps: Some(10.0),
            ..OpenOptions::default()
        };
        let (frames, error) = read_all(&folder, &options);
        assert_eq!(frames, [(0.0, 10), (0.1, 20), (0.2, 30)]);
        assert!(error.is_none());
        let capture = Capture::open(folder.path(), &options).unwrap();
        let info = capture.info();
        assert_eq!((info.width, info.height, info.frame_count), (2, 2, Some(3)));
        assert_eq!(info.times_from, Origin::Set);
        assert!(
            info.notes[0].contains("jump from \"f1.png\" to \"f9.PNG\""),
            "{:?}",
            info.notes
        );
    }

    #[test]
    fn a_folder_without_times_says_that_it_assumes_them() {
        let folder = TempDir::new().unwrap();
        grey_frame(&folder, "a.png", 1);
        grey_frame(&folder, "b.png", 2);
        let capture = Capture::open(folder.path(), &OpenOptions::default()).unwrap();
        assert_eq!(capture.info().times_from, Origin::Assumed);
        assert!(capture.info().notes[0].contains("30 frames a second assumed"));
    }

    #[test]
    fn the_table_gives_order_and_times() {
        let folder = TempDir::new().unwrap();
        grey_frame(&folder, "a.png", 1);
        grey_frame(&folder, "b.png", 2);
        std::fs::write(
            folder.path().join(TIMES_FILE),
            "file,time_s\nb.png,7.5\na.png,7.75\n",
        )
        .unwrap();
        assert_eq!(
            read_all(&folder, &OpenOptions::default()).0,
            [(7.5, 2), (7.75, 1)]
        );
    }

    #[test]
    fn table_and_folder_must_agree() {
        let folder = TempDir::new().unwrap();
        grey_frame(&folder, "a.png", 1);
        grey_frame(&folder, "b.png", 2);
        for (table, words) in [
            (
                "file,time_s\na.png,0\nc.png,1\n",
                ":3: the folder has no PNG file \"c.png\"; nearest is \"a.png\"",
            ),
            (
                "file,time_s\na.png,0\nb.png,1\na.png,2\n",
                ":4: \"a.png\" stands in line 2 already",
            ),
            (
                "file,time_s\na.png,0\n",
                ":2: the folder holds \"b.png\", for which the table has no row",
            ),
            (
                "file,time_s\na.png,0\nb.png,0\n",
                ":3: \"b.png\" is shown at 0 s",
            ),
        ] {
            std::fs::write(folder.path().join(TIMES_FILE), table).unwrap();
            let (_, error) = read_all(&folder, &OpenOptions::default());
            let error = error.unwrap().to_string();
            assert!(error.contains(words), "{error}");
        }
    }

    #[test]
    fn all_kinds_of_samples_become_the_same_levels() {
        let grey_16: Vec<u8> = [100_u16 * 257; 4]
            .iter()
            .flat_map(|v| v.to_ne_bytes())
            .collect();
        let opaque_16: Vec<u8> = [[25_700_u16, 25_700, 25_700, u16::MAX]; 4]
            .iter()
            .flatten()
            .flat_map(|v| v.to_ne_bytes())
            .collect();
        for (color, samples) in [
            (ExtendedColorType::Rgb8, vec![100; 12]),
            (ExtendedColorType::Rgba8, [100, 100, 100, 255].repeat(4)),
            (ExtendedColorType::L8, vec![100; 4]),
            (ExtendedColorType::La8, [100, 255].repeat(4)),
            (ExtendedColorType::L16, grey_16),
            (ExtendedColorType::Rgba16, opaque_16),
        ] {
            let folder = TempDir::new().unwrap();
            write_png(&folder, "a.png", &samples, (2, 2), color);
            let mut frame = CapturedFrame::new();
            let mut capture =
                Capture::open(&folder.path().join("a.png"), &OpenOptions::default()).unwrap();
            assert!(capture.next_into(&mut frame).unwrap());
            assert_eq!(frame.picture.planes()[0].levels(), [100; 4], "{color:?}");
            assert_eq!(frame.crc32, crc32fast::hash(&[100; 12]), "{color:?}");
            assert!(!capture.next_into(&mut frame).unwrap());
        }
    }

    #[test]
    fn what_is_passed_over_has_its_time_and_vouches_for_its_file_and_is_not_decoded() {
        let folder = TempDir::new().unwrap();
        (0..4).for_each(|k| grey_frame(&folder, &format!("f{k}.png"), 10 * k));
        std::fs::write(folder.path().join("f1.png"), b"not a picture").unwrap();
        let options = OpenOptions {
            fps: Some(10.0),
            ..OpenOptions::default()
        };
        let open = || Capture::open(folder.path(), &options).unwrap();
        let mut capture = open().with_pictures_from(0.2 - 1e-6);
        let mut frame = CapturedFrame::new();
        for k in 0..4u8 {
            assert!(capture.next_into(&mut frame).unwrap());
            assert_eq!(
                (frame.index, frame.time_s),
                (u64::from(k), f64::from(k) / 10.0)
            );
            if k >= 2 {
                assert_eq!(frame.picture.planes()[0].at(0, 0), 10 * k);
            }
        }
        assert!(!capture.next_into(&mut frame).unwrap());
        assert_eq!(capture.contents().unwrap(), open().contents().unwrap());
    }

    #[test]
    fn frames_before_a_bad_one_are_delivered() {
        type Spoil = dyn Fn(&TempDir);
        let damage: [(&str, &Spoil); 5] = [
            (
                "frame 2 is 3x2, but the frames before it are 2x2",
                &|folder| {
                    write_png(folder, "f2.png", &[0; 18], (3, 2), ExtendedColorType::Rgb8);
                },
            ),
            ("frame 2 (\"f2.png\") is not a readable PNG", &|folder| {
                std::fs::write(folder.path().join("f2.png"), b"not a picture").unwrap();
            }),
            ("frame 2 (\"f2.png\") is not a readable PNG", &|folder| {
                std::fs::write(folder.path().join("f2.png"), b"").unwrap();
            }),
            ("frame 2 (\"f2.png\") is transparent", &|folder| {
                write_png(folder, "f2.png", &[9; 16], (2, 2), ExtendedColorType::Rgba8);
            }),
            ("cannot read frame 2 of", &|folder| {
                std::fs::remove_file(folder.path().join("f2.png")).unwrap();
                std::fs::create_dir(folder.path().join("f2.png")).unwrap();
            }),
        ];
        for (words, spoil) in damage {
            let folder = TempDir::new().unwrap();
            (0..4).for_each(|k| grey_frame(&folder, &format!("f{k}.png"), k));
            spoil(&folder);
            let (frames, error) = read_all(&folder, &OpenOptions::default());
            let error = error.expect("the damage is an error");
            assert_eq!((frames.len(), error.frame()), (2, Some(2)), "{error}");
            assert!(error.to_string().contains(words), "{error}");
        }
    }

    #[test]
    fn nothing_vouches_for_a_picture_that_is_too_large() {
        let folder = TempDir::new().unwrap();
        (0..3).for_each(|k| grey_frame(&folder, &format!("f{k}.png"), k));
        let large = std::fs::File::options()
            .write(true)
            .open(folder.path().join("f1.png"))
            .unwrap();
        large.set_len(PICTURE_LIMIT.bytes + 1).unwrap();
        let mut capture = Capture::open(folder.path(), &OpenOptions::default()).unwrap();
        let mut frame = CapturedFrame::default();
        assert!(capture.next_into(&mut frame).unwrap());
        let error = capture.next_into(&mut frame).unwrap_err();
        assert_eq!(error.frame(), Some(1), "{error}");
        let names: Vec<_> = capture
            .contents()
            .unwrap()
            .into_iter()
            .map(|c| c.path.file_name().unwrap().to_owned())
            .collect();
        assert_eq!(names, ["f0.png", "f2.png"]);
    }

    #[test]
    fn a_png_cut_anywhere_is_an_error() {
        let folder = TempDir::new().unwrap();
        let noise: Vec<u8> = (0..192_u32)
            .map(|k| (k.wrapping_mul(2_654_435_761) >> 13) as u8)
            .collect();
        write_png(&folder, "a.png", &noise, (8, 8), ExtendedColorType::Rgb8);
        let whole = std::fs::read(folder.path().join("a.png")).unwrap();
        // The last 12 bytes are the end mark, which carries nothing.
        for length in 0..whole.len() - 12 {
            std::fs::write(folder.path().join("a.png"), &whole[..length]).unwrap();
            let (frames, error) = read_all(&folder, &OpenOptions::default());
            assert!(
                frames.is_empty() && error.is_some(),
                "cut at {length} of {}",
                whole.len()
            );
        }
    }

    /// Up to 4fd96a8 the first picture of it was taken, in silence.
    #[test]
    fn an_animation_is_not_one_picture() {
        let folder = TempDir::new().unwrap();
        (0..3).for_each(|k| grey_frame(&folder, &format!("f{k}.png"), k));
        let path = folder.path().join("f1.png");
        let mut bytes = std::fs::read(&path).unwrap();
        // Two pictures, played for ever; behind the header, which has 25 bytes.
        let control = b"acTL\0\0\0\x02\0\0\0\0";
        let mut chunk = vec![0, 0, 0, 8];
        chunk.extend(control);
        chunk.extend(crc32fast::hash(control).to_be_bytes());
        bytes.splice(33..33, chunk);
        std::fs::write(&path, bytes).unwrap();
        let (frames, error) = read_all(&folder, &OpenOptions::default());
        let error = error.expect("it is refused").to_string();
        assert_eq!(frames.len(), 1);
        assert!(
            error.contains("frame 1 (\"f1.png\") is an animated PNG"),
            "{error}"
        );
        // By itself it is a video.
        let options = OpenOptions {
            ffmpeg: "no-such-program".to_owned(),
            ..OpenOptions::default()
        };
        let error = Capture::open(&path, &options).unwrap_err();
        assert!(matches!(error, Error::FfmpegMissing { .. }), "{error}");
    }

    #[test]
    fn the_displays_size_is_required() {
        let folder = TempDir::new().unwrap();
        grey_frame(&folder, "a.png", 1);
        let options = OpenOptions {
            size: Some((4, 2)),
            ..OpenOptions::default()
        };
        let error = Capture::open(folder.path(), &options).unwrap_err();
        assert!(
            error
                .to_string()
                .contains("frame 0 is 2x2, but the display is 4x2"),
            "{error}"
        );
    }

    #[test]
    fn an_empty_folder_has_no_frames() {
        let folder = TempDir::new().unwrap();
        let error = Capture::open(folder.path(), &OpenOptions::default()).unwrap_err();
        assert!(matches!(error, Error::NoFrames { .. }));
        assert!(Capture::open(&folder.path().join("none"), &OpenOptions::default()).is_err());
    }

    proptest! {
        #[test]
        fn natural_order_is_an_order(a in "[a0-2]{0,5}", b in "[a0-2]{0,5}", c in "[a0-2]{0,5}") {
            prop_assert_eq!(natural_order(&a, &b), natural_order(&b, &a).reverse());
            prop_assert_eq!(natural_order(&a, &b) == Ordering::Equal, a == b);
            if natural_order(&a, &b).is_le() && natural_order(&b, &c).is_le() {
                prop_assert!(natural_order(&a, &c).is_le());
            }
        }

        #[test]
        fn pixels_are_read_as_they_are_and_damage_is_never_a_picture(
            (width, height) in (1u32..9, 1u32..9),
            seed in proptest::collection::vec(any::<u8>(), 3 * 8 * 8),
            at in any::<prop::sample::Index>(),
            flip in 1u8..=255,
            is_cut in any::<bool>(),
        ) {
            let samples = &seed[..3 * (width * height) as usize];
            let folder = TempDir::new().unwrap();
            let path = folder.path().join("a.png");
            write_png(&folder, "a.png", samples, (width, height), ExtendedColorType::Rgb8);
            let read = || {
                let mut frame = CapturedFrame::new();
                let mut capture = Capture::open(&path, &OpenOptions::default())?;
                capture.next_into(&mut frame)?;
                Ok::<_, Error>(frame)
            };
            let frame = read().unwrap();
            prop_assert_eq!(frame.crc32, crc32fast::hash(samples));
            let size = (frame.picture.width(), frame.picture.height());
            prop_assert_eq!(size, (width as usize, height as usize));

            let mut bytes = std::fs::read(&path).unwrap();
            let at = at.index(bytes.len());
            if is_cut {
                bytes.truncate(at);
            } else {
                bytes[at] ^= flip;
            }
            std::fs::write(&path, &bytes).unwrap();
            // What comes after the last pixel may be damaged without harm.
            if let Ok(frame) = read() {
                prop_assert_eq!(frame.crc32, crc32fast::hash(samples));
            }
        }
    }
}
