//! What is examined: a definition with what drawing it needs.

use crate::definition::Definition;
use crate::recording::inputs::Inputs;
use crate::reference::drawing::Drawing;
use crate::reference::scene::Scene;

/// A definition and its drawing.
///
/// # Guarantees
/// `drawing` was made for `definition`.
#[derive(Clone, Copy, Debug)]
pub struct Subject<'d> {
    definition: &'d Definition,
    drawing: &'d Drawing,
}

impl<'d> Subject<'d> {
    /// `drawing` must have been made for `definition`.
    #[must_use]
    pub const fn new(definition: &'d Definition, drawing: &'d Drawing) -> Self {
        Self {
            definition,
            drawing,
        }
    }

    /// The definition.
    #[must_use]
    pub const fn definition(&self) -> &'d Definition {
        self.definition
    }

    /// Its drawing.
    #[must_use]
    pub const fn drawing(&self) -> &'d Drawing {
        self.drawing
    }

    /// Adds the static artwork of a region to `scene`.
    pub fn region_static(&self, region: usize, scene: &mut Scene) {
        self.drawing.region_static(self.definition, region, scene);
    }

    /// Adds what depends on inputs in a region to `scene`.
    pub fn region_moving(&self, region: usize, inputs: &Inputs, scene: &mut Scene) {
        self.drawing
            .region_moving(self.definition, region, inputs, scene);
    }
}
