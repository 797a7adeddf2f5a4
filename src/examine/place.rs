//! Where in a region the picture disagrees, and which symbol that is about.

use super::comparison::{ChainLook, Difference};
use super::subject::Subject;
use crate::definition::Definition;
use crate::picture::Rect;
use crate::recording::inputs::Inputs;
use crate::reference::scene::{Bounds, Scene};

/// Where a region whose pixels are `area` disagrees, px of the capture.
#[must_use]
pub fn place_of(difference: &Difference, area: Rect, chain: &ChainLook) -> Rect {
    let moved = |r: Rect, [sx, sy]: [i32; 2]| {
        Rect::new(
            area.x + r.x * sx,
            area.y + r.y * sy,
            r.width * sx,
            r.height * sy,
        )
    };
    let luma = moved(difference.luma.bounds, [1, 1]);
    let chroma = moved(difference.chroma.bounds, chain.subsampling.steps());
    luma.union(&chroma).intersection(&area)
}

/// The symbol of a region that a disagreement at `place`, px of the capture, is most likely about: the one whose ink can be
/// where the place is and hardly elsewhere, by the product of the shares that both have in common (A. Ochiai 1957, squared).
/// What is mostly foreign ink is of a symbol that is not shown for the `inputs` that are due, if there is one that can be there;
/// else, of symbols that can be at the same places, it is the one that stands there.
#[must_use]
pub fn symbol_at(
    subject: Subject,
    region: usize,
    (place, difference): (Rect, &Difference),
    chain: &ChainLook,
    inputs: &Inputs,
) -> Option<usize> {
    let (definition, drawing) = (subject.definition(), subject.drawing());
    let is_foreign = difference.luma.foreign_px > 2 * difference.luma.missing_px;
    let place = Bounds::from_rect([place.x, place.y, place.width, place.height]);
    let size = |b: &Bounds| (b.right - b.left) * (b.bottom - b.top);
    let alike = |ink: &Bounds| {
        let seen = chain.look.geometry.map_bounds(ink);
        let both = seen.intersection(&place);
        let is_any = !both.is_empty() && size(&both) > 0.0;
        is_any.then(|| size(&both).powi(2) / (size(&place) * size(&seen)))
    };
    let mut scene = Scene::default();
    // Whether it is one that comes, and how much of it stands there.
    let mut stands = |k: usize| {
        scene.clear();
        drawing.symbol_moving(definition, region, k, inputs, &mut scene);
        let ink = scene.items().iter().map(|i| i.bounds);
        let ink = ink.reduce(|a, b| a.union(&b));
        let is_gone = ink.is_none() && drawing.is_moving(region, k);
        (is_foreign && is_gone, ink.and_then(|ink| alike(&ink)))
    };
    let symbols = 0..definition.regions()[region].symbol.len();
    let can = symbols.filter_map(|k| Some((k, alike(&drawing.reach(definition, region, k))?)));
    let can: Vec<_> = can.map(|(k, can)| (k, can, stands(k))).collect();
    let best = can
        .iter()
        .max_by(|(k, can, (comes, here)), (l, other_can, (other, there))| {
            let likely = comes.cmp(other).then(can.total_cmp(other_can));
            let share = |s: &Option<f64>| s.unwrap_or(0.0);
            likely
                .then(share(here).total_cmp(&share(there)))
                .then(l.cmp(k))
        });
    best.map(|s| s.0)
}

/// What a symbol is called in reports: its own name, or its kind, and its place in the region.
///
/// # Panics
/// When there is no such region or symbol.
#[must_use]
pub fn symbol_in_words(definition: &Definition, region: usize, symbol: usize) -> String {
    let what = &definition.regions()[region].symbol[symbol];
    format!(
        "{} (symbol[{symbol}])",
        what.called().unwrap_or(what.kind())
    )
}
