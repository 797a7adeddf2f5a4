//! Colours that depend on conditions over channels.

use crate::definition::Definition;
use crate::definition::model::ColorRule;
use crate::picture::Rgb;
use crate::recording::condition::all_hold;
use crate::recording::inputs::Inputs;

/// The colour of the first rule whose conditions all hold; `usual` when there is none.
#[must_use]
pub fn ruled_color(usual: &str, rules: &[ColorRule], d: &Definition, inputs: &Inputs) -> Rgb {
    let rule = rules.iter().find(|rule| all_hold(&rule.when, d, inputs));
    d.color(rule.map_or(usual, |r| &r.color))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::inputs::Value;
    use crate::reference::parts::bench;

    #[test]
    fn first_rule_that_holds_wins_and_invalid_data_hold_nothing() {
        let d = bench::display("");
        let rules: Vec<ColorRule> = vec![
            ColorRule {
                when: vec![bench::below("a", 20.0), bench::at_least("b", 5.0)],
                color: "red".into(),
            },
            ColorRule {
                when: vec![bench::below("a", 30.0)],
                color: "amber".into(),
            },
        ];
        let color = |a: Value, b: Value| {
            let mut inputs = bench::inputs(&d, &[]);
            inputs.values[d.channel("a").0] = a;
            inputs.values[d.channel("b").0] = b;
            ruled_color("green", &rules, &d, &inputs)
        };
        let n = Value::Number;
        assert_eq!(color(n(10.0), n(5.0)), d.color("red"));
        assert_eq!(color(n(10.0), n(4.0)), d.color("amber"));
        assert_eq!(color(n(20.0), n(5.0)), d.color("amber"));
        assert_eq!(color(n(30.0), n(5.0)), d.color("green"));
        assert_eq!(color(Value::Invalid, n(5.0)), d.color("green"));
        assert_eq!(color(n(10.0), Value::Missing), d.color("amber"));
    }
}
