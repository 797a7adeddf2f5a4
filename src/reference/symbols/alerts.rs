//! Alerts in fixed slots.
//!
//! Order: by class (warning, caution, advisory), then by `priority` (lower first), then the
//! newest first, then as in the file. With pages each shows as many as there are slots.

use std::cmp::Ordering;
use std::fmt::Write;

use super::failure;
use super::number::ShortText;
use super::words::{self, Style};
use crate::definition::Definition;
use crate::definition::model::{
    Alert, AlertClass, AlertColors, Alerts, Align, NewLook, SlotGround,
};
use crate::picture::Point;
use crate::recording::condition::all_hold;
use crate::recording::inputs::{Inputs, Value};
use crate::reference::scene::{Bounds, Layer, Scene};

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
    let first = order(model, base, inputs).next();
    if let (Some(first), Some([x, y])) = (first, model.advice_position) {
        let alert = &model.alert[first];
        let style = Style {
            font: &model.font,
            size: model.advice_size.unwrap_or(model.size),
            color: d.color(color_name(&model.colors, alert.class)),
        };
        let anchor = Point::new(x, y);
        words::upright(d, style, anchor, Align::Left, &alert.advice, scene);
    }
    let before = page(model, d, inputs).saturating_mul(model.slots);
    let mut left = order(model, base, inputs).skip(before);
    for (slot, k) in left.by_ref().take(model.slots).enumerate() {
        let is_acknowledged = inputs.acknowledged.get(base + k).copied();
        let new = model.unacknowledged.as_ref();
        let new = new.filter(|new| is_acknowledged != Some(true) && all_hold(&new.lit, d, inputs));
        draw_slot(
            model,
            slot,
            &model.alert[k],
            new.map(|new| &new.look),
            d,
            scene,
        );
    }
    if let (Some(more), count @ 1..) = (&model.more, left.count()) {
        let mut text = ShortText::new();
        let written = write!(text, "{}{count}{}", more.prefix, more.suffix);
        debug_assert!(written.is_ok(), "writing to memory does not fail");
        let style = Style {
            font: &model.font,
            size: model.size,
            color: d.color(&more.color),
        };
        let [x, y] = more.position;
        words::upright(d, style, Point::new(x, y), Align::Left, &text, scene);
    }
}

/// Index of the page of the list that is shown.
fn page(model: &Alerts, d: &Definition, inputs: &Inputs) -> usize {
    let channel = model.page.as_ref().map(|name| d.channel(name));
    let number = channel.and_then(|c| inputs.value(c).number());
    // What is no page is the first: the conversion stops at 0.
    number.map_or(0, |n| (libm::round(n) - 1.0) as usize)
}

/// Adds an alert in its slot, as it looks when it is `new`.
fn draw_slot(
    model: &Alerts,
    slot: usize,
    alert: &Alert,
    new: Option<&NewLook>,
    d: &Definition,
    scene: &mut Scene,
) {
    let own = d.color(color_name(&model.colors, alert.class));
    let ground = model.ground.as_ref();
    let usual = ground.and_then(|g| g.color.as_ref()).map(|c| d.color(c));
    let (color, filled) = match new {
        None => (own, usual),
        Some(NewLook::Reverse(ink)) => (d.color(ink), Some(own)),
        Some(NewLook::Color(ink)) => (d.color(ink), usual),
    };
    let [x, y] = model.place(slot);
    if let (Some(ground), Some(filled)) = (ground, filled) {
        scene.rectangle(filled, ground_at(ground, [x, y]));
    }
    let style = Style {
        font: &model.font,
        size: model.size,
        color,
    };
    words::upright(d, style, Point::new(x, y), Align::Left, &alert.text, scene);
}

