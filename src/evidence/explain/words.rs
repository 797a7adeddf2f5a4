//! The steps from a claim to what it rests on, as an engineer tells them to an authority.

use std::path::Path;

use super::gathered::{Age, At, Confirmed, Gathered, Shown, concerned};
use super::{Explained, Paragraph, Told};
use crate::evidence::csv::word;
use crate::evidence::display::{DisplayRecord, RegionInfo};
use crate::evidence::manifest::Manifest;
use crate::evidence::report::labels::{count_of, figure, percent};
use crate::evidence::requirements::{events_of, not_exercised, region_finding};
use crate::evidence::stills::EventStills;
use crate::judge::constants::SIGMAS;
use crate::judge::event::{AsAWhole, Event, PictureError, TestRecord, name};
use crate::judge::region::Tested;
use crate::judge::rules::{self, Misled};
use crate::judge::verdict::Verdict;

/// Where the results are.
pub struct Place<'a> {
    pub folder: &'a Path,
    pub manifest: &'a Manifest,
    /// SHA-256 of the manifest.
    pub sha256: &'a str,
}

/// Values that are told one by one; the records have all.
const MOST_VALUES: usize = 8;
/// Regions that are told one by one.
const MOST_REGIONS: usize = 6;

/// What an event rests on.
pub fn of_event(
    told: &Told,
    k: usize,
    gathered: &Gathered,
    stills: Option<&EventStills>,
    place: &Place,
) -> Explained {
    let event = &told.events[k];
    let regions = concerned(&told.display, event);
    let claim = Claim {
        told,
        event,
        regions,
        gathered,
    };
    let paragraphs = [
        ("What is claimed", claim.claim()),
        ("What was due, and what was shown", claim.shown()),
        ("By how much, beyond which limit", claim.beyond()),
        ("How sure the reading is", claim.sureness()),
        ("Since when, and what confirmed it", claim.time()),
        ("Which pixels", claim.pixels()),
        ("Which pictures show it", pictures(k, stills, place)),
        ("Which rules decided it", claim.rules()),
        ("What it concerns", claim.concerns()),
        ("Where that stands in the results", claim.records(k, place)),
    ];
    Explained {
        title: format!(
            "Event {k} of \"{}\", {}: {} in {}",
            place.folder.display(),
            told.summary.display,
            name(event.class),
            place_of(event)
        ),
        verdict: Some(event.class),
        paragraphs: kept(paragraphs),
        differing: Vec::new(),
    }
}

/// What is said of a region over the run.
pub fn of_region(told: &Told, k: usize, place: &Place) -> Explained {
    let region = &told.display.regions[k];
    let events = events_of(&region.id, &told.events);
    let finding = region_finding(region, &told.summary, &told.events);
    let mut claimed = vec![format!(
        "Over the run the region \"{}\": {}.",
        region.id,
        finding.text()
    )];
    claimed.extend(
        not_exercised(region, &told.summary).map(|why| format!("It is so because: {why}.")),
    );
    let counts = told.summary.region_verdicts.get(&region.id);
    let all: u64 = counts.map_or(0, |c| c.values().sum());
    let mut verdicts = Vec::new();
    for (verdict, count) in counts.into_iter().flatten() {
        verdicts.push(format!(
            "{}: {count} of {all} frames, {}",
            verdict.replace('_', " "),
            percent(*count, all)
        ));
    }
    let blind_s = told.summary.blind_s.get(&region.id).copied().unwrap_or(0.0);
    let mut blind = vec![format!(
        "For {} s of the run a freeze of this region could not have been seen.",
        figure(blind_s, 3)
    )];
    blind.push(rules::decided(Verdict::Blind));
    if region.symbols.iter().all(|s| s != "liveness") {
        blind.push(
            "A liveness cell in the region, or a stretch of the scenario in which its inputs move, makes a freeze visible."
                .into(),
        );
    }
    let events = match events.as_slice() {
        [] => vec!["None.".into()],
        some => some
            .iter()
            .map(|k| {
                let e = &told.events[*k];
                format!(
                    "{k}: {} in {} from {:.3} s to {:.3} s",
                    name(e.class),
                    place_of(e),
                    e.onset_s,
                    e.end_s
                )
            })
            .collect(),
    };
    let occurring = counts
        .into_iter()
        .flatten()
        .filter(|(_, count)| **count > 0);
    let rules = occurring.filter_map(|(verdict, _)| {
        let verdict: Verdict = serde_json::from_value(verdict.as_str().into()).ok()?;
        Some(rule(verdict))
    });
    let paragraphs = [
        ("What is claimed", claimed),
        ("Frames by verdict", verdicts),
        ("Against which limits", limits(region)),
        ("In which time it was blind", blind),
        ("Its events", events),
        ("Which rules decided it", rules.collect()),
        ("What it concerns", vec![requirements(region, &told.display)]),
        ("Where that stands in the results", vec![
            "summary.json: region_verdicts, blind_s and not_judged; frames.jsonl has every frame.".into(),
            vouched(place),
        ]),
    ];
    Explained {
        title: format!(
            "Region \"{}\" of \"{}\", {}",
            region.id,
            place.folder.display(),
            told.summary.display
        ),
        verdict: None,
        paragraphs: kept(paragraphs),
        differing: Vec::new(),
    }
}

