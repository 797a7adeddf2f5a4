//! What a file holds, before anything of it is drawn: whether all of it can be, and where it stands.

use std::collections::BTreeMap;

use roxmltree::{Document, Node, ParsingOptions};

use super::arcs;
use super::error::{Error, Place};
use super::vocabulary::{self, Kind, Value};

/// Most elements of a file, and most that are drawn when every reference is followed.
pub(super) const ELEMENTS_MAX: usize = 20_000;
/// Deepest nesting, references followed.
pub(super) const DEPTH_MAX: usize = 64;

const SVG: &str = "http://www.w3.org/2000/svg";
const XLINK: &str = "http://www.w3.org/1999/xlink";
const XML: &str = "http://www.w3.org/XML/1998/namespace";

/// A file that holds nothing but what is drawn.
#[derive(Debug)]
pub(super) struct Screened {
    /// The file, with an id for every drawn element and arcs cut into short ones.
    pub text: String,
    /// By id, the file's own and those that were given.
    pub places: BTreeMap<String, Place>,
    /// What the ids that were given begin with; none of the file's own does.
    pub given: String,
    /// The first element that holds text.
    pub first_text: Option<Place>,
}

/// Reads `text` and refuses what is not drawn. `families` are those that text may name.
///
/// # Errors
/// The first thing that is not drawn, with its line.
pub(super) fn screen(text: &str, families: &[&str]) -> Result<Screened, Error> {
    let document = parse(text)?;
    let mut screen = Screen::new(&document, families)?;
    for node in document.root().children() {
        if node.is_pi() {
            let message =
                "a processing instruction: style sheets of other files are not read; remove it";
            return Err(screen.place(node).error(message));
        }
    }
    screen.root(document.root_element())?;
    screen.count_uses(document.root_element())?;
    Ok(screen.finish())
}

fn parse(text: &str) -> Result<Document<'_>, Error> {
    if let Some(at) = text.find("<!ENTITY") {
        let line = 1 + text[..at].matches('\n').count() as u32;
        return Err(Error {
            line: Some(line),
            element: None,
            message: "an entity is declared: write out what it stands for, and remove it".into(),
        });
    }
    let options = ParsingOptions {
        // Old programs write a DOCTYPE; without entities it says nothing.
        allow_dtd: true,
        nodes_limit: 8 * ELEMENTS_MAX as u32,
        ..ParsingOptions::default()
    };
    Document::parse_with_options(text, options).map_err(|e| match e {
        roxmltree::Error::NodesLimitReached => too_many(),
        e => Error {
            line: Some(e.pos().row),
            element: None,
            message: format!("not XML: {e}"),
        },
    })
}

fn too_many() -> Error {
    Error::of_file(format!(
        "more than {ELEMENTS_MAX} elements are not drawn; draw it with fewer"
    ))
}

struct Screen<'a, 'input> {
    document: &'a Document<'input>,
    families: &'a [&'a str],
    by_id: BTreeMap<&'a str, Node<'a, 'input>>,
    places: BTreeMap<String, Place>,
    given: String,
    first_text: Option<Place>,
    /// Where the text is changed, in rising order: bytes from, to, and what stands there then.
    edits: Vec<(usize, usize, String)>,
    elements: usize,
}

