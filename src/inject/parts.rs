//! The parts of symbols that a fault can take away or change.

use crate::definition::model::{Readout, Symbol};

/// The readouts of a symbol, to be changed.
pub fn readouts_mut(symbol: &mut Symbol) -> Vec<&mut Readout> {
    match symbol {
        Symbol::Readout(r) => vec![r],
        Symbol::Dial(d) => d.readout.iter_mut().collect(),
        Symbol::Tape(t) => t.window.iter_mut().map(|w| &mut w.readout).collect(),
        Symbol::Rose(r) => {
            let wind = r.wind.iter_mut().flat_map(|w| {
                [&mut w.direction_readout, &mut w.speed_readout]
                    .into_iter()
                    .flatten()
            });
            r.readout.iter_mut().chain(wind).collect()
        }
        Symbol::Attitude(_)
        | Symbol::Bar(_)
        | Symbol::Alerts(_)
        | Symbol::Flag(_)
        | Symbol::Text(_)
        | Symbol::Liveness(_)
        | Symbol::Unchecked(_) => Vec::new(),
    }
}

/// The readouts of a symbol.
#[must_use]
pub fn readouts(symbol: &Symbol) -> Vec<&Readout> {
    match symbol {
        Symbol::Readout(r) => vec![r],
        Symbol::Dial(d) => d.readout.iter().collect(),
        Symbol::Tape(t) => t.window.iter().map(|w| &w.readout).collect(),
        Symbol::Rose(r) => {
            let wind = r.wind.iter().flat_map(|w| {
                [&w.direction_readout, &w.speed_readout]
                    .into_iter()
                    .flatten()
            });
            r.readout.iter().chain(wind).collect()
        }
        Symbol::Attitude(_)
        | Symbol::Bar(_)
        | Symbol::Alerts(_)
        | Symbol::Flag(_)
        | Symbol::Text(_)
        | Symbol::Liveness(_)
        | Symbol::Unchecked(_) => Vec::new(),
    }
}

/// How many parts of a symbol [`take_part`] can take away.
#[must_use]
pub fn part_count(symbol: &Symbol) -> usize {
    match symbol {
        Symbol::Attitude(a) => {
            usize::from(a.ladder.is_some())
                + usize::from(a.bank.is_some())
                + usize::from(a.slip.is_some())
        }
        // A dial has at least one pointer, or it would be another symbol.
        Symbol::Dial(d) => {
            let pointers = if d.pointers.len() > 1 {
                d.pointers.len()
            } else {
                0
            };
            pointers + usize::from(d.readout.is_some()) + d.bands.len() + d.limits.len()
        }
        Symbol::Tape(t) => t.bugs.len() + usize::from(t.window.is_some()) + t.bands.len(),
        Symbol::Rose(r) => {
            r.bugs.len() + usize::from(r.wind.is_some()) + usize::from(r.readout.is_some())
        }
        Symbol::Bar(b) => b.bands.len() + b.limits.len() + usize::from(b.ticks.is_some()),
        Symbol::Readout(_)
        | Symbol::Alerts(_)
        | Symbol::Flag(_)
        | Symbol::Text(_)
        | Symbol::Liveness(_)
        | Symbol::Unchecked(_) => 0,
    }
}

/// Takes the `part`-th part away, counted from 0 to [`part_count`].
pub fn take_part(symbol: &mut Symbol, part: usize) {
    let mut left = part;
    match symbol {
        Symbol::Attitude(a) => {
            let _ = take_option(&mut a.ladder, &mut left)
                || take_option(&mut a.bank, &mut left)
                || take_option(&mut a.slip, &mut left);
        }
        Symbol::Dial(d) => {
            let _ = (d.pointers.len() > 1 && take_item(&mut d.pointers, &mut left))
                || take_option(&mut d.readout, &mut left)
                || take_item(&mut d.bands, &mut left)
                || take_item(&mut d.limits, &mut left);
        }
        Symbol::Tape(t) => {
            let _ = take_item(&mut t.bugs, &mut left)
                || take_option(&mut t.window, &mut left)
                || take_item(&mut t.bands, &mut left);
        }
        Symbol::Rose(r) => {
            let _ = take_item(&mut r.bugs, &mut left)
                || take_option(&mut r.wind, &mut left)
                || take_option(&mut r.readout, &mut left);
        }
        Symbol::Bar(b) => {
            let _ = take_item(&mut b.bands, &mut left)
                || take_item(&mut b.limits, &mut left)
                || take_option(&mut b.ticks, &mut left);
        }
        Symbol::Readout(_)
        | Symbol::Alerts(_)
        | Symbol::Flag(_)
        | Symbol::Text(_)
        | Symbol::Liveness(_)
        | Symbol::Unchecked(_) => {}
    }
}

/// Empties `option` when it is the one that `left` counts down to.
fn take_option<T>(option: &mut Option<T>, left: &mut usize) -> bool {
    if option.is_none() {
        return false;
    }
    if *left == 0 {
        *option = None;
        return true;
    }
    *left -= 1;
    false
}

/// Removes the item of `list` that `left` counts down to, when it is in it.
fn take_item<T>(list: &mut Vec<T>, left: &mut usize) -> bool {
    if *left < list.len() {
        list.remove(*left);
        return true;
    }
    *left -= list.len();
    false
}
