//! Tests: text, pinned to positions worked out by hand.

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
