//! Ranges that numbers of a definition must lie in.

/// A range of numbers with the name that a person would call it.
pub(in crate::definition) struct Limits {
    pub name: &'static str,
    low: f64,
    /// Whether `low` itself is outside.
    above: bool,
    high: f64,
    unit: &'static str,
}

impl Limits {
    pub(in crate::definition) const fn new(
        name: &'static str,
        low: f64,
        high: f64,
        unit: &'static str,
    ) -> Self {
        Self {
            name,
            low,
            above: false,
            high,
            unit,
        }
    }

    pub(in crate::definition) const fn above(
        name: &'static str,
        low: f64,
        high: f64,
        unit: &'static str,
    ) -> Self {
        Self {
            name,
            low,
            above: true,
            high,
            unit,
        }
    }

    pub(in crate::definition) fn holds(&self, value: f64) -> bool {
        (if self.above {
            value > self.low
        } else {
            value >= self.low
        }) && value <= self.high
    }

    pub(in crate::definition) fn refusal(&self, value: f64) -> String {
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

pub(in crate::definition) const POSITION: Limits = Limits::new("position", -16384.0, 16384.0, "px");
pub(in crate::definition) const LENGTH: Limits = Limits::new("length", 0.0, 16384.0, "px");
pub(in crate::definition) const SIZE: Limits = Limits::above("size", 0.0, 16384.0, "px");
pub(in crate::definition) const WIDTH: Limits = Limits::above("line width", 0.0, 1024.0, "px");
pub(in crate::definition) const WIDTH_OR_NONE: Limits =
    Limits::new("line width", 0.0, 1024.0, "px");
pub(in crate::definition) const FONT_SIZE: Limits = Limits::above("font size", 0.0, 1024.0, "px");
pub(in crate::definition) const PX_PER_UNIT: Limits =
    Limits::above("pixels per unit", 0.0, 1e6, "px");
pub(in crate::definition) const VALUE: Limits = Limits::new("value", -1e12, 1e12, "");
pub(in crate::definition) const STEP: Limits = Limits::above("step", 0.0, 1e12, "");
pub(in crate::definition) const PERIOD: Limits = Limits::above("period", 0.0, 1e12, "");
pub(in crate::definition) const RATE: Limits =
    Limits::above("number of nuisance trips", 0.0, 1000.0, "1/h");
pub(in crate::definition) const ALERT: Limits = Limits::above("time", 0.0, 60_000.0, "ms");
pub(in crate::definition) const TIME: Limits = Limits::new("time", 0.0, 60_000.0, "ms");
pub(in crate::definition) const TIME_SPAN: Limits = Limits::above("time", 0.0, 60_000.0, "ms");
pub(in crate::definition) const AGE: Limits = Limits::above("age limit", 0.0, 3_600_000.0, "ms");
pub(in crate::definition) const TOLERANCE: Limits = Limits::above("tolerance", 0.0, 1e12, "");
pub(in crate::definition) const READOUT_TOLERANCE: Limits = Limits::new("tolerance", 0.0, 1e12, "");
pub(in crate::definition) const CALM: Limits = Limits::new("calm limit", 0.0, 1e12, "");
pub(in crate::definition) const DECIMALS: Limits = Limits::new("decimals", 0.0, 9.0, "");
pub(in crate::definition) const DIGITS: Limits = Limits::new("digits", 0.0, 12.0, "");
pub(in crate::definition) const SLOTS: Limits = Limits::new("slots", 1.0, 64.0, "");
pub(in crate::definition) const ANGLE: Limits = Limits::new("angle", -3600.0, 3600.0, "deg");
pub(in crate::definition) const FRACTION: Limits = Limits::new("place along the bar", 0.0, 1.0, "");
pub(in crate::definition) const BANK: Limits = Limits::above("bank mark", 0.0, 180.0, "deg");
pub(in crate::definition) const PITCH: Limits =
    Limits::above("steepest pitch line", 0.0, 90.0, "deg");
pub(in crate::definition) const PROPORTION: Limits = Limits::above("proportion", 0.0, 100.0, "");
pub(in crate::definition) const PROPORTION_OR_NONE: Limits =
    Limits::new("proportion", 0.0, 100.0, "");
pub(in crate::definition) const SHARE: Limits = Limits::new("share", 0.0, 1.0, "");
pub(in crate::definition) const OPACITY: Limits = Limits::new("opacity", 0.0, 1.0, "");
pub(in crate::definition) const PER_UNIT: Limits = Limits::new("place for a unit", -1e6, 1e6, "");
pub(in crate::definition) const ARTWORK_SCALE: Limits = Limits::above("scale", 0.0, 1000.0, "");
pub(in crate::definition) const TIME_LIMIT: Limits =
    Limits::above("time limit", 0.0, 86_400.0, "s");
pub(in crate::definition) const DELAY: Limits = Limits::above("delay", 0.0, 3_600_000.0, "ms");
pub(in crate::definition) const HYSTERESIS: Limits = Limits::above("hysteresis", 0.0, 1e12, "");
