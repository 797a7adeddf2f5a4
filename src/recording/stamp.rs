//! Dates and times, as RFC 3339 writes them.
//!
//! Between date and time a `T` or a blank; a fraction after a point or a comma; a zone (`Z`, `+01:00`, `+0100`, `+01`) that
//! may be lacking. A leap second (`:60`) is refused: no clock of a recorder that counts so is known to rise through it.
//!
//! # Source
//! RFC 3339, section 5.6 (grammar). Days are counted in the proleptic Gregorian calendar of its appendix B: years of 400 have
//! 146,097 days, and a year that begins in March ends with its leap day.

/// A date and time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Stamp {
    /// Nanoseconds since the beginning of 1970, read in its own zone as if that were UTC.
    pub local_ns: i128,
    /// How far the zone is ahead of UTC, s, where it is said.
    pub zone_s: Option<i32>,
}

impl Stamp {
    /// Nanoseconds of UTC since the beginning of 1970; `zone_s` counts where it has no zone of its own.
    pub(crate) fn utc_ns(&self, zone_s: Option<i32>) -> Option<i128> {
        let zone_s = self.zone_s.or(zone_s)?;
        Some(self.local_ns - i128::from(zone_s) * NS)
    }
}

/// Nanoseconds in a second.
pub(super) const NS: i128 = 1_000_000_000;

/// How far a zone is ahead of UTC, s; `None` when the text is no zone.
pub(crate) fn zone(text: &str) -> Option<i32> {
    if matches!(text, "Z" | "z") {
        return Some(0);
    }
    let (sign, rest) = match text.as_bytes() {
        [b'+', ..] => (1, &text[1..]),
        [b'-', ..] => (-1, &text[1..]),
        _ => return None,
    };
    let (hours, minutes) = match rest.len() {
        2 => (rest, "0"),
        4 => rest.split_at_checked(2)?,
        5 => rest.split_once(':')?,
        _ => return None,
    };
    let (hours, minutes) = (digits(hours, 23)?, digits(minutes, 59)?);
    i32::try_from(sign * (hours * 3600 + minutes * 60)).ok()
}

/// What `text` says; `None` when it is no date and time.
pub(crate) fn parsed(text: &str) -> Option<Stamp> {
    let (date, rest) = text.trim().split_at_checked(10)?;
    let mut parts = date.split('-');
    let (year, month, day) = (parts.next()?, parts.next()?, parts.next()?);
    if parts.next().is_some() || (year.len(), month.len(), day.len()) != (4, 2, 2) {
        return None;
    }
    let (year, month, day) = (digits(year, 9999)?, digits(month, 12)?, digits(day, 31)?);
    if month == 0 || day == 0 || day > days_of_month(year, month) {
        return None;
    }
    let rest = rest.strip_prefix(['T', 't', ' '])?;
    let zone_at = rest.find(['Z', 'z', '+', '-']).unwrap_or(rest.len());
    let (time, zone_text) = rest.split_at(zone_at);
    let zone_s = match zone_text {
        "" => None,
        text => Some(zone(text)?),
    };
    let (time, fraction) = time
        .trim_end()
        .split_once(['.', ','])
        .unwrap_or((time.trim_end(), "0"));
    let mut parts = time.split(':');
    let (hour, minute, second) = (parts.next()?, parts.next()?, parts.next()?);
    if parts.next().is_some() || (hour.len(), minute.len(), second.len()) != (2, 2, 2) {
        return None;
    }
    let seconds = digits(hour, 23)? * 3600 + digits(minute, 59)? * 60 + digits(second, 59)?;
    let seconds = day_number(year, month, day) * 86_400 + seconds;
    Some(Stamp {
        local_ns: i128::from(seconds) * NS + fraction_ns(fraction)?,
        zone_s,
    })
}

/// A whole number of digits alone.
fn digits(text: &str, most: i64) -> Option<i64> {
    let is_plain = !text.is_empty() && text.len() <= 4 && text.bytes().all(|b| b.is_ascii_digit());
    text.parse().ok().filter(|n| is_plain && *n <= most)
}

/// Digits after the decimal sign; what is finer than a nanosecond is cut off.
fn fraction_ns(text: &str) -> Option<i128> {
    if text.is_empty() || text.len() > 30 || !text.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let padded: String = text.chars().chain("000000000".chars()).take(9).collect();
    padded.parse().ok()
}

fn days_of_month(year: i64, month: i64) -> i64 {
    let is_leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    match month {
        2 if is_leap => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

/// Days since the beginning of 1970.
fn day_number(year: i64, month: i64, day: i64) -> i64 {
    let year = if month <= 2 { year - 1 } else { year };
    let month_from_march = (month + 9) % 12;
    let day_of_year = (153 * month_from_march + 2) / 5 + day - 1;
    let leaps = year.div_euclid(4) - year.div_euclid(100) + year.div_euclid(400);
    // From 0000-03-01 to 1970-01-01.
    365 * year + leaps + day_of_year - 719_468
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seconds(text: &str) -> Option<f64> {
        Some(parsed(text)?.utc_ns(None)? as f64 / NS as f64)
    }

    #[test]
    fn examples_of_the_standard_are_what_it_says() {
        // RFC 3339, section 5.8; the seconds since 1970 are those that `date -u +%s` of GNU coreutils gives for them.
        assert_eq!(seconds("1985-04-12T23:20:50.52Z"), Some(482_196_050.52));
        assert_eq!(
            seconds("1996-12-19T16:39:57-08:00"),
            seconds("1996-12-20T00:39:57Z")
        );
        assert_eq!(seconds("1996-12-20T00:39:57Z"), Some(851_042_397.0));
        assert_eq!(
            seconds("1937-01-01T12:00:27.87+00:20"),
            Some(-1_041_337_172.13)
        );
        // POSIX.1-2017, Base Definitions 4.16: the Epoch.
        assert_eq!(seconds("1970-01-01T00:00:00Z"), Some(0.0));
        assert_eq!(seconds("2000-02-29 00:00:00,5+0100"), Some(951_778_800.5));
    }

    #[test]
    fn a_zone_is_asked_for_where_there_is_none() {
        let stamp = parsed("2031-05-04T10:00:00").unwrap();
        assert_eq!((stamp.zone_s, stamp.utc_ns(None)), (None, None));
        assert_eq!(
            stamp.utc_ns(Some(3600)),
            parsed("2031-05-04T09:00:00Z").unwrap().utc_ns(None)
        );
        assert_eq!(
            (zone("Z"), zone("-05:30"), zone("+01")),
            (Some(0), Some(-19_800), Some(3600))
        );
    }

    #[test]
    fn what_is_no_date_and_time_is_refused() {
        for text in [
            "",
            "10:00:01",
            "2031-02-29T00:00:00Z",
            "2031-13-01T00:00:00Z",
            "2031-05-04",
            "2031-05-04T24:00:00Z",
            "1990-12-31T23:59:60Z",
            "2031-05-04T10:00:00.Z",
            "2031-05-04T10:00Z",
            "2031-05-04T10:00:00+25:00",
            "2031-05-04T10:00:00 CET",
            "04.05.2031 10:00:00",
            "2031-5-04T10:00:00Z",
            "20é1-05-04T10:00:00Z",
        ] {
            assert_eq!(parsed(text), None, "{text}");
        }
    }
}
