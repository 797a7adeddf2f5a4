//! How a value moves a part.

use std::sync::Arc;

use super::affine::Affine;
use crate::definition::Definition;
use crate::definition::model::Direction;
use crate::definition::parts::{Drum, Motion, Sector, Strip};
use crate::picture::Point;
use crate::recording::inputs::{ChannelId, Inputs};
use crate::reference::scale::{half_period, half_turn, least_slope, place, slope, span};

/// A motion whose names are resolved.
#[derive(Clone, Debug)]
pub(crate) struct Drive {
    pub name: Arc<str>,
    pub channel: ChannelId,
    pub minus: Option<ChannelId>,
    attitude: Option<(Angle, ChannelId)>,
    offset: f64,
    over: Option<ChannelId>,
    range: Option<[f64; 2]>,
    minus_range: Option<[f64; 2]>,
    pub period: Option<f64>,
    places: Places,
    /// Lowest and highest value of the channel's source, where that is stated.
    source_range: Option<[f64; 2]>,
    /// The highest value that the value can be divided by.
    most_over: f64,
    pub way: Way,
}

/// Which of the two angles of an attitude the channel is; the other one says whether it is counted back.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Angle {
    Pitch,
    Bank,
}

/// What a place does.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Way {
    Turn(Point),
    Carry(Point),
    Shift(Point),
    Strip(Strip),
    Sector(Sector),
}

impl Way {
    /// Pixels that a place of 1 is along a way; 1 degree where it is turned.
    pub(super) fn length(&self) -> f64 {
        match self {
            Self::Shift(along) => libm::hypot(along.x, along.y),
            Self::Turn(_) | Self::Carry(_) | Self::Strip(_) | Self::Sector(_) => 1.0,
        }
    }
}

/// From a value to a place.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Places {
    Even(f64),
    Bent(Vec<[f64; 2]>),
}

impl Places {
    pub(crate) fn new(scale: &[[f64; 2]], per_unit: Option<f64>) -> Self {
        if scale.is_empty() {
            Self::Even(per_unit.unwrap_or(1.0))
        } else {
            Self::Bent(scale.to_vec())
        }
    }

    pub(crate) fn of(&self, v: f64) -> f64 {
        match self {
            Self::Even(per_unit) => per_unit * v,
            Self::Bent(scale) => place(scale, v),
        }
    }
}

/// Pitch and bank as they are drawn: pitch from -90 to 90, bank from -180 to 180 degrees.
///
/// Beyond 90 degrees of pitch the aircraft has gone over the top, and the same attitude is named by the short way: 95 up
/// with wings level is 85 up with 180 of bank.
#[must_use]
pub fn drawn_attitude(pitch: f64, bank: f64) -> (f64, f64) {
    let pitch = half_turn(pitch);
    if pitch > 90.0 {
        (180.0 - pitch, half_turn(bank + 180.0))
    } else if pitch < -90.0 {
        (-180.0 - pitch, half_turn(bank + 180.0))
    } else {
        (pitch, half_turn(bank))
    }
}

impl Drive {
    /// The motion of a checked definition.
    pub(crate) fn new(m: &Motion, d: &Definition) -> Self {
        let point = |[x, y]: [f64; 2]| Point::new(x, y);
        let turn = m.turn_about.map(|p| (Way::Turn(point(p)), "turn"));
        let carry = m.carry_about.map(|p| (Way::Carry(point(p)), "bearing"));
        let shift = m.shift_along.map(|p| (Way::Shift(point(p)), "shift"));
        let strip = m.strip.clone().map(|s| (Way::Strip(s), "length"));
        let sector = m.sector.clone().map(|s| (Way::Sector(s), "length"));
        let way = turn.or(carry).or(shift).or(strip).or(sector);
        let (way, usual) = way.unwrap_or((Way::Shift(Point::default()), "shift"));
        let other = |name: &Option<String>| name.as_deref().map(|n| d.channel(n));
        let pitch = other(&m.with_bank).map(|c| (Angle::Pitch, c));
        let channel = d.channel(&m.channel);
        let over = other(&m.over);
        let most_over = over.and_then(|c| d.channels()[c.0].1.range);
        Self {
            name: m.name.as_deref().unwrap_or(usual).into(),
            channel,
            minus: other(&m.minus),
            attitude: pitch.or_else(|| other(&m.with_pitch).map(|c| (Angle::Bank, c))),
            offset: m.offset,
            over,
            most_over: most_over.map_or(1.0, |[_, high]| high),
            range: m.range,
            minus_range: m.minus_range.or(m.range),
            period: m.period,
            places: Places::new(&m.scale, m.per_unit),
            source_range: d.channels()[channel.0].1.range,
            way,
        }
    }

