//! A display that shows pages in turn: each is judged while it is due, and the wrong one is named.

use std::path::Path;

use framevouch::definition::Definition;
use framevouch::demo;
use framevouch::examine::subject::Subject;
use framevouch::inject::{self, Clip, Delivery, Fault, Method, Target};
use framevouch::judge::verdict::Verdict;
use framevouch::picture::Picture;
use framevouch::recording::{MissingColumns, Recording};
use framevouch::reference::drawing::Drawing;

use crate::bench::{Bench, Files, RATE_HZ, captured, inputs_until};

const LENGTH_S: f64 = 4.0;
/// The page that is due changes here, s.
const TURN_S: f64 = 2.0;

/// What a display with pages has beyond the engine strip: another page, in the place of what the strip shows below its
/// rotor scale, which both have.
pub const PAGES: &str = r##"
[channels.page]
column = "page"
interpolation = "text"
max_age_ms = 5000

[[page]]
id = "summary"
when = [{ channel = "page", equals = "sum" }]
transition_ms = TRANSITION

[[page]]
id = "engine"

[[region]]
id = "summary"
pages = ["summary"]
rect = [8, 84, 464, 180]
hazard = "major"
requirements = ["ES-SUM-01"]
tolerance = { torque = 2.0 }

[[region.symbol]]
kind = "bar"
rect = [40, 100, 40, 150]
channel = "torque"
direction = "up"
breakpoints = [[0, 0], [120, 1]]
style = "fill"
color = "navy"
frame = "ink"
background = "white"
edge = "right"

[region.symbol.failure]
rect = [40, 100, 40, 150]
text = "FAIL"
font = "text"
size = 16
color = "ink"
background = "amber"

[[region.symbol]]
kind = "readout"
channel = "torque"
position = [400, 150]
font = "figures"
size = 60
color = "ink"
format = { suffix = " %" }
"##;

/// The strip's regions below its rotor scale.
const BELOW: [&str; 6] = [
    "torque",
    "power",
    "collective",
    "outside_air",
    "fuel",
    "alerts",
];

fn definition(transition_ms: u32) -> Result<Definition, String> {
    read(&PAGES.replace("TRANSITION", &transition_ms.to_string()))
}

/// The engine strip, whose lower regions belong to the page "engine", and what is `added`.
pub fn read(added: &str) -> Result<Definition, String> {
    let (above, below) = demo::ENGINE_STRIP
        .split_once("id = \"torque\"")
        .expect("the strip has the region");
    let mut text = format!("{above}id = \"torque\"{below}");
    for id in BELOW {
        let head = format!("id = \"{id}\"\n");
        text = text.replace(&head, &format!("{head}pages = [\"engine\"]\n"));
    }
    Definition::from_toml(&(text + added), "pages.toml", Path::new("")).map_err(|e| e.to_string())
}

/// The scenario with a column that says which page is chosen: `turns` are times and what is chosen from then on.
fn bench(transition_ms: u32, turns: &[(f64, &str)]) -> Bench {
    let definition = definition(transition_ms).unwrap_or_else(|e| panic!("{e}"));
    with_pages(definition, LENGTH_S, turns)
}

/// The first `length_s` of the scenario, shown by the pages of `definition`.
pub fn with_pages(definition: Definition, length_s: f64, turns: &[(f64, &str)]) -> Bench {
    let mut bench = Bench::engine_strip(length_s);
    bench.definition = definition;
    bench.recording = Recording::from_reader(
        inputs(length_s, turns).as_bytes(),
        "inputs.csv",
        &bench.definition,
        MissingColumns::Refuse,
    )
    .unwrap_or_else(|e| panic!("{e}"));
    bench
}

/// The first `length_s` of the scenario with the page that is chosen.
pub fn inputs(length_s: f64, turns: &[(f64, &str)]) -> String {
    let mut csv = String::new();
    for (k, line) in inputs_until(length_s).lines().enumerate() {
        let time_s: f64 = line.split(',').next().unwrap_or("").parse().unwrap_or(-1.0);
        let chosen = turns.iter().rev().find(|(from_s, _)| *from_s <= time_s);
        let cell = chosen.map_or("eng", |(_, page)| *page);
        csv += &format!("{line},{}\n", if k == 0 { "page" } else { cell });
    }
    csv
}

const THERE_AND_BACK: [(f64, &str); 2] = [(TURN_S, "sum"), (TURN_S + 1.2, "eng")];

fn frame_at(time_s: f64) -> usize {
    (time_s * f64::from(RATE_HZ)).round() as usize
}

