//! The parts of symbols that a fault can take away or change.

use crate::definition::model::{Readout, Symbol};
use crate::definition::parts::{Part, Parts, Shape};

/// The readouts of a symbol.
#[must_use]
pub fn readouts(symbol: &Symbol) -> Vec<Readout> {
    let mut parts = symbol.parts();
    readouts_in(&mut parts)
        .into_iter()
        .map(|r| r.clone())
        .collect()
}

/// Changes the `k`-th of the readouts of a symbol, which is written out in parts by that.
pub fn change_readout(symbol: &mut Symbol, k: usize, change: impl FnOnce(&mut Readout)) {
    let mut part = symbol.parts();
    if let Some(readout) = readouts_in(&mut part).into_iter().nth(k) {
        change(readout);
    }
    *symbol = Symbol::Parts(Parts { name: None, part });
}

fn readouts_in(parts: &mut [Part]) -> Vec<&mut Readout> {
    parts
        .iter_mut()
        .flat_map(|p| {
            let own = match &mut p.shape {
                Some(Shape::Readout(r)) => Some(r),
                _ => None,
            };
            own.into_iter().chain(readouts_in(&mut p.part))
        })
        .collect()
}

/// How many parts of a symbol [`take_part`] can take away; 0 when it is one part.
#[must_use]
pub fn part_count(symbol: &Symbol) -> usize {
    let mut parts = symbol.parts();
    match count(&mut parts) {
        1 => 0,
        many => many,
    }
}

/// Takes the `part`-th part away, counted from 0 to [`part_count`]; the symbol is written out in parts by that.
pub fn take_part(symbol: &mut Symbol, part: usize) {
    let mut parts = symbol.parts();
    let mut left = part;
    take(&mut parts, &mut left);
    *symbol = Symbol::Parts(Parts {
        name: None,
        part: parts,
    });
}

/// Groups that nothing moves are looked into: what stands in them is a part of the symbol to whoever sees it.
fn is_open(p: &Part) -> bool {
    p.shape.is_none() && p.motion.is_empty() && p.when.is_empty() && p.repeat.is_none() && !p.choose
}

fn count(parts: &mut [Part]) -> usize {
    parts
        .iter_mut()
        .map(|p| if is_open(p) { count(&mut p.part) } else { 1 })
        .sum()
}

fn take(parts: &mut Vec<Part>, left: &mut usize) -> bool {
    let mut k = 0;
    while k < parts.len() {
        if is_open(&parts[k]) {
            if take(&mut parts[k].part, left) {
                return true;
            }
        } else if *left == 0 {
            parts.remove(k);
            return true;
        } else {
            *left -= 1;
        }
        k += 1;
    }
    false
}