/// Paragraphs that say something.
fn kept<const N: usize>(all: [(&'static str, Vec<String>); N]) -> Vec<Paragraph> {
    let all = all.into_iter().filter(|(_, lines)| !lines.is_empty());
    all.map(|(heading, lines)| Paragraph { heading, lines })
        .collect()
}

fn place_of(event: &Event) -> String {
    if event.regions == ["*"] {
        "the whole frame".into()
    } else {
        event.regions.join(", ")
    }
}

/// A rule with the verdict that it gives.
fn rule(verdict: Verdict) -> String {
    format!("{}: {}", name(verdict), rules::decided(verdict))
}

/// What a misleading picture is wrong in, as far as the records tell.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Wrong<'e> {
    /// Another page stands there.
    Page(&'e str),
    /// The page of a reversion does not stand there.
    NotReverted(&'e str),
    /// Halves of the picture stand in each other's place.
    Exchanged(&'e str),
    /// Another display shows something else.
    Split(&'e str),
    /// A value is beyond its tolerance.
    Value,
    /// Ink that is due is not there.
    Missing,
    /// Ink is there that is not due.
    Foreign,
    /// Shapes are as due, colours are not.
    Color,
    /// It stands elsewhere, or looks otherwise.
    Otherwise,
}

/// One kind of ink must be this many times the other for the picture to be told as lacking something, or as having too
/// much; in between something stands in another place, or has another form.
const CLEARLY: u32 = 2;

impl<'e> Wrong<'e> {
    fn of(event: &'e Event) -> Self {
        let PictureError {
            missing_px,
            foreign_px,
            color_samples,
        } = event.picture_error;
        let said = event.remarks.first().map_or("", String::as_str);
        if let Some(whole) = event.as_a_whole {
            match whole {
                AsAWhole::OtherPage => Self::Page(said),
                AsAWhole::HalvesExchanged => Self::Exchanged(said),
                AsAWhole::NotReverted => Self::NotReverted(said),
            }
        } else if let Some(other) = event.worst_error.as_ref().and_then(|w| w.display.as_ref()) {
            Self::Split(other)
        } else if event.worst_error.is_some() {
            Self::Value
        } else if missing_px + foreign_px == 0 && color_samples > 0 {
            Self::Color
        } else if missing_px > CLEARLY.saturating_mul(foreign_px) {
            Self::Missing
        } else if foreign_px > CLEARLY.saturating_mul(missing_px) {
            Self::Foreign
        } else {
            Self::Otherwise
        }
    }

    fn words(self) -> String {
        match self {
            Self::Page(page) => {
                format!("Another page than the one that was due stands there: it {page}.")
            }
            Self::NotReverted(remark) => {
                format!("The page of a reversion had to stand there and did not: the display {remark}. {}", rules::REVERSION)
            }
            Self::Exchanged(remark) => format!("All of the picture stands in another place: {remark}."),
            Self::Split(other) => {
                format!("It shows something else than \"{other}\" does. {}", rules::BESIDE)
            }
            Self::Value => "A value that can be read is beyond its tolerance.".into(),
            Self::Missing => "Most of what differs is missing: something that is due does not stand there.".into(),
            Self::Foreign => "Most of what differs is foreign: something stands there that is not due.".into(),
            Self::Color => "Shapes are as due, and colours are not.".into(),
            Self::Otherwise => {
                "Ink is missing in one place and foreign in another: something stands elsewhere, or has another form.".into()
            }
        }
    }
}

/// An event with all that is known of it.
struct Claim<'a> {
    told: &'a Told,
    event: &'a Event,
    regions: Vec<&'a RegionInfo>,
    gathered: &'a Gathered,
}

impl Claim<'_> {
    fn claim(&self) -> Vec<String> {
        let e = self.event;
        let when = rules::when(e.class);
        let wrong = (e.class == Verdict::Misleading).then(|| Wrong::of(e).words());
        // Of a misleading picture it is told what of it is wrong, not all that could be.
        let when = match &wrong {
            Some(_) => when.split(':').next().unwrap_or(when),
            None => when,
        };
        let mut lines = vec![format!(
            "From {:.3} s to {:.3} s {} {}: {when}.",
            e.onset_s,
            e.end_s,
            match e.regions.as_slice() {
                [one] if one == "*" => "the whole frame is".to_owned(),
                [one] => format!("the region \"{one}\" is"),
                several => format!("the regions {} are", several.join(", ")),
            },
            name(e.class),
        )];
        lines.extend(wrong);
        if let Some(things) = e.things_in_words() {
            lines.push(format!("As it began, the slot was that of {things}."));
        }
        lines
    }

    fn shown(&self) -> Vec<String> {
        let (e, g) = (self.event, self.gathered);
        let mut lines = Vec::new();
        if let Some(w) = &e.worst_error {
            let frame = w.frame.map_or(String::new(), |f| format!("In frame {f} "));
            let by = g.worst_reading.as_ref().map_or_else(
                || format!("{} {}", figure((w.displayed - w.expected).abs(), 3), w.unit),
                |(_, _, r)| amount(r.error, &r.unit),
            );
            lines.push(format!(
                "{frame}{} showed {} {unit} and {} {unit} {due}: {by}. Of the values of the event it is the one that is farthest \
                 beyond what it may be off.",
                w.channel,
                figure(w.displayed, 3),
                figure(w.expected, 3),
                unit = w.unit,
                due = w.display.as_ref().map_or_else(
                    || "were due for the inputs of that moment".to_owned(),
                    |display| format!("stood on \"{display}\""),
                )
            ));
        }
        if e.class == Verdict::Late {
            lines.extend(self.ages());
        }
        lines.extend(self.values());
        if lines.is_empty() {
            lines.push(
                "No value was read from the picture in this time: either nothing in it is read as a value, or it could not be \
                 recognised. What was due is the reference picture below."
                    .into(),
            );
        }
        lines
    }

    /// How old the data were, by region.
    fn ages(&self) -> Vec<String> {
        let mut lines: Vec<String> = self
            .late()
            .iter()
            .map(|(_, r, age)| {
                format!(
                    "{}: data {:.0} ms old in frame {}, standard error {:.0} ms; permitted are {:.0} ms (max_latency_ms)",
                    r.id, age.ms, age.at.frame, age.se_ms, r.max_latency_ms
                )
            })
            .collect();
        shorten(&mut lines, MOST_REGIONS, "regions", "frames.jsonl");
        lines
    }

    /// The regions whose data were surely older than permitted, by how much (ms, less three standard errors), most first.
    fn late(&self) -> Vec<(f64, &RegionInfo, Age)> {
        let ages = self.regions.iter().filter_map(|r| {
            let age = *self.gathered.oldest.get(&r.id)?;
            Some((age.surely_ms() - r.max_latency_ms, *r, age))
        });
        let mut late: Vec<_> = ages.filter(|(beyond_ms, ..)| *beyond_ms > 0.0).collect();
        late.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| a.1.id.cmp(&b.1.id)));
        late
    }

    /// The values that were read meanwhile, those that were off most first.
    fn values(&self) -> Vec<String> {
        let tolerance = |region: &str, channel: &str| {
            let region = self.told.display.region(region)?;
            region.tolerances.get(channel)
        };
        let mut all: Vec<(f64, String)> = Vec::new();
        for ((region, channel, what), shown) in &self.gathered.shown {
            let Shown {
                count,
                first,
                last,
                worst,
            } = shown;
            let permitted = tolerance(region, channel);
            let times = worst.1.error.abs() / permitted.map_or(f64::INFINITY, |t| t.value);
            let unit = &worst.1.unit;
            let limit = permitted.map_or(String::new(), |t| {
                format!(", permitted {} {}", figure(t.value, 3), t.unit)
            });
            all.push((
                times,
                format!(
                    "{region}, {channel} ({what}, {}): shown {} to {} {unit} from frame {} to {}, due {} to {} {unit}; farthest off \
                     in frame {} by {} {unit}{limit}",
                    count_of(usize::try_from(*count).unwrap_or(usize::MAX), "reading"),
                    figure(first.1.displayed, 3),
                    figure(last.1.displayed, 3),
                    first.0.frame,
                    last.0.frame,
                    figure(first.1.expected, 3),
                    figure(last.1.expected, 3),
                    worst.0.frame,
                    figure(worst.1.error, 3),
                ),
            ));
        }
        all.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| a.1.cmp(&b.1)));
        let mut lines: Vec<String> = all.into_iter().map(|(_, line)| line).collect();
        shorten(&mut lines, MOST_VALUES, "values", "readings.csv");
        lines
    }

    fn beyond(&self) -> Vec<String> {
        let e = self.event;
        let mut lines = Vec::new();
        match e.class {
            Verdict::Late => {
                lines.push(match self.late().first() {
                    Some((beyond_ms, r, age)) => format!(
                        "The limit is max_latency_ms. It is surest of {}: {:.0} ms are {:.0} ms more than the permitted {:.0} ms, and \
                         {beyond_ms:.0} ms more with three standard errors taken off.",
                        r.id,
                        age.ms,
                        age.ms - r.max_latency_ms,
                        r.max_latency_ms
                    ),
                    None => "The limit is max_latency_ms. In no single frame is the age surely beyond it: the delay is told from the \
                         values, or pictures, of the whole stretch."
                        .into(),
                });
            }
            Verdict::Frozen => lines.push(
                "No limit of the definition decides that a picture stands still: values held while their inputs move are frozen \
                 whether or not they have left their tolerance yet."
                    .into(),
            ),
            Verdict::Blank | Verdict::Garbled => lines.push(
                "No limit of the definition decides this: nothing that the display could show explains the picture.".into(),
            ),
            Verdict::Misleading if e.worst_error.is_none() => lines.push(
                "No value is beyond its tolerance, so none decides this: the picture itself differs from all that inputs of a \
                 permitted age, and the values that are read, would draw."
                    .into(),
            ),
            _ => {}
        }
        if let Some(w) = &e.worst_error {
            let region = self
                .gathered
                .worst_reading
                .as_ref()
                .map(|(r, ..)| r.as_str());
            let regions = self.regions.iter();
            let mut regions = regions.filter(|r| region.is_none_or(|id| r.id == id));
            let limit = regions.find_map(|r| Some((r, r.tolerances.get(&w.channel)?)));
            let error = match &self.gathered.worst_reading {
                Some((_, _, r)) if w.display.is_none() => r.error.abs(),
                _ => (w.displayed - w.expected).abs(),
            };
            lines.push(match limit {
                Some((r, t)) => format!(
                    "The tolerance of {} in {} is {} {}: {} {} are {} times that, {} {} beyond.",
                    w.channel,
                    r.id,
                    figure(t.value, 3),
                    t.unit,
                    figure(error, 3),
                    w.unit,
                    figure(error / t.value, 2),
                    figure(error - t.value, 3),
                    t.unit
                ),
                None => format!(
                    "The definition sets no tolerance for {} in these regions; a number is held against what its digits resolve.",
                    w.channel
                ),
            });
        }
        lines
    }

    fn sureness(&self) -> Vec<String> {
        let Some((region, at, r)) = &self.gathered.worst_reading else {
            return match &self.event.worst_error {
                None => Vec::new(),
                Some(w) => vec![format!(
                    "frames.jsonl has no reading of {} that is this one: results of an earlier version do not say in which frame it \
                     stood.",
                    w.channel
                )],
            };
        };
        let errors = r.error.abs() / r.standard_error;
        let times = if errors.is_finite() {
            format!("; the error is {} of them", figure(errors, 0))
        } else {
            String::new()
        };
        let mut lines = vec![format!(
            "Read from {} of {region} in frame {} at {:.3} s, with a standard error of {} {}{times}.",
            r.what,
            at.frame,
            at.time_s,
            figure(r.standard_error, 4),
            r.unit
        )];
        if let Some(px) = r.px_per_unit {
            let measuring = SIGMAS * r.standard_error;
            lines.push(format!(
                "{} px stand for one {}, so the error is {} px on the picture. Before a value counts as wrong, measuring is given three \
                 standard errors: {} {}.",
                figure(px, 3),
                r.unit,
                figure(r.error.abs() * px, 2),
                figure(measuring, 3),
                r.unit
            ));
        } else {
            lines.push(
                "It is a number that stands there as digits: each character was matched with every one that could stand in its \
                 place, and only sure ones make a number. Its standard error is that of rounding to the last digit."
                    .into(),
            );
        }
        lines
    }

    fn time(&self) -> Vec<String> {
        let (e, g) = (self.event, self.gathered);
        let mut lines = Vec::new();
        if let Some((at, verdict)) = g.before {
            lines.push(format!(
                "The frame before, {} at {:.3} s, was called {} as a whole.",
                at.frame,
                at.time_s,
                name(verdict)
            ));
        }
        let first = g.first.map_or(String::new(), |at| {
            format!(
                ": frame {}, at {:.3} s, is the first that is faulty",
                at.frame, at.time_s
            )
        });
        let dated = g.first.is_some_and(|at| at.time_s > e.onset_s + 1e-3);
        let back = if dated {
            match e.test.as_ref().map(|test| test.of) {
                Some(Tested::Value) => {
                    "; the onset is dated back to the frame since which the sum has been above zero"
                }
                _ => {
                    "; the onset is dated back to the first frame that held what it showed, or showed old data"
                }
            }
        } else {
            ""
        };
        lines.push(format!("Onset {:.3} s{first}{back}.", e.onset_s));
        let confirmed = g.confirmed();
        lines.push(format!(
            "Confirmed {:.3} s, {:.0} ms after onset{}.",
            e.detected_s,
            1e3 * (e.detected_s - e.onset_s),
            g.detected
                .map_or(String::new(), |at| format!(", at frame {}", at.frame))
        ));
        let by_test = e.test.as_ref().map(|test| self.by_test(test));
        let mut by: Vec<String> = by_test.map_or_else(
            || confirmed.iter().map(|c| self.confirmation(c)).collect(),
            |line| vec![line],
        );
        if by.is_empty() {
            by.push(
                "No frame of that instant is recorded as the one that confirms: it lies in a gap of the stream, in which the last \
                 picture counts as shown, or part of the run is not in these records."
                    .into(),
            );
        }
        shorten(&mut by, MOST_REGIONS, "regions", "frames.jsonl");
        lines.extend(by);
        let counts = self.regions.iter().filter_map(|r| {
            let counts = g.verdicts.get(&r.id)?;
            let faulty: u64 = counts
                .iter()
                .filter(|(v, _)| v.is_faulty())
                .map(|(_, n)| n)
                .sum();
            let words: Vec<String> = counts
                .iter()
                .map(|(verdict, n)| format!("{} in {n}", name(*verdict)))
                .collect();
            let line = format!("{}, frame by frame meanwhile: {}", r.id, words.join(", "));
            Some((faulty, line))
        });
        let mut counts: Vec<(u64, String)> = counts.collect();
        // Those that show the fault first.
        counts.sort_by_key(|(faulty, _)| std::cmp::Reverse(*faulty));
        let mut counts: Vec<String> = counts.into_iter().map(|(_, line)| line).collect();
        shorten(&mut counts, MOST_REGIONS, "regions", "frames.jsonl");
        lines.extend(counts);
        lines.push(match g.end {
            Some(At { frame, .. }) => format!(
                "Ended {:.3} s: frame {frame} is the first that agrees again, and it stayed so for the recovery time.",
                e.end_s
            ),
            None => format!("It lasts to the end of the capture, {:.3} s.", e.end_s),
        });
        lines
    }

    /// What confirmed the fault of a region.
    fn confirmation(&self, c: &Confirmed) -> String {
        let Some(region) = self.told.display.region(&c.region) else {
            return String::new();
        };
        if c.has_lasted {
            format!(
                "{}: faulty without a break from frame {} to {}, {:.0} ms; asked for are {:.0} ms (confirm_ms)",
                c.region,
                c.since.frame,
                c.at.frame,
                1e3 * (c.at.time_s - c.since.time_s),
                region.confirm_ms
            )
        } else {
            let [k, n] = region.confirm_frames.unwrap_or_default();
            format!(
                "{}: {k} of the last {n} frames were faulty at frame {} (confirm_frames); {} had been since the event began",
                c.region,
                c.at.frame,
                count_of(usize::try_from(c.faulty).unwrap_or(usize::MAX), "frame")
            )
        }
    }

    /// The sequential test that raised the event.
    fn by_test(&self, test: &TestRecord) -> String {
        let budget = self
            .told
            .display
            .region(&test.region)
            .and_then(|r| r.budget);
        let budget = budget.map_or(String::new(), |b| {
            format!(
                " (budget of the region: {} nuisance trips an hour, {:.0} ms to the alert)",
                figure(b.nuisance_per_hour, 2),
                b.time_to_alert_ms
            )
        });
        format!(
            "{}, {} {}: the sum of log-likelihoods that {} reached {}; asked for are {}{budget}",
            test.region,
            test.channel,
            test.what,
            match test.of {
                Tested::Value => "it is off by more than its tolerance",
                Tested::Held => "it is held while its inputs move",
                Tested::Age => "data of no permitted age explain it",
            },
            figure(test.sum, 3),
            figure(test.threshold, 3),
        )
    }

    fn pixels(&self) -> Vec<String> {
        let e = self.event;
        let PictureError {
            missing_px,
            foreign_px,
            color_samples,
        } = e.picture_error;
        let mut lines = vec![format!(
            "Frame {} shows it best{}: ink of {missing_px} px that is due is missing, ink of {foreign_px} px stands there that is not \
             due, and {color_samples} samples of colour (2 x 2 px each) differ.",
            e.best_frame,
            self.gathered
                .best
                .map_or(String::new(), |at| format!(", at {:.3} s", at.time_s))
        )];
        if let Some([x, y, width, height]) = e.place {
            lines.push(format!(
                "They lie in {width} x {height} px, the top left of which is at {x}, {y} of the capture{}.",
                e.symbol
                    .as_ref()
                    .map_or(String::new(), |s| format!("; the symbol there is {s} of the definition"))
            ));
        }
        lines.push(rules::AGREEMENT.into());
        lines
    }

    fn rules(&self) -> Vec<String> {
        let mut lines = match self.event.class {
            Verdict::Misleading => self.misled().into_iter().map(rules::misleading).collect(),
            class => vec![rule(class)],
        };
        lines.push(rules::CONFIRMED.into());
        if self.regions.iter().any(|r| r.budget.is_some()) {
            lines.push(rules::BUDGET.into());
        }
        if self.event.regions.len() != 1 || self.event.regions == ["*"] {
            lines.push(rules::WHOLE_FRAME.into());
        }
        lines.extend(
            self.event
                .remarks
                .iter()
                .map(|r| format!("Meanwhile, and taken as part of it: {r}.")),
        );
        lines
    }

    /// What the picture may mislead by, as far as the records tell.
    fn misled(&self) -> Vec<Misled> {
        let worst = self.gathered.worst_reading.as_ref();
        match Wrong::of(self.event) {
            Wrong::Value if worst.is_some_and(|(_, _, r)| r.px_per_unit.is_none()) => {
                vec![Misled::Digits, Misled::Picture]
            }
            Wrong::Value => vec![Misled::Value, Misled::Invalid],
            _ => vec![Misled::Picture, Misled::Digits, Misled::Invalid],
        }
    }

    fn concerns(&self) -> Vec<String> {
        let e = self.event;
        let mut lines = vec![format!(
            "Hazard class {}, the most severe of its regions; so the action is {} ({}).",
            word(&e.hazard),
            word(&e.action).replace('_', " "),
            rules::action(e.hazard)
        )];
        let mut regions = self.regions.clone();
        regions.sort_by_key(|r| r.hazard);
        let mut by_region: Vec<String> = regions
            .iter()
            .map(|r| requirements(r, &self.told.display))
            .collect();
        shorten(&mut by_region, MOST_REGIONS, "regions", "display.json");
        lines.extend(by_region);
        lines
    }

    fn records(&self, k: usize, place: &Place) -> Vec<String> {
        let e = self.event;
        vec![
            format!(
                "events.json, entry {k} from 0; frames.jsonl, frames {} to {}; limits as display.json has them from the definition.",
                e.first_frame, e.last_frame
            ),
            format!(
                "Times are of the capture; recording time is capture time {} {} s ({}).",
                if self.told.summary.offset_s < 0.0 {
                    "-"
                } else {
                    "+"
                },
                figure(self.told.summary.offset_s.abs(), 3),
                self.told.summary.offset_from
            ),
            vouched(place),
        ]
    }
}

