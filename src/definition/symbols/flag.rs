//! One of several annunciations in one place.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Kind, filled, group, rect, shown};
use crate::definition::check::Check;
use crate::definition::check::limits::*;
use crate::definition::model::{Align, Condition, Name, Text, default_line_width};
use crate::definition::parts::{Frame, Part, Shape};
use crate::definition::place::At;
use crate::definition::uses::{Role, Use, Walk};

/// One of several annunciations in one place, by the value of a channel.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Flag {
    /// The channel that chooses.
    pub channel: Name,
    /// Area, `[x, y, width, height]`, px; words stand in its middle.
    #[schemars(extend("x-included" = "point"))]
    pub rect: [i32; 4],
    /// Font.
    pub font: Name,
    /// Size (em), px.
    pub size: f64,
    /// Width of frames, px; they lie inside the area.
    #[serde(default = "default_line_width")]
    pub frame_width: f64,
    /// What can stand here.
    pub state: Vec<FlagState>,
    /// What stands here when the data are invalid or no state fits.
    pub invalid: FlagLook,
}

/// What stands in a flag for one value.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FlagState {
    /// Value of the channel, rounded to a whole number.
    pub value: i64,
    /// Words; may be empty.
    pub text: String,
    /// Colour of the words.
    pub color: Name,
    /// Colour of the ground; that of the canvas when absent.
    pub background: Option<Name>,
    /// Colour of a frame round the area; none when absent.
    pub frame: Option<Name>,
}

/// Words and colours of a flag whose data are invalid.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FlagLook {
    /// Words; may be empty.
    pub text: String,
    /// Colour of the words.
    pub color: Name,
    /// Colour of the ground; that of the canvas when absent.
    pub background: Option<Name>,
    /// Colour of a frame round the area; none when absent.
    pub frame: Option<Name>,
}

impl Kind for Flag {
    fn name(&self) -> &'static str {
        "flag"
    }

    fn parts(&self) -> Vec<Part> {
        let mut looks: Vec<Part> = self
            .state
            .iter()
            .map(|s| {
                let colors = [Some(&s.color), s.background.as_ref(), s.frame.as_ref()];
                // The channel's value, rounded to a whole number.
                let whole = s.value as f64;
                let when = vec![rounds_to(&self.channel, whole)];
                self.look(&s.text, colors).while_(when)
            })
            .collect();
        let i = &self.invalid;
        looks.push(self.look(
            &i.text,
            [Some(&i.color), i.background.as_ref(), i.frame.as_ref()],
        ));
        vec![Part {
            choose: true,
            ..group(looks)
        }]
    }

    fn uses<'f>(&'f self, w: &mut Walk<'_, 'f>) {
        let role = Role::Chooses;
        w.say(
            "channel",
            Use::Channel {
                name: &self.channel,
                role,
            },
        );
        w.font(&self.font, self.size);
        w.each("state", &self.state, |w, s| {
            w.words("text", &self.font, s.text.clone());
            w.color("color", &s.color);
            w.color_if("background", s.background.as_ref());
            w.color_if("frame", s.frame.as_ref());
        });
        w.key("invalid", |w| {
            w.words("text", &self.font, self.invalid.text.clone());
            w.color("color", &self.invalid.color);
            w.color_if("background", self.invalid.background.as_ref());
            w.color_if("frame", self.invalid.frame.as_ref());
        });
    }

    fn check(&self, at: &At<'_>, c: &mut Check<'_>) {
        c.rect(&at.key("rect"), self.rect);
        c.number(&at.key("size"), self.size, &FONT_SIZE);
        c.number(&at.key("frame_width"), self.frame_width, &WIDTH);
        if self.state.is_empty() {
            c.say(&at.key("state"), "a flag needs at least one state");
        }
        for (k, state) in self.state.iter().enumerate() {
            if self.state[..k].iter().any(|s| s.value == state.value) {
                c.say(
                    &at.key("state").index(k).key("value"),
                    format!("state value {} is given twice", state.value),
                );
            }
        }
    }
}

impl Flag {
    /// `colors` are those of words, ground and frame; what has none is not drawn.
    fn look(&self, text: &str, [words, ground, frame]: [Option<&Name>; 3]) -> Part {
        let area = rect(self.rect);
        let mut parts = Vec::new();
        parts.extend(ground.map(|c| filled(Shape::Rect(area), c)));
        parts.extend(frame.map(|c| {
            filled(
                Shape::Frame(Frame {
                    rect: area,
                    width: self.frame_width,
                }),
                c,
            )
        }));
        if let (Some(color), false) = (words, text.is_empty()) {
            parts.push(shown(Shape::Words(Text {
                text: text.into(),
                position: [
                    (area[0] + (area[0] + area[2])) / 2.0,
                    (area[1] + (area[1] + area[3])) / 2.0,
                ],
                align: Align::Center,
                font: self.font.clone(),
                size: self.size,
                color: color.clone(),
            })));
        }
        group(parts)
    }
}

/// Holds while the channel rounds to `whole`; halves go away from zero.
fn rounds_to(channel: &str, whole: f64) -> Condition {
    let (low, high) = (whole - 0.5, whole + 0.5);
    let low = if whole > 0.0 { low } else { low.next_up() };
    let high = if whole < 0.0 { high.next_up() } else { high };
    Condition::between(channel, low, high)
}
