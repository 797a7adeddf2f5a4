//! Frames that are stored round each event, to step through: the last one before it, its first, the one in
//! which it was confirmed, the one that shows it best, its last, the first after it.
//!
//! A check goes on for hours and must not hold pictures for as long. While an event of a region is under
//! way its few pictures are held, shared between regions; once it was confirmed and has ended they go to
//! disk as whole frames; at the end, when it is known which events there were, each gets its own cut of
//! them, and the whole frames are deleted. In a clean run nothing is copied: the frame before an onset is the
//! capture's other buffer (`check` reads into two by turns).

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use image::{ImageEncoder, RgbImage};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::pictures::to_rgb;
use super::records::{RECORDS_VERSION, rounded};
use crate::capture::CapturedFrame;
use crate::check::{Seen, Snapshot};
use crate::judge::event::Event;
use crate::picture::{Picture, Rect};
use crate::recording::inputs::Due;

/// Confirmed faults of one region whose frames are stored; later ones have the best frame alone.
const MOST_BY_REGION: usize = 12;
/// Frames that are stored in all.
const MOST_FRAMES: usize = 480;
/// Events that get frames of their own.
const MOST_EVENTS: usize = 80;
/// Size of the part that disagrees most, px.
const FOCUS_PX: (i32, i32) = (48, 32);

/// Why a frame was stored.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// The last one before the event.
    Before,
    /// Its first.
    Onset,
    /// The one in which it was confirmed.
    Detected,
    /// The one that shows it best.
    Best,
    /// Its last.
    Last,
    /// The first after it.
    After,
}

/// `stills.json`: the stored frames of all events.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StillsRecord {
    /// Version of the records.
    pub records_version: u32,
    /// By event that has stored frames.
    pub events: Vec<EventStills>,
    /// Events without stored frames, because there were too many.
    pub events_without: u64,
}

/// The stored frames of an event.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct EventStills {
    /// Place of the event in `events.json`, from 0.
    pub event: usize,
    /// What of the captured frame the pictures show: `[x, y, width, height]`, px.
    pub area: [i32; 4],
    /// Part of the best frame that disagrees most, in pixels of the captured frame.
    pub focus: [i32; 4],
    /// By frame.
    pub stills: Vec<Still>,
}

/// A stored frame.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Still {
    /// Number of the frame.
    pub frame: u64,
    /// Capture time, s.
    pub time_s: f64,
    /// Why it was stored.
    pub roles: Vec<Role>,
    /// The captured picture, PNG, relative to the result folder.
    pub captured: String,
    /// The reference for the inputs that were due, the same way.
    pub reference: String,
}

/// When a frame was shown, and which inputs were due.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Times {
    /// Capture time, s.
    pub time_s: f64,
    /// What was due.
    pub due: Due,
}

#[derive(Debug)]
struct Kept {
    frame: u64,
    times: Times,
    picture: Picture,
}

/// What is held of a region's event while it lasts.
#[derive(Clone, Debug, Default)]
struct Held {
    before: Option<Arc<Kept>>,
    onset: Option<Arc<Kept>>,
    detected: Option<Arc<Kept>>,
    last: Option<Arc<Kept>>,
    after: Option<Arc<Kept>>,
    was_faulty: bool,
}

/// Holds the frames of events under way and puts those of confirmed ones on disk.
#[derive(Debug)]
pub struct Keeper {
    folder: PathBuf,
    held: Vec<Option<Held>>,
    stored_events: Vec<usize>,
    stored: BTreeMap<u64, Times>,
    last_due: Due,
}

impl Keeper {
    /// Stores below `folder`, which is made when it is needed.
    #[must_use]
    pub fn new(folder: &Path) -> Self {
        Self {
            folder: folder.to_path_buf(),
            held: Vec::new(),
            stored_events: Vec::new(),
            stored: BTreeMap::new(),
            last_due: Due {
                time_s: 0.0,
                page: 0,
            },
        }
    }

    /// Takes a frame that was judged.
    ///
    /// # Errors
    /// When a picture cannot be written.
    pub fn seen(&mut self, seen: &Seen) -> std::io::Result<()> {
        self.held.resize(seen.regions.len(), None);
        self.stored_events.resize(seen.regions.len(), 0);
        let before_due = std::mem::replace(&mut self.last_due, seen.due);
        let mut now = Shared::new(Some(seen.frame), seen.due);
        let mut before = Shared::new(seen.before, before_due);
        for (k, region) in seen.regions.iter().enumerate() {
            if !region.is_open {
                if let Some(held) = self.held[k].take() {
                    self.end(k, &held)?;
                }
                continue;
            }
            // A region that has had its share is no longer copied, so that long bad runs stay quick.
            if self.stored_events[k] >= MOST_BY_REGION {
                continue;
            }
            let held = self.held[k].get_or_insert_with(|| Held {
                before: before.get(),
                onset: now.get(),
                was_faulty: true,
                ..Held::default()
            });
            if region.is_raised && held.detected.is_none() {
                held.detected = now.get();
            }
            if held.was_faulty && !region.is_faulty {
                held.last = before.get();
                held.after = now.get();
            }
            held.was_faulty = region.is_faulty;
        }
        Ok(())
    }

