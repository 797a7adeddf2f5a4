//! What things are called on the page, the same in every section.

use maud::{Markup, html};

use super::bundle::{Bundle, CheckRun};
use crate::evidence::standing::Standing;
use crate::judge::event::name;
use crate::judge::verdict::Verdict;

/// The letter that stands for a verdict wherever there is no room for its word.
pub const fn letter(verdict: Verdict) -> char {
    match verdict {
        Verdict::NotJudged => 'N',
        Verdict::Agrees => 'A',
        Verdict::Blind => 'B',
        Verdict::Blank => 'K',
        Verdict::Garbled => 'G',
        Verdict::Late => 'L',
        Verdict::Frozen => 'F',
        Verdict::Misleading => 'M',
    }
}

/// All verdicts, in the order of the legend.
pub const VERDICTS: [Verdict; 8] = [
    Verdict::Agrees,
    Verdict::Blind,
    Verdict::NotJudged,
    Verdict::Blank,
    Verdict::Garbled,
    Verdict::Late,
    Verdict::Frozen,
    Verdict::Misleading,
];

/// Letter and word of a verdict; the frame of the letter says whether it is a fault without colour.
pub fn badge(verdict: Verdict) -> Markup {
    let kind = if verdict.is_faulty() { "fault" } else { "fine" };
    html! {
        span.badge.(kind) data-verdict=(letter(verdict)) {
            b aria-hidden="true" { (letter(verdict)) } (name(verdict))
        }
    }
}

/// The number of an event as people say it: E1, or R2-E1 where there are several runs.
pub fn event_label(bundle: &Bundle, run: usize, event: usize) -> String {
    if bundle.folders.len() > 1 {
        format!("R{}-E{event}", run + 1)
    } else {
        format!("E{event}")
    }
}

/// The anchor of an event.
pub fn event_anchor(run: usize, event: usize) -> String {
    format!("r{}-e{event}", run + 1)
}

/// A number of things: 1 event, 2 events.
pub fn count_of(n: usize, what: &str) -> String {
    format!("{n} {what}{}", if n == 1 { "" } else { "s" })
}

/// What a result is called: by its command, and by its number and folder where there are several.
pub fn run_name(bundle: &Bundle, k: usize) -> String {
    let folder = &bundle.folders[k];
    if bundle.folders.len() > 1 {
        format!("run {}, {} {}", k + 1, folder.manifest.command, folder.name)
    } else {
        folder.manifest.command.clone()
    }
}

/// With a capital at its beginning.
pub fn capitalised(text: &str) -> String {
    let mut chars = text.chars();
    chars
        .next()
        .map_or(String::new(), |c| c.to_uppercase().chain(chars).collect())
}

/// What nobody checks of a display, px: outside all regions, in unchecked regions and areas.
pub fn unchecked_px(run: &CheckRun) -> i64 {
    run.summary.unchecked_px
}

/// The same as a share of the display.
pub fn unchecked_share(run: &CheckRun) -> String {
    let all = u64::from(run.display.width) * u64::from(run.display.height);
    percent(unchecked_px(run).max(0).unsigned_abs(), all)
}

/// The mark of a standing, and the name of its look.
pub const fn mark_of(standing: Standing) -> (&'static str, &'static str) {
    match standing {
        Standing::Holds => ("✓", "good"),
        Standing::Open => ("?", "open"),
        Standing::Fails => ("✗", "bad"),
    }
}

/// The heading of a run, where there are several.
pub fn run_heading(bundle: &Bundle, run: usize) -> Markup {
    html! {
        @if bundle.folders.len() > 1 {
            h3 { "Run " (run + 1) ": " (bundle.folders[run].name) }
        }
    }
}

/// A duration for people: 9.7 s, 12 min 5 s, 3 h 2 min.
pub fn duration(seconds: f64) -> String {
    let whole = libm::round(seconds) as u64;
    match whole {
        0..=119 => format!("{} s", figure(seconds, 3)),
        120..=7199 => format!("{} min {} s", whole / 60, whole % 60),
        _ => format!("{} h {} min", whole / 3600, whole % 3600 / 60),
    }
}

/// A figure with at most `digits` digits behind the point, without idle zeros.
pub fn figure(value: f64, digits: usize) -> String {
    let text = format!("{value:.digits$}");
    let text = if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.')
    } else {
        &text
    };
    if text == "-0" {
        "0".into()
    } else {
        text.into()
    }
}

/// A share in percent. What is not nothing does not show as 0, and what is not all not as 100.
pub fn percent(part: u64, whole: u64) -> String {
    if whole == 0 {
        return "-".into();
    }
    let share = 100.0 * part as f64 / whole as f64;
    if part > 0 && share < 0.1 {
        "< 0.1 %".into()
    } else if part < whole && share > 99.9 {
        "> 99.9 %".into()
    } else {
        format!("{} %", figure(share, 1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_are_unique() {
        let mut letters: Vec<char> = VERDICTS.iter().map(|v| letter(*v)).collect();
        letters.sort_unstable();
        letters.dedup();
        assert_eq!(letters.len(), VERDICTS.len());
    }

    #[test]
    fn figures_read_well() {
        assert_eq!(duration(9.72), "9.72 s");
        assert_eq!(duration(725.0), "12 min 5 s");
        assert_eq!(duration(10_920.0), "3 h 2 min");
        assert_eq!(figure(-0.0001, 2), "0");
        assert_eq!(figure(1200.0, 0), "1200");
        assert_eq!(percent(1, 100_000), "< 0.1 %");
        assert_eq!(percent(99_999, 100_000), "> 99.9 %");
        assert_eq!(percent(5, 5), "100 %");
    }
}
