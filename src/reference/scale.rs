//! Scales: where a value stands, and which values have marks.

/// Most marks that one scale gets, whatever its steps say: a bound on work, not a design rule.
const MOST_MARKS: f64 = 2000.0;

/// Part of a step by which a mark may lie outside the scale through rounding.
const STEP_ROUNDING: f64 = 1e-9;

/// Where `v` stands on a scale given by breakpoints `[value, place]`, values rising: straight
/// between neighbours, and the place of the nearer end outside.
#[must_use]
pub fn place(breakpoints: &[[f64; 2]], v: f64) -> f64 {
    let (Some(first), Some(last)) = (breakpoints.first(), breakpoints.last()) else {
        return 0.0;
    };
    if v <= first[0] {
        return first[1];
    }
    if v >= last[0] {
        return last[1];
    }
    let [[v0, p0], [v1, p1]] = segment(breakpoints, v);
    p0 + (p1 - p0) * (v - v0) / (v1 - v0)
}

/// Change of place for a unit of value at `v`; 0 outside the scale, where the place stays.
/// At a breakpoint it is that of the stretch above, at the upper end that of the stretch below.
#[must_use]
pub fn slope(breakpoints: &[[f64; 2]], v: f64) -> f64 {
    let Some([low, high]) = span(breakpoints) else {
        return 0.0;
    };
    if v < low || v > high || low >= high {
        return 0.0;
    }
    let [[v0, p0], [v1, p1]] = segment(breakpoints, v);
    (p1 - p0) / (v1 - v0)
}

/// Smallest change of place for a unit of value, without sign: of the stretch that is coarsest.
#[must_use]
pub fn least_slope(breakpoints: &[[f64; 2]]) -> f64 {
    breakpoints
        .windows(2)
        .map(|w| libm::fabs((w[1][1] - w[0][1]) / (w[1][0] - w[0][0])))
        .fold(f64::INFINITY, f64::min)
}

/// Lowest and highest value of a scale; `None` when it has no breakpoints.
#[must_use]
pub fn span(breakpoints: &[[f64; 2]]) -> Option<[f64; 2]> {
    Some([breakpoints.first()?[0], breakpoints.last()?[0]])
}

/// The stretch that `v` lies in, for a `v` inside the scale.
fn segment(breakpoints: &[[f64; 2]], v: f64) -> [[f64; 2]; 2] {
    let above = breakpoints
        .iter()
        .position(|b| b[0] > v)
        .unwrap_or(breakpoints.len() - 1)
        .max(1);
    [breakpoints[above - 1], breakpoints[above]]
}

/// Multiples of `step` from `low` to `high`, both included; at most 2,000.
pub fn multiples(step: f64, low: f64, high: f64) -> impl Iterator<Item = f64> {
    let is_sane =
        step > 0.0 && low <= high && (low / step).is_finite() && (high / step).is_finite();
    let (first, last) = if is_sane {
        (
            libm::ceil(low / step - STEP_ROUNDING),
            libm::floor(high / step + STEP_ROUNDING),
        )
    } else {
        (0.0, -1.0)
    };
    let count = (last - first + 1.0).clamp(0.0, MOST_MARKS) as u32;
    (0..count).map(move |k| (first + f64::from(k)) * step)
}

/// True when `v` is a multiple of `step`, rounding allowed for.
#[must_use]
pub fn is_multiple(v: f64, step: f64) -> bool {
    let count = v / step;
    libm::fabs(count - libm::round(count)) < 1e-6
}

/// `degrees` brought into -180 (included) to 180 (not included).
#[must_use]
pub fn half_turn(degrees: f64) -> f64 {
    half_period(degrees, 360.0)
}

/// `v` brought into half a period to either side of 0.
#[must_use]
pub fn half_period(v: f64, period: f64) -> f64 {
    let half = period / 2.0;
    if (-half..half).contains(&v) {
        v
    } else {
        (v + half).rem_euclid(period) - half
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BENT: [[f64; 2]; 3] = [[0.0, -120.0], [40.0, -60.0], [100.0, 120.0]];

    #[test]
    fn places_lie_on_straight_lines_and_stop_at_the_ends() {
        for (v, angle) in [
            (0.0, -120.0),
            (20.0, -90.0),
            (40.0, -60.0),
            (70.0, 30.0),
            (100.0, 120.0),
            (-5.0, -120.0),
            (900.0, 120.0),
        ] {
            assert_eq!(place(&BENT, v), angle, "{v}");
        }
    }

    #[test]
    fn slopes() {
        for (v, per_unit) in [
            (0.0, 1.5),
            (20.0, 1.5),
            (40.0, 3.0),
            (100.0, 3.0),
            (-1.0, 0.0),
            (101.0, 0.0),
        ] {
            assert_eq!(slope(&BENT, v), per_unit, "{v}");
        }
    }

    #[test]
    fn multiples_include_both_ends() {
        assert_eq!(multiples(0.1, 0.0, 0.3).count(), 4);
        assert_eq!(
            multiples(10.0, -20.0, 15.0).collect::<Vec<_>>(),
            [-20.0, -10.0, 0.0, 10.0]
        );
        assert_eq!(multiples(0.0, 0.0, 1.0).count(), 0);
        assert_eq!(multiples(1.0, 1.0, 0.0).count(), 0);
        assert_eq!(multiples(1e-300, 0.0, 1e300).count(), 0);
        assert_eq!(multiples(1e-9, 0.0, 1.0).count(), 2000);
    }

    #[test]
    fn half_turns() {
        for (v, r) in [
            (0.0, 0.0),
            (180.0, -180.0),
            (-180.0, -180.0),
            (190.0, -170.0),
            (-190.0, 170.0),
            (720.5, 0.5),
        ] {
            assert_eq!(half_turn(v), r, "{v}");
        }
    }
}
