//! What files become, and what is refused, each with its line.

use super::*;

const B612: &[u8] = include_bytes!("../../reference_frames/fonts/B612-Regular.ttf");
const EVERY_FEATURE: &str = include_str!("../../tests/foreign/artwork/every_feature.svg");

fn fonts() -> [ArtworkFont<'static>; 1] {
    [ArtworkFont {
        family: "B612",
        weight: 400,
        bytes: B612,
    }]
}

fn read(text: &str) -> Result<Artwork, Error> {
    Artwork::read(text.as_bytes(), &fonts(), &BTreeMap::new())
}

/// A picture of 100 x 50 px; what stands in it begins in line 2.
fn picture(inner: &str) -> String {
    let head = r#"<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="100" height="50">"#;
    format!("{head}\n{inner}\n</svg>")
}

fn drawn(inner: &str) -> Artwork {
    read(&picture(inner)).unwrap_or_else(|e| panic!("{inner}: {e}"))
}

fn area(plate: &Plate) -> f64 {
    let twice = |c: &Vec<Point>| {
        let next = c.iter().cycle().skip(1);
        c.iter()
            .zip(next)
            .map(|(a, b)| a.x * b.y - b.x * a.y)
            .sum::<f64>()
    };
    plate.contours.iter().map(twice).sum::<f64>().abs() / 2.0
}

/// Left, top, right, bottom.
fn bounds(plates: &[Plate]) -> [f64; 4] {
    let points = plates.iter().flat_map(|p| p.contours.iter().flatten());
    points.fold([f64::MAX, f64::MAX, f64::MIN, f64::MIN], |b, p| {
        [b[0].min(p.x), b[1].min(p.y), b[2].max(p.x), b[3].max(p.y)]
    })
}

fn near(a: f64, b: f64, off: f64) -> bool {
    (a - b).abs() <= off
}

#[test]
fn nested_transforms_and_the_view_box_place_a_shape() {
    let text = r##"<svg xmlns="http://www.w3.org/2000/svg" width="200" height="100" viewBox="10 20 100 50">
        <g transform="translate(10 20)"><g transform="rotate(90)">
        <rect id="a" x="0" y="-6" width="5" height="2" transform="scale(2 1)" fill="#010203"/></g></g></svg>"##;
    let artwork = read(text).expect("it is drawn");
    assert_eq!(artwork.size_px(), [200.0, 100.0]);
    // Twice as large: 10 x 2 turned to 2 x 10, then 4 x 20 px from (8, 0).
    assert_eq!(
        bounds(artwork.element("a").expect("it is there")),
        [8.0, 0.0, 12.0, 20.0]
    );
    assert_eq!(artwork.whole()[0].paint, Paint::Flat(Rgb([1, 2, 3])));
}

#[test]
fn strokes_have_their_width_caps_joins_and_dashes() {
    let stroke = |attributes: &str| {
        let line = format!(
            r#"<polyline points="10,10 40,10 40,30" fill="none" stroke="red" stroke-width="4" {attributes}/>"#
        );
        let artwork = drawn(&line);
        assert_eq!(artwork.whole().len(), 1);
        artwork.whole()[0].clone()
    };
    // 32 x 4 and 4 x 18.
    assert_eq!(bounds(&[stroke("")]), [10.0, 8.0, 42.0, 30.0]);
    assert!(near(area(&stroke("")), 200.0, 1e-3));
    assert!(near(area(&stroke("stroke-linejoin='bevel'")), 198.0, 1e-3));
    assert!(
        near(area(&stroke("stroke-miterlimit='1.4'")), 198.0, 1e-3),
        "the limit is below the square root of 2"
    );
    // A quarter of a circle of radius 2 instead of a square.
    let quarter = std::f64::consts::PI;
    assert!(near(
        area(&stroke("stroke-linejoin='round'")),
        196.0 + quarter,
        0.03
    ));
    assert!(near(area(&stroke("stroke-linecap='square'")), 216.0, 1e-3));
    assert!(near(
        area(&stroke("stroke-linecap='round'")),
        200.0 + 4.0 * quarter,
        0.1
    ));
    // Dashes from 2 before the start: 10..16, 22..30, 36.. round the corner, 4 long, then 40,18..40,26.
    let dashed = stroke("stroke-dasharray='8 6' stroke-dashoffset='2'");
    assert_eq!(dashed.contours.len(), 4);
    assert!(near(
        area(&dashed),
        4.0 * (6.0 + 8.0 + 8.0 + 8.0) + 0.0,
        8.1
    ));
}

