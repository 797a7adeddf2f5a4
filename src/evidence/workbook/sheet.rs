//! Sheets of a workbook: cells with types, columns with widths, a header that stays and filters.
//!
//! # Source
//! ECMA-376, Office Open XML, part 1, clause 18 (SpreadsheetML), and part 2 (packages), from memory; tests have the files
//! read by another implementation.

use std::io::{Error, Result};

use quick_xml::escape::escape;

use super::container::archive;
use crate::evidence::junit::clean;

/// A cell.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// Text; never a formula, however it begins.
    Text(String),
    /// A whole number.
    Count(u64),
    /// A number, shown with three decimals.
    Real(f64),
    /// Nothing.
    Empty,
}

/// A table with a name.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// What its tab is called: at most 31 characters, none of `[]:*?/\`.
    pub name: &'static str,
    /// Of its columns.
    pub header: &'static [&'static str],
    /// Below the header; as many cells each as the header has.
    pub rows: Vec<Vec<Cell>>,
}

/// Rows of a sheet, and characters of a cell, at most: spreadsheets take no more.
const MOST_ROWS: usize = 1_048_575;
const MOST_CHARS: usize = 32_767;
/// Narrowest and widest column, characters.
const WIDTHS: [usize; 2] = [9, 60];

/// How a workbook is known by its beginning.
pub const MARK: &str = "<!-- framevouch workbook -->";

const HEAD: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\" standalone=\"yes\"?>\n";
const MAIN: &str = "http://schemas.openxmlformats.org/spreadsheetml/2006/main";
const RELATIONS: &str = "http://schemas.openxmlformats.org/package/2006/relationships";
const OFFICE: &str = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
const TYPES: &str = "http://schemas.openxmlformats.org/package/2006/content-types";
const FORMAT: &str = "application/vnd.openxmlformats-officedocument.spreadsheetml";

/// Looks, by their place among the `cellXfs` of [`styles`].
const HEADER: usize = 1;
const REAL: usize = 2;
const COUNT: usize = 3;
const WORDS: usize = 4;

impl Cell {
    /// Text.
    pub fn text(text: impl Into<String>) -> Self {
        let text = text.into();
        if text.is_empty() {
            Self::Empty
        } else {
            Self::Text(text)
        }
    }

    /// A number, where there is one.
    pub fn real(value: Option<f64>) -> Self {
        value
            .filter(|v| v.is_finite())
            .map_or(Self::Empty, Self::Real)
    }

    fn width(&self) -> usize {
        match self {
            Self::Text(text) => text.lines().map(|l| l.chars().count()).max().unwrap_or(0),
            Self::Count(n) => n.to_string().len(),
            Self::Real(v) => format!("{v:.3}").len(),
            Self::Empty => 0,
        }
    }

    fn xml(&self, at: &str) -> String {
        match self {
            Self::Text(text) => text_xml(at, text, WORDS),
            Self::Count(n) => format!("<c r=\"{at}\" s=\"{COUNT}\"><v>{n}</v></c>"),
            Self::Real(v) => format!("<c r=\"{at}\" s=\"{REAL}\"><v>{v}</v></c>"),
            Self::Empty => String::new(),
        }
    }
}

/// A cell with text in it; what is too long for a spreadsheet is cut and says so.
fn text_xml(at: &str, text: &str, look: usize) -> String {
    const CUT: &str = " ... (cut)";
    let text = clean(text);
    let text = if text.chars().count() > MOST_CHARS {
        text.chars()
            .take(MOST_CHARS - CUT.len())
            .collect::<String>()
            + CUT
    } else {
        text
    };
    format!(
        "<c r=\"{at}\" s=\"{look}\" t=\"inlineStr\"><is><t xml:space=\"preserve\">{}</t></is></c>",
        escape(text.as_str())
    )
}

/// The letters of a column, from 0: A to Z, then AA.
fn letters(column: usize) -> String {
    let last = char::from(b'A' + (column % 26) as u8);
    match column / 26 {
        0 => last.to_string(),
        more => letters(more - 1) + &last.to_string(),
    }
}