    /// The capture is over; `last` is its last frame.
    ///
    /// # Errors
    /// When a picture cannot be written.
    pub fn finish(&mut self) -> std::io::Result<()> {
        for k in 0..self.held.len() {
            if let Some(held) = self.held[k].take() {
                self.end(k, &held)?;
            }
        }
        Ok(())
    }

    fn end(&mut self, region: usize, held: &Held) -> std::io::Result<()> {
        if held.detected.is_none() {
            return Ok(());
        }
        self.stored_events[region] += 1;
        let all = [
            &held.before,
            &held.onset,
            &held.detected,
            &held.last,
            &held.after,
        ];
        for kept in all.into_iter().flatten() {
            if self.stored.len() < MOST_FRAMES {
                self.store(kept.frame, kept.times, &kept.picture)?;
            }
        }
        Ok(())
    }

    /// Stores the frame that shows an event best.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn snapshot(&mut self, snapshot: &Snapshot) -> std::io::Result<()> {
        let times = Times {
            time_s: snapshot.time_s,
            due: snapshot.due,
        };
        self.store(snapshot.frame, times, &snapshot.captured)
    }

    fn store(&mut self, frame: u64, times: Times, picture: &Picture) -> std::io::Result<()> {
        if self.stored.contains_key(&frame) {
            return Ok(());
        }
        std::fs::create_dir_all(&self.folder)?;
        to_rgb(picture)
            .save(self.whole(frame))
            .map_err(std::io::Error::other)?;
        self.stored.insert(frame, times);
        Ok(())
    }

    fn whole(&self, frame: u64) -> PathBuf {
        self.folder.join(format!("captured_{frame:06}.png"))
    }

    /// When frame `frame` was shown, if it is stored.
    #[must_use]
    pub fn times(&self, frame: u64) -> Option<Times> {
        self.stored.get(&frame).copied()
    }

    /// A stored frame as a whole.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn load(&self, frame: u64) -> image::ImageResult<RgbImage> {
        Ok(image::open(self.whole(frame))?.to_rgb8())
    }

    /// Deletes the whole frames.
    ///
    /// # Errors
    /// When one cannot be deleted.
    pub fn clear(&mut self) -> std::io::Result<()> {
        for frame in std::mem::take(&mut self.stored).keys() {
            std::fs::remove_file(self.whole(*frame))?;
        }
        Ok(())
    }

    /// The frames stored for `event`, with their roles.
    fn frames_of(&self, event: &Event) -> Vec<(u64, Vec<Role>)> {
        let detected = self
            .stored
            .range(event.first_frame..)
            .find(|(_, t)| rounded(t.time_s) >= rounded(event.detected_s))
            .filter(|(_, t)| rounded(t.time_s) == rounded(event.detected_s))
            .map(|(frame, _)| *frame);
        let wanted = [
            (event.first_frame.checked_sub(1), Role::Before),
            (Some(event.first_frame), Role::Onset),
            (detected, Role::Detected),
            (Some(event.best_frame), Role::Best),
            (Some(event.last_frame), Role::Last),
            (Some(event.last_frame + 1), Role::After),
        ];
        let mut frames: BTreeMap<u64, Vec<Role>> = BTreeMap::new();
        for (frame, role) in wanted {
            if let Some(frame) = frame.filter(|f| self.stored.contains_key(f)) {
                frames.entry(frame).or_default().push(role);
            }
        }
        frames.into_iter().collect()
    }

    /// Cuts the stored frames of `events` to their areas and writes them below `out`; `area` says what an
    /// event's pictures show, `reference` draws what was due at a recording time, `unchecked` are areas in which
    /// differences mean nothing.
    ///
    /// # Errors
    /// When a picture cannot be read or written.
    pub fn write(
        &self,
        out: &Path,
        events: &[Event],
        area: &dyn Fn(&Event) -> Rect,
        reference: &mut dyn FnMut(Due) -> Picture,
        unchecked: &[Rect],
    ) -> image::ImageResult<StillsRecord> {
        let chosen: BTreeSet<usize> = by_importance(events)
            .into_iter()
            .take(MOST_EVENTS)
            .collect();
        let mut record = StillsRecord {
            records_version: RECORDS_VERSION,
            events: Vec::new(),
            events_without: 0,
        };
        let folder = out.join(FOLDER);
        for (k, event) in events.iter().enumerate() {
            let frames = self.frames_of(event);
            if !chosen.contains(&k) || frames.is_empty() {
                record.events_without += 1;
                continue;
            }
            std::fs::create_dir_all(&folder)?;
            let area = area(event);
            let mut focus = area;
            let mut stills = Vec::new();
            for (frame, roles) in frames {
                let times = self.stored[&frame];
                let captured = cut(&self.load(frame)?, area);
                let reference = cut(&to_rgb(&reference(times.due)), area);
                if roles.contains(&Role::Best) {
                    focus = most_different(&captured, &reference, area, unchecked);
                }
                let name = |what: &str| format!("{FOLDER}/event_{k:04}_{frame:06}_{what}.png");
                let still = Still {
                    frame,
                    time_s: rounded(times.time_s),
                    roles,
                    captured: name("captured"),
                    reference: name("reference"),
                };
                save(&captured, &out.join(&still.captured))?;
                save(&reference, &out.join(&still.reference))?;
                stills.push(still);
            }
            record.events.push(EventStills {
                event: k,
                area: [area.x, area.y, area.width, area.height],
                focus: [focus.x, focus.y, focus.width, focus.height],
                stills,
            });
        }
        Ok(record)
    }
}

