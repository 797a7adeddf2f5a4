//! `junit.xml` of a suite, for build servers: a test suite a run.
//!
//! Its cases: that it was judged to its end, that nothing is new where there is a last suite, that it is without faults, and
//! each requirement that its display names. Known faults fail as well: they are faults. What nobody exercised is skipped with its
//! reason. Times are seconds of capture.

use quick_xml::events::{BytesEnd, BytesStart, BytesText, Event as Xml};

use super::records::{RunRecord, SuiteRecord};
use super::verdict::standing_of;
use crate::evidence::junit::{Out, case_start, clean, document, write_failure};
use crate::evidence::standing::Standing;

/// What came of a case.
enum Outcome<'a> {
    Holds,
    /// With the reason.
    Skipped(String),
    /// Events of the run, by their place.
    Faults(Vec<usize>),
    /// With what kept it from being judged.
    Error(&'a str),
}

/// The suite as JUnit XML.
///
/// # Errors
/// When memory takes no more.
pub fn junit_xml(suite: &SuiteRecord) -> std::io::Result<Vec<u8>> {
    document(&suite.name, |writer| {
        suite.runs.iter().try_for_each(|run| write_run(writer, run))
    })
}

fn cases(run: &RunRecord) -> Vec<(&str, Outcome<'_>)> {
    let all: Vec<usize> = (0..run.events.len()).collect();
    let of_events = |events: Vec<usize>| match (events.is_empty(), run.is_unjudged()) {
        (false, _) => Outcome::Faults(events),
        (true, true) => Outcome::Skipped("NOT JUDGED: not to its end".into()),
        (true, false) => Outcome::Holds,
    };
    let end = match &run.error {
        Some(why) => Outcome::Error(why),
        None => Outcome::Holds,
    };
    let mut cases = vec![("judged to its end", end)];
    if let Some(changes) = &run.changes {
        cases.push(("no new fault", of_events(changes.new.clone())));
    }
    cases.push(("no fault", of_events(all)));
    cases.extend(run.requirements.iter().map(|(id, finding)| {
        let outcome = match standing_of(*finding) {
            Standing::Holds => Outcome::Holds,
            Standing::Open => Outcome::Skipped(finding.text().to_owned()),
            Standing::Fails => Outcome::Faults(concerned(run, id)),
        };
        (id.as_str(), outcome)
    }));
    cases
}

/// Events that concern a requirement with faults: those that name it, and those of the whole frame.
fn concerned(run: &RunRecord, id: &str) -> Vec<usize> {
    let names = |k: &usize| {
        let event = &run.events[*k];
        event.regions == ["*"] || event.requirement.split(", ").any(|r| r == id)
    };
    let named: Vec<usize> = (0..run.events.len()).filter(names).collect();
    if named.is_empty() {
        (0..run.events.len()).collect()
    } else {
        named
    }
}

fn write_run(writer: &mut Out, run: &RunRecord) -> std::io::Result<()> {
    let cases = cases(run);
    let count = |is: fn(&Outcome) -> bool| cases.iter().filter(|(_, o)| is(o)).count().to_string();
    let mut start = BytesStart::new("testsuite");
    start.push_attribute(("name", clean(&run.id).as_str()));
    start.push_attribute(("tests", cases.len().to_string().as_str()));
    let failures = count(|o| matches!(o, Outcome::Faults(_)));
    start.push_attribute(("failures", failures.as_str()));
    let errors = count(|o| matches!(o, Outcome::Error(_)));
    start.push_attribute(("errors", errors.as_str()));
    let skipped = count(|o| matches!(o, Outcome::Skipped(_)));
    start.push_attribute(("skipped", skipped.as_str()));
    writer.write_event(Xml::Start(start))?;
    for (name, outcome) in &cases {
        let start = case_start(&run.id, name, run.length_s);
        if matches!(outcome, Outcome::Holds) {
            writer.write_event(Xml::Empty(start))?;
            continue;
        }
        writer.write_event(Xml::Start(start))?;
        match outcome {
            Outcome::Holds => {}
            Outcome::Skipped(why) => {
                let mut skipped = BytesStart::new("skipped");
                skipped.push_attribute(("message", clean(why).as_str()));
                writer.write_event(Xml::Empty(skipped))?;
            }
            Outcome::Faults(events) => {
                for k in events {
                    write_failure(writer, *k, &run.events[*k])?;
                }
            }
            Outcome::Error(why) => {
                let why = clean(why);
                let mut error = BytesStart::new("error");
                error.push_attribute(("message", why.as_str()));
                writer.write_event(Xml::Start(error))?;
                writer.write_event(Xml::Text(BytesText::new(&why)))?;
                writer.write_event(Xml::End(BytesEnd::new("error")))?;
            }
        }
        writer.write_event(Xml::End(BytesEnd::new("testcase")))?;
    }
    writer.write_event(Xml::End(BytesEnd::new("testsuite")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evidence::requirements::Finding;
    use crate::suite::records::Changes;
    use crate::suite::records::tests::run;

    #[test]
    fn each_run_is_a_suite_with_what_is_new_and_what_is_open_apart() {
        let mut faulty = run("a", &[], 2);
        faulty.changes = Some(Changes {
            new: vec![1],
            ..Changes::default()
        });
        faulty.requirements = [
            ("R-SPEED".to_owned(), Finding::Fault),
            ("R-OPEN".to_owned(), Finding::NotExercised),
        ]
        .into();
        let mut damaged = run("b", &[], 0);
        damaged.exit_status = 2;
        damaged.error = Some("it <ends> early".into());
        let bytes = document("s", |w| {
            [faulty, damaged].iter().try_for_each(|r| write_run(w, r))
        });
        let xml = String::from_utf8(bytes.unwrap()).unwrap();
        roxmltree::Document::parse(&xml).unwrap();
        let count = |what: &str| xml.matches(what).count();
        assert_eq!(
            (count("<testsuite "), count("<testcase ")),
            (2, 5 + 2),
            "{xml}"
        );
        // One new, two of all, two of the requirement that both name.
        assert_eq!(count("<failure "), 5, "{xml}");
        assert_eq!((count("<error "), count("<skipped ")), (1, 2), "{xml}");
        assert!(xml.contains("it &lt;ends&gt; early"), "{xml}");
    }
}
