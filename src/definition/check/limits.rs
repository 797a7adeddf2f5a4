//! Ranges that numbers of a definition must lie in.

/// A range of numbers with the name that a person would call it.
pub(super) struct Limits {
    pub name: &'static str,
    low: f64,
    /// Whether `low` itself is outside.
    above: bool,
    high: f64,
    unit: &'static str,
}

impl Limits {
    pub(super) const fn new(name: &'static str, low: f64, high: f64, unit: &'static str) -> Self {
        Self {
            name,
            low,
            above: false,
            high,
            unit,
        }
    }

    pub(super) const fn above(name: &'static str, low: f64, high: f64, unit: &'static str) -> Self {
        Self {
            name,
            low,
            above: true,
            high,
            unit,
        }
    }

    pub(super) fn holds(&self, value: f64) -> bool {
        (if self.above {
            value > self.low
        } else {
            value >= self.low
        }) && value <= self.high
    }

    pub(super) fn refusal(&self, value: f64) -> String {
        let Self {
            name,
            low,
            above,
            high,
            unit,
        } = self;
        let unit = if unit.is_empty() {
            String::new()
        } else {
            format!(" {unit}")
        };
        let least = if *above { "above" } else { "at least" };
        let [low, high] = [low, high].map(|v| {
            if v.abs() < 1e7 {
                v.to_string()
            } else {
                format!("{v:e}")
            }
        });
        format!("{name} {value}{unit}: must be {least} {low} and at most {high}{unit}")
    }
}

pub(super) const POSITION: Limits = Limits::new("position", -16384.0, 16384.0, "px");
pub(super) const LENGTH: Limits = Limits::new("length", 0.0, 16384.0, "px");
pub(super) const SIZE: Limits = Limits::above("size", 0.0, 16384.0, "px");
pub(super) const WIDTH: Limits = Limits::above("line width", 0.0, 1024.0, "px");
pub(super) const WIDTH_OR_NONE: Limits = Limits::new("line width", 0.0, 1024.0, "px");
pub(super) const FONT_SIZE: Limits = Limits::above("font size", 0.0, 1024.0, "px");
pub(super) const ARTWORK_SCALE: Limits = Limits::above("scale", 0.0, 1000.0, "");
pub(super) const PX_PER_UNIT: Limits = Limits::above("pixels per unit", 0.0, 1e6, "px");
pub(super) const VALUE: Limits = Limits::new("value", -1e12, 1e12, "");
pub(super) const STEP: Limits = Limits::above("step", 0.0, 1e12, "");
pub(super) const PERIOD: Limits = Limits::above("period", 0.0, 1e12, "");
pub(super) const TIME: Limits = Limits::new("time", 0.0, 60_000.0, "ms");
pub(super) const TIME_SPAN: Limits = Limits::above("time", 0.0, 60_000.0, "ms");
pub(super) const AGE: Limits = Limits::above("age limit", 0.0, 3_600_000.0, "ms");
pub(super) const DELAY: Limits = Limits::above("delay", 0.0, 3_600_000.0, "ms");
pub(super) const HYSTERESIS: Limits = Limits::above("hysteresis", 0.0, 1e12, "");
pub(super) const TOLERANCE: Limits = Limits::above("tolerance", 0.0, 1e12, "");
pub(super) const READOUT_TOLERANCE: Limits = Limits::new("tolerance", 0.0, 1e12, "");
pub(super) const CALM: Limits = Limits::new("calm limit", 0.0, 1e12, "");
pub(super) const DECIMALS: Limits = Limits::new("decimals", 0.0, 9.0, "");
pub(super) const DIGITS: Limits = Limits::new("digits", 0.0, 12.0, "");
pub(super) const SLOTS: Limits = Limits::new("slots", 1.0, 64.0, "");
pub(super) const ANGLE: Limits = Limits::new("angle", -3600.0, 3600.0, "deg");
pub(super) const FRACTION: Limits = Limits::new("place along the bar", 0.0, 1.0, "");
pub(super) const BANK: Limits = Limits::above("bank mark", 0.0, 180.0, "deg");
pub(super) const PITCH: Limits = Limits::above("steepest pitch line", 0.0, 90.0, "deg");