    /// The rolling of a drum's digits: a step of its last place moves them by a row.
    pub(crate) fn of_drum(m: &Drum, d: &Definition) -> Self {
        Self::new(
            &Motion {
                name: Some("digits".into()),
                channel: m.channel.clone(),
                per_unit: Some(1.0 / m.unit),
                shift_along: Some([0.0, m.row_height]),
                ..Motion::default()
            },
            d,
        )
    }

    /// Degrees or pixels for a unit, without sign, where they are the same everywhere.
    pub(crate) fn even_px(&self) -> Option<f64> {
        let Places::Even(per_unit) = &self.places else {
            return None;
        };
        Some(libm::fabs(*per_unit) * self.way.length())
    }

    /// The driving value; `None` while a channel has none.
    fn value(&self, inputs: &Inputs) -> Option<f64> {
        let number = |c: ChannelId| inputs.value(c).number();
        let stop =
            |v: f64, range: Option<[f64; 2]>| range.map_or(v, |[low, high]| v.min(high).max(low));
        let less = |c: ChannelId| Some(stop(number(c)?, self.minus_range));
        let own = number(self.channel)?;
        let own = match self.attitude {
            Some((Angle::Pitch, bank)) => drawn_attitude(own, number(bank)?).0,
            Some((Angle::Bank, pitch)) => drawn_attitude(number(pitch)?, own).1,
            None => own,
        };
        let own = stop(own, self.range);
        let over = match self.over {
            Some(c) => number(c).filter(|v| *v > 0.0)?,
            None => 1.0,
        };
        let value = match (self.minus, self.period, &self.places) {
            (Some(minus), Some(period), _) => half_period(own - less(minus)? + self.offset, period),
            (Some(minus), None, _) => own - less(minus)? + self.offset,
            (None, Some(period), Places::Bent(_)) => (own + self.offset).rem_euclid(period),
            (None, ..) => own + self.offset,
        };
        Some(value / over)
    }

    /// Whether parts that move by it and by `other` move as one, so that one value says where both stand: the motions are the
    /// same, or the same angle of an attitude.
    pub(crate) fn moves_as(&self, other: &Self) -> bool {
        let is_attitude = self.attitude.is_some() && other.attitude.is_some();
        let is_one = (self.channel, &self.name) == (other.channel, &other.name);
        let is_same = (self.channel, self.minus, self.attitude, self.offset)
            == (other.channel, other.minus, other.attitude, other.offset)
            && self.over == other.over
            && (self.range, self.minus_range, self.period)
                == (other.range, other.minus_range, other.period)
            && (&self.places, &self.way) == (&other.places, &other.way);
        is_same || (is_attitude && is_one)
    }

    /// Where the value stands: degrees, shares of a way, or shares of a strip.
    pub(crate) fn place(&self, inputs: &Inputs) -> Option<f64> {
        Some(self.places.of(self.value(inputs)?))
    }

    /// How the place moves a part; a way that fills something moves nothing.
    pub(crate) fn affine(&self, place: f64) -> Affine {
        match &self.way {
            Way::Turn(about) => Affine::turn(*about, place),
            Way::Shift(along) => Affine::shift(along.x * place, along.y * place),
            Way::Carry(_) | Way::Strip(_) | Way::Sector(_) => Affine::IDENTITY,
        }
    }