impl<'a, 'input> Screen<'a, 'input> {
    fn new(document: &'a Document<'input>, families: &'a [&'a str]) -> Result<Self, Error> {
        let mut screen = Self {
            document,
            families,
            by_id: BTreeMap::new(),
            places: BTreeMap::new(),
            given: "_".into(),
            first_text: None,
            edits: Vec::new(),
            elements: 0,
        };
        for node in document.root_element().descendants() {
            let Some(id) = node.attribute("id") else {
                continue;
            };
            let other = screen.by_id.insert(id, node);
            if let (true, Some(other)) = (is_svg(node), other) {
                let line = screen.place(other).line;
                let message = format!("its id stands in line {line} already; give it another");
                return Err(screen.place(node).error(message));
            }
        }
        while screen.by_id.keys().any(|id| id.starts_with(&screen.given)) {
            screen.given.push('_');
        }
        Ok(screen)
    }

    fn place(&self, node: Node<'_, '_>) -> Place {
        let tag = node.tag_name().name();
        Place {
            line: self.document.text_pos_at(node.range().start).row,
            element: match node.attribute("id") {
                _ if node.is_pi() => "<?...?>".into(),
                Some(id) => format!("<{tag} id=\"{id}\">"),
                None => format!("<{tag}>"),
            },
        }
    }

    fn root(&mut self, root: Node<'a, 'input>) -> Result<(), Error> {
        if !is_svg(root) || root.tag_name().name() != "svg" {
            let message = format!("the outermost element must be <svg xmlns=\"{SVG}\">");
            return Err(self.place(root).error(message));
        }
        let is_whole = |name: &str| {
            root.attribute(name)
                .is_some_and(|v| !v.trim().ends_with('%'))
        };
        if root.attribute("viewBox").is_none() && !(is_whole("width") && is_whole("height")) {
            let message =
                "it has no size; give it a viewBox, or a width and a height that are no shares";
            return Err(self.place(root).error(message));
        }
        if root.has_attribute("transform") {
            let message = "a transform of the whole is drawn by few programs; put it on a <g>";
            return Err(self.place(root).error(message));
        }
        self.element(root, Kind::Root, 0)
    }

    /// Checks an element and all in it.
    fn element(&mut self, node: Node<'a, 'input>, kind: Kind, depth: usize) -> Result<(), Error> {
        self.elements += 1;
        if self.elements > ELEMENTS_MAX {
            return Err(too_many());
        }
        if depth > DEPTH_MAX {
            let message = format!("nested more than {DEPTH_MAX} deep; take some groups out");
            return Err(self.place(node).error(message));
        }
        if kind == Kind::Remark {
            return Ok(());
        }
        self.attributes(node, kind)?;
        match kind {
            Kind::Style => return self.style_sheet(node),
            Kind::Text if self.first_text.is_none() => self.first_text = Some(self.place(node)),
            _ => {}
        }
        for child in node.children() {
            if child.is_pi() {
                return Err(self
                    .place(child)
                    .error("a processing instruction; remove it"));
            }
            if child.is_element() && child.tag_name().namespace().is_none_or(str::is_empty) {
                let message = format!(
                    "it is in no namespace, so nobody draws it; remove xmlns=\"\" or give it \"{SVG}\""
                );
                return Err(self.place(child).error(message));
            }
            // What other programs keep for themselves is drawn by nobody.
            if !is_svg(child) {
                continue;
            }
            let inner = vocabulary::element(child.tag_name().name())
                .map_err(|why| self.place(child).error(why))?;
            if !may_hold(kind, inner) {
                let message = format!(
                    "it is not drawn inside <{}>; move it",
                    node.tag_name().name()
                );
                return Err(self.place(child).error(message));
            }
            self.element(child, inner, depth + 1)?;
        }
        Ok(())
    }

    fn attributes(&mut self, node: Node<'a, 'input>, kind: Kind) -> Result<(), Error> {
        let place = self.place(node);
        let is_drawn = matches!(kind, Kind::Group | Kind::Shape | Kind::Text | Kind::Use);
        match node.attribute("id") {
            Some("") => return Err(place.error("its id is empty; give it one or none")),
            Some(id) => {
                self.places.insert(id.to_owned(), place.clone());
            }
            None if is_drawn => {
                let id = format!("{}{}", self.given, self.edits.len());
                let at = node.range().start + 1 + qualified_length(self.document, node);
                self.edits.push((at, at, format!(" id=\"{id}\"")));
                self.places.insert(id, place.clone());
            }
            None => {}
        }
        for attribute in node.attributes() {
            let (name, value) = (attribute.name(), attribute.value());
            match attribute.namespace() {
                None => {}
                Some(XLINK) if name == "href" => {}
                Some(XLINK)
                    if ["actuate", "arcrole", "role", "show", "title", "type"].contains(&name) =>
                {
                    continue;
                }
                Some(XML) if ["lang", "space"].contains(&name) => continue,
                Some(SVG | XLINK | XML) => {
                    return Err(place.error(format!(
                        "{name} with a prefix is not drawn; write it without"
                    )));
                }
                // What other programs keep for themselves.
                Some(_) => continue,
            }
            match name {
                "id" | "class" => {}
                "style" => self.declarations(value, &place)?,
                "href" => self.reference(node, kind, value, &place)?,
                _ if name.starts_with("on") => {
                    return Err(place.error(format!("{name}: scripts are not run; remove it")));
                }
                _ => {
                    let Some(known) = vocabulary::attribute(name) else {
                        return Err(
                            place.error(format!("the attribute {name} is not drawn; remove it"))
                        );
                    };
                    if kind == Kind::Span && ["clip-path", "opacity", "transform"].contains(&name) {
                        let message = format!(
                            "{name} of a part of a text is not drawn; put it on the <text>"
                        );
                        return Err(place.error(message));
                    }
                    self.value(name, known, value, &place)?;
                }
            }
            if name == "d"
                && let Some(short) = arcs::cut(value)
            {
                let at = attribute.range_value();
                self.edits.push((at.start, at.end, short));
            }
        }
        Ok(())
    }

    fn value(&self, name: &str, known: Value, value: &str, place: &Place) -> Result<(), Error> {
        let wrong = |expected: &str| {
            let shown: String = value.chars().take(60).collect();
            place.error(format!(
                "{name} = \"{shown}\" is not drawn; expected {expected}"
            ))
        };
        known.check(value).map_err(|expected| wrong(&expected))?;
        let (tag, id) = match known {
            Value::Paint if value.trim().starts_with("url") => {
                let id = value.trim().strip_suffix("none").unwrap_or(value);
                ("linearGradient", vocabulary::local_url(id))
            }
            Value::ClipPath if value.trim() != "none" && value.trim() != "inherit" => {
                ("clipPath", vocabulary::local_url(value))
            }
            Value::Family => return self.family(value, place),
            _ => return Ok(()),
        };
        match id.and_then(|id| self.by_id.get(id)) {
            Some(target) if is_svg(*target) && target.tag_name().name() == tag => Ok(()),
            _ => Err(wrong(&format!("the id of a {tag} in this file"))),
        }
    }

    fn family(&self, value: &str, place: &Place) -> Result<(), Error> {
        let first = value.split(',').next().unwrap_or("");
        let first = first.trim().trim_matches(['"', '\'']);
        if first == "inherit" || self.families.contains(&first) {
            return Ok(());
        }
        let have = match self.families {
            [] => "the definition has none".to_owned(),
            families => format!("the definition has {}", families.join(", ")),
        };
        let message = format!("there is no font of the family \"{first}\"; {have}");
        Err(place.error(message))
    }

    fn reference(
        &self,
        node: Node<'_, '_>,
        kind: Kind,
        value: &str,
        place: &Place,
    ) -> Result<(), Error> {
        let wrong = |expected: &str| {
            let shown: String = value.chars().take(60).collect();
            Err(place.error(format!(
                "href = \"{shown}\" is not drawn; expected {expected}"
            )))
        };
        if Value::Reference.check(value).is_err() {
            return wrong("#id of an element in this file; other files are not read");
        }
        let target = self.by_id.get(value.trim().trim_start_matches('#'));
        let target = target.and_then(|t| vocabulary::element(t.tag_name().name()).ok());
        match (kind, target) {
            (Kind::Gradient, Some(Kind::Gradient)) => Ok(()),
            (Kind::Gradient, _) => wrong("the id of a linearGradient in this file"),
            (Kind::Use, Some(Kind::Shape | Kind::Text)) => Ok(()),
            (Kind::Use, Some(Kind::Group | Kind::Use)) if !is_in_clip(node) => Ok(()),
            (Kind::Use, _) => {
                wrong("the id of a shape, text or group (in a clipPath, a shape or text)")
            }
            _ => Err(place.error("it refers to something; only <use> and linearGradient do")),
        }
    }

    /// Declarations between semicolons.
    fn declarations(&self, text: &str, place: &Place) -> Result<(), Error> {
        for declaration in without_remarks(text).split(';') {
            let declaration = declaration.trim();
            if declaration.is_empty() {
                continue;
            }
            let Some((name, value)) = declaration.split_once(':') else {
                return Err(place.error(format!(
                    "\"{declaration}\" is no declaration; expected name: value"
                )));
            };
            let (name, value) = (name.trim(), value.trim());
            let value = value.strip_suffix("!important").unwrap_or(value).trim();
            let Some(known) = vocabulary::property(name) else {
                return Err(place.error(format!("the property {name} is not drawn; remove it")));
            };
            self.value(name, known, value, place)?;
        }
        Ok(())
    }

    fn style_sheet(&self, node: Node<'_, '_>) -> Result<(), Error> {
        let place = self.place(node);
        let text: String = node.children().filter_map(|c| c.text()).collect();
        let text = without_remarks(&text);
        if text.contains('@') {
            return Err(
                place.error("rules that begin with @ are not read; write out what they say")
            );
        }
        let mut rest = text.trim();
        while !rest.is_empty() {
            let parts = rest.split_once('{').and_then(|(selectors, rest)| {
                let (declarations, rest) = rest.split_once('}')?;
                Some((selectors.trim(), declarations, rest.trim()))
            });
            let Some((selectors, declarations, after)) = parts else {
                return Err(
                    place.error("a rule without { and }; expected selector { name: value }")
                );
            };
            let is_plain = |c: char| c.is_ascii_alphanumeric() || "-_.#*,> \t\r\n".contains(c);
            if selectors.is_empty() || !selectors.chars().all(is_plain) {
                let message =
                    format!("the selector \"{selectors}\" is not read; use tags, .class and #id");
                return Err(place.error(message));
            }
            if declarations.contains("clip-path") {
                // Else nobody could count what a reference stands for.
                return Err(
                    place.error("clip-path in a style sheet is not read; put it on the element")
                );
            }
            self.declarations(declarations, &place)?;
            rest = after;
        }
        Ok(())
    }

    /// How many elements are drawn once all references are followed: a file of a few lines can stand for millions.
    fn count_uses(&self, root: Node<'a, 'input>) -> Result<(), Error> {
        let mut known = BTreeMap::new();
        let drawn = self.expanded(root, &mut known, 0)?;
        if drawn > ELEMENTS_MAX {
            return Err(too_many());
        }
        Ok(())
    }

    fn expanded(
        &self,
        node: Node<'a, 'input>,
        known: &mut BTreeMap<u32, usize>,
        depth: usize,
    ) -> Result<usize, Error> {
        if let Some(&count) = known.get(&node.id().get()) {
            return Ok(count);
        }
        if depth > 2 * DEPTH_MAX {
            let message = "references lead round in a circle, or too deep; take some out";
            return Err(self.place(node).error(message));
        }
        let mut count = 1usize;
        for child in node.children().filter(|c| is_svg(*c)) {
            count = count.saturating_add(self.expanded(child, known, depth + 1)?);
        }
        let follows = ["use", "linearGradient"].contains(&node.tag_name().name());
        let href = node
            .attribute("href")
            .or_else(|| node.attribute((XLINK, "href")));
        let style = node.attribute("style").map(without_remarks);
        let declared = style.iter().flat_map(|s| s.split(';'));
        let declared = declared.filter_map(|d| d.split_once(':'));
        let clips = declared
            .filter(|(name, _)| name.trim() == "clip-path")
            .map(|(_, value)| value.trim().trim_end_matches("!important"))
            .chain(node.attribute("clip-path"))
            .filter_map(vocabulary::local_url);
        let href = href
            .filter(|_| follows)
            .map(|h| h.trim().trim_start_matches('#'));
        for target in href.into_iter().chain(clips) {
            if let Some(&target) = self.by_id.get(target) {
                count = count.saturating_add(self.expanded(target, known, depth + 1)?);
            }
        }
        known.insert(node.id().get(), count);
        Ok(count)
    }

    fn finish(mut self) -> Screened {
        self.edits.sort_by_key(|e| (e.0, e.1));
        let source = self.document.input_text();
        let mut text = String::with_capacity(source.len() + 32 * self.edits.len());
        let mut done = 0;
        for (from, to, put) in &self.edits {
            text.push_str(&source[done..*from]);
            text.push_str(put);
            done = *to;
        }
        text.push_str(&source[done..]);
        Screened {
            text,
            places: self.places,
            given: self.given,
            first_text: self.first_text,
        }
    }
}

