//! A number is shown in another unit, or with the name of another unit.

use super::super::redraw::Redrawn;
use super::super::{About, Clip, Fault, Group, Injector, Model, Target, parts};
use super::{ONE_FRAME, briefly, from_seed, is_brief, lasting, symbol, symbols_that};
use crate::definition::Definition;
use crate::definition::model::{NumberFormat, Readout};
use crate::examine::subject::Subject;
use crate::judge::verdict::Verdict;

/// Index of the look with a wrong name.
const NAME: usize = 1;

const ABOUT: About = About {
    looks: &["value in another unit", "name of another unit", ONE_FRAME],
    ..About::new(
        "wrong_unit",
        Group::Picture,
        "a number is shown in another unit, or with the name of another unit",
    )
};

/// See the module.
pub struct WrongUnit;

impl Model for WrongUnit {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn targets(&self, subject: Subject) -> Vec<Target> {
        let definition = subject.definition();
        symbols_that(subject, |s| {
            let readouts = parts::readouts(s);
            readouts.iter().any(|r| {
                conversion(definition, r).is_some() || other_name(&r.format.suffix).is_some()
            })
        })
    }

    fn classes(&self, fault: &Fault) -> &'static [Verdict] {
        if is_brief(self, fault) {
            &[]
        } else {
            &[Verdict::Misleading]
        }
    }

    fn twin(&self, _: &Clip, fault: &Fault) -> Option<(Fault, &'static str)> {
        briefly(self, fault)
    }

    fn prepare(&self, clip: &Clip, fault: &Fault) -> Option<Box<dyn Injector>> {
        let (region, index) = (fault.target.region?, fault.target.symbol?);
        let d = clip.definition();
        let candidates: Vec<(usize, NumberFormat)> = parts::readouts(symbol(clip, fault)?)
            .into_iter()
            .enumerate()
            .filter_map(|(k, r)| Some((k, format(d, &r, fault.look)?)))
            .collect();
        let (k, format) = from_seed(&candidates, fault.seed).next()?;
        let other = d.with_region(region, |r| {
            parts::change_readout(&mut r.symbol[index], *k, |r| r.format = format.clone());
        });
        let injector = Redrawn::by_definition(clip, region, other, fault.seed)?;
        Some(lasting(self, fault, injector))
    }
}

/// Unit, factor and amount to be added for a usual other unit of the same quantity.
const CONVERSIONS: [(&str, f64, f64); 16] = [
    ("kt", 1.852, 0.0),
    ("km/h", 0.539_957, 0.0),
    ("ft", 0.3048, 0.0),
    ("m", 3.280_84, 0.0),
    ("fpm", 0.005_08, 0.0),
    ("kg", 2.204_62, 0.0),
    ("lb", 0.453_592, 0.0),
    ("hp", 0.745_7, 0.0),
    ("kw", 1.341_02, 0.0),
    ("c", 1.8, 32.0),
    ("degc", 1.8, 32.0),
    ("nm", 1.852, 0.0),
    ("km", 0.539_957, 0.0),
    ("ml", 0.033_814, 0.0),
    ("l", 0.264_172, 0.0),
    ("psi", 0.068_947_6, 0.0),
];

/// Ends of suffixes that name a unit, and the names of other ones. Longer ones first.
const NAMES: [(&str, &str); 10] = [
    ("°C", "°F"),
    ("°F", "°C"),
    ("KT", "KM"),
    ("kt", "km"),
    ("FT", "M"),
    ("ft", "m"),
    ("KG", "LB"),
    ("kg", "lb"),
    ("LB", "KG"),
    ("NM", "KM"),
];

/// The format in which the number is wrong, when there is one.
fn format(definition: &Definition, readout: &Readout, look: usize) -> Option<NumberFormat> {
    let mut format = readout.format.clone();
    if look == NAME {
        format.suffix = other_name(&format.suffix)?;
    } else {
        let (factor, added) = conversion(definition, readout)?;
        // The written number is scale * v + offset; the other unit's is factor times that and added.
        format.scale *= factor;
        format.offset = format.offset * factor + added;
    }
    Some(format)
}

/// Factor and amount to be added, where the unit is known.
fn conversion(definition: &Definition, readout: &Readout) -> Option<(f64, f64)> {
    let (_, channel) = &definition.channels()[definition.channel(&readout.channel).0];
    let unit = channel.unit.to_lowercase();
    let known = CONVERSIONS.iter().find(|(name, _, _)| *name == unit)?;
    Some((known.1, known.2))
}

fn other_name(suffix: &str) -> Option<String> {
    NAMES
        .iter()
        .find_map(|(name, other)| Some(format!("{}{other}", suffix.strip_suffix(name)?)))
}
