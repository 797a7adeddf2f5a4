//! Tables of shaded cells.

use plotters::prelude::*;

use super::Error;
use super::page::{
    Anchor, BOLD_PX, COLOURS, FAINT, GREY, INK, MARGIN_PX, TEXT_PX, page, px, stroke, text,
    text_of, width_px,
};

/// What a cell shows.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Cell {
    /// What is written in it.
    pub(super) text: String,
    /// Shade from 0 (white) to 1 (dark); `None` for a cell that was not tried.
    pub(super) shade: Option<f64>,
}

/// A table.
pub(super) struct Grid<'a> {
    pub(super) title: &'a str,
    pub(super) description: String,
    /// What the rows are.
    pub(super) row_axis: &'a str,
    /// What the columns are.
    pub(super) column_axis: &'a str,
    pub(super) rows: Vec<&'a str>,
    pub(super) columns: Vec<&'a str>,
    /// Row by row.
    pub(super) cells: Vec<Vec<Cell>>,
    /// Words for shades, from white to dark, each with its shade.
    pub(super) key: Vec<(Option<f64>, String)>,
}

/// A count that is not 0 is shaded at least so much, or one miss in hundreds would look like none.
const LEAST_SHADE: f64 = 0.15;

/// Above this shade white writing shows better than dark.
const DARK: f64 = 0.72;

/// A page is at least so wide, px: a small table on a wide page would be drawn huge.
const LEAST_WIDTH_PX: f64 = 640.0;

const CELL_HEIGHT_PX: f64 = 22.0;
const KEY_PX: f64 = 34.0;
const AXIS_PX: f64 = 24.0;

/// Draws a table; its page is as large as it takes.
pub(super) fn grid(table: &Grid<'_>) -> Result<String, Error> {
    let widest = |names: &[&str]| names.iter().map(|name| width_px(name)).fold(0.0, f64::max);
    let written = table
        .cells
        .iter()
        .flatten()
        .map(|cell| width_px(&cell.text))
        .fold(0.0, f64::max);
    let cell_width = (written + 12.0).max(46.0);
    // Names of columns that are wider than their cells stand upright.
    let is_upright = widest(&table.columns) + 8.0 > cell_width;
    let head = if is_upright {
        widest(&table.columns) + 10.0
    } else {
        22.0
    };
    let left = AXIS_PX + widest(&table.rows) + 10.0;
    let (wide, high) = (
        cell_width * table.columns.len() as f64,
        CELL_HEIGHT_PX * table.rows.len() as f64,
    );
    let key_width: f64 = table
        .key
        .iter()
        .map(|(_, words)| 26.0 + width_px(words) + 16.0)
        .sum();
    let title_width = width_px(table.title) * BOLD_PX / TEXT_PX + 1.0;
    let width = (left + wide).max(key_width).max(title_width) + 2.0 * MARGIN_PX;
    let width = width.max(LEAST_WIDTH_PX);
    let height =
        30.0 + KEY_PX + AXIS_PX + head + high.max(width_px(table.row_axis)) + 2.0 * MARGIN_PX + 4.0;
    page((width, height), table.title, &table.description, |area| {
        let write = |words: &str, style: &TextStyle<'_>, x: f64, y: f64| {
            area.draw_text(words, style, (px(x), px(y)))
                .map_err(Error::drawing)
        };
        let turned = |style: TextStyle<'static>| TextStyle {
            font: style.font.transform(FontTransform::Rotate270),
            ..style
        };
        let box_at = |x: f64, y: f64, wide: f64, high: f64, shade: Option<f64>| {
            let corners = [(px(x), px(y)), (px(x + wide), px(y + high))];
            let fill = shade.map_or(FAINT, ink_of);
            area.draw(&Rectangle::new(corners, fill.filled()))
                .map_err(Error::drawing)?;
            if shade.is_none() {
                // A stroke through it, so that grey is not taken for a shade.
                let across = vec![(px(x), px(y + high)), (px(x + wide), px(y))];
                area.draw(&PathElement::new(across, stroke(GREY, 0.8)))
                    .map_err(Error::drawing)?;
            }
            area.draw(&Rectangle::new(corners, stroke(GREY, 0.6)))
                .map_err(Error::drawing)
        };

        let mut x = 0.0;
        for (shade, words) in &table.key {
            box_at(x, 2.0, 20.0, 16.0, *shade)?;
            write(words, &text(INK, Anchor::Start), x + 26.0, 10.0)?;
            x += 26.0 + width_px(words) + 16.0;
        }
        let top = KEY_PX + AXIS_PX + head;
        write(
            table.column_axis,
            &text(INK, Anchor::Middle),
            left + wide / 2.0,
            KEY_PX + TEXT_PX / 2.0,
        )?;
        write(
            table.row_axis,
            &turned(text(INK, Anchor::Middle)),
            TEXT_PX / 2.0,
            top + high / 2.0,
        )?;
        for (k, name) in table.columns.iter().enumerate() {
            let middle = left + (k as f64 + 0.5) * cell_width;
            if is_upright {
                write(name, &turned(text(INK, Anchor::Start)), middle, top - 6.0)?;
            } else {
                write(name, &text(INK, Anchor::Middle), middle, top - 11.0)?;
            }
        }
        for (row, (name, cells)) in table.rows.iter().zip(&table.cells).enumerate() {
            let y = top + row as f64 * CELL_HEIGHT_PX;
            write(
                name,
                &text(INK, Anchor::End),
                left - 8.0,
                y + CELL_HEIGHT_PX / 2.0,
            )?;
            for (column, cell) in cells.iter().enumerate() {
                let x = left + column as f64 * cell_width;
                box_at(x, y, cell_width, CELL_HEIGHT_PX, cell.shade)?;
                let ink = if cell.shade.is_some_and(|shade| shade > DARK) {
                    WHITE
                } else {
                    INK
                };
                let style = text_of(TEXT_PX - 1.0, ink, Anchor::Middle);
                write(
                    &cell.text,
                    &style,
                    x + cell_width / 2.0,
                    y + CELL_HEIGHT_PX / 2.0,
                )?;
            }
        }
        Ok(())
    })
}

/// The shade of a part of a whole: none for nothing, and plain to see for the least part.
pub(super) fn shade_of(part: f64) -> f64 {
    if part > 0.0 {
        LEAST_SHADE + (1.0 - LEAST_SHADE) * part
    } else {
        0.0
    }
}

/// From white to a dark blue: lightness alone tells the shade.
fn ink_of(shade: f64) -> RGBColor {
    let RGBColor(red, green, blue) = COLOURS[0];
    let part = shade.clamp(0.0, 1.0);
    let mix = |full: u8| (255.0 + (f64::from(full) * 0.72 - 255.0) * part).round() as u8;
    RGBColor(mix(red), mix(green), mix(blue))
}
