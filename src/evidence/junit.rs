//! `junit.xml`: each requirement and each region a test case, for build servers.
//!
//! A fault is a failure, what was not exercised is skipped with its reason, and a check that ended early is
//! an error. Times are seconds of capture. Of several result folders ([`report_xml`]) each has its suites, and a case
//! says whether it is as it was written.

use std::io::Cursor;

use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event as Xml};

use super::display::DisplayRecord;
use super::records::Summary;
use super::report::Bundle;
use super::report::answer::{Part, parts};
use super::report::bundle::CheckRun;
use super::report::unverified::differences;
use super::requirements::{Finding, events_of, not_exercised, region_finding, requirements};
use super::results_folder::NOT_VERIFIED;
use super::standing::Standing;
use crate::files::Kind;
use crate::judge::event::{Event, name};

struct Case {
    name: String,
    finding: Finding,
    why: String,
    events: Vec<usize>,
}

/// The run as JUnit XML.
///
/// # Errors
/// When memory takes no more.
pub fn junit_xml(
    display: &DisplayRecord,
    summary: &Summary,
    events: &[Event],
) -> std::io::Result<Vec<u8>> {
    document(&summary.display, |writer| {
        write_check(writer, "", display, summary, events)
    })
}

/// How the JUnit XML of a report is known by its beginning.
pub const REPORT: Kind = Kind {
    name: "a report's JUnit XML",
    mark: "<testsuites name=\"report\">",
};

/// All checks of a report as JUnit XML, and whether its result folders are as they were written.
///
/// # Errors
/// When memory takes no more.
pub fn report_xml(bundle: &Bundle) -> std::io::Result<Vec<u8>> {
    document("report", |writer| {
        write_evidence(writer, bundle)?;
        write_answer(writer, &parts(bundle))?;
        for (folder, run) in bundle.checks() {
            let CheckRun {
                display,
                summary,
                events,
                ..
            } = run;
            let prefix = format!("{}: ", folder.name);
            write_check(writer, &prefix, display, summary, events)?;
        }
        Ok(())
    })
}