#[test]
fn fill_rules_and_clip_paths_cut() {
    let ring = r#"<path d="M10 10h20v20h-20z M15 15h10v10h-10z" fill-rule="evenodd"/>"#;
    assert_eq!(area(&drawn(ring).whole()[0]), 300.0);
    let filled = ring.replace("evenodd", "nonzero");
    assert_eq!(area(&drawn(&filled).whole()[0]), 400.0);
    let clip = r##"<defs><clipPath id="c"><rect x="0" y="0" width="20" height="50"/><rect x="28" width="9" height="12"/></clipPath></defs>
        <g clip-path="url(#c)" transform="translate(0 5)"><rect id="r" x="10" y="10" width="20" height="20"/></g>"##;
    let artwork = drawn(clip);
    // 10 x 20 of the left, 2 x 2 of the right.
    assert_eq!(area(&artwork.element("r").expect("it is there")[0]), 204.0);
    let outside = r#"<rect x="90" y="40" width="20" height="20"/>"#;
    assert_eq!(bounds(drawn(outside).whole()), [90.0, 40.0, 100.0, 50.0]);
}

#[test]
fn clip_paths_of_a_share_of_the_shape_and_clip_paths_of_clip_paths() {
    let text = r##"<clipPath id="outer"><rect x="0" y="0" width="100" height="12"/></clipPath>
        <clipPath id="half" clipPathUnits="objectBoundingBox" clip-path="url(#outer)"><rect width="0.5" height="1"/></clipPath>
        <rect x="10" y="10" width="20" height="20" clip-path="url(#half)"/>"##;
    assert_eq!(bounds(drawn(text).whole()), [10.0, 10.0, 20.0, 12.0]);
}

#[test]
fn opacities_multiply_where_nothing_overlaps() {
    let text = r#"<g opacity="0.5"><rect width="4" height="4" fill-opacity="0.5"/><rect x="4" width="4" height="4" opacity="0.25"/></g>"#;
    let opacities: Vec<f64> = drawn(text).whole().iter().map(|p| p.opacity).collect();
    assert_eq!(opacities, [0.25, 0.125]);
    let over = "<rect width='4' height='4'/>\n<g id='glass' opacity='0.5'><rect width='4' height='4'/><rect x='3' width='4' height='4'/></g>";
    let error = read(&picture(over)).expect_err("they overlap");
    assert_eq!(error.line, Some(3));
    assert_eq!(error.element.as_deref(), Some("<g id=\"glass\">"));
    let both = "<rect width='4' height='4' opacity='0.5' stroke='red'/>";
    assert_eq!(
        read(&picture(both)).expect_err("they overlap").line,
        Some(2)
    );
}

#[test]
fn gradients_stand_where_the_shape_has_them() {
    let text = r##"<linearGradient id="base"><stop offset="0" stop-color="#000"/><stop offset="100%" stop-color="#fff" stop-opacity="0.5"/></linearGradient>
        <linearGradient id="down" href="#base" x2="0" y2="1"/>
        <rect id="a" x="10" y="10" width="20" height="30" fill="url(#down)" transform="translate(1 2)"/>
        <path id="b" d="M0 0h5v5z" fill="url(#flat)"/>
        <linearGradient id="flat" xlink:href="#base" gradientUnits="userSpaceOnUse" x1="3" x2="3"/>"##;
    let artwork = drawn(text);
    let Paint::Linear(shade) = &artwork.element("a").expect("it is there")[0].paint else {
        panic!("it is a gradient");
    };
    let (from, to) = (shade.from(), shade.to());
    assert!(
        near(from.y, 12.0, 1e-4) && near(to.y, 42.0, 1e-4),
        "{from:?} {to:?}"
    );
    assert!(near(to.x - from.x, 0.0, 1e-4));
    assert_eq!(shade.stops()[1].color, Rgb([255; 3]));
    assert!(near(shade.stops()[1].opacity, 0.5, 0.01));
    // A line without a length: the last stop.
    let flat = &artwork.element("b").expect("it is there")[0];
    assert_eq!(flat.paint, Paint::Flat(Rgb([255; 3])));
    assert!(near(flat.opacity, 0.5, 0.01));
}