#[test]
fn each_page_is_judged_while_it_is_due() {
    let bench = bench(0, &THERE_AND_BACK);
    let checked = bench.check(&bench.frames(None));
    assert!(checked.outcome.events.is_empty(), "{}", checked.told());
    let verdicts =
        |region: &str, time_s: f64| checked.frames[frame_at(time_s)].regions[region].verdict;
    for (time_s, region, other) in [
        (1.5, "power", "summary"),
        (2.8, "summary", "power"),
        (3.8, "power", "summary"),
    ] {
        let shown = verdicts(region, time_s);
        assert!(
            matches!(shown, Verdict::Agrees | Verdict::Blind),
            "{region} at {time_s} s: {shown:?}"
        );
        assert_eq!(
            verdicts(other, time_s),
            Verdict::NotJudged,
            "{other} at {time_s} s"
        );
        assert_ne!(verdicts("rotor", time_s), Verdict::NotJudged);
    }
}

#[test]
fn a_wrong_value_on_the_other_page_is_found() {
    let turned = bench(0, &[(TURN_S, "sum")]);
    let mut frames = turned.frames(None);
    // The bar and the digits of half a second before, over and over.
    let from = frame_at(TURN_S + 0.6);
    let held = frames[from].clone();
    let below = |picture: &mut Picture| {
        for (plane, from) in picture.planes_mut().iter_mut().zip(held.planes()) {
            let top = plane.height() * 90 / 272;
            for y in top..plane.height() {
                plane.row_mut(y).fill(from.row(y)[2]);
            }
        }
    };
    frames[from..].iter_mut().for_each(below);
    let checked = turned.check(&frames);
    let events = &checked.outcome.events;
    let found = events.iter().find(|e| e.regions == ["summary"]);
    let found = found.unwrap_or_else(|| panic!("nothing was found\n{}", checked.told()));
    let [_, y, _, height] = found.place.expect("it disagrees somewhere");
    assert!(
        y >= 84 && y + height <= 264 && found.symbol.is_some(),
        "{found:?}"
    );
    assert!(
        events.iter().all(|e| e.onset_s > TURN_S),
        "{}",
        checked.told()
    );
}

#[test]
fn a_page_that_does_not_change_is_misleading_and_named() {
    let due = bench(0, &[(TURN_S, "sum")]);
    let stays = bench(0, &[]);
    let checked = due.check(&stays.frames(None));
    let [event] = &checked.outcome.events[..] else {
        panic!("one event was due\n{}", checked.told());
    };
    assert_eq!(
        (event.class, &event.regions[..]),
        (Verdict::Misleading, &["summary".to_owned()][..])
    );
    assert_eq!(event.remarks, ["shows the page \"engine\""]);
    // The display may be late by 200 ms.
    assert!(
        (TURN_S..TURN_S + 0.3).contains(&event.onset_s),
        "{}",
        checked.told()
    );
}

#[test]
fn a_page_shown_without_cause_is_named_with_all_that_it_covers() {
    let due = bench(0, &[]);
    let turns = bench(0, &THERE_AND_BACK);
    let checked = due.check(&turns.frames(None));
    let [event] = &checked.outcome.events[..] else {
        panic!("one event was due\n{}", checked.told());
    };
    assert_eq!(event.class, Verdict::Misleading);
    assert!(
        event.regions.len() > 2 && !event.regions.contains(&"rotor".to_owned()),
        "{:?}",
        event.regions
    );
    assert_eq!(event.remarks, ["shows the page \"summary\""]);
    assert!(
        (TURN_S..TURN_S + 0.2).contains(&event.onset_s) && event.end_s < TURN_S + 1.4,
        "{}",
        checked.told()
    );
}

#[test]
fn what_both_pages_have_is_wrong_for_a_reason_of_its_own() {
    let due = bench(0, &[]);
    let mut frames = bench(0, &THERE_AND_BACK).frames(None);
    for frame in &mut frames[frame_at(TURN_S + 0.1)..frame_at(TURN_S + 1.0)] {
        let rows = frame.planes()[0].height() * 80 / 272;
        for y in 0..rows {
            frame.planes_mut()[0].row_mut(y).fill(200);
        }
    }
    let checked = due.check(&frames);
    let events = &checked.outcome.events;
    let of_rotor = |e: &&framevouch::judge::event::Event| e.regions.iter().any(|r| r == "rotor");
    let rotor = events.iter().find(of_rotor);
    let rotor = rotor.unwrap_or_else(|| panic!("the rotor is gone\n{}", checked.told()));
    assert!(
        rotor.regions == ["rotor"] && rotor.remarks.is_empty(),
        "{}",
        checked.told()
    );
    let page = events.iter().find(|e| !e.remarks.is_empty());
    let page = page.unwrap_or_else(|| panic!("the page is wrong\n{}", checked.told()));
    assert_eq!(page.remarks, ["shows the page \"summary\""]);
}