impl Sheet {
    fn xml(&self) -> Result<String> {
        if self.rows.len() > MOST_ROWS {
            return Err(Error::other(format!(
                "the sheet \"{}\" would have {} rows; a spreadsheet takes {MOST_ROWS}: report fewer results at once",
                self.name,
                self.rows.len()
            )));
        }
        let mut xml = format!(
            "{HEAD}<worksheet xmlns=\"{MAIN}\"><sheetViews><sheetView workbookViewId=\"0\">"
        );
        xml += "<pane ySplit=\"1\" topLeftCell=\"A2\" activePane=\"bottomLeft\" state=\"frozen\"/></sheetView></sheetViews><cols>";
        for (k, name) in self.header.iter().enumerate() {
            let widths = self.rows.iter().map(|r| r[k].width());
            // Room for the filter's button beside the name.
            let widest = widths.chain([name.chars().count() + 3]).max().unwrap_or(0);
            let width = widest.clamp(WIDTHS[0], WIDTHS[1]) + 2;
            let n = k + 1;
            xml += &format!("<col min=\"{n}\" max=\"{n}\" width=\"{width}\" customWidth=\"1\"/>");
        }
        xml += "</cols><sheetData><row r=\"1\">";
        for (k, name) in self.header.iter().enumerate() {
            xml += &text_xml(&format!("{}1", letters(k)), name, HEADER);
        }
        xml += "</row>";
        for (n, row) in (2..).zip(&self.rows) {
            xml += &format!("<row r=\"{n}\">");
            for (k, cell) in row.iter().enumerate() {
                xml += &cell.xml(&format!("{}{n}", letters(k)));
            }
            xml += "</row>";
        }
        let end = letters(self.header.len().saturating_sub(1));
        let last = self.rows.len() + 1;
        xml += &format!("</sheetData><autoFilter ref=\"A1:{end}{last}\"/></worksheet>");
        Ok(xml)
    }
}

fn styles() -> String {
    let look = |format: usize, more: &str| {
        format!(
            "<xf numFmtId=\"{format}\" fontId=\"0\" fillId=\"0\" borderId=\"0\" xfId=\"0\"{more}"
        )
    };
    let top = "><alignment vertical=\"top\" wrapText=\"1\"/></xf>";
    format!(
        "{HEAD}<styleSheet xmlns=\"{MAIN}\"><numFmts count=\"1\"><numFmt numFmtId=\"164\" formatCode=\"0.000\"/></numFmts>\
         <fonts count=\"2\"><font><sz val=\"11\"/><name val=\"Calibri\"/></font><font><b/><sz val=\"11\"/><name val=\"Calibri\"/></font></fonts>\
         <fills count=\"2\"><fill><patternFill patternType=\"none\"/></fill><fill><patternFill patternType=\"gray125\"/></fill></fills>\
         <borders count=\"1\"><border><left/><right/><top/><bottom/><diagonal/></border></borders>\
         <cellStyleXfs count=\"1\"><xf numFmtId=\"0\" fontId=\"0\" fillId=\"0\" borderId=\"0\"/></cellStyleXfs>\
         <cellXfs count=\"5\">{}{}{}{}{}</cellXfs><cellStyles count=\"1\"><cellStyle name=\"Normal\" xfId=\"0\" builtinId=\"0\"/></cellStyles></styleSheet>",
        look(0, "/>"),
        look(0, " applyFont=\"1\"/>").replace("fontId=\"0\"", "fontId=\"1\""),
        look(164, " applyNumberFormat=\"1\"/>"),
        look(1, " applyNumberFormat=\"1\"/>"),
        look(0, &format!(" applyAlignment=\"1\"{top}")),
    )
}