#[test]
fn colours_of_the_file_are_replaced_by_name() {
    let amber = Replacement {
        name: "amber".into(),
        color: Rgb([255, 191, 0]),
    };
    let replace = BTreeMap::from([(Rgb([255, 0, 0]), amber)]);
    let text = picture(
        "<rect width='4' height='4' style='fill:red'/><rect x='9' width='4' height='4' fill='#00f'/>",
    );
    let artwork = Artwork::read(text.as_bytes(), &[], &replace).expect("it is drawn");
    let [first, second] = artwork.whole() else {
        panic!("there are two")
    };
    assert_eq!(first.paint, Paint::Flat(Rgb([255, 191, 0])));
    assert_eq!(first.color_name.as_deref(), Some("amber"));
    assert_eq!(
        (&second.paint, &second.color_name),
        (&Paint::Flat(Rgb([0, 0, 255])), &None)
    );
}

#[test]
fn every_id_that_draws_something_is_known() {
    let text = r##"<style>/* all */ .thin, #c { fill: none; stroke: red } line { stroke: #123 !important }</style>
        <defs><g id="unused"><rect id="inner" width="2" height="2"/></g></defs>
        <g id="group"><path id="path" d="M0 0h4v4z"/><circle id="c" cx="9" cy="9" r="3" transform="translate(2)"/></g>
        <use id="again" href="#unused" x="20"/><line class="thin" id="l" x1="50" x2="60" y2="9"/>
        <text id="word" x="10" y="40" font-family="B612" font-size="10">A<tspan id="part">B</tspan></text>
        <rect id="hidden" width="4" height="4" visibility="hidden"/><rect width="3" height="3"/>"##;
    let artwork = drawn(text);
    let ids: Vec<&str> = artwork.ids().collect();
    assert_eq!(ids, ["again", "c", "group", "l", "path", "word"]);
    assert_eq!(artwork.element("group").expect("it is there").len(), 2);
    assert_eq!(
        bounds(artwork.element("again").expect("it is there")),
        [20.0, 0.0, 22.0, 2.0]
    );
    assert!(artwork.element("hidden").is_none());
    assert_eq!(
        artwork.element("l").expect("it is there")[0].paint,
        Paint::Flat(Rgb([0x11, 0x22, 0x33]))
    );
}

/// The letter H of B612 at 100 px: its outline as the renderer's own font reader has it.
#[test]
fn text_has_the_outlines_of_the_font() {
    let text = r#"<text x="10" y="45" font-family="B612" font-size="50" fill="white">H</text>"#;
    let artwork = drawn(text);
    let face = ttf_parser::Face::parse(B612, 0).expect("it is a font");
    let glyph = face.glyph_index('H').expect("it has it");
    let ink = face.glyph_bounding_box(glyph).expect("it has ink");
    let px = 50.0 / f64::from(face.units_per_em());
    let want = [
        10.0 + f64::from(ink.x_min) * px,
        45.0 - f64::from(ink.y_max) * px,
        10.0 + f64::from(ink.x_max) * px,
        45.0 - f64::from(ink.y_min) * px,
    ];
    for (got, want) in bounds(artwork.whole()).into_iter().zip(want) {
        assert!(near(got, want, 0.001), "{got} {want}");
    }
}

