//! From a definition and inputs to the scene of a region, and to the picture of the display.

use super::canvas::{Canvas, Look};
use super::painter::{Filter, Painter};
use super::parts::{Assembly, Freedom, ReadoutField};
use super::scene::{Bounds, Scene};
use crate::definition::Definition;
use crate::definition::model::Symbol;
use crate::definition::parts::Part;
use crate::picture::Rect;
use crate::recording::inputs::Inputs;

/// What drawing needs to know of a definition beyond its tables; made once.
///
/// The definition is handed in again at each call and must be the one that this was made for.
#[derive(Clone, Debug)]
pub struct Drawing {
    /// By region and symbol: index of the symbol's first alert in [`Inputs::active_since_s`].
    alert_bases: Vec<Vec<usize>>,
    regions: Vec<Assembly>,
}

impl Drawing {
    /// Writes all symbols out in parts, and counts the alerts of `d` in the order of the file.
    #[must_use]
    pub fn new(d: &Definition) -> Self {
        let mut next = 0;
        let mut base_of = |symbol: &Symbol| {
            let base = next;
            next += symbol.alerts().map(|list| list.alert.len()).sum::<usize>();
            base
        };
        let regions = d.regions().iter();
        let alert_bases: Vec<Vec<usize>> = regions
            .map(|r| r.symbol.iter().map(&mut base_of).collect())
            .collect();
        let assembly = |(region, bases): (&crate::definition::model::Region, &Vec<usize>)| {
            let parts: Vec<Vec<Part>> = region.symbol.iter().map(Symbol::parts).collect();
            Assembly::new(parts.iter().map(Vec::as_slice), bases, d)
        };
        let regions = d.regions().iter().zip(&alert_bases).map(assembly).collect();
        Self {
            alert_bases,
            regions,
        }
    }

    /// Index of a symbol's first alert in [`Inputs::active_since_s`].
    ///
    /// # Panics
    /// When there is no such region or symbol.
    #[must_use]
    pub fn alert_base(&self, region_index: usize, symbol_index: usize) -> usize {
        self.alert_bases[region_index][symbol_index]
    }

    /// All of a region for `inputs`.
    ///
    /// # Panics
    /// When there is no such region.
    #[must_use]
    pub fn region(&self, d: &Definition, region_index: usize, inputs: &Inputs) -> Scene {
        let mut scene = Scene::default();
        self.region_static(d, region_index, &mut scene);
        self.region_moving(d, region_index, inputs, &mut scene);
        scene
    }

    /// The whole display for `inputs`, in R, G and B.
    #[must_use]
    pub fn frame(&self, d: &Definition, inputs: &Inputs, painter: &mut Painter) -> Canvas {
        let (width, height) = d.size();
        let area = Rect::new(0, 0, width as i32, height as i32);
        let look = Look::rgb();
        let mut canvas = Canvas::new(area, 3, look.levels(d.background()));
        for (k, region) in d.regions_due(inputs) {
            let scene = self.region(d, k, inputs);
            let area = region.area();
            painter.draw(&scene, d.fonts(), &look, &mut canvas, Filter::ALL, area);
        }
        canvas
    }

    /// Adds what never moves in a region: `Layer::Background` only.
    ///
    /// # Panics
    /// When there is no such region.
    pub fn region_static(&self, d: &Definition, region_index: usize, scene: &mut Scene) {
        self.regions[region_index].draw_fixed(d, scene);
    }

    /// Adds what depends on inputs and the fixed marks over it, symbol by symbol. Items of
    /// `Layer::Moving` and `Layer::Foreground` take turns; the layers set the order of drawing.
    ///
    /// # Panics
    /// When there is no such region.
    pub fn region_moving(
        &self,
        d: &Definition,
        region_index: usize,
        inputs: &Inputs,
        scene: &mut Scene,
    ) {
        self.region_moving_in_phase(d, region_index, inputs, None, scene);
    }

    /// Like [`Self::region_moving`]; liveness marks have their first half lit when
    /// `is_first_lit` says so, and go by the time of `inputs` when it is `None`.
    ///
    /// # Panics
    /// When there is no such region.
    pub fn region_moving_in_phase(
        &self,
        d: &Definition,
        region_index: usize,
        inputs: &Inputs,
        is_first_lit: Option<bool>,
        scene: &mut Scene,
    ) {
        for symbol in 0..d.regions()[region_index].symbol.len() {
            self.regions[region_index].draw_moving(symbol, d, inputs, is_first_lit, scene);
        }
    }

    /// Adds the moving and foreground parts of one symbol.
    ///
    /// # Panics
    /// When there is no such region or symbol.
    pub fn symbol_moving(
        &self,
        d: &Definition,
        region_index: usize,
        symbol_index: usize,
        inputs: &Inputs,
        scene: &mut Scene,
    ) {
        self.regions[region_index].draw_moving(symbol_index, d, inputs, None, scene);
    }

    /// All ways in which a region moves continuously, in the order of symbols.
    ///
    /// # Panics
    /// When there is no such region.
    #[must_use]
    pub fn freedoms(&self, d: &Definition, region_index: usize) -> Vec<Freedom> {
        self.regions[region_index].freedoms(d)
    }

