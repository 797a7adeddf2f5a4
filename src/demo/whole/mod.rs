//! The whole display of a light helicopter, a second one beside it, and what goes wrong on them: each fault is one that only the
//! thing that it falls on can have.

pub mod scenario;

use super::faults::{Class, Fault, Kind, Names};
use crate::definition::Definition;
use crate::recording::inputs::Value;

/// The flight display, 1280 x 1024: a flight page, a systems page and the page of a reversion.
pub const DISPLAY: &str = include_str!("display.toml");

/// The small display beside it, 480 x 640.
pub const SECOND: &str = include_str!("second.toml");

/// Frames a second of both captures.
pub const RATE: (u32, u32) = (15, 1);

fn fault(
    class: Class,
    regions: &[&str],
    span_s: [f64; 2],
    kind: Option<Kind>,
    what: &str,
) -> Fault {
    let (rate, per) = RATE;
    let kind = kind.unwrap_or_else(|| panic!("the bundled display has what \"{what}\" names"));
    Fault::on_frames(
        f64::from(rate) / f64::from(per),
        class,
        regions,
        span_s,
        kind,
        what,
    )
}

/// What goes wrong on the flight display.
///
/// # Panics
/// When `definition` is not that of [`DISPLAY`].
#[must_use]
pub fn faults(definition: &Definition) -> Vec<Fault> {
    use Class::{Frozen, Harmless, Misleading};
    let names = Names(definition);
    let page = |id: &str| {
        let found = definition.pages().iter().position(|p| p.id == id);
        found.map(Kind::Page)
    };
    let set = |region: &str, channel: &str, value: Value| {
        Some(Kind::Set(
            names.region(region)?,
            names.channel(channel)?,
            value,
        ))
    };
    let swap = |region: &str, a: &str, b: &str| {
        Some(Kind::Swap(
            names.region(region)?,
            names.channel(a)?,
            names.channel(b)?,
        ))
    };
    let copy = |region: &str, from: &str, to: &str| {
        Some(Kind::Copy {
            region: names.region(region)?,
            from: names.channel(from)?,
            to: names.channel(to)?,
        })
    };
    // Whatever stands on the flight page; no alert is active then.
    let flight = [
        "modes",
        "lamps",
        "stopwatch",
        "rotor",
        "power",
        "fuel",
        "airspeed",
        "attitude",
        "altitude",
        "vertical_speed",
        "heading",
        "traffic",
        "radios",
        "hook",
    ];
    let basic = [
        "basic_attitude",
        "basic_airspeed",
        "basic_altitude",
        "basic_heading",
        "reversion_note",
    ];
    vec![
        fault(
            Misleading,
            &["rotor"],
            [6.0, 7.4],
            copy("rotor", "rotor_speed", "engine_speed"),
            "engine speed goes with the rotor's",
        ),
        fault(
            Misleading,
            &["altitude"],
            [10.6, 12.0],
            names.bias("altitude", "altitude", 1000.0),
            "altitude reads a turn too high",
        ),
        fault(
            Misleading,
            &["power"],
            [15.6, 17.0],
            names.bias("power", "five_minutes_left", -60.0),
            "a minute too little is left",
        ),
        fault(
            Misleading,
            &["vertical_speed"],
            [22.4, 23.8],
            names.recolor("vertical_speed", "red", "white"),
            "the fast descent stays white",
        ),
        fault(
            Misleading,
            &["alerts"],
            [25.4, 26.0],
            names.drop_alert("alerts"),
            "the red alert of a full list is missing",
        ),
        fault(
            Harmless,
            &[],
            [26.0, 28.15],
            page("reversionary"),
            "and the display reverts",
        ),
        fault(
            Misleading,
            &["traffic"],
            [32.4, 33.8],
            names.bias("traffic", "traffic_1_bearing", 180.0),
            "a target stands on the wrong side",
        ),
        fault(
            Misleading,
            &["radios"],
            [35.0, 36.4],
            swap("radios", "com_active", "com_standby"),
            "each frequency stands in the other's box",
        ),
        fault(
            Misleading,
            &["modes"],
            [37.2, 38.8],
            set("modes", "vertical_mode", Value::Number(2.0)),
            "a mode that dropped out is shown engaged",
        ),
        fault(
            Misleading,
            &["systems", "swing"],
            [41.0, 42.4],
            page("flight"),
            "the page does not change",
        ),
        fault(
            Misleading,
            &["systems"],
            [45.0, 46.4],
            names.bias("systems", "oil_pressure", 1.5),
            "oil pressure reads 1.5 bar too high",
        ),
        fault(
            Misleading,
            &["fuel"],
            [48.2, 50.0],
            set("fuel", "fuel_unit", Value::Text("KG".into())),
            "fuel stands in the wrong unit",
        ),
        fault(
            Misleading,
            &["lamps"],
            [51.6, 53.0],
            set("lamps", "warning_lamp", Value::Number(0.0)),
            "the warning lamp stays dark",
        ),
        fault(
            Misleading,
            &flight,
            [57.0, 58.4],
            page("reversionary"),
            "the display reverts without cause",
        ),
        fault(
            Misleading,
            &["airspeed"],
            [62.4, 64.6],
            names.bias("airspeed", "airspeed", 11.0),
            "airspeed reads 11 kt too high",
        ),
        fault(
            Misleading,
            &basic,
            [63.3, 65.7],
            Some(Kind::Nothing),
            "and the display does not revert",
        ),
        fault(
            Frozen,
            &["stopwatch"],
            [68.2, 71.0],
            names.freeze("stopwatch"),
            "the stopwatch stands still",
        ),
        fault(
            Misleading,
            &["hook"],
            [72.6, 74.0],
            names.bias("hook", "hook_load", 100.0),
            "the rolling digits read 100 kg too much",
        ),
        fault(
            Harmless,
            &[],
            [75.0, 78.0],
            names.bias("airspeed", "airspeed", 2.3),
            "airspeed is high within its tolerance",
        ),
    ]
}

/// What goes wrong on the display beside it.
///
/// # Panics
/// When `definition` is not that of [`SECOND`].
#[must_use]
pub fn second_faults(definition: &Definition) -> Vec<Fault> {
    let names = Names(definition);
    let all = ["airspeed", "attitude", "altitude", "heading"];
    vec![
        fault(
            Class::Misleading,
            &all,
            [30.4, 31.8],
            Some(Kind::ExchangeHalves),
            "its upper and lower halves are exchanged",
        ),
        fault(
            Class::Misleading,
            &["airspeed"],
            [75.0, 78.0],
            names.bias("airspeed", "airspeed", -2.3),
            "airspeed splits from the other display's",
        ),
    ]
}