#[test]
fn what_is_not_drawn_is_refused_with_its_line() {
    for (inner, line, told) in [
        ("\n<filter id='f'/>", 3, "filters"),
        ("<mask id='f'/>", 2, "masks"),
        ("<pattern id='f'/>", 2, "patterns"),
        ("<radialGradient id='f'/>", 2, "linear"),
        ("<image href='a.png'/>", 2, "raster"),
        ("<script>1</script>", 2, "scripts"),
        ("<foreignObject/>", 2, "not SVG"),
        ("<g><animate/></g>", 2, "motion"),
        ("<marker id='m'/>", 2, "markers"),
        ("<symbol/>", 2, "symbols"),
        ("<svg/>", 2, "inside"),
        ("<unheard-of/>", 2, "not drawn"),
        ("<g xmlns=''/>", 2, "namespace"),
        ("<rect onclick='x()'/>", 2, "scripts"),
        ("<rect filter='url(#f)'/>", 2, "filter"),
        (
            "<rect style='mix-blend-mode:multiply'/>",
            2,
            "mix-blend-mode",
        ),
        (
            "<rect vector-effect='non-scaling-stroke'/>",
            2,
            "vector-effect",
        ),
        ("<rect fill='url(#f)'/>", 2, "linearGradient"),
        ("<rect fill='url(other.svg#f)'/>", 2, "fill"),
        ("<rect fill='hsl(from red)'/>", 2, "a colour"),
        ("<rect width='var(--w)'/>", 2, "a length"),
        ("<rect unheard-of='1'/>", 2, "attribute"),
        ("<rect style='unheard-of:1'/>", 2, "property"),
        ("<rect style='fill'/>", 2, "declaration"),
        ("<rect xlink:href='#a' id='a'/>", 2, "refers"),
        ("<use href='other.svg#a'/>", 2, "other files"),
        ("<use href='#nothing'/>", 2, "a shape"),
        ("<linearGradient spreadMethod='repeat'/>", 2, "pad"),
        ("<style>@import url(a.css);</style>", 2, "@"),
        ("<style>rect:hover { fill: red }</style>", 2, "selector"),
        ("<style>rect { filter: blur(2px) }</style>", 2, "filter"),
        (
            "<style>rect { clip-path: url(#c) }</style>",
            2,
            "style sheet",
        ),
        ("<style>rect</style>", 2, "rule"),
        ("<text>a</text>", 2, "family"),
        ("<text font-family='Nobody'>a</text>", 2, "B612"),
        (
            "<text font-family='B612' font-weight='bold'>a</text>",
            2,
            "weight 700",
        ),
        (
            "<text font-family='B612' font-style='italic'>a</text>",
            2,
            "italic",
        ),
        ("<text font-family='B612'>\u{4e00}</text>", 2, "lacks"),
        (
            "<text font-family='B612' letter-spacing='2' text-anchor='end'>a</text>",
            2,
            "two ways",
        ),
        ("<text><textPath href='#a'/></text>", 2, "path"),
        ("<clipPath id='c'><g/></clipPath>", 2, "inside"),
        ("<g id='a'><use href='#a'/></g>", 2, "circle"),
        ("<g id='a'/>\n<g id='a'/>", 3, "line 2"),
        ("<path d='M0 0L1e9 5V6z'/>", 2, "farther"),
        ("<path d='M0 0Q1e30 5 6 1e30z'/>", 2, "farther"),
        (
            "<path d='M0 0L90 0' stroke='red' stroke-dasharray='0.001'/>",
            2,
            "dashes",
        ),
        (
            "<path d='M0 0L90 0' stroke='red' stroke-width='1e9'/>",
            2,
            "farther",
        ),
        ("<rect", 3, "XML"),
        ("<?xml-stylesheet href='a.css'?>", 2, "processing"),
    ] {
        let error = read(&picture(inner))
            .err()
            .unwrap_or_else(|| panic!("{inner} is drawn"));
        assert_eq!(error.line, Some(line), "{inner}: {error}");
        assert!(error.to_string().contains(told), "{inner}: {error}");
    }
    let error = read("<!DOCTYPE svg [\n<!ENTITY a 'b'>]><svg/>").expect_err("it has an entity");
    assert_eq!(error.line, Some(2));
    assert!(
        read("<svg xmlns='http://www.w3.org/2000/svg'/>").is_err(),
        "it has no size"
    );
    assert!(
        read("<svg width='9' height='9'/>").is_err(),
        "it has no namespace"
    );
    assert!(Artwork::read(b"\xff", &[], &BTreeMap::new()).is_err());
    assert!(Artwork::read(&vec![b' '; (4 << 20) + 1], &[], &BTreeMap::new()).is_err());
}

