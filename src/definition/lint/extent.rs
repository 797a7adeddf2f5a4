//! How far a symbol's ink can reach.

use crate::definition::Definition;
use crate::definition::model::{
    Alerts, Align, Attitude, Dial, NumberFormat, Readout, Rose, Symbol,
};
use crate::picture::Point;
use crate::reference::scene::{Bounds, on_clock};

/// Where a symbol can have ink: an outer bound from its own measures. What is clipped to a
/// symbol's area counts with that area.
pub(super) struct Extent<'d> {
    pub definition: &'d Definition,
    pub ink: Bounds,
}

impl Extent<'_> {
    pub(super) fn of(mut self, symbol: &Symbol) -> Bounds {
        match symbol {
            Symbol::Attitude(a) => self.attitude(a),
            Symbol::Dial(d) => {
                self.dial(d);
                self.readouts(d.readout.iter());
                self.rect(d.failure.rect);
            }
            Symbol::Tape(t) => {
                self.rect(t.rect);
                if let Some(window) = &t.window {
                    self.rect(window.rect);
                }
                self.readouts(t.window.iter().map(|w| &w.readout));
                self.rect(t.failure.rect);
            }
            Symbol::Rose(r) => self.rose(r),
            Symbol::Bar(b) => {
                self.rect(b.rect);
                self.rect(b.failure.rect);
            }
            Symbol::Readout(r) => self.readouts(std::iter::once(r)),
            Symbol::Alerts(a) => self.alerts(a),
            Symbol::Flag(f) => self.rect(f.rect),
            Symbol::Text(t) => {
                let width = self.width(&t.font, t.size, &t.text);
                self.line(t.position, t.align, &t.font, t.size, width);
            }
            Symbol::Liveness(l) => self.rect(l.rect),
            Symbol::Unchecked(u) => self.rect(u.rect),
        }
        self.ink
    }

    fn add(&mut self, b: Bounds) {
        self.ink.left = self.ink.left.min(b.left);
        self.ink.top = self.ink.top.min(b.top);
        self.ink.right = self.ink.right.max(b.right);
        self.ink.bottom = self.ink.bottom.max(b.bottom);
    }

    fn rect(&mut self, rect: [i32; 4]) {
        self.add(Bounds::from_rect(rect));
    }

    fn circle(&mut self, [x, y]: [f64; 2], radius: f64) {
        self.add(Bounds {
            left: x - radius,
            top: y - radius,
            right: x + radius,
            bottom: y + radius,
        });
    }

    /// The sector that scale and pointers sweep: its ends, and where it crosses up, right, down
    /// and left, at the outermost and innermost radius.
    fn dial(&mut self, d: &Dial) {
        let [x, y] = d.center;
        let places = d.breakpoints.iter().map(|b| b[1]);
        let first = places.clone().fold(f64::INFINITY, f64::min);
        let last = places.fold(f64::NEG_INFINITY, f64::max);
        let tips = d.pointers.iter().map(|p| p.tip_radius);
        let outer = tips.fold(d.radius + d.line_width / 2.0, f64::max);
        let tails = d.pointers.iter().map(|p| p.tail_radius);
        let inner = tails.fold(d.radius, f64::min);
        let quarters = (-40..=40).map(|k| f64::from(k) * 90.0);
        let crossed = quarters.filter(|a| (first..=last).contains(a));
        for angle in [first, last].into_iter().chain(crossed) {
            self.ink.include(on_clock(Point::new(x, y), outer, angle));
            self.ink.include(on_clock(Point::new(x, y), inner, angle));
        }
    }

    fn attitude(&mut self, a: &Attitude) {
        self.rect(a.rect);
        self.rect(a.failure.rect);
        if let Some(s) = &a.slip {
            let [x, y] = s.center;
            let [half_width, half_height] = [s.travel.abs() + s.size[0] / 2.0, s.size[1] / 2.0];
            self.add(Bounds {
                left: x - half_width,
                top: y - half_height,
                right: x + half_width,
                bottom: y + half_height,
            });
        }
    }

    fn rose(&mut self, r: &Rose) {
        self.circle(r.center, r.radius);
        let [x, y] = r.center;
        let top = y - r.radius - r.lubber_length;
        self.add(Bounds {
            left: x,
            top,
            right: x,
            bottom: y,
        });
        if let Some(w) = &r.wind {
            self.circle(w.center, w.length / 2.0);
            self.readouts(w.direction_readout.iter().chain(&w.speed_readout));
        }
        self.readouts(r.readout.iter());
        self.rect(r.failure.rect);
    }

    fn alerts(&mut self, a: &Alerts) {
        let widths = a.alert.iter().map(|x| self.width(&a.font, a.size, &x.text));
        let width = widths.fold(0.0, f64::max);
        let [x, y] = a.position;
        for row in [0, a.slots - 1] {
            let at = [x, y + row as f64 * a.line_height];
            self.line(at, Align::Left, &a.font, a.size, width);
        }
        if let Some(position) = a.advice_position {
            let size = a.advice_size.unwrap_or(a.size);
            let widths = a.alert.iter().map(|x| self.width(&a.font, size, &x.advice));
            let width = widths.fold(0.0, f64::max);
            self.line(position, Align::Left, &a.font, size, width);
        }
        if let Some(flag) = &a.failure {
            self.rect(flag.rect);
        }
    }

    fn width(&self, font: &str, size: f64, words: &str) -> f64 {
        self.definition
            .face(self.definition.font(font))
            .line_advance(words)
            * size
    }

    /// A line of words: x as `align` says, y the middle of the capitals.
    fn line(&mut self, [x, y]: [f64; 2], align: Align, font: &str, size: f64, width: f64) {
        let half = size * self.definition.face(self.definition.font(font)).cap_height / 2.0;
        let left = match align {
            Align::Left => x,
            Align::Center => x - width / 2.0,
            Align::Right => x - width,
        };
        self.add(Bounds {
            left,
            top: y - half,
            right: left + width,
            bottom: y + half,
        });
    }

    fn readouts<'r>(&mut self, readouts: impl Iterator<Item = &'r Readout>) {
        for r in readouts {
            let range = self.definition.file().channels[&r.channel]
                .range
                .unwrap_or([0.0, 0.0]);
            let numbers = range.map(|v| self.width(&r.font, r.size, &longest(&r.format, v)));
            let dashes = self.width(&r.font, r.size, &r.invalid_text);
            let width = numbers[0].max(numbers[1]).max(dashes);
            self.line(r.position, r.align, &r.font, r.size, width);
        }
    }
}

/// As many characters as `format` writes for `value`.
fn longest(format: &NumberFormat, value: f64) -> String {
    let number = value * format.scale + format.offset;
    let number = format.wrap.map_or(number, |w| number.clamp(0.0, w));
    let mut whole = format!("{:.0}", number.abs());
    while whole.len() < usize::from(format.digits) {
        whole.push('0');
    }
    let sign = if number < 0.0 {
        "-"
    } else if format.plus {
        "+"
    } else {
        ""
    };
    let point = if format.decimals > 0 { "." } else { "" };
    let decimals = "0".repeat(usize::from(format.decimals));
    format!(
        "{}{sign}{whole}{point}{decimals}{}",
        format.prefix, format.suffix
    )
}
