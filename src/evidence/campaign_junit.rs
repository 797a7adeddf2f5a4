//! `junit.xml` of a campaign: each limit of the plan and each requirement that one bears on a test case.
//!
//! A limit that was not kept is a failure; where no fault was tried it is skipped with the reason. Times are the
//! longest detection times, s.

use std::io::Cursor;

use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event as Xml};

use super::junit::{Out, case_start, clean};
use super::standing::{Standing, of_limits};
use crate::campaign::summary::{Limit, Summary};

struct Case {
    name: String,
    standing: Standing,
    words: String,
    time_s: f64,
}

/// The campaign as JUnit XML.
///
/// # Errors
/// When memory takes no more.
pub fn campaign_junit_xml(summary: &Summary) -> std::io::Result<Vec<u8>> {
    cases_xml(&summary.display, &summary.limits)
}

fn cases_xml(display: &str, limits: &[Limit]) -> std::io::Result<Vec<u8>> {
    let by_limit = limits.iter().map(|l| Case {
        name: l.name(),
        standing: l.kept().into(),
        words: l.words(),
        time_s: l.worst_ms.unwrap_or(0.0) / 1000.0,
    });
    let by_requirement = of_limits(limits)
        .into_iter()
        .map(|(id, (standing, words))| Case {
            name: id,
            standing,
            words: words.join("; "),
            time_s: 0.0,
        });
    let suites: [(&str, Vec<Case>); 2] = [
        ("limits", by_limit.collect()),
        ("requirements", by_requirement.collect()),
    ];
    let mut writer = Writer::new_with_indent(Cursor::new(Vec::new()), b' ', 2);
    writer.write_event(Xml::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
    let mut root = BytesStart::new("testsuites");
    root.push_attribute(("name", clean(display).as_str()));
    writer.write_event(Xml::Start(root))?;
    for (suite, cases) in &suites {
        write_suite(&mut writer, suite, cases)?;
    }
    writer.write_event(Xml::End(BytesEnd::new("testsuites")))?;
    let mut bytes = writer.into_inner().into_inner();
    bytes.push(b'\n');
    Ok(bytes)
}

fn write_suite(writer: &mut Out, suite: &str, cases: &[Case]) -> std::io::Result<()> {
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
                failure.push_attribute(("type", "limit not kept"));
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::campaign::summary::limits::tests::limit;

    #[test]
    fn a_broken_limit_fails_and_an_untried_one_is_skipped() {
        let limits = [limit("a<b", 52, 65), limit("b", 4, 4), limit("c", 0, 0)];
        let xml = String::from_utf8(cases_xml("d", &limits).unwrap()).unwrap();
        assert_eq!(xml.matches("<testcase ").count(), 6, "{xml}");
        assert_eq!(xml.matches("<failure ").count(), 2, "{xml}");
        assert_eq!(xml.matches("<skipped ").count(), 2, "{xml}");
        assert!(
            xml.contains("a&lt;b: hazardous faults within 500 ms"),
            "{xml}"
        );
        assert!(
            xml.contains("52 of 65 raised within it; the slowest took 640 ms"),
            "{xml}"
        );
        roxmltree::Document::parse(&xml).unwrap();
    }
}
