//! A display whose monitor takes the picture away: the page of the reversion must come where it has to, in time, be right, and
//! never come without cause.

use framevouch::definition::Definition;
use framevouch::demo::faults::Kind;
use framevouch::judge::verdict::Verdict;
use framevouch::picture::Picture;

use crate::bench::{Bench, Checked, Files, RATE_HZ, plan, trials, y4m};
use crate::turns_pages::{PAGES, inputs, read, with_pages};

const LENGTH_S: f64 = 4.0;
/// The torque is wrong from here on, s; 300 ms later that is confirmed.
const ONSET_S: f64 = 1.2;
const CONFIRM_S: f64 = 0.3;
/// What the definition allows for the reversion, s.
const WITHIN_S: f64 = 0.5;

/// The strip with a page for a reversion, that the crew can also choose; a wrong torque is hazardous.
fn definition(reset: &str) -> Definition {
    let reversion = format!("transition_ms = 0\nreversion = {{ within_ms = 500{reset} }}");
    let mut definition = read(&PAGES.replace("transition_ms = TRANSITION", &reversion));
    if let Ok(found) = &mut definition {
        let mut file = found.file().clone();
        let torque = file.region.iter_mut().find(|r| r.id == "torque");
        torque.expect("the strip has it").hazard = framevouch::definition::model::Hazard::Hazardous;
        let text = toml::to_string(&file).expect("a definition can be written");
        definition = Definition::from_toml(&text, "reverts.toml", std::path::Path::new(""))
            .map_err(|e| e.to_string());
    }
    definition.unwrap_or_else(|e| panic!("{e}"))
}

/// The display as its inputs say, its torque off from [`ONSET_S`] on, and what it shows once it has reverted.
struct Pictures {
    due: Bench,
    wrong: Vec<Picture>,
    reverted: Vec<Picture>,
}

impl Pictures {
    fn new(turns: &[(f64, &str)], reset: &str) -> Self {
        let due = with_pages(definition(reset), LENGTH_S, turns);
        let (region, channel) = (due.region("torque"), due.definition.channel("torque"));
        let wrong = due.frames(Some((Kind::Bias(region, channel, 12.0), ONSET_S, LENGTH_S)));
        let reverted = with_pages(definition(reset), LENGTH_S, &[(0.0, "sum")]).frames(None);
        Self {
            due,
            wrong,
            reverted,
        }
    }

    /// The display is wrong, and reverts at `at_s` if at all.
    fn check(&self, at_s: Option<f64>) -> Checked {
        let from = at_s.map_or(self.wrong.len(), frame_at);
        self.due
            .check(&[&self.wrong[..from], &self.reverted[from..]].concat())
    }
}

fn frame_at(time_s: f64) -> usize {
    (time_s * f64::from(RATE_HZ)).round() as usize
}

#[test]
fn a_reversion_that_follows_its_cause_is_right() {
    let pictures = Pictures::new(&[], "");
    let checked = pictures.check(Some(ONSET_S + CONFIRM_S + 0.3));
    let [event] = &checked.outcome.events[..] else {
        panic!("one event was due\n{}", checked.told());
    };
    assert_eq!(
        (event.class, &event.regions[..]),
        (Verdict::Misleading, &["torque".to_owned()][..])
    );
    let [reversion] = &checked.outcome.summary.reversions[..] else {
        panic!("{:?}", checked.outcome.summary.reversions);
    };
    assert_eq!(
        (&reversion.cause[..], reversion.page.as_str()),
        (&["torque".to_owned()][..], "summary")
    );
    let took_s = reversion.up_at_s.expect("it came") - reversion.called_at_s;
    assert!((0.2..0.4).contains(&took_s), "{reversion:?}");
    // The page that came is judged from then on, and it is right.
    let last = checked.frames.last().expect("there are frames");
    assert!(
        matches!(
            last.regions["summary"].verdict,
            Verdict::Agrees | Verdict::Blind
        ) && last.regions["power"].verdict == Verdict::NotJudged,
        "{last:?}"
    );
}

#[test]
fn a_reversion_that_does_not_come_in_time_is_an_event_of_its_own() {
    let pictures = Pictures::new(&[], "");
    for (at_s, told) in [
        (None, "has not come"),
        (Some(ONSET_S + 1.3), "stood there 1000 ms later"),
    ] {
        let checked = pictures.check(at_s);
        let events = &checked.outcome.events;
        let missed = events
            .iter()
            .find(|e| e.regions.contains(&"summary".to_owned()));
        let missed = missed.unwrap_or_else(|| panic!("it did not revert\n{}", checked.told()));
        assert!(
            missed.remarks[0].starts_with("did not revert in time: called for by torque")
                && missed.remarks[0].contains(told),
            "{}",
            checked.told()
        );
        let due_s = ONSET_S + CONFIRM_S + WITHIN_S;
        assert!(
            (due_s..due_s + 0.15).contains(&missed.onset_s)
                && missed.detected_s <= missed.onset_s + 0.05,
            "{}",
            checked.told()
        );
        assert_eq!(missed.requirement, "ES-ROT-01, ES-SUM-01");
        // The fault itself stands beside it, and nothing else does.
        let others: Vec<_> = events
            .iter()
            .filter(|e| e.regions != missed.regions)
            .collect();
        assert!(
            others.iter().all(|e| e.regions == ["torque"]),
            "{}",
            checked.told()
        );
    }
}

