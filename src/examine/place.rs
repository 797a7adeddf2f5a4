//! Where in a region the picture disagrees, and which symbol that is about.

use super::comparison::{ChainLook, Difference};
use super::subject::Subject;
use crate::definition::Definition;
use crate::definition::model::Symbol;
use crate::picture::Rect;
use crate::reference::scene::Bounds;

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
#[must_use]
pub fn symbol_at(subject: Subject, region: usize, place: Rect, chain: &ChainLook) -> Option<usize> {
    let (definition, drawing) = (subject.definition(), subject.drawing());
    let place = Bounds::from_rect([place.x, place.y, place.width, place.height]);
    let size = |b: &Bounds| (b.right - b.left) * (b.bottom - b.top);
    let symbols = 0..definition.regions()[region].symbol.len();
    let alike = symbols.filter_map(|k| {
        let ink = drawing.reach(definition, region, k);
        let reach = chain.look.geometry.map_bounds(&ink);
        let both = reach.intersection(&place);
        let is_any = !both.is_empty() && size(&both) > 0.0;
        is_any.then(|| (k, size(&both).powi(2) / (size(&place) * size(&reach))))
    });
    alike
        .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))
        .map(|s| s.0)
}

/// What a symbol is called in reports: its own name, or its kind, and its place in the region.
///
/// # Panics
/// When there is no such region or symbol.
#[must_use]
pub fn symbol_in_words(definition: &Definition, region: usize, symbol: usize) -> String {
    let what = &definition.regions()[region].symbol[symbol];
    let name = match what {
        Symbol::Parts(parts) => parts.name.as_deref(),
        _ => None,
    };
    format!("{} (symbol[{symbol}])", name.unwrap_or(what.kind()))
}