#[test]
fn a_campaign_puts_up_the_other_page() {
    let bench = bench(0, &[]);
    let mut frames = bench.frames(None);
    let profile = bench.calibrate(&frames).expect("the clip is clean");
    let captured = captured(&frames);
    let drawing = Drawing::new(&bench.definition);
    let onset = frame_at(TURN_S);
    let clip = Clip {
        subject: Subject::new(&bench.definition, &drawing),
        recording: &bench.recording,
        profile: &profile,
        offset_s: 0.0,
        frames: &captured,
        onset,
        end: captured.len(),
    };
    let model = inject::model("wrong_page").expect("there is the kind");
    let mut looks = model.about().looks.iter();
    let look = looks.position(|look| *look == "another page");
    let fault = Fault {
        kind: "wrong_page",
        target: Target::default(),
        size: 1.0,
        look: look.expect("there is the look"),
        method: Method::Redraw,
        seed: 7,
    };
    let mut injector = model.prepare(&clip, &fault).expect("there is another page");
    for (k, picture) in frames.iter_mut().enumerate().skip(onset) {
        let mut frame = captured[k].clone();
        assert_eq!(injector.apply(&clip, k, &mut frame), Delivery::Sent);
        *picture = frame.picture;
    }
    let checked = bench.check(&frames);
    let [event] = &checked.outcome.events[..] else {
        panic!("one event was due\n{}", checked.told());
    };
    assert_eq!(event.remarks, ["shows the page \"summary\""]);
    let plain = Bench::engine_strip(0.2);
    assert!(!model.has_look(&plain.definition, Target::default(), fault.look));
}

#[test]
fn a_transition_is_no_fault_as_long_as_it_may_be() {
    let dark = |bench: &Bench| {
        let mut frames = bench.frames(None);
        for frame in &mut frames[frame_at(TURN_S + 0.1)..frame_at(TURN_S + 0.8)] {
            for (plane, level) in frame.planes_mut().iter_mut().zip([16, 128, 128]) {
                let top = plane.height() * 84 / 272;
                for y in top..plane.height() {
                    plane.row_mut(y).fill(level);
                }
            }
        }
        frames
    };
    let turns = [(TURN_S, "sum")];
    let declared = bench(700, &turns);
    let checked = declared.check(&dark(&declared));
    assert!(checked.outcome.events.is_empty(), "{}", checked.told());
    let bare = bench(0, &turns);
    let checked = bare.check(&dark(&bare));
    assert!(!checked.outcome.events.is_empty(), "{}", checked.told());
}

#[test]
fn pages_that_cannot_be_are_refused() {
    let refused = |added: &str, words: &str| {
        let told = read(added).expect_err(words);
        assert!(told.contains(words), "{words}: {told}");
    };
    refused(&PAGES.replace("TRANSITION", "-1"), "transition_ms");
    let sound = PAGES.replace("TRANSITION", "0");
    refused(
        &sound.replace("pages = [\"summary\"]", "pages = [\"sumary\"]"),
        "did you mean \"summary\"?",
    );
    refused(
        &sound.replace("pages = [\"summary\"]", ""),
        "overlaps region",
    );
    refused(
        &sound.replace(
            "id = \"engine\"\n",
            "id = \"engine\"\nwhen = [{ channel = \"page\", equals = \"eng\" }]\n",
        ),
        "the last page has no `when`",
    );
    refused(
        &sound.replace("channel = \"page\", equals", "channel = \"pge\", equals"),
        "did you mean \"page\"?",
    );
    assert!(read(&sound).is_ok());
}

/// A stretch begins on one page and ends on the other: what is read of a region is summed up, wherever it comes in.
#[test]
fn a_campaign_goes_over_a_turn_of_the_page() {
    let bench = bench(0, &THERE_AND_BACK);
    let files = Files::new();
    let display = toml::to_string(bench.definition.file()).expect("a definition can be written");
    files.write("display.toml", display.as_bytes());
    files.write("inputs.csv", inputs(LENGTH_S, &THERE_AND_BACK).as_bytes());
    assert_eq!(files.draw("3.9").status, 0);
    let plan = "limit_ms = { hazardous = 1000 }\n[plan]\nname = \"turn\"\ndisplay = \"display.toml\"\nseed = 1\nlead_s = 1.0\n\
        stretch_s = 1.5\n[[capture]]\nfile = \"frames\"\ninputs = \"inputs.csv\"\n\
        [[fault]]\nkind = \"blank\"\nregions = [\"rotor\"]\nlooks = [\"black\"]\nduration_s = 0.4\n";
    files.write("plan.toml", plan.as_bytes());
    let ran = files.run(&["campaign", "--plan", "plan.toml", "--out", "out", "--quiet"]);
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    let record = files.json("out/campaign.json");
    assert!(
        record["stretches"].as_array().is_none_or(|s| !s.is_empty()),
        "{record}"
    );
}
