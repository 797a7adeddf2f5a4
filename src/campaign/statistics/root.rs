//! Where a function crosses zero, by halving.

/// The point between `low` and `high` at which `f` changes its sign, to the last bit.
///
/// Halving needs nothing of `f` but one change of sign; the quicker methods save time that no one misses here and
/// stall on the flat ends of distributions.
pub(super) fn crossing(mut low: f64, mut high: f64, f: impl Fn(f64) -> f64) -> f64 {
    let is_rising = f(high) > 0.0;
    loop {
        let middle = low + (high - low) / 2.0;
        if middle <= low || middle >= high {
            return middle;
        }
        if (f(middle) > 0.0) == is_rising {
            high = middle;
        } else {
            low = middle;
        }
    }
}

/// The point between 0 and `far` at which `f` becomes positive, to 1e-11 of `far`, for smooth functions that are costly.
///
/// # Source
/// The Illinois method: Dowell and Jarratt, BIT 11 (1971), 168-174.
pub(super) fn smooth_crossing(far: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (0.0, far);
    let (mut f_low, mut f_high) = (f(low), f(high));
    let mut was_high = None;
    while high - low > 1e-11 * far {
        let middle = (low * f_high - high * f_low) / (f_high - f_low);
        if !(middle > low && middle < high) {
            break;
        }
        let f_middle = f(middle);
        let is_high = f_middle > 0.0;
        // The end that stays put twice is given half its weight, or it would stay for ever.
        let weight = if was_high == Some(is_high) { 0.5 } else { 1.0 };
        if is_high {
            (high, f_high, f_low) = (middle, f_middle, f_low * weight);
        } else {
            (low, f_low, f_high) = (middle, f_middle, f_high * weight);
        }
        was_high = Some(is_high);
        if f_middle.abs() < 1e-12 {
            return middle;
        }
    }
    if f_high < -f_low { high } else { low }
}

#[cfg(test)]
mod tests {
    use super::{crossing, smooth_crossing};

    #[test]
    fn rising_and_falling_functions_are_crossed() {
        assert!((crossing(0.0, 2.0, |x| x * x - 2.0) - 2.0_f64.sqrt()).abs() < 1e-15);
        assert!((crossing(0.0, 2.0, |x| 2.0 - x * x) - 2.0_f64.sqrt()).abs() < 1e-15);
    }

    #[test]
    fn smooth_functions_are_crossed_in_few_steps() {
        let calls = std::cell::Cell::new(0);
        let found = smooth_crossing(4.0, |x| {
            calls.set(calls.get() + 1);
            x.exp() - 3.0
        });
        assert!((found - 3.0_f64.ln()).abs() < 1e-10, "{found}");
        assert!(calls.get() < 20, "{calls:?}");
    }

    #[test]
    fn small_roots_are_found_to_their_own_size() {
        assert!((crossing(0.0, 1.0, |x| x - 3e-12) / 3e-12 - 1.0).abs() < 1e-14);
    }
}