#[test]
fn where_the_monitor_is_off_no_reversion_is_due() {
    let pictures = Pictures::new(&[], "");
    let checked = pictures.due.check_monitor_off(&pictures.wrong);
    let [event] = &checked.outcome.events[..] else {
        panic!("one event was due\n{}", checked.told());
    };
    assert_eq!(event.regions, ["torque"], "{}", checked.told());
}

#[test]
fn a_reversion_without_cause_is_named() {
    let due = with_pages(definition(""), LENGTH_S, &[]);
    let good = due.frames(None);
    let pictures = Pictures::new(&[], "");
    let from = frame_at(2.0);
    let checked = due.check(&[&good[..from], &pictures.reverted[from..]].concat());
    let [event] = &checked.outcome.events[..] else {
        panic!("one event was due\n{}", checked.told());
    };
    assert_eq!(event.class, Verdict::Misleading);
    assert_eq!(
        event.remarks,
        ["reverted without cause: shows the page \"summary\""]
    );
    assert!(checked.outcome.summary.reversions.is_empty());
}

#[test]
fn a_monitor_that_is_somewhat_quicker_has_a_cause() {
    let checked = Pictures::new(&[], "").check(Some(ONSET_S + 0.24));
    let reversions = &checked.outcome.summary.reversions;
    assert_eq!(
        (
            reversions.len(),
            reversions.iter().filter(|r| r.up_at_s.is_some()).count()
        ),
        (1, 1)
    );
    assert!(checked.outcome.events.is_empty(), "{}", checked.told());
}

#[test]
fn the_page_of_a_reversion_must_be_right_and_stay() {
    let pictures = Pictures::new(&[], "");
    let (from, back) = (frame_at(ONSET_S + CONFIRM_S + 0.2), frame_at(2.8));
    // It stands still as soon as it stands there.
    let still = vec![pictures.reverted[from].clone(); pictures.wrong.len() - from];
    let checked = pictures
        .due
        .check(&[&pictures.wrong[..from], &still[..]].concat());
    let held = checked
        .outcome
        .events
        .iter()
        .any(|e| e.regions == ["summary"] || e.regions == ["*"]);
    assert!(held, "{}", checked.told());
    // It goes away again, though nobody has reset it.
    let good = pictures.due.frames(None);
    let frames = [
        &pictures.wrong[..from],
        &pictures.reverted[from..back],
        &good[back..],
    ]
    .concat();
    let checked = pictures.due.check(&frames);
    let left = checked.outcome.events.iter().find(|e| e.onset_s > 2.7);
    let left = left.unwrap_or_else(|| panic!("it left the page\n{}", checked.told()));
    assert_eq!(left.remarks, ["shows the page \"engine\""]);
    // With a reset it may.
    let reset = Pictures::new(
        &[(2.7, "reset")],
        ", reset = [{ channel = \"page\", equals = \"reset\" }]",
    );
    let checked = reset.due.check(&frames);
    assert!(
        checked
            .outcome
            .events
            .iter()
            .all(|e| e.regions == ["torque"]),
        "{}",
        checked.told()
    );
}

#[test]
fn a_reset_is_one_that_begins() {
    // The condition holds all along.
    let always = ", reset = [{ channel = \"page\", equals = \"eng\" }]";
    let checked = Pictures::new(&[], always).check(None);
    let events = checked.outcome.events.iter();
    let missed = events.filter(|e| e.remarks.iter().any(|r| r.starts_with("did not revert")));
    assert_eq!(missed.count(), 1, "{}", checked.told());
}

#[test]
fn what_ends_before_its_time_is_over_is_not_told() {
    let pictures = Pictures::new(&[], "");
    let until = frame_at(ONSET_S + CONFIRM_S + 0.3);
    let checked = pictures.due.check(&pictures.wrong[..until]);
    let regions = checked.outcome.events.iter().map(|e| &e.regions[..]);
    assert_eq!(
        regions.collect::<Vec<_>>(),
        [["torque"]],
        "{}",
        checked.told()
    );
    let [reversion] = &checked.outcome.summary.reversions[..] else {
        panic!("{:?}", checked.outcome.summary.reversions);
    };
    assert!(
        reversion
            .to_string()
            .contains("ended before its time was over"),
        "{reversion}"
    );
}