fn is_svg(node: Node<'_, '_>) -> bool {
    node.is_element() && node.tag_name().namespace() == Some(SVG)
}

fn is_in_clip(node: Node<'_, '_>) -> bool {
    node.ancestors().any(|a| a.tag_name().name() == "clipPath")
}

/// Bytes of an element's name as it stands in the file, prefix included.
fn qualified_length(document: &Document<'_>, node: Node<'_, '_>) -> usize {
    let after = &document.input_text()[node.range().start + 1..];
    after
        .find(|c: char| c.is_whitespace() || c == '/' || c == '>')
        .unwrap_or(0)
}

/// Whether `inner` is drawn, or at least in its place, inside `outer`.
fn may_hold(outer: Kind, inner: Kind) -> bool {
    if inner == Kind::Remark {
        return true;
    }
    match outer {
        Kind::Root | Kind::Group | Kind::Definitions => {
            !matches!(inner, Kind::Root | Kind::Span | Kind::Stop)
        }
        Kind::Text | Kind::Span => inner == Kind::Span,
        Kind::Gradient => inner == Kind::Stop,
        Kind::Clip => matches!(inner, Kind::Shape | Kind::Text | Kind::Use),
        Kind::Shape | Kind::Use | Kind::Stop | Kind::Style | Kind::Remark => false,
    }
}

/// A style sheet without what stands between `/*` and `*/`.
fn without_remarks(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some((before, after)) = rest.split_once("/*") {
        out.push_str(before);
        out.push(' ');
        rest = after.split_once("*/").map_or("", |(_, rest)| rest);
    }
    out.push_str(rest);
    out
}
