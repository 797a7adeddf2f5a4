//! Alerts in fixed slots.
//!
//! Order: by class (warning, caution, advisory), then by `priority` (lower first), then the
//! newest first, then as in the file.

use std::cmp::Ordering;

use super::failure;
use super::words::{self, Style};
use crate::definition::Definition;
use crate::definition::model::{Alert, AlertClass, AlertColors, Alerts, Align};
use crate::picture::Point;
use crate::recording::inputs::{Inputs, Value};
use crate::reference::scene::{Layer, Scene};

/// Active alerts in the order of their slots, as indices into `model.alert`. Slots are not
/// counted here: the list may be longer than there is place.
///
/// `base` is the index of the first of these alerts in [`Inputs::active_since_s`].
pub fn order<'a>(
    model: &'a Alerts,
    base: usize,
    inputs: &'a Inputs,
) -> impl Iterator<Item = usize> + 'a {
    // Lists are short: looking for the next one each time needs no memory.
    let mut last: Option<Rank> = None;
    std::iter::from_fn(move || {
        let active = model
            .alert
            .iter()
            .enumerate()
            .filter_map(|(k, a)| Rank::new(a, k, base, inputs));
        let next = active
            .filter(|r| last.is_none_or(|l| l.cmp(r) == Ordering::Less))
            .min_by(Rank::cmp)?;
        last = Some(next);
        Some(next.index)
    })
}

#[derive(Clone, Copy)]
struct Rank {
    class: AlertClass,
    priority: u32,
    since_s: f64,
    index: usize,
}

impl Rank {
    fn new(alert: &Alert, index: usize, base: usize, inputs: &Inputs) -> Option<Self> {
        let since_s = inputs.active_since_s.get(base + index).copied().flatten()?;
        Some(Self {
            class: alert.class,
            priority: alert.priority,
            since_s,
            index,
        })
    }

    fn cmp(&self, other: &Self) -> Ordering {
        let urgency = |r: &Self| (r.class, r.priority);
        urgency(self)
            .cmp(&urgency(other))
            .then_with(|| other.since_s.total_cmp(&self.since_s))
            .then_with(|| self.index.cmp(&other.index))
    }
}

fn color_name(colors: &AlertColors, class: AlertClass) -> &str {
    match class {
        AlertClass::Warning => &colors.warning,
        AlertClass::Caution => &colors.caution,
        AlertClass::Advisory => &colors.advisory,
    }
}

/// Adds the active alerts, as many as there are slots, and the advice of the first one to
/// [`Layer::Moving`]; the failure flag with them while data of any condition are invalid.
pub fn draw_moving(
    model: &Alerts,
    d: &Definition,
    inputs: &Inputs,
    base: usize,
    scene: &mut Scene,
) {
    scene.set_layer(Layer::Moving);
    if let Some(flag) = &model.failure {
        let mut is_invalid = false;
        for condition in model.alert.iter().flat_map(|a| &a.when) {
            condition.compared_channels(&mut |name| {
                is_invalid |= matches!(inputs.value(d.channel(name)), Value::Invalid);
            });
        }
        if is_invalid {
            failure::draw(flag, Point::default(), d, scene);
        }
    }
    let [x, y] = model.position;
    for (slot, k) in order(model, base, inputs).take(model.slots).enumerate() {
        let alert = &model.alert[k];
        let color = d.color(color_name(&model.colors, alert.class));
        let style = Style {
            font: &model.font,
            size: model.size,
            color,
        };
        let anchor = Point::new(x, y + slot as f64 * model.line_height);
        words::upright(d, style, anchor, Align::Left, &alert.text, scene);
        if let (0, Some([x, y])) = (slot, model.advice_position) {
            let style = Style {
                size: model.advice_size.unwrap_or(model.size),
                ..style
            };
            words::upright(
                d,
                style,
                Point::new(x, y),
                Align::Left,
                &alert.advice,
                scene,
            );
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::reference::parts::bench;

    const ALERTS: &str = r##"
        kind = "alerts"
        position = [10.0, 20.0]
        line_height = 15.0
        slots = 4
        font = "sans"
        size = 12.0
        colors = { warning = "red", caution = "amber", advisory = "white" }
        advice_position = [10.0, 190.0]
        alert = [
            { text = "DOOR", class = "advisory", when = [] },
            { text = "CHIP", class = "caution", when = [], advice = "Land soon" },
            { text = "FUEL", class = "caution", when = [] },
            { text = "FIRE", class = "warning", priority = 1, when = [], advice = "Land now" },
            { text = "ROTOR", class = "warning", when = [], advice = "Lower the lever" },
        ]
    "##;

    fn shown(since: [Option<f64>; 5]) -> Vec<(String, f64)> {
        let d = bench::display(ALERTS);
        let mut inputs = bench::inputs(&d, &[]);
        inputs.active_since_s = since.to_vec();
        let scene = bench::moving(&d, &inputs);
        let cap = d.face(d.font("sans")).cap_height * 6.0;
        bench::lines(&scene)
            .iter()
            .map(|l| (l.text.clone(), l.words.origin.y - cap))
            .collect()
    }

    fn row(text: &str, y: f64) -> (String, f64) {
        (text.into(), y)
    }

    #[test]
    fn class_then_priority_then_newest_then_file() {
        let rows = shown([Some(1.0), Some(2.0), Some(3.0), Some(9.0), None]);
        let expected = [
            row("FIRE", 20.0),
            row("Land now", 190.0),
            row("FUEL", 35.0),
            row("CHIP", 50.0),
            row("DOOR", 65.0),
        ];
        assert_eq!(rows, expected);
        // A warning of better priority goes first although it is older; the advisory has no slot left.
        let rows = shown([Some(1.0), Some(2.0), Some(2.0), Some(9.0), Some(0.0)]);
        let expected = [
            row("ROTOR", 20.0),
            row("Lower the lever", 190.0),
            row("FIRE", 35.0),
            row("CHIP", 50.0),
            row("FUEL", 65.0),
        ];
        assert_eq!(rows, expected);
    }

    #[test]
    fn colours_follow_the_class_and_no_alert_draws_nothing() {
        let d = bench::display(ALERTS);
        let mut inputs = bench::inputs(&d, &[]);
        inputs.active_since_s = vec![Some(0.0), Some(0.0), None, Some(0.0), None];
        let scene = bench::moving(&d, &inputs);
        let colors: Vec<_> = bench::lines(&scene).iter().map(|l| l.color).collect();
        assert_eq!(colors, ["red", "red", "amber", "white"].map(|c| d.color(c)));
        assert!(shown([None; 5]).is_empty());
    }

    #[test]
    fn the_failure_flag_stands_beside_what_can_be_decided() {
        let d = bench::display(&format!(
            "{}\n{}",
            ALERTS.replace("when = []", "when = [{ channel = \"a\", below = 90 }]"),
            r#"failure = { rect = [100, 0, 60, 20], text = "DATA", font = "sans", size = 12.0, color = "amber", background = "ground" }"#,
        ));
        let texts = |inputs: &_| -> Vec<String> {
            let scene = bench::moving(&d, inputs);
            bench::lines(&scene)
                .iter()
                .map(|l| l.text.clone())
                .collect()
        };
        let mut inputs = bench::inputs(&d, &[("a", 10.0)]);
        inputs.active_since_s = vec![None, None, Some(1.0), None, None];
        assert_eq!(texts(&inputs), ["FUEL"]);
        let mut inputs = bench::inputs(&d, &[]);
        inputs.active_since_s = vec![None, None, Some(1.0), None, None];
        assert_eq!(texts(&inputs), ["DATA", "FUEL"]);
    }
}