pub(crate) fn document(
    name: &str,
    write: impl FnOnce(&mut Out) -> std::io::Result<()>,
) -> std::io::Result<Vec<u8>> {
    let mut writer = Writer::new_with_indent(Cursor::new(Vec::new()), b' ', 2);
    writer.write_event(Xml::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
    let mut root = BytesStart::new("testsuites");
    root.push_attribute(("name", clean(name).as_str()));
    writer.write_event(Xml::Start(root))?;
    write(&mut writer)?;
    writer.write_event(Xml::End(BytesEnd::new("testsuites")))?;
    let mut bytes = writer.into_inner().into_inner();
    bytes.push(b'\n');
    Ok(bytes)
}

/// The suites of a check, `prefix` before their names.
fn write_check(
    writer: &mut Out,
    prefix: &str,
    display: &DisplayRecord,
    summary: &Summary,
    events: &[Event],
) -> std::io::Result<()> {
    let by_requirement = requirements(display, summary, events)
        .into_iter()
        .map(|r| Case {
            name: r.id,
            finding: r.finding,
            why: if r.finding == Finding::NoRegion {
                "no region verifies it".into()
            } else {
                reasons(&r.not_exercised)
            },
            events: r.events,
        })
        .collect();
    let by_region = display
        .regions
        .iter()
        .map(|r| Case {
            name: r.id.clone(),
            finding: region_finding(r, summary, events),
            why: not_exercised(r, summary).unwrap_or_default(),
            events: events_of(&r.id, events),
        })
        .collect();
    let suites: [(&str, Vec<Case>); 2] = [("requirements", by_requirement), ("regions", by_region)];
    let span_s = summary.span_s.map_or(0.0, |[from, to]| to - from);
    for (suite, cases) in &suites {
        write_suite(writer, &format!("{prefix}{suite}"), cases, span_s, events)?;
    }
    write_run(writer, &format!("{prefix}run"), summary, span_s)
}

/// Is every result folder as it was written? A case each, an error where it is not.
fn write_evidence(writer: &mut Out, bundle: &Bundle) -> std::io::Result<()> {
    let differing = differences(bundle);
    let count = |n: usize| n.to_string();
    let mut start = BytesStart::new("testsuite");
    start.push_attribute(("name", "evidence"));
    start.push_attribute(("tests", count(bundle.all().count()).as_str()));
    start.push_attribute(("failures", "0"));
    start.push_attribute(("errors", count(differing.len()).as_str()));
    start.push_attribute(("skipped", "0"));
    writer.write_event(Xml::Start(start))?;
    for folder in bundle.all() {
        let case = case_start("evidence", &folder.name, 0.0);
        let Some((_, changes)) = differing.iter().find(|(name, _)| *name == folder.name) else {
            writer.write_event(Xml::Empty(case))?;
            continue;
        };
        writer.write_event(Xml::Start(case))?;
        let mut error = BytesStart::new("error");
        error.push_attribute(("type", NOT_VERIFIED));
        let message = format!("{NOT_VERIFIED}: results are not as they were written");
        error.push_attribute(("message", message.as_str()));
        writer.write_event(Xml::Start(error))?;
        writer.write_event(Xml::Text(BytesText::new(&clean(&changes.join("\n")))))?;
        writer.write_event(Xml::End(BytesEnd::new("error")))?;
        writer.write_event(Xml::End(BytesEnd::new("testcase")))?;
    }
    writer.write_event(Xml::End(BytesEnd::new("testsuite")))
}

/// What each result says as a whole: checks, campaigns against their limits, tunings against their demand, comparisons.
fn write_answer(writer: &mut Out, parts: &[Part]) -> std::io::Result<()> {
    let cases: Vec<JudgedCase> = parts
        .iter()
        .map(|p| JudgedCase {
            name: p.name.clone(),
            standing: p.standing,
            words: p.lines.join("; "),
            time_s: 0.0,
        })
        .collect();
    write_judged(writer, "answer", "does not hold", &cases)
}

/// A test case by how good its answer is.
pub(super) struct JudgedCase {
    pub(super) name: String,
    pub(super) standing: Standing,
    /// Why it does not hold, or is open.
    pub(super) words: String,
    pub(super) time_s: f64,
}

/// A suite of such cases: what does not hold is a failure of that `kind`, what is open is skipped with its reason.
pub(super) fn write_judged(
    writer: &mut Out,
    suite: &str,
    kind: &str,
    cases: &[JudgedCase],
) -> std::io::Result<()> {
    let count = |s: Standing| cases.iter().filter(|c| c.standing == s).count().to_string();
    let mut start = BytesStart::new("testsuite");
    start.push_attribute(("name", suite));
    start.push_attribute(("tests", cases.len().to_string().as_str()));
    start.push_attribute(("failures", count(Standing::Fails).as_str()));
    start.push_attribute(("errors", "0"));
    start.push_attribute(("skipped", count(Standing::Open).as_str()));
    writer.write_event(Xml::Start(start))?;
    for case in cases {
        let start = case_start(suite, &case.name, case.time_s);
        let words = clean(&case.words);
        match case.standing {
            Standing::Holds => writer.write_event(Xml::Empty(start))?,
            Standing::Open => {
                writer.write_event(Xml::Start(start))?;
                let mut skipped = BytesStart::new("skipped");
                skipped.push_attribute(("message", format!("NOT EXERCISED: {words}").as_str()));
                writer.write_event(Xml::Empty(skipped))?;
                writer.write_event(Xml::End(BytesEnd::new("testcase")))?;
            }
            Standing::Fails => {
                writer.write_event(Xml::Start(start))?;
                let mut failure = BytesStart::new("failure");
                failure.push_attribute(("type", kind));
                failure.push_attribute(("message", words.as_str()));
                writer.write_event(Xml::Start(failure))?;
                writer.write_event(Xml::Text(BytesText::new(&words)))?;
                writer.write_event(Xml::End(BytesEnd::new("failure")))?;
                writer.write_event(Xml::End(BytesEnd::new("testcase")))?;
            }
        }
    }
    writer.write_event(Xml::End(BytesEnd::new("testsuite")))
}

pub(crate) type Out = Writer<Cursor<Vec<u8>>>;

fn write_suite(
    writer: &mut Out,
    suite: &str,
    cases: &[Case],
    span_s: f64,
    events: &[Event],
) -> std::io::Result<()> {
    let count = |f: fn(Finding) -> bool| cases.iter().filter(|c| f(c.finding)).count().to_string();
    let mut start = BytesStart::new("testsuite");
    start.push_attribute(("name", clean(suite).as_str()));
    start.push_attribute(("tests", cases.len().to_string().as_str()));
    start.push_attribute(("failures", count(|f| f == Finding::Fault).as_str()));
    start.push_attribute(("errors", "0"));
    start.push_attribute(("skipped", count(is_skipped).as_str()));
    writer.write_event(Xml::Start(start))?;
    for case in cases {
        let mut start = case_start(suite, &case.name, span_s);
        if case.finding == Finding::Agrees {
            writer.write_event(Xml::Empty(start))?;
            continue;
        }
        start.push_attribute(("status", case.finding.text()));
        writer.write_event(Xml::Start(start))?;
        if is_skipped(case.finding) {
            let mut skipped = BytesStart::new("skipped");
            let message = format!("{}: {}", case.finding.text(), case.why);
            skipped.push_attribute(("message", clean(&message).as_str()));
            writer.write_event(Xml::Empty(skipped))?;
        } else {
            for k in &case.events {
                write_failure(writer, *k, &events[*k])?;
            }
        }
        writer.write_event(Xml::End(BytesEnd::new("testcase")))?;
    }
    writer.write_event(Xml::End(BytesEnd::new("testsuite")))
}

/// What was exercised only in part must not count as passed.
fn is_skipped(finding: Finding) -> bool {
    matches!(
        finding,
        Finding::NoRegion | Finding::NotExercised | Finding::PartlyExercised
    )
}

pub(crate) fn case_start(suite: &str, case: &str, span_s: f64) -> BytesStart<'static> {
    let mut start = BytesStart::new("testcase");
    start.push_attribute(("classname", clean(suite).as_str()));
    start.push_attribute(("name", clean(case).as_str()));
    start.push_attribute(("time", format!("{span_s:.3}").as_str()));
    start
}

