//! Channels: each comes from a column or from an expression, and its range is one that its values can lie in.

use super::Check;
use super::limits::*;
use crate::definition::error::Found;
use crate::definition::expression::{Derivations, derivations};
use crate::definition::model::{Channel, Interpolation};
use crate::definition::place::At;

/// Expressions are worked out at every row of a recording.
const EXPRESSIONS: usize = 256;

impl Check<'_> {
    pub(super) fn channels(&mut self, at: &At<'_>) -> Derivations {
        for (name, channel) in &self.file.channels {
            self.name(&at.name(name), "channel name", name);
            let at = at.key(name);
            self.source(&at, name, channel);
            self.slot(&at, name, channel);
            self.number(&at.key("max_age_ms"), channel.max_age_ms, &AGE);
            if let Some(range) = channel.range {
                self.channel_range(&at.key("range"), name, channel, range);
            }
        }
        self.expressions(at)
    }

    fn source(&mut self, at: &At<'_>, name: &str, channel: &Channel) {
        match (&channel.column, &channel.expression) {
            (Some(column), None) if column.is_empty() => {
                self.say(
                    &at.key("column"),
                    format!("channel \"{name}\" names no column"),
                );
            }
            (Some(_), None) => {}
            (None, Some(_)) => {
                if channel.validity_column.is_some() {
                    let message =
                        format!("channel \"{name}\" is worked out and has no validity column");
                    let help = "it is valid when what it is worked out from is; give that the validity column";
                    self.say_with(&at.key("validity_column"), message, Some(help.into()));
                }
            }
            (None, None) => {
                let message = format!("channel \"{name}\" has no \"column\" and no \"expression\"");
                let help = "name the column of the recording, or say how it is worked out";
                self.say_with(at, message, Some(help.into()));
            }
            (Some(_), Some(_)) => {
                let message = format!(
                    "channel \"{name}\" has both \"column\" and \"expression\"; one must go"
                );
                self.say(&at.key("expression"), message);
            }
        }
    }

    fn expressions(&mut self, at: &At<'_>) -> Derivations {
        let channels = &self.file.channels;
        let count = channels.values().filter(|c| c.expression.is_some()).count();
        if count > EXPRESSIONS {
            let message = format!("{count} channels have expressions; at most {EXPRESSIONS} may");
            self.say(at, message);
            return Derivations::default();
        }
        match derivations(channels) {
            Ok(derivations) => derivations,
            Err(faults) => {
                for (name, fault) in faults {
                    let expression = channels[&name].expression.as_deref().unwrap_or("");
                    let whole = at.key(&name).key("expression").span;
                    // Where the string holds escapes or parameters, its parts have no places of their own.
                    let written = self.places.written(whole.clone());
                    let begin = written.and_then(|t| t.find(expression));
                    let span = match begin {
                        Some(begin) if fault.range.len() < expression.len() => {
                            let begin = whole.start + begin;
                            begin + fault.range.start..begin + fault.range.end
                        }
                        _ => whole,
                    };
                    self.found.push(Found {
                        span,
                        message: fault.message,
                        help: fault.help,
                    });
                }
                Derivations::default()
            }
        }
    }

    fn channel_range(&mut self, at: &At<'_>, name: &str, channel: &Channel, range: [f64; 2]) {
        let [low, high] = range;
        if low >= high {
            self.say(
                at,
                format!("range of \"{name}\": low end {low} is not below high end {high}"),
            );
            return;
        }
        match channel.interpolation {
            Interpolation::Linear | Interpolation::Hold => self.pair(at, range, &VALUE),
            Interpolation::Angular => {
                if low < -360.0 || high > 360.0 || high - low > 360.0 {
                    let message = format!(
                        "range of the angular channel \"{name}\" is {low} to {high}; it must lie in one turn, within -360 to 360"
                    );
                    let help = "as in [0, 360] or [-180, 180]; without a range it is 0 to 360";
                    self.say_with(at, message, Some(help.into()));
                }
            }
            Interpolation::Text => self.say(
                at,
                format!("\"{name}\" is a text channel; text has no range"),
            ),
        }
    }
}
