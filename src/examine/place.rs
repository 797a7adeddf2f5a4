//! Where in a region the picture disagrees, and which symbol that is about.

use super::comparison::{ChainLook, Difference};
use super::subject::Subject;
use crate::definition::Definition;
use crate::definition::model::Symbol;
use crate::picture::Rect;
use crate::reference::scene::Bounds;

/// How far beside the edge of ink a picture may disagree because of it, px.
const EDGE_PX: f64 = 1.0;

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

/// The symbol of a region that a disagreement at `place`, px of the capture, is most likely about: of those whose ink can
/// reach most of it, the one that reaches least beyond it.
#[must_use]
pub fn symbol_at(subject: Subject, region: usize, place: Rect, chain: &ChainLook) -> Option<usize> {
    let (definition, drawing) = (subject.definition(), subject.drawing());
    let place = Bounds::from_rect([place.x, place.y, place.width, place.height]);
    // Ink is told to colour samples, and to the pixel beside its edge.
    let [sx, sy] = chain.subsampling.steps().map(|s| f64::from(s) + EDGE_PX);
    let size = |b: &Bounds| {
        if b.is_empty() {
            0.0
        } else {
            (b.right - b.left) * (b.bottom - b.top)
        }
    };
    let whole = size(&place);
    let symbols = 0..definition.regions()[region].symbol.len();
    let shares = symbols.filter_map(|k| {
        let reach = chain
            .look
            .geometry
            .map_bounds(&drawing.reach(definition, region, k));
        let seen = Bounds {
            left: reach.left - sx,
            top: reach.top - sy,
            right: reach.right + sx,
            bottom: reach.bottom + sy,
        };
        let common = size(&seen.intersection(&place));
        (!reach.is_empty() && common > 0.0).then(|| (k, common / whole, common / size(&seen)))
    });
    let shares: Vec<(usize, f64, f64)> = shares.collect();
    let most = shares.iter().map(|s| s.1).fold(0.0, f64::max);
    let near = shares.into_iter().filter(|s| s.1 >= 0.9 * most);
    near.max_by(|a, b| a.2.total_cmp(&b.2).then(b.0.cmp(&a.0)))
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
