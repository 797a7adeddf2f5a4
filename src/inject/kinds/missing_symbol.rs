//! A symbol of a region is not drawn, or one of its parts: a pointer of several, a bug, a band, a readout.

use super::super::redraw::Redrawn;
use super::super::{About, Clip, Fault, Group, Injector, Model, Target, parts};
use super::{ONE_FRAME, briefly, is_brief, lasting, symbol, symbols_that};
use crate::definition::Definition;
use crate::definition::model::{Symbol, Unchecked};
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

/// Index of the look in which a part is taken away.
const PART: usize = 1;

const ABOUT: About = About {
    looks: &["the whole symbol", "a part of it", ONE_FRAME],
    ..About::new(
        "missing_symbol",
        Group::Picture,
        "a symbol, or a part of one, is not drawn",
    )
};

/// See the module.
pub struct MissingSymbol;

impl Model for MissingSymbol {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        symbols_that(subject, |s| !s.is_unchecked())
    }

    fn has_look(&self, definition: &Definition, target: Target, look: usize) -> bool {
        let symbol = target.region.zip(target.symbol);
        look != PART
            || symbol.is_some_and(|(region, k)| {
                parts::part_count(&definition.regions()[region].symbol[k]) > 0
            })
    }

    fn classes(&self, fault: &Fault) -> &'static [Verdict] {
        // A region that has no other symbol is blank without it.
        if is_brief(self, fault) {
            &[]
        } else {
            &[Verdict::Misleading, Verdict::Blank]
        }
    }

    fn twin(&self, _: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        briefly(self, fault)
    }

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        let region = fault.target.region?;
        let index = fault.target.symbol?;
        let all = parts::part_count(symbol(clip, fault)?);
        let other = match fault.look {
            PART if all == 0 => return None,
            PART => clip.definition().with_region(region, |r| {
                let part = fault.seed % all as u64;
                parts::take_part(&mut r.symbol[index], part as usize);
            }),
            // Something that draws nothing takes its place, so that the alerts of other symbols keep theirs.
            _ => clip.definition().with_region(region, |r| {
                take_all(&mut r.symbol[index]);
            }),
        };
        let injector = Redrawn::by_definition(clip, region, other, fault.seed)?;
        Some(lasting(self, fault, injector))
    }
}

/// Leaves nothing of a symbol to be drawn.
fn take_all(symbol: &mut Symbol) {
    if let Symbol::Alerts(list) = symbol {
        list.slots = 0;
    } else {
        *symbol = Symbol::Unchecked(Unchecked {
            rect: [0; 4],
            reason: "taken away".into(),
        });
    }
}
