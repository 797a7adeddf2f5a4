//! Which stored frames go into the page. Pictures have a budget; the best frame of every event comes first, then
//! onsets, then the rest, each round by importance of the event, so that a long bad run does not crowd out
//! what matters. The page says what was left out.

use std::collections::BTreeMap;

use serde::Serialize;

use super::bundle::Bundle;
use super::inline::Png;
use super::run::MOST_CARDS;
use crate::evidence::result_name::ResultName;
use crate::evidence::results_folder::{Error, ResultsFolder};
use crate::evidence::stills::{EventStills, Role, Still, by_importance};
use crate::files::Limit;

/// Bytes of stored PNGs in the page; base64 makes a third more of them, and the difference of each event's best frame is about
/// as large again as that frame.
const BUDGET_BYTES: u64 = 9_000_000;

/// The most that a stored frame holds.
const PICTURE: Limit = Limit {
    kind: "a stored frame",
    bytes: BUDGET_BYTES,
};

/// A stored frame in the page.
#[derive(Clone, Debug, Serialize)]
pub struct Embedded {
    /// Number of the frame.
    pub frame: u64,
    /// Capture time, s.
    pub time_s: f64,
    /// Why it was stored, in words.
    pub roles: String,
    /// Whether it is the one that shows the event best.
    pub is_best: bool,
    /// The captured picture.
    pub captured: Png,
    /// The reference.
    pub reference: Png,
}

/// What was chosen.
#[derive(Debug, Default)]
pub struct Chosen {
    /// By run and event: frames in their order.
    pub stills: BTreeMap<(usize, usize), Vec<Embedded>>,
    /// Stored frames that were left out.
    pub left_out: usize,
    /// Pictures that could not be read.
    pub unreadable: Vec<String>,
}

fn rounds() -> [&'static [Role]; 3] {
    [
        &[Role::Best],
        &[Role::Onset, Role::Before],
        &[Role::Detected, Role::Last, Role::After],
    ]
}

/// Chooses and reads the stored frames that go into the page.
#[must_use]
pub fn choose(bundle: &Bundle) -> Chosen {
    let mut chosen = Chosen::default();
    let mut left = BUDGET_BYTES;
    let share = MOST_CARDS.div_ceil(bundle.folders.len().max(1));
    for round in 0..rounds().len() {
        for (run, (folder, check)) in bundle.checks().enumerate() {
            for event in by_importance(&check.events).into_iter().take(share) {
                let Some(stills) = check.stills.events.iter().find(|s| s.event == event) else {
                    continue;
                };
                for still in of_round(stills, round) {
                    match embedded(&folder.files, still, &mut left) {
                        Ok(Some(e)) => chosen.stills.entry((run, event)).or_default().push(e),
                        Ok(None) => chosen.left_out += 1,
                        Err(e) => chosen.unreadable.push(format!("{}: {e}", still.captured)),
                    }
                }
            }
        }
    }
    for list in chosen.stills.values_mut() {
        list.sort_by_key(|e| e.frame);
    }
    chosen
}

/// Frames whose first round is `round`.
fn of_round(stills: &EventStills, round: usize) -> impl Iterator<Item = &Still> {
    stills.stills.iter().filter(move |s| {
        let first = rounds()
            .iter()
            .position(|roles| s.roles.iter().any(|r| roles.contains(r)));
        first == Some(round)
    })
}

/// `None` when it does not fit into what is `left`.
fn embedded(
    folder: &ResultsFolder,
    still: &Still,
    left: &mut u64,
) -> Result<Option<Embedded>, Error> {
    let captured = ResultName::new(&still.captured)?;
    let reference = ResultName::new(&still.reference)?;
    let size = |name: &ResultName| folder.listed(name).map_or(0, |c| c.bytes);
    let bytes = size(&captured).saturating_add(size(&reference));
    if bytes > *left {
        return Ok(None);
    }
    *left -= bytes;
    let words: Vec<&str> = still.roles.iter().map(|r| role_name(*r)).collect();
    Ok(Some(Embedded {
        frame: still.frame,
        time_s: still.time_s,
        roles: words.join(", "),
        is_best: still.roles.contains(&Role::Best),
        captured: Png(folder.bytes(&captured, PICTURE)?),
        reference: Png(folder.bytes(&reference, PICTURE)?),
    }))
}

const fn role_name(role: Role) -> &'static str {
    match role {
        Role::Before => "before",
        Role::Onset => "onset",
        Role::Detected => "confirmed",
        Role::Best => "shows it best",
        Role::Last => "last",
        Role::After => "after",
    }
}
