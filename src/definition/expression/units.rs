//! Units that expressions convert between: by what one of them is so much of another.

/// Units of one quantity: a value in a unit, times its factor plus its offset, is the value in the first unit of its
/// quantity. Factors that are exact by definition are written so (international foot, nautical mile, avoirdupois pound:
/// BIPM, The International System of Units, 9th edition, and NIST Special Publication 811, appendix B).
const QUANTITIES: [&[(&str, f64, f64)]; 9] = [
    // Length.
    &[
        ("m", 1.0, 0.0),
        ("km", 1000.0, 0.0),
        ("ft", 0.3048, 0.0),
        ("NM", 1852.0, 0.0),
        ("nm", 1852.0, 0.0),
    ],
    // Speed.
    &[
        ("m/s", 1.0, 0.0),
        ("km/h", 1.0 / 3.6, 0.0),
        ("kt", 1852.0 / 3600.0, 0.0),
        ("ft/min", 0.3048 / 60.0, 0.0),
        ("fpm", 0.3048 / 60.0, 0.0),
        ("ft/s", 0.3048, 0.0),
    ],
    // Mass.
    &[("kg", 1.0, 0.0), ("lb", 0.453_592_37, 0.0)],
    // Flow of mass.
    &[
        ("kg/h", 1.0, 0.0),
        ("lb/h", 0.453_592_37, 0.0),
        ("kg/min", 60.0, 0.0),
    ],
    // Volume: the US gallon is 231 cubic inches.
    &[
        ("l", 1.0, 0.0),
        ("L", 1.0, 0.0),
        ("gal", 3.785_411_784, 0.0),
    ],
    // Angle.
    &[
        ("deg", 1.0, 0.0),
        ("rad", 180.0 / std::f64::consts::PI, 0.0),
    ],
    // Time.
    &[
        ("s", 1.0, 0.0),
        ("ms", 0.001, 0.0),
        ("min", 60.0, 0.0),
        ("h", 3600.0, 0.0),
    ],
    // Temperature.
    &[
        ("degC", 1.0, 0.0),
        ("°C", 1.0, 0.0),
        ("K", 1.0, -273.15),
        ("degF", 5.0 / 9.0, -160.0 / 9.0),
        ("°F", 5.0 / 9.0, -160.0 / 9.0),
    ],
    // Pressure: 1 inHg is 3386.389 Pa.
    &[
        ("hPa", 1.0, 0.0),
        ("mbar", 1.0, 0.0),
        ("Pa", 0.01, 0.0),
        ("bar", 1000.0, 0.0),
        ("psi", 68.947_572_931_683_61, 0.0),
        ("inHg", 33.863_89, 0.0),
    ],
];

fn quantity(unit: &str) -> Option<(usize, f64, f64)> {
    QUANTITIES.iter().enumerate().find_map(|(k, units)| {
        let (_, factor, offset) = units.iter().find(|(name, ..)| *name == unit)?;
        Some((k, *factor, *offset))
    })
}

/// Factor and offset that bring a value in `from` to `to`; `None` when either is unknown or they are not of one quantity.
pub(crate) fn conversion(from: &str, to: &str) -> Option<(f64, f64)> {
    let (quantity_from, factor_from, offset_from) = quantity(from)?;
    let (quantity_to, factor_to, offset_to) = quantity(to)?;
    (quantity_from == quantity_to).then_some((
        factor_from / factor_to,
        (offset_from - offset_to) / factor_to,
    ))
}

/// Units that `unit` can be brought to, other than itself; empty when it is not known.
pub(crate) fn related(unit: &str) -> impl Iterator<Item = &'static str> {
    let units = quantity(unit).map_or(&[][..], |(k, ..)| QUANTITIES[k]);
    let own = unit.to_owned();
    units
        .iter()
        .map(|(name, ..)| *name)
        .filter(move |name| *name != own)
}

/// All factors between two units of one quantity that differ.
pub(crate) fn factors() -> impl Iterator<Item = f64> {
    let pairs = QUANTITIES.iter().flat_map(|units| {
        let each = units.iter();
        each.flat_map(|(_, a, _)| units.iter().map(move |(_, b, _)| a / b))
    });
    pairs.filter(|factor| *factor != 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn converted(value: f64, from: &str, to: &str) -> f64 {
        let (factor, offset) = conversion(from, to).expect("units of one quantity");
        value * factor + offset
    }

    #[test]
    fn conversions_are_those_of_the_tables() {
        // NIST Special Publication 811 (2008), appendix B.8.
        for (value, from, to, expected) in [
            (1.0, "kt", "m/s", 0.514_444_4),
            (1.0, "kt", "km/h", 1.852),
            (1.0, "NM", "ft", 6_076.115_5),
            (1.0, "fpm", "m/s", 0.005_08),
            (1.0, "lb", "kg", 0.453_592_37),
            (1.0, "gal", "l", 3.785_412),
            (29.92, "inHg", "hPa", 1_013.207_6),
            (1.0, "psi", "hPa", 68.947_57),
            (-40.0, "degC", "degF", -40.0),
            (212.0, "°F", "°C", 100.0),
            (0.0, "degC", "K", 273.15),
            (180.0, "deg", "rad", std::f64::consts::PI),
            (90.0, "min", "h", 1.5),
        ] {
            let found = converted(value, from, to);
            assert!(
                (found - expected).abs() < 1e-6 * expected.abs().max(1.0),
                "{value} {from} is {found} {to}, expected {expected}"
            );
        }
        assert_eq!(conversion("kt", "kg"), None);
        assert_eq!(conversion("kt", "furlong"), None);
    }
}