/// An error by its size and sense.
fn amount(error: f64, unit: &str) -> String {
    let sense = if error < 0.0 {
        "too little"
    } else {
        "too much"
    };
    format!("{} {unit} {sense}", figure(error.abs(), 3))
}

/// Leaves the first `most` lines, and says where the others are.
fn shorten(lines: &mut Vec<String>, most: usize, what: &str, file: &str) {
    if lines.len() > most + 1 {
        let more = lines.len() - most;
        lines.truncate(most);
        lines.push(format!("... and {more} more {what}, see {file}"));
    }
}

fn limits(region: &RegionInfo) -> Vec<String> {
    let mut lines: Vec<String> = region
        .tolerances
        .iter()
        .map(|(channel, t)| format!("{channel} within {} {}", figure(t.value, 3), t.unit))
        .collect();
    lines.push(format!(
        "data no older than {:.0} ms (max_latency_ms)",
        region.max_latency_ms
    ));
    let often = region.confirm_frames.map_or(String::new(), |[k, n]| {
        format!(", or when {k} of the last {n} frames are faulty (confirm_frames)")
    });
    if let Some(budget) = region.budget {
        lines.push(format!(
            "values under a budget: {} nuisance trips an hour here, {:.0} ms to the alert",
            figure(budget.nuisance_per_hour, 2),
            budget.time_to_alert_ms
        ));
    }
    lines.push(format!(
        "raised after {:.0} ms (confirm_ms){often}; ended after {:.0} ms (recover_ms)",
        region.confirm_ms, region.recover_ms
    ));
    lines
}

