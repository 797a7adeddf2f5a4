//! `junit.xml` of a campaign: each limit of the plan and each requirement that one bears on a test case.
//!
//! A limit that was not kept is a failure; where no fault was tried it is skipped with the reason. Times are the
//! longest detection times, s.

use super::junit::{JudgedCase, document, write_judged};
use super::standing::of_limits;
use crate::campaign::summary::{Limit, Summary};

/// The campaign as JUnit XML.
///
/// # Errors
/// When memory takes no more.
pub fn campaign_junit_xml(summary: &Summary) -> std::io::Result<Vec<u8>> {
    cases_xml(&summary.display, &summary.limits)
}

fn cases_xml(display: &str, limits: &[Limit]) -> std::io::Result<Vec<u8>> {
    let by_limit = limits.iter().map(|l| JudgedCase {
        name: l.name(),
        standing: l.kept().into(),
        words: l.words(),
        time_s: l.worst_ms.unwrap_or(0.0) / 1000.0,
    });
    let by_requirement = of_limits(limits)
        .into_iter()
        .map(|(id, (standing, words))| JudgedCase {
            name: id,
            standing,
            words: words.join("; "),
            time_s: 0.0,
        });
    let suites: [(&str, Vec<JudgedCase>); 2] = [
        ("limits", by_limit.collect()),
        ("requirements", by_requirement.collect()),
    ];
    document(display, |writer| {
        for (suite, cases) in &suites {
            write_judged(writer, suite, "limit not kept", cases)?;
        }
        Ok(())
    })
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
