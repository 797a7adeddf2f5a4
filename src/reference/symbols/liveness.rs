//! A mark that changes all the time.

use crate::definition::Definition;
use crate::definition::model::Liveness;
use crate::reference::scene::{Bounds, Layer, Scene};

/// Which half the reference lights at `time_s`: true for the first (left or top) one.
#[must_use]
pub fn phase_at(model: &Liveness, time_s: f64) -> bool {
    let count = libm::floor(time_s * 1000.0 / model.period_ms);
    count.rem_euclid(2.0) == 0.0
}

/// Adds the mark to [`Layer::Moving`], the first half lit when `is_first_lit`.
///
/// An area at least as wide as high has a left (first) and a right half, else a top (first) and
/// a bottom one.
pub fn draw(model: &Liveness, d: &Definition, is_first_lit: bool, scene: &mut Scene) {
    scene.set_layer(Layer::Moving);
    let area = Bounds::from_rect(model.rect);
    let (mut first, mut second) = (area, area);
    if area.right - area.left >= area.bottom - area.top {
        first.right = (area.left + area.right) / 2.0;
        second.left = first.right;
    } else {
        first.bottom = (area.top + area.bottom) / 2.0;
        second.top = first.bottom;
    }
    let (on, off) = (d.color(&model.on), d.color(&model.off));
    scene.rectangle(if is_first_lit { on } else { off }, first);
    scene.rectangle(if is_first_lit { off } else { on }, second);
}

#[cfg(test)]
mod tests {
    use crate::reference::parts::bench;

    #[test]
    fn halves_change_places_after_every_period() {
        let d = bench::display(
            r##"
            kind = "liveness"
            rect = [10, 20, 8, 4]
            on = "white"
            off = "black"
            period_ms = 100.0
            max_hold_ms = 400.0
            "##,
        );
        for (time_s, lit_left) in [
            (0.0, 10.0),
            (0.0999, 10.0),
            (0.1, 14.0),
            (0.25, 10.0),
            (-0.05, 14.0),
        ] {
            let mut inputs = bench::inputs(&d, &[]);
            inputs.time_s = time_s;
            let scene = bench::moving(&d, &inputs);
            let lit = scene
                .items()
                .iter()
                .find(|i| i.color == d.color("white"))
                .expect("one half is lit");
            assert_eq!(
                (lit.bounds.left, lit.bounds.right),
                (lit_left, lit_left + 4.0),
                "{time_s}"
            );
        }
    }
}