/// Where the ground stands of an alert whose words stand at `[x, y]`.
#[must_use]
pub fn ground_at(ground: &SlotGround, [x, y]: [f64; 2]) -> Bounds {
    let [width, height] = ground.size;
    let left = x - ground.inset;
    Bounds {
        left,
        top: y - height / 2.0,
        right: left + width,
        bottom: y + height / 2.0,
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
            row("Land now", 190.0),
            row("FIRE", 20.0),
            row("FUEL", 35.0),
            row("CHIP", 50.0),
            row("DOOR", 65.0),
        ];
        assert_eq!(rows, expected);
        // A warning of better priority goes first although it is older; the advisory has no slot left.
        let rows = shown([Some(1.0), Some(2.0), Some(2.0), Some(9.0), Some(0.0)]);
        let expected = [
            row("Lower the lever", 190.0),
            row("ROTOR", 20.0),
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

    /// Two columns of two slots on a ground of 60 x 14 px, new alerts in reverse while `b` is below 0.5, and pages by `c`.
    const BOARD: &str = r##"
        columns = 2
        column_width = 80.0
        ground = { size = [60.0, 14.0], inset = 4.0 }
        unacknowledged = { until = [{ channel = "a", equals = 1 }], look = { reverse = "black" }, lit = [{ channel = "b", below = 0.5 }] }
        more = { position = [170.0, 35.0], color = "white" }
        page = "c"
    "##;

    #[test]
    fn slots_fill_columns_and_the_rest_is_counted_or_on_the_next_page() {
        let text = ALERTS.replace("slots = 4", "slots = 3") + BOARD;
        let d = bench::display(&text);
        let shown = |page: f64| -> Vec<(String, f64, f64)> {
            let mut inputs = bench::inputs(&d, &[("b", 1.0), ("c", page)]);
            inputs.active_since_s = vec![Some(1.0); 5];
            inputs.acknowledged = vec![true; 5];
            let cap = d.face(d.font("sans")).cap_height * 6.0;
            let lines = bench::lines(&bench::moving(&d, &inputs));
            let place = |l: &bench::Line| (l.words.origin.x, l.words.origin.y - cap);
            lines
                .iter()
                .map(|l| (l.text.clone(), place(l).0, place(l).1))
                .collect()
        };
        let at = |text: &str, x: f64, y: f64| (text.to_owned(), x, y);
        // Two rows: three slots stand at (10, 20), (10, 35) and (90, 20). The advice is that of the most urgent on any page.
        let advice = at("Lower the lever", 10.0, 190.0);
        assert_eq!(
            shown(1.0),
            [
                advice.clone(),
                at("ROTOR", 10.0, 20.0),
                at("FIRE", 10.0, 35.0),
                at("CHIP", 90.0, 20.0),
                at("+2", 170.0, 35.0)
            ]
        );
        assert_eq!(
            shown(2.0),
            [
                advice.clone(),
                at("FUEL", 10.0, 20.0),
                at("DOOR", 10.0, 35.0)
            ]
        );
        assert_eq!(shown(3.0), [advice]);
        assert_eq!(shown(0.0), shown(1.0));
    }

    #[test]
    fn a_new_alert_stands_in_reverse_while_lit() {
        let d = bench::display(&(ALERTS.to_owned() + BOARD));
        let look = |is_acknowledged: bool, flash: f64| {
            let mut inputs = bench::inputs(&d, &[("b", flash)]);
            inputs.active_since_s = vec![None, None, None, Some(1.0), None];
            inputs.acknowledged = vec![is_acknowledged; 5];
            let scene = bench::moving(&d, &inputs);
            let ground = bench::items(&scene, d.color("red"));
            let ground = ground
                .into_iter()
                .find(|i| bench::is_fill(i))
                .map(|i| i.bounds);
            let words = bench::lines(&scene).into_iter().find(|l| l.text == "FIRE");
            (
                words.map(|w| w.color),
                ground.map(|b| [b.left, b.top, b.right, b.bottom]),
            )
        };
        let (red, black) = (Some(d.color("red")), Some(d.color("black")));
        // From 4 px left of the words at 10, about the middle of their capitals at 20.
        assert_eq!(look(false, 0.2), (black, Some([6.0, 13.0, 66.0, 27.0])));
        assert_eq!(look(false, 0.7), (red, None));
        assert_eq!(look(true, 0.2), (red, None));
    }
}
