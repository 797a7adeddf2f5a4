//! Recordings: what `[recording]` says can be.

use super::Check;
use super::limits::Limits;
use crate::definition::error::Found;
use crate::definition::place::At;
use crate::definition::recording_form::{
    Coding, ColumnForm, RecordingForm, TimeUnit, TimeZero, WordForm,
};
use crate::recording::stamp;

/// Lines before a header.
const SKIPPED: u32 = 10_000;
const SCALE: Limits = Limits::above("full scale", 0.0, 1e12, "");
const OFFSET: Limits = Limits::new("offset", -1e12, 1e12, "");

impl Check<'_> {
    pub(super) fn recording(&mut self, at: &At<'_>) {
        if let Some(form) = &self.file.recording {
            self.found.extend(faults(form, at));
        }
    }
}

/// All that cannot be in `form`, which stands `at`.
pub(in crate::definition) fn faults(form: &RecordingForm, at: &At<'_>) -> Vec<Found> {
    let mut faults = Faults { found: Vec::new() };
    faults.table(form, at);
    for (name, column) in &form.columns {
        faults.column(form, &at.key("columns").key(name), column);
    }
    faults.found
}

struct Faults {
    found: Vec<Found>,
}

impl Faults {
    fn say(&mut self, at: &At<'_>, message: impl Into<String>, help: Option<&str>) {
        self.found.push(Found {
            span: at.span.clone(),
            message: message.into(),
            help: help.map(str::to_owned),
        });
    }

    fn table(&mut self, form: &RecordingForm, at: &At<'_>) {
        if form.time.as_deref().is_some_and(|t| t.trim().is_empty()) {
            self.say(&at.key("time"), "the time column has no name", None);
        }
        if form.words.as_deref().is_some_and(|t| t.trim().is_empty()) {
            self.say(&at.key("words"), "the column of words has no name", None);
        }
        if form.comment.as_deref().is_some_and(|c| c.trim().is_empty()) {
            let message = "every line begins with nothing";
            self.say(
                &at.key("comment"),
                message,
                Some("give what comments begin with, as \"#\""),
            );
        }
        if let Some(rows) = form.skip_rows.filter(|n| *n > SKIPPED) {
            let message = format!("{rows} lines before the header; at most {SKIPPED} are left out");
            self.say(&at.key("skip_rows"), message, None);
        }
        if let Some(zone) = &form.time_zone
            && stamp::zone(zone).is_none()
        {
            let message =
                format!("\"{zone}\" is no zone; expected \"Z\" or an offset such as \"+01:00\"");
            let help = "summer and winter time are two offsets; a recording has one";
            self.say(&at.key("time_zone"), message, Some(help));
        }
        let is_utc = form.time_unit == Some(TimeUnit::Utc);
        let at = at.key("time_zero");
        match &form.time_zero {
            None => {}
            Some(TimeZero::Number(zero)) if is_utc => {
                let message = format!(
                    "{zero} is a number, and times are dates and times (time_unit = \"utc\")"
                );
                self.say(
                    &at,
                    message,
                    Some("give a date and time with its zone, or \"first\""),
                );
            }
            Some(TimeZero::Number(_)) => {}
            Some(TimeZero::Text(text)) if text == "first" => {}
            Some(TimeZero::Text(text)) => match stamp::parsed(text) {
                Some(stamp) if stamp.zone_s.is_some() => {
                    if !is_utc {
                        let message =
                            format!("\"{text}\" is a date and time, and times are numbers");
                        self.say(
                            &at,
                            message,
                            Some("if they are dates and times, say time_unit = \"utc\""),
                        );
                    }
                }
                _ => {
                    let message = format!(
                        "\"{text}\" is neither \"first\" nor a date and time with its zone such as 2031-05-04T10:00:00Z"
                    );
                    self.say(&at, message, None);
                }
            },
        }
    }

    fn column(&mut self, form: &RecordingForm, at: &At<'_>, column: &ColumnForm) {
        if column.scale == 0.0 {
            let message = "scale 0 makes every value the same";
            self.say(&at.key("scale"), message, None);
        }
        for (key, value) in [("scale", column.scale), ("offset", column.offset)] {
            if !OFFSET.holds(value) {
                self.say(
                    &at.key(key),
                    OFFSET.refusal(value).replace("offset", key),
                    None,
                );
            }
        }
        let Some(word) = &column.word else { return };
        let at = at.key("word");
        if form.words.is_none() {
            let message = "nothing says which column holds the words";
            self.say(
                &at,
                message,
                Some("give its name, words = \"...\", in [recording]"),
            );
        }
        if column.name.is_some() {
            let message = "a value out of words has no column of its own";
            self.say(
                &at,
                message,
                Some("leave out its \"name\"; [recording] says which column holds the words"),
            );
        }
        self.word(&at, word);
    }

    fn word(&mut self, at: &At<'_>, word: &WordForm) {
        if word.label().is_none() {
            let message = format!(
                "\"{}\" is no label; expected three octal digits, 000 to 377",
                word.label
            );
            self.say(&at.key("label"), message, None);
        }
        if let Some(source) = word.source.filter(|s| *s > 3) {
            let message = format!("source {source}: bits 9 and 10 hold 0 to 3");
            self.say(&at.key("source"), message, None);
        }
        let is = |coding| word.coding == coding;
        match word.full_scale {
            None if is(Coding::Binary) => {
                let help = "as in the interface document: 131072 ft for an altitude in steps of 1 ft with 17 bits";
                self.say(at, "a binary value needs its \"full_scale\"", Some(help));
            }
            Some(_) if !is(Coding::Binary) => {
                let message = "only a binary value has a full scale";
                self.say(
                    &at.key("full_scale"),
                    message,
                    Some("use \"scale\" of the column"),
                );
            }
            Some(full) if !SCALE.holds(full) => {
                self.say(&at.key("full_scale"), SCALE.refusal(full), None)
            }
            _ => {}
        }
        if let Some(bits) = word.bits {
            if !is(Coding::Binary) {
                self.say(
                    &at.key("bits"),
                    "only a binary value has so many bits",
                    None,
                );
            } else if !(1..=18).contains(&bits) {
                let message = format!("{bits} bits: a binary value has 1 to 18 below its sign");
                self.say(&at.key("bits"), message, None);
            }
        }
        match word.field {
            None if is(Coding::Discrete) => {
                self.say(
                    at,
                    "a discrete value needs its \"field\", as in field = [11, 13]",
                    None,
                );
            }
            Some(_) if !is(Coding::Discrete) => {
                self.say(
                    &at.key("field"),
                    "only a discrete value has a field of bits",
                    None,
                );
            }
            Some([first, last]) if first < 11 || last > 29 || first > last => {
                let message = format!(
                    "field [{first}, {last}]: data stand in bits 11 to 29, the lower one first"
                );
                self.say(&at.key("field"), message, None);
            }
            _ => {}
        }
    }
}
