//! What numbers of radios can be: names of channels, codes of transponders.
//!
//! # Source
//! Channel names: ICAO Annex 10, Volume V, table 4-1 (bis), and EUROCAE ED-23 (from memory). In each 25 kHz there are four
//! names: one ends as the frequency does and stands for the wide channel, the next three, 5, 10 and 15 kHz above, for the
//! channels of 8.33 kHz. So 118.000, .005, .010, .015 are names, and .020 is none. The band is that of 117.975 to 137 MHz.
//! Codes: four digits from 0 to 7 (ICAO Annex 10, Volume IV, 3.1.1.6, from memory).

/// Names of a band of 25 kHz, kHz above its beginning.
const NAMES_KHZ: [i64; 4] = [0, 5, 10, 15];
/// First and last name, kHz.
const BAND_KHZ: [i64; 2] = [118_000, 136_990];
/// What a number in MHz may be off its name, kHz: recordings round to some decimals.
const SLACK_KHZ: f64 = 1e-3;

/// Whether a number, MHz, is the name of a channel of the aeronautical VHF band.
pub(super) fn is_channel_name(mhz: f64) -> bool {
    let khz = mhz * 1000.0;
    let name = khz.round();
    let [first, last] = BAND_KHZ.map(|v| v as f64);
    (khz - name).abs() <= SLACK_KHZ
        && (first..=last).contains(&name)
        && NAMES_KHZ.contains(&(name as i64).rem_euclid(25))
}

/// Whether a number is written with digits from 0 to 7 alone, four of them at most.
pub(super) fn is_transponder_code(code: f64) -> bool {
    if code.fract() != 0.0 || !(0.0..=7777.0).contains(&code) {
        return false;
    }
    let mut left = code as u32;
    while left > 0 {
        if left % 10 > 7 {
            return false;
        }
        left /= 10;
    }
    true
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first rows of table 4-1 (bis) of ICAO Annex 10, Volume V (from memory): names from 118.000 to 118.100.
    #[test]
    fn names_of_channels_are_those_of_the_table() {
        let table = [
            "118.000", "118.005", "118.010", "118.015", "118.025", "118.030", "118.035", "118.040",
            "118.050", "118.055", "118.060", "118.065", "118.075", "118.080", "118.085", "118.090",
            "118.100",
        ];
        for khz in (118_000..=118_100).map(f64::from) {
            let name = format!("{:.3}", khz / 1000.0);
            assert_eq!(
                is_channel_name(khz / 1000.0),
                table.contains(&name.as_str()),
                "{name}"
            );
        }
        // The band has 760 wide channels (118.000 to 136.975), and three narrow ones beside each: 19 MHz / 25 kHz, times 4.
        let all = (117_000..=138_000).filter(|khz| is_channel_name(f64::from(*khz) / 1000.0));
        assert_eq!(all.count(), 760 * 4);
        assert!(is_channel_name(136.99) && !is_channel_name(137.0) && !is_channel_name(117.99));
        // A frequency of the 8.33 kHz grid is no name.
        assert!(!is_channel_name(118.0083) && !is_channel_name(f64::NAN));
    }

    #[test]
    fn codes_are_octal() {
        let all = (0..10_000).filter(|code| is_transponder_code(f64::from(*code)));
        assert_eq!(all.count(), 8usize.pow(4));
        for (code, is) in [
            (7700.0, true),
            (1234.0, true),
            (1280.0, false),
            (9.0, false),
            (12.5, false),
            (-1.0, false),
            (17777.0, false),
        ] {
            assert_eq!(is_transponder_code(code), is, "{code}");
        }
    }
}