pub(crate) fn write_failure(writer: &mut Out, index: usize, event: &Event) -> std::io::Result<()> {
    let mut failure = BytesStart::new("failure");
    failure.push_attribute(("type", name(event.class)));
    let message = format!(
        "event {index}: {} in {} from {:.3} s to {:.3} s",
        name(event.class),
        event.regions.join(", "),
        event.onset_s,
        event.end_s
    );
    failure.push_attribute(("message", clean(&message).as_str()));
    writer.write_event(Xml::Start(failure))?;
    let mut text = format!("confirmed at {:.3} s", event.detected_s);
    if let Some(w) = &event.worst_error {
        text.push_str(&format!(
            "; {} shows {} {unit}, due {} {unit}",
            w.channel,
            w.displayed,
            w.expected,
            unit = w.unit
        ));
    }
    text.push_str(&format!("; {}", event.picture_error));
    if let Some([x, y, width, height]) = event.place {
        text.push_str(&format!(" at [{x}, {y}, {width}, {height}]"));
    }
    if let Some(symbol) = &event.symbol {
        text.push_str(&format!("; {symbol}"));
    }
    if let Some(things) = event.things_in_words() {
        text.push_str(&format!("; {things}"));
    }
    for remark in &event.remarks {
        text.push_str("; ");
        text.push_str(remark);
    }
    writer.write_event(Xml::Text(BytesText::new(&clean(&text))))?;
    writer.write_event(Xml::End(BytesEnd::new("failure")))
}

/// The run itself: was everything judged to its end?
fn write_run(writer: &mut Out, suite: &str, summary: &Summary, span_s: f64) -> std::io::Result<()> {
    let mut start = BytesStart::new("testsuite");
    start.push_attribute(("name", clean(suite).as_str()));
    start.push_attribute(("tests", "1"));
    start.push_attribute(("failures", "0"));
    start.push_attribute(("errors", if summary.error.is_some() { "1" } else { "0" }));
    start.push_attribute(("skipped", "0"));
    writer.write_event(Xml::Start(start))?;
    let case = case_start(suite, "judged to its end", span_s);
    match &summary.error {
        None => writer.write_event(Xml::Empty(case))?,
        Some(e) => {
            writer.write_event(Xml::Start(case))?;
            let mut error = BytesStart::new("error");
            error.push_attribute(("message", clean(e).as_str()));
            writer.write_event(Xml::Empty(error))?;
            writer.write_event(Xml::End(BytesEnd::new("testcase")))?;
        }
    }
    writer.write_event(Xml::End(BytesEnd::new("testsuite")))
}

fn reasons(by_region: &std::collections::BTreeMap<String, String>) -> String {
    let list: Vec<String> = by_region.iter().map(|(r, w)| format!("{r}: {w}")).collect();
    list.join("; ")
}

/// XML 1.0 has no place for most control characters, escaped or not.
pub(crate) fn clean(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\t' | '\n' | '\r' => c,
            c if c < ' ' || c == '\u{fffe}' || c == '\u{ffff}' => '\u{fffd}',
            c => c,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evidence::report::tests::{display, event, summary};

    fn count(xml: &str, what: &str) -> usize {
        xml.matches(what).count()
    }

    #[test]
    fn faults_fail_and_what_was_not_exercised_is_skipped() {
        let bytes = junit_xml(&display(), &summary(), &[event("late", "speed", 1.0)]).unwrap();
        let xml = String::from_utf8(bytes).unwrap();
        assert_eq!(count(&xml, "<testcase "), 4 + 3 + 1, "{xml}");
        assert_eq!(count(&xml, "<failure "), 3, "{xml}");
        assert_eq!(count(&xml, "<skipped "), 4, "{xml}");
        assert!(xml.contains("NOT EXERCISED: lacking: not judged: the recording lacks x"));
    }

    #[test]
    fn text_is_escaped_and_the_file_parses() {
        let mut s = summary();
        s.display = "a <b> & \"c\"\u{1}".into();
        s.error = Some("it <ended> early".into());
        let bytes = junit_xml(&display(), &s, &[event("late", "speed", 1.0)]).unwrap();
        let xml = String::from_utf8(bytes).unwrap();
        let mut reader = quick_xml::Reader::from_str(&xml);
        reader.config_mut().check_end_names = true;
        let mut names = Vec::new();
        loop {
            match reader.read_event().unwrap() {
                Xml::Start(e) | Xml::Empty(e) => names.push(format!("{:?}", e.name())),
                Xml::Eof => break,
                _ => {}
            }
        }
        assert!(names.len() > 10);
        assert!(xml.contains("&lt;ended&gt;"), "{xml}");
    }
}