/// The requirements that a region verifies, with their wording where the results hold it.
fn requirements(region: &RegionInfo, display: &DisplayRecord) -> String {
    let says = |id: &String| {
        let wording = display.requirements.iter().find(|r| r.id == *id);
        wording.map_or_else(
            || id.clone(),
            |r| format!("{id} (\"{}\")", r.text.replace('\n', " ")),
        )
    };
    let ids = match region.requirements.as_slice() {
        [] => "verifies no requirement".into(),
        ids => format!(
            "verifies {}",
            ids.iter().map(says).collect::<Vec<_>>().join(", ")
        ),
    };
    format!("{} ({}) {ids}", region.id, word(&region.hazard))
}

/// Files that show the event, and what each of them is.
fn pictures(k: usize, stills: Option<&EventStills>, place: &Place) -> Vec<String> {
    // As `check` names them: by the number of the event.
    let begin = format!("events/event_{k:04}_");
    let listed = place.manifest.outputs.iter();
    let mut lines: Vec<String> = listed
        .filter(|f| f.path.starts_with(&begin))
        .map(|f| {
            format!(
                "{}: captured, reference and difference side by side",
                f.path
            )
        })
        .collect();
    match stills {
        Some(stored) => {
            for s in &stored.stills {
                let roles: Vec<String> = s.roles.iter().map(word).collect();
                lines.push(format!(
                    "frame {} at {:.3} s ({}), captured and reference: {} {}",
                    s.frame,
                    s.time_s,
                    roles.join(", "),
                    s.captured,
                    s.reference
                ));
            }
        }
        None => {
            lines.push("No frames of this event were stored: others were more important.".into())
        }
    }
    lines
}