/// The sheets as one workbook.
///
/// # Errors
/// When a sheet has more rows than a spreadsheet takes, or the file would have 4 GiB or more.
pub fn workbook(sheets: &[Sheet]) -> Result<Vec<u8>> {
    let numbers = 1..=sheets.len();
    let part = |name: &str, kind: &str| {
        format!("<Override PartName=\"/xl/{name}.xml\" ContentType=\"{FORMAT}.{kind}+xml\"/>")
    };
    let parts: String = numbers
        .clone()
        .map(|n| part(&format!("worksheets/sheet{n}"), "worksheet"))
        .collect();
    let types = format!(
        "{HEAD}{MARK}<Types xmlns=\"{TYPES}\"><Default Extension=\"rels\" ContentType=\"application/vnd.openxmlformats-package.relationships+xml\"/>\
         <Default Extension=\"xml\" ContentType=\"application/xml\"/>{}{}{parts}</Types>",
        part("workbook", "sheet.main"),
        part("styles", "styles"),
    );
    let relation = |id: String, kind: &str, target: String| {
        format!("<Relationship Id=\"{id}\" Type=\"{OFFICE}/{kind}\" Target=\"{target}\"/>")
    };
    let relations = |inside: String| {
        format!("{HEAD}<Relationships xmlns=\"{RELATIONS}\">{inside}</Relationships>")
    };
    let outermost = relation("r1".into(), "officeDocument", "xl/workbook.xml".into());
    let tabs: String = (1..)
        .zip(sheets)
        .map(|(n, s)| format!("<sheet name=\"{}\" sheetId=\"{n}\" r:id=\"r{n}\"/>", s.name))
        .collect();
    let book = format!(
        "{HEAD}<workbook xmlns=\"{MAIN}\" xmlns:r=\"{OFFICE}\"><sheets>{tabs}</sheets></workbook>"
    );
    let of_sheets: String = numbers
        .map(|n| {
            relation(
                format!("r{n}"),
                "worksheet",
                format!("worksheets/sheet{n}.xml"),
            )
        })
        .collect();
    let of_styles = relation(
        format!("r{}", sheets.len() + 1),
        "styles",
        "styles.xml".into(),
    );
    let mut files = vec![
        ("[Content_Types].xml".to_owned(), types.into_bytes()),
        ("_rels/.rels".to_owned(), relations(outermost).into_bytes()),
        ("xl/workbook.xml".to_owned(), book.into_bytes()),
        (
            "xl/_rels/workbook.xml.rels".to_owned(),
            relations(of_sheets + &of_styles).into_bytes(),
        ),
        ("xl/styles.xml".to_owned(), styles().into_bytes()),
    ];
    for (n, sheet) in (1..).zip(sheets) {
        files.push((
            format!("xl/worksheets/sheet{n}.xml"),
            sheet.xml()?.into_bytes(),
        ));
    }
    archive(&files)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_are_counted_in_letters() {
        let told: Vec<String> = [0, 25, 26, 51, 52, 701, 702].map(letters).to_vec();
        assert_eq!(told, ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]);
    }

    #[test]
    fn text_is_escaped_and_cut_and_never_a_formula() {
        let xml = Cell::text("=1+<2>\u{1}").xml("A1");
        assert!(
            xml.contains("t=\"inlineStr\"") && xml.contains("=1+&lt;2&gt;\u{fffd}"),
            "{xml}"
        );
        let long = Cell::text("x".repeat(40_000)).xml("A1");
        assert!(long.contains(" ... (cut)") && long.len() < 33_000);
        assert_eq!(Cell::real(Some(f64::NAN)), Cell::Empty);
    }

    #[test]
    fn all_parts_are_xml_and_the_mark_stands_early() {
        let sheet = Sheet {
            name: "One",
            header: &["a", "b"],
            rows: vec![
                vec![Cell::Count(3), Cell::Real(0.5)],
                vec![Cell::text("t & u"), Cell::Empty],
            ],
        };
        let bytes = workbook(&[sheet.clone(), sheet.clone()]).unwrap();
        let head = String::from_utf8_lossy(&bytes[..1024]).into_owned();
        assert!(head.contains(MARK), "{head}");
        let xml = sheet.xml().unwrap();
        let document = roxmltree::Document::parse(&xml).unwrap();
        let cells = document
            .descendants()
            .filter(|n| n.tag_name().name() == "c");
        let at: Vec<&str> = cells.filter_map(|c| c.attribute("r")).collect();
        assert_eq!(at, ["A1", "B1", "A2", "B2", "A3"]);
        roxmltree::Document::parse(&styles()).unwrap();
    }
}
