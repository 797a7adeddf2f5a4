//! Fixed words.

use super::words::{self, Style};
use crate::definition::Definition;
use crate::definition::model::Text;
use crate::picture::Point;
use crate::reference::scene::{Layer, Scene};

/// Adds the words to [`Layer::Background`].
pub fn draw_static(model: &Text, d: &Definition, scene: &mut Scene) {
    scene.set_layer(Layer::Background);
    let style = Style {
        font: &model.font,
        size: model.size,
        color: d.color(&model.color),
    };
    let [x, y] = model.position;
    words::upright(d, style, Point::new(x, y), model.align, &model.text, scene);
}

#[cfg(test)]
mod tests {
    use super::super::bench;
    use crate::reference::scene::Layer;

    #[test]
    fn words_are_centred_and_never_move() {
        let d = bench::display(
            r##"
            kind = "text"
            text = "NR"
            position = [100.0, 50.0]
            font = "sans"
            size = 10.0
            color = "white"
            "##,
        );
        let scene = bench::fixed(&d);
        let [line] = &bench::lines(&scene)[..] else {
            panic!("one line of words")
        };
        let face = d.face(line.words.font);
        let width = (face.advance('N') + face.advance('R')) * 10.0;
        assert!((line.words.origin.x - (100.0 - width / 2.0)).abs() < 1e-9);
        assert_eq!((line.layer, line.text.as_str()), (Layer::Background, "NR"));
        assert!(
            bench::moving(&d, &bench::inputs(&d, &[]))
                .items()
                .is_empty()
        );
    }
}