/// What vouches for all that was said.
fn vouched(place: &Place) -> String {
    format!(
        "All of it is from results of {} {}, held against their manifest, whose own SHA-256 is {}.",
        place.manifest.tool, place.manifest.version, place.sha256
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evidence::explain::About;
    use crate::evidence::report::tests::{display, event, summary};
    use crate::judge::event::Thing;

    /// What is told of an event of which the frames say nothing.
    fn told(change: impl FnOnce(&mut Event)) -> String {
        let mut event = event("misleading", "speed", 1.0);
        change(&mut event);
        let gathered = Gathered::new(&display(), &event);
        let told = Told {
            summary: summary(),
            display: display(),
            events: vec![event],
            about: About::Region(0),
        };
        let manifest: Manifest = serde_json::from_value(serde_json::json!({
            "manifest_version": 1, "tool": "framevouch", "version": "0", "revision": null, "caution": "c", "command": "check",
            "arguments": [], "inputs": [], "outputs": []
        }))
        .unwrap();
        let place = Place {
            folder: Path::new("out"),
            manifest: &manifest,
            sha256: "0",
        };
        let explained = of_event(&told, 0, &gathered, None, &place);
        let paragraphs = explained.paragraphs.iter();
        let lines = paragraphs.map(|p| format!("{}\n{}\n", p.heading, p.lines.join("\n")));
        explained.title + "\n" + &lines.collect::<String>()
    }

    fn differing(missing_px: u32, foreign_px: u32, color_samples: u32) -> PictureError {
        PictureError {
            missing_px,
            foreign_px,
            color_samples,
        }
    }

    #[test]
    fn each_way_of_misleading_is_told_as_itself() {
        for (error, said) in [
            (differing(100, 10, 0), "is due does not stand there"),
            (differing(10, 100, 0), "stands there that is not due"),
            (
                differing(0, 0, 40),
                "Shapes are as due, and colours are not",
            ),
            (
                differing(100, 90, 0),
                "stands elsewhere, or has another form",
            ),
        ] {
            let text = told(|e| e.picture_error = error);
            assert!(text.contains(said), "{said}: {text}");
            assert!(text.contains("No value is beyond its tolerance"), "{text}");
            assert!(text.contains(&rules::misleading(Misled::Picture)), "{text}");
        }
        let page = told(|e| {
            e.as_a_whole = Some(AsAWhole::OtherPage);
            e.remarks = vec!["shows the page \"engine\"".into()];
        });
        assert!(page.contains("it shows the page \"engine\""), "{page}");
    }

    #[test]
    fn what_has_a_slot_is_named() {
        let text = told(|e| {
            e.things = vec![Thing {
                id: "T7".into(),
                table: "traffic".into(),
                slot: 3,
            }];
        });
        assert!(text.contains("T7 (slot 3 of traffic)"), "{text}");
    }

    #[test]
    fn each_class_has_its_rule() {
        for class in [
            Verdict::Blank,
            Verdict::Garbled,
            Verdict::Late,
            Verdict::Frozen,
        ] {
            let text = told(|e| e.class = class);
            assert!(text.contains(&rules::decided(class)), "{text}");
            assert!(text.contains(rules::when(class)), "{text}");
        }
        let whole = told(|e| {
            e.class = Verdict::Blank;
            e.regions = vec!["*".into()];
        });
        assert!(whole.contains(rules::WHOLE_FRAME), "{whole}");
    }

    #[test]
    fn an_error_beyond_a_tolerance_is_told_in_numbers() {
        let text = told(|e| {
            e.worst_error = Some(crate::judge::event::WorstError {
                channel: "speed".into(),
                displayed: 104.5,
                expected: 97.0,
                unit: "kt".into(),
                frame: Some(30),
                display: None,
            });
        });
        // The tolerance is 3 kt.
        for said in [
            "In frame 30 speed showed 104.5 kt and 97 kt were due",
            "7.5 kt are 2.5 times that, 4.5 kt beyond",
        ] {
            assert!(text.contains(said), "{said}: {text}");
        }
    }
}