#[test]
fn what_other_programs_keep_in_a_file_is_passed_over() {
    let text = r#"<?xml version="1.0" encoding="UTF-8" standalone="no"?>
        <!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" "http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd">
        <svg version="1.1" id="svg1" viewBox="0 0 10 10" xmlns="http://www.w3.org/2000/svg" xmlns:s="urn:some-program" s:note="1">
        <s:view zoom="2"/><metadata><any xmlns="urn:other"/></metadata><title>Panel</title>
        <rect style="fill:#ff0000;stroke:none;font-variant-caps:normal;isolation:auto;mix-blend-mode:normal;-inkscape-x:1" width="2" height="2" s:label="lamp"/></svg>"#;
    assert_eq!(read(text).expect("it is drawn").whole().len(), 1);
}

#[test]
fn few_lines_that_stand_for_millions_are_refused() {
    let mut text =
        "<defs><g id='g0'><rect width='1' height='1'/><rect width='1' height='1'/></g>".to_owned();
    for k in 1..30 {
        let last = k - 1;
        text += &format!("<g id='g{k}'><use href='#g{last}'/><use href='#g{last}'/></g>");
    }
    text += "</defs><use href='#g29'/>";
    let error = read(&picture(&text)).expect_err("it is too much");
    assert!(error.message.contains("20000 elements"), "{error}");
    // The same by clip paths of what clips.
    let mut text = "<clipPath id='c0'><rect width='9' height='9'/></clipPath>".to_owned();
    for k in 1..30 {
        let cut = format!(
            "<rect width='9' height='9' style='clip-path:url(#c{})'/>",
            k - 1
        );
        text += &format!("<clipPath id='c{k}'>{cut}{cut}</clipPath>");
    }
    assert!(read(&picture(&text)).is_err());
    let deep = "<g>".repeat(100_000) + &"</g>".repeat(100_000);
    assert!(read(&picture(&deep)).is_err());
    let deep = "<g>".repeat(70) + &"</g>".repeat(70);
    assert!(
        read(&picture(&deep))
            .expect_err("too deep")
            .message
            .contains("deep")
    );
}

#[test]
fn a_file_with_every_feature_is_drawn() {
    let artwork = read(EVERY_FEATURE).unwrap_or_else(|e| panic!("{e}"));
    assert!(artwork.whole().len() > 30);
    for plate in artwork.whole() {
        assert!(plate.opacity > 0.0 && plate.opacity <= 1.0);
        assert!(plate.contours.iter().all(|c| c.len() > 2));
    }
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(64))]
    /// Numbers, names and pieces of a file changed at random: it is drawn or refused.
    #[test]
    fn a_damaged_file_ends_in_words(changes in proptest::collection::vec((0..10_000usize, 0..12usize), 1..8)) {
        let mut text = EVERY_FEATURE.to_owned();
        for (place, kind) in changes {
            // Within a value: most of the file is values, and what is damaged elsewhere is no XML.
            let digits: Vec<usize> = text.match_indices(|c: char| c.is_ascii_digit()).map(|(at, _)| at).collect();
            let at = digits[place % digits.len()];
            let put = ["0", "-", "9999", "e9", "1e-9", ".", " ", "-1e30", "%", "M0 0", "0 0 0", "nan"][kind];
            text.replace_range(at..=at, put);
        }
        if let Ok(artwork) = read(&text) {
            let points = artwork.whole().iter().flat_map(|p| p.contours.iter().flatten());
            for p in points {
                proptest::prop_assert!(p.x.is_finite() && p.y.is_finite());
            }
        }
    }
}