    /// `motion`, moved on to the place; `origin` is where the part's own origin stands before all motions.
    pub(crate) fn after(&self, motion: &Affine, origin: Point, place: f64) -> Affine {
        match &self.way {
            Way::Carry(about) => {
                let from = motion.map(origin);
                let to = Affine::turn(*about, place).map(from);
                Affine::shift(to.x - from.x, to.y - from.y).after(motion)
            }
            Way::Turn(_) | Way::Shift(_) | Way::Strip(_) | Way::Sector(_) => {
                self.affine(place).after(motion)
            }
        }
    }

    /// Change of place for a unit, without sign; 0 where the place stays, as for values beyond the ends.
    pub(crate) fn slope(&self, inputs: &Inputs) -> f64 {
        let Some(v) = self.value(inputs) else {
            return 0.0;
        };
        let own = inputs.value(self.channel).number().unwrap_or_default();
        let is_stopped = self.attitude.is_none()
            && self
                .range
                .is_some_and(|[low, high]| own < low || own > high);
        let slope = match &self.places {
            _ if is_stopped => 0.0,
            Places::Even(per_unit) => libm::fabs(*per_unit),
            // At a stop a mark is parked: it is not known how far it would go.
            Places::Bent(scale) => libm::fabs(slope(scale, v)),
        };
        let over = self.over.and_then(|c| inputs.value(c).number());
        slope / over.unwrap_or(1.0)
    }

    /// The smallest change of place for a unit, without sign: where the scale is coarsest.
    pub(crate) fn least_slope(&self) -> f64 {
        let slope = match &self.places {
            Places::Even(per_unit) => libm::fabs(*per_unit),
            Places::Bent(scale) => least_slope(scale),
        };
        slope / self.most_over
    }

    /// Values beyond which nothing changes any more.
    pub(crate) fn ends(&self) -> [f64; 2] {
        if let Some((angle, _)) = self.attitude {
            return match angle {
                Angle::Pitch => [-90.0, 90.0],
                Angle::Bank => [-180.0, 180.0],
            };
        }
        let of_scale = match &self.places {
            Places::Bent(scale) if self.minus.is_none() => {
                span(scale).map(|s| s.map(|v| v * self.most_over - self.offset))
            }
            Places::Bent(_) | Places::Even(_) => None,
        };
        let of_period = self.period.map(|p| [0.0, p]);
        of_period
            .or(self.range)
            .or(of_scale)
            .or(self.source_range)
            .unwrap_or([-FAR, FAR])
    }

    /// Lowest and highest place that values can give.
    pub(crate) fn place_ends(&self) -> [f64; 2] {
        match (&self.places, &self.way) {
            (Places::Bent(scale), _) => {
                let places = scale.iter().map(|p| p[1]);
                places.fold([f64::INFINITY, f64::NEG_INFINITY], |[l, h], p| {
                    [l.min(p), h.max(p)]
                })
            }
            (Places::Even(_), Way::Turn(_) | Way::Carry(_)) => [-180.0, 180.0],
            (Places::Even(per_unit), _) => {
                let [a, b] = self.ends().map(|v| (v + self.offset) * per_unit);
                [a.min(b), a.max(b)]
            }
        }
    }
}

/// Stands for "no end" of a value, so that sums stay numbers.
const FAR: f64 = 1e6;

impl Strip {
    /// The part of the strip between its start and `place`: left, top, right, bottom.
    pub(crate) fn filled(&self, place: f64) -> [f64; 4] {
        let [x, y, w, h] = self.rect;
        let at = |share: f64| match self.direction {
            Direction::Right => x + share * w,
            Direction::Left => x + w - share * w,
            Direction::Down => y + share * h,
            Direction::Up => y + h - share * h,
        };
        let (a, b) = (at(self.from), at(place));
        match self.direction {
            Direction::Right | Direction::Left => [a.min(b), y, a.max(b), y + h],
            Direction::Down | Direction::Up => [x, a.min(b), x + w, a.max(b)],
        }
    }

    /// Its length along the direction, px.
    pub(crate) fn length(&self) -> f64 {
        match self.direction {
            Direction::Right | Direction::Left => self.rect[2],
            Direction::Down | Direction::Up => self.rect[3],
        }
    }
}