/// Folder of the stored frames in a result folder.
pub const FOLDER: &str = "event_frames";

/// Places of events, those that matter most first: by hazard, then by how much they mislead, then by time.
#[must_use]
pub fn by_importance(events: &[Event]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..events.len()).collect();
    order.sort_by_key(|k| (events[*k].hazard, std::cmp::Reverse(events[*k].class), *k));
    order
}

/// A captured frame that is copied once, when somebody asks for it.
struct Shared<'a> {
    frame: Option<&'a CapturedFrame>,
    due: Due,
    kept: Option<Arc<Kept>>,
}

impl<'a> Shared<'a> {
    fn new(frame: Option<&'a CapturedFrame>, due: Due) -> Self {
        Self {
            frame,
            due,
            kept: None,
        }
    }

    fn get(&mut self) -> Option<Arc<Kept>> {
        let frame = self.frame?;
        let kept = self.kept.get_or_insert_with(|| {
            Arc::new(Kept {
                frame: frame.index,
                times: Times {
                    time_s: frame.time_s,
                    due: self.due,
                },
                picture: frame.picture.clone(),
            })
        });
        Some(Arc::clone(kept))
    }
}

fn cut(whole: &RgbImage, area: Rect) -> RgbImage {
    let area = area.intersection(&Rect::new(
        0,
        0,
        whole.width() as i32,
        whole.height() as i32,
    ));
    image::imageops::crop_imm(
        whole,
        area.x.max(0) as u32,
        area.y.max(0) as u32,
        area.width.max(1) as u32,
        area.height.max(1) as u32,
    )
    .to_image()
}

/// Small files count more here than time: these go into the page.
fn save(picture: &RgbImage, path: &Path) -> image::ImageResult<()> {
    let mut bytes = Vec::new();
    PngEncoder::new_with_quality(&mut bytes, CompressionType::Default, FilterType::Adaptive)
        .write_image(
            picture.as_raw(),
            picture.width(),
            picture.height(),
            image::ExtendedColorType::Rgb8,
        )?;
    std::fs::write(path, bytes)?;
    Ok(())
}