#[test]
fn a_page_that_nothing_tells_apart_is_refused() {
    let shared = PAGES
        .replace(
            "transition_ms = TRANSITION",
            "reversion = { within_ms = 500 }",
        )
        .replace("pages = [\"summary\"]\n", "");
    let told = read(&shared).expect_err("all its regions stand on the other page as well");
    assert!(
        told.contains("has no region that page \"engine\" lacks"),
        "{told}"
    );
}

const PALETTES: &str = r#"
[[palette]]
id = "night"
when = [{ channel = "page", equals = "dark" }]
dim = 0.5
[[palette]]
id = "day"
"#;

#[test]
fn a_reversion_by_night_puts_up_its_page_in_the_colours_of_the_night() {
    let mut file = definition("").file().clone();
    for page in file.page.iter_mut().filter(|p| p.reversion.is_some()) {
        page.when.clear();
    }
    let text = toml::to_string(&file).expect("a definition can be written");
    let text = text + PALETTES;
    let definition = || {
        let read = Definition::from_toml(&text, "reverts.toml", std::path::Path::new(""));
        read.unwrap_or_else(|e| panic!("{e}"))
    };
    let due = with_pages(definition(), LENGTH_S, &[(0.0, "dark")]);
    let torque = due.region("torque.night");
    let channel = due.definition.channel("torque");
    let wrong = due.frames(Some((Kind::Bias(torque, channel, 12.0), ONSET_S, LENGTH_S)));
    let page = |id: &str| {
        let pages = due.definition.pages().iter();
        let k = pages.clone().position(|p| p.id == id).expect("it is one");
        due.frames(Some((Kind::Page(k), 0.0, LENGTH_S)))
    };
    let from = frame_at(ONSET_S + CONFIRM_S + 0.3);
    let then = |rest: &[Picture]| due.check(&[&wrong[..from], &rest[from..]].concat());
    let checked = then(&page("summary.night"));
    let [event] = &checked.outcome.events[..] else {
        panic!("one event was due\n{}", checked.told());
    };
    assert_eq!(event.regions, ["torque.night"], "{}", checked.told());
    let [reversion] = &checked.outcome.summary.reversions[..] else {
        panic!("{:?}", checked.outcome.summary.reversions);
    };
    assert_eq!(reversion.page, "summary.night");
    assert!(reversion.up_at_s.is_some(), "{reversion}");
    // By day it is another page, and not the one that has to stand there.
    let checked = then(&page("summary.day"));
    let [reversion] = &checked.outcome.summary.reversions[..] else {
        panic!("{:?}", checked.outcome.summary.reversions);
    };
    assert!(
        reversion.up_at_s.is_none(),
        "{reversion}\n{}",
        checked.told()
    );
}

const REVERSIONS: &str = r#"
[[fault]]
kind = "no_reversion"
duration_s = 1.2
repeats = 6
twins = true

[[fault]]
kind = "wrong_page"
looks = ["reverted"]
duration_s = 0.8
repeats = 2
"#;

/// Before (dee8bf1) no kind of fault had to do with reversions, and trials did not wait for them.
#[test]
fn a_campaign_tries_reversions_that_come_late_or_never_or_without_cause() {
    let length_s = 8.0;
    let bench = with_pages(definition(""), length_s, &[]);
    let files = Files::new();
    let display = toml::to_string(bench.definition.file()).expect("a definition can be written");
    files.write("display.toml", display.as_bytes());
    files.write("inputs.csv", inputs(length_s, &[]).as_bytes());
    files.write("clip.y4m", &y4m(&bench.frames(None)));
    files.write("plan.toml", plan("", REVERSIONS).as_bytes());
    let ran = files.run(&["campaign", "--plan", "plan.toml", "--out", "tried"]);
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    let tried = trials(&files, "tried");
    let mut looks = std::collections::BTreeMap::new();
    for t in &tried {
        let look = t["look"].as_str().expect("it has looks");
        *looks.entry(look).or_insert(0) += 1;
        let is_right = look == "in time";
        let result = if is_right { "quiet" } else { "detected" };
        assert_eq!(t["outcome"]["result"], result, "{t:#}");
        if matches!(look, "late" | "never") {
            // Once the time is over that the page may take after the fault was confirmed.
            let took_ms = t["outcome"]["detection_ms"].as_f64().expect("a time");
            let due_ms = (CONFIRM_S + WITHIN_S) * 1000.0;
            assert!((due_ms - 40.0..due_ms + 130.0).contains(&took_ms), "{t:#}");
            // What the page of the reversion has.
            let regions = serde_json::json!(["rotor", "summary"]);
            assert_eq!(t["outcome"]["regions"], regions, "{t:#}");
        }
    }
    assert_eq!(
        looks.keys().copied().collect::<Vec<_>>(),
        ["in time", "late", "never", "reverted"]
    );
}
