//! Artwork files beside a definition.

use std::path::Path;

use super::super::{Definition, Error};
use crate::artwork::Paint;
use crate::files::Content;
use crate::picture::Rgb;

const PANEL: &str = r##"<svg xmlns="http://www.w3.org/2000/svg" width="40" height="20">
  <rect id="lamp" x="1" y="2" width="4" height="5" fill="#ff0000"/>
  <text id="word" x="10" y="15" font-family="B612" font-size="9">GEN</text>
</svg>"##;

fn definition(table: &str) -> String {
    format!(
        "[display]\nname = \"panel\"\nwidth = 100\nheight = 50\nbackground = \"black\"\n\
         [colors]\nblack = \"#000000\"\namber = \"#ffbf00\"\n\
         [fonts]\nsans = {{ builtin = \"B612 Regular\" }}\n[artwork.panel]\n{table}\n\
         [[region]]\nid = \"panel\"\nrect = [0, 0, 100, 50]\nhazard = \"minor\"\n"
    )
}

fn load(table: &str, file: &str) -> Result<(Definition, tempfile::TempDir), Error> {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("panel.svg"), file).unwrap();
    let path = folder.path().join("panel.toml");
    std::fs::write(&path, definition(table)).unwrap();
    Ok((Definition::load(&path)?, folder))
}

#[test]
fn file_is_loaded_with_the_artwork_beside_it() {
    let table =
        "file = \"panel.svg\"\nat = [3.0, 4.0]\nscale = 2.0\ncolors = { \"#ff0000\" = \"amber\" }";
    let (definition, folder) = load(table, PANEL).unwrap_or_else(|e| panic!("{e}"));
    let source = &definition.file().artwork["panel"];
    assert_eq!((source.at, source.scale), ([3.0, 4.0], 2.0));
    let artwork = definition.artwork("panel");
    assert_eq!(artwork.ids().collect::<Vec<_>>(), ["lamp", "word"]);
    let lamp = &artwork.element("lamp").expect("it is there")[0];
    assert_eq!(lamp.paint, Paint::Flat(Rgb([255, 191, 0])));
    assert_eq!(lamp.color_name.as_deref(), Some("amber"));
    let held = std::fs::read(folder.path().join("panel.svg")).unwrap();
    let [file, artwork] = definition.contents() else {
        panic!("{:?}", definition.contents())
    };
    assert_eq!((file.role, artwork.role), ("display", "artwork"));
    assert_eq!(artwork.file.content, Content::of(&held));
}

#[test]
fn slips_are_told_at_their_place() {
    for (table, file, line, told) in [
        (
            "file = \"nothing.svg\"",
            PANEL,
            12,
            "cannot use artwork file",
        ),
        ("file = \"../panel.svg\"", PANEL, 12, "leads out"),
        ("file = \"/panel.svg\"", PANEL, 12, "leads out"),
        ("file = \"panel.svg\"\nscale = 0.0", PANEL, 13, "scale 0"),
        (
            "file = \"panel.svg\"\nunheard_of = 1",
            PANEL,
            13,
            "unheard_of",
        ),
        (
            "file = \"panel.svg\"\ncolors = { red = \"amber\" }",
            PANEL,
            13,
            "of the file",
        ),
        (
            "file = \"panel.svg\"\ncolors = { \"#ff0000\" = \"ambre\" }",
            PANEL,
            13,
            "no colour \"ambre\"",
        ),
        (
            "file = \"panel.svg\"",
            "<svg/>",
            12,
            "panel.svg\": line 1: <svg>",
        ),
    ] {
        let error = load(table, file).expect_err(told);
        let [problem] = error.problems() else {
            panic!("{table}: {error}")
        };
        assert_eq!(problem.line, line, "{table}: {error}");
        assert!(error.to_string().contains(told), "{table}: {error}");
    }
}

#[test]
fn a_definition_from_text_reads_the_artwork_of_its_folder() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("panel.svg"), PANEL).unwrap();
    let text = definition("file = \"panel.svg\"");
    assert!(Definition::from_toml(&text, "panel.toml", folder.path()).is_ok());
    assert!(Definition::from_toml(&text, "panel.toml", Path::new("/nowhere")).is_err());
}