    /// All values of a region that stand there as digits or text, in the order of symbols.
    ///
    /// # Panics
    /// When there is no such region.
    #[must_use]
    pub fn readouts(&self, d: &Definition, region_index: usize) -> Vec<ReadoutField<'_>> {
        self.regions[region_index].readouts(d)
    }

    /// Pixels that the ink of a freedom moves for a unit of its channel at these inputs, without sign: the tip of a pointer,
    /// the rim of a card, the end of a bar. 0 when it is not shown, or does not move here.
    ///
    /// # Panics
    /// When `freedom` is not of this region.
    #[must_use]
    pub fn px_per_unit(
        &self,
        d: &Definition,
        region_index: usize,
        freedom: &Freedom,
        inputs: &Inputs,
    ) -> f64 {
        self.regions[region_index].px_per_unit(freedom, d, inputs)
    }

    /// The same where its scale is coarsest: what an error is surely shown by. Above 0 in a checked definition.
    ///
    /// # Panics
    /// When `freedom` is not of this region.
    #[must_use]
    pub fn least_px_per_unit(&self, region_index: usize, freedom: &Freedom) -> f64 {
        self.regions[region_index].least_px_per_unit(freedom)
    }

    /// True when the readout's own words stand on the picture (dashes count); false when a failure flag stands there.
    ///
    /// # Panics
    /// When `field` is not of this region.
    #[must_use]
    pub fn is_readout_shown(
        &self,
        d: &Definition,
        region_index: usize,
        field: &ReadoutField,
        inputs: &Inputs,
    ) -> bool {
        self.regions[region_index].is_readout_shown(field, d, inputs)
    }

    /// Parts of a symbol that can never be seen, by name: they lie outside what they are cut to.
    ///
    /// # Panics
    /// When there is no such region or symbol.
    #[must_use]
    pub fn never_seen(
        &self,
        d: &Definition,
        region_index: usize,
        symbol_index: usize,
    ) -> Vec<std::sync::Arc<str>> {
        self.regions[region_index].never_seen(symbol_index, d)
    }

    /// Whether a symbol has ink that depends on data.
    ///
    /// # Panics
    /// When there is no such region.
    #[must_use]
    pub fn is_moving(&self, region_index: usize, symbol_index: usize) -> bool {
        self.regions[region_index].is_moving(symbol_index)
    }

    /// Where a symbol can have ink on the page, whatever its data; nothing is covered when it draws nothing.
    ///
    /// # Panics
    /// When there is no such region or symbol.
    #[must_use]
    pub fn reach(&self, d: &Definition, region_index: usize, symbol_index: usize) -> Bounds {
        self.regions[region_index].symbol_on_page(symbol_index, d)
    }
}

#[cfg(test)]
mod tests {
    use super::super::parts::bench;
    use super::*;

    const ALERTS: &str = r##"
        kind = "alerts"
        position = [10.0, 20.0]
        line_height = 15.0
        slots = 4
        font = "sans"
        size = 12.0
        colors = { warning = "red", caution = "amber", advisory = "white" }
        alert = [{ text = "ONE", class = "advisory", when = [] }, { text = "TWO", class = "caution", when = [] }]
    "##;

    const TEXT: &str = r##"
        kind = "text"
        text = "NR"
        position = [100.0, 50.0]
        font = "sans"
        size = 10.0
        color = "white"
    "##;

    const LIVENESS: &str = r##"
        kind = "liveness"
        rect = [10, 20, 8, 4]
        on = "white"
        off = "black"
        period_ms = 100.0
        max_hold_ms = 400.0
    "##;

    #[test]
    fn alerts_are_counted_over_the_whole_file() {
        let d = bench::display_of(&[ALERTS, TEXT, ALERTS]);
        let drawing = Drawing::new(&d);
        assert_eq!([0, 1, 2].map(|k| drawing.alert_base(0, k)), [0, 2, 2]);
        let mut inputs = bench::inputs(&d, &[]);
        inputs.active_since_s = vec![None, None, None, Some(0.0)];
        let lines = bench::lines(&bench::moving(&d, &inputs));
        assert_eq!(
            lines.iter().map(|l| l.text.as_str()).collect::<Vec<_>>(),
            ["TWO"]
        );
    }

    #[test]
    fn the_phase_can_be_chosen() {
        let d = bench::display(LIVENESS);
        let drawing = Drawing::new(&d);
        for (phase, left) in [(Some(true), 10.0), (Some(false), 14.0), (None, 10.0)] {
            let mut scene = Scene::default();
            drawing.region_moving_in_phase(&d, 0, &bench::inputs(&d, &[]), phase, &mut scene);
            assert_eq!(bench::items(&scene, d.color("white"))[0].bounds.left, left);
        }
    }

    #[test]
    fn a_scene_filled_twice_is_the_same() {
        let d = bench::display_of(&[ALERTS, TEXT, LIVENESS]);
        let drawing = Drawing::new(&d);
        let mut inputs = bench::inputs(&d, &[]);
        inputs.active_since_s = vec![Some(1.0); 2];
        let mut once = Scene::default();
        drawing.region_moving(&d, 0, &inputs, &mut once);
        let mut twice = Scene::default();
        drawing.region_moving(&d, 0, &inputs, &mut twice);
        twice.clear();
        drawing.region_moving(&d, 0, &inputs, &mut twice);
        assert_eq!(once.items(), twice.items());
    }
}