/// The window of [`FOCUS_PX`] in which two pictures of `area` differ most, by sums over the pictures
/// (a summed-area table), first of equals from the top left.
fn most_different(
    captured: &RgbImage,
    reference: &RgbImage,
    area: Rect,
    unchecked: &[Rect],
) -> Rect {
    let (w, h) = (captured.width() as usize, captured.height() as usize);
    let (fw, fh) = ((FOCUS_PX.0 as usize).min(w), (FOCUS_PX.1 as usize).min(h));
    let mut sums = vec![0u64; (w + 1) * (h + 1)];
    for y in 0..h {
        let mut row = 0u64;
        for x in 0..w {
            let a = captured.get_pixel(x as u32, y as u32).0;
            let b = reference.get_pixel(x as u32, y as u32).0;
            let (px, py) = (area.x + x as i32, area.y + y as i32);
            if !unchecked.iter().any(|u| u.contains(px, py)) {
                // Squares, so that one wrong stroke outweighs noise all over.
                row += a
                    .iter()
                    .zip(&b)
                    .map(|(a, b)| u64::from(a.abs_diff(*b)).pow(2))
                    .sum::<u64>();
            }
            sums[(y + 1) * (w + 1) + x + 1] = sums[y * (w + 1) + x + 1] + row;
        }
    }
    let at = |x: usize, y: usize| sums[y * (w + 1) + x];
    let mut best = (0u64, 0, 0);
    for y in (0..=h - fh).step_by(2) {
        for x in (0..=w - fw).step_by(2) {
            let sum = at(x + fw, y + fh) + at(x, y) - at(x + fw, y) - at(x, y + fh);
            if sum > best.0 {
                best = (sum, x, y);
            }
        }
    }
    Rect::new(
        area.x + best.1 as i32,
        area.y + best.2 as i32,
        fw as i32,
        fh as i32,
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::RegionState;
    use crate::evidence::report::tests::event;
    use crate::picture::{Encoding, Subsampling};
    use image::Rgb;

    fn frame(index: u64) -> CapturedFrame {
        let mut f = CapturedFrame::new();
        f.index = index;
        f.time_s = index as f64 * 0.04;
        f.picture = Picture::filled(8, 8, Encoding::Rgb, Subsampling::None, [index as u8; 3]);
        f
    }

    fn push(keeper: &mut Keeper, index: u64, is_open: bool, is_raised: bool, is_faulty: bool) {
        let (before, now) = (index.checked_sub(1).map(frame), frame(index));
        let regions = [RegionState {
            is_open,
            is_raised,
            is_faulty,
        }];
        keeper
            .seen(&Seen {
                frame: &now,
                before: before.as_ref(),
                due: Due {
                    time_s: now.time_s,
                    page: 0,
                },
                regions: &regions,
            })
            .unwrap();
    }

    #[test]
    fn frames_round_a_confirmed_fault_are_stored_and_no_others() {
        let folder = tempfile::tempdir().unwrap();
        let mut keeper = Keeper::new(&folder.path().join("events"));
        push(&mut keeper, 0, false, false, false);
        // A flicker that is never confirmed.
        push(&mut keeper, 1, true, false, true);
        push(&mut keeper, 2, false, false, false);
        for k in 3..30 {
            push(&mut keeper, k, true, k >= 10, k < 20);
        }
        push(&mut keeper, 30, false, false, false);
        keeper.finish().unwrap();
        let frames: Vec<u64> = keeper.stored.keys().copied().collect();
        assert_eq!(frames, [2, 3, 10, 19, 20]);
        let mut e = event("blank", "a", 0.12);
        (e.first_frame, e.last_frame, e.best_frame, e.detected_s) = (3, 19, 10, 0.4);
        assert_eq!(
            keeper.frames_of(&e),
            [
                (2, vec![Role::Before]),
                (3, vec![Role::Onset]),
                (10, vec![Role::Detected, Role::Best]),
                (19, vec![Role::Last]),
                (20, vec![Role::After]),
            ]
        );
        keeper.clear().unwrap();
        assert_eq!(
            std::fs::read_dir(folder.path().join("events"))
                .unwrap()
                .count(),
            0
        );
    }

    #[test]
    fn however_many_faults_there_are_what_is_stored_is_bounded() {
        let folder = tempfile::tempdir().unwrap();
        let mut keeper = Keeper::new(&folder.path().join("events"));
        let mut k = 0;
        for _ in 0..3 * MOST_BY_REGION {
            for (open, raised, faulty) in [
                (true, false, true),
                (true, true, true),
                (true, true, false),
                (false, false, false),
            ] {
                push(&mut keeper, k, open, raised, faulty);
                k += 1;
            }
        }
        assert!(keeper.stored.len() <= 5 * MOST_BY_REGION);
        keeper.clear().unwrap();
    }

    #[test]
    fn the_focus_lies_on_what_differs() {
        let reference = RgbImage::from_pixel(100, 80, Rgb([10, 10, 10]));
        let mut captured = reference.clone();
        for x in 70..80 {
            captured.put_pixel(x, 60, Rgb([200, 10, 10]));
        }
        let focus = most_different(&captured, &reference, Rect::new(5, 7, 100, 80), &[]);
        assert!(
            focus.contains(75 + 5, 60 + 7) && focus.contains(79 + 5, 60 + 7),
            "{focus:?}"
        );
        let left_out = [Rect::new(60, 40, 45, 40)];
        let area = Rect::new(5, 7, 100, 80);
        let focus = most_different(&captured, &reference, area, &left_out);
        assert!(!focus.contains(75 + 5, 60 + 7), "{focus:?}");
    }
}
