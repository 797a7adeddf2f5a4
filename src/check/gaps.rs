//! Gaps in a stream: between two frames the crew goes on seeing the older one.
//!
//! Recorders with a variable frame rate write nothing while the picture does not change, so a display that freezes
//! makes a gap and not equal frames. In a gap the last picture is judged again, as of instants that lie the closer
//! the younger the gap is.

use crate::check::constants::gaps::{FEWEST, GROWTH, LONG, RECENT, SHORTEST_S};

/// What spacing of frames is usual.
#[derive(Clone, Debug, Default)]
pub(super) struct Gaps {
    recent_s: [f64; RECENT],
    count: usize,
    found: u64,
    longest_s: f64,
    longest_at_s: f64,
}

impl Gaps {
    /// Takes the spacing of two frames, the older of them at `time_s`. Instants between them at which the older
    /// picture is to be judged again, as ages, s.
    pub fn push(&mut self, time_s: f64, spacing_s: f64) -> impl Iterator<Item = f64> + use<> {
        let usual_s = self.usual_s();
        self.recent_s[self.count % RECENT] = spacing_s;
        self.count += 1;
        let is_gap = usual_s.is_some_and(|usual| spacing_s > (LONG * usual).max(SHORTEST_S));
        if is_gap {
            self.found += 1;
            if spacing_s > self.longest_s {
                (self.longest_s, self.longest_at_s) = (spacing_s, time_s);
            }
        }
        let step_s = usual_s.unwrap_or(spacing_s).max(0.001);
        let next = move |age: &f64| Some(age + step_s.max(GROWTH * age));
        std::iter::successors(Some(step_s), next)
            // The frame that ends the gap has its own picture.
            .take_while(move |age| is_gap && *age < spacing_s - step_s / 2.0)
    }

    /// Median of the newest spacings, s.
    fn usual_s(&self) -> Option<f64> {
        let count = self.count.min(RECENT);
        let mut sorted = self.recent_s;
        let sorted = &mut sorted[..count];
        sorted.sort_by(f64::total_cmp);
        (count >= FEWEST).then(|| sorted[count / 2])
    }

    /// What is to be noted of the gaps of a capture.
    pub fn note(&self) -> Option<String> {
        (self.found > 0).then(|| {
            format!(
                "the stream has {} {}, the longest of {:.2} s from {:.3} s on: the last picture counts as shown till the next frame",
                self.found,
                if self.found == 1 { "gap" } else { "gaps" },
                self.longest_s,
                self.longest_at_s,
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn after(spacings: &[f64], last: f64) -> Vec<f64> {
        let mut gaps = Gaps::default();
        for s in spacings {
            assert_eq!(gaps.push(0.0, *s).count(), 0);
        }
        gaps.push(1.0, last).collect()
    }

    #[test]
    fn even_frames_leave_no_gap_at_any_rate() {
        for spacing in [0.004, 0.04, 0.5, 2.0] {
            assert!(after(&[spacing; 9], spacing).is_empty());
        }
    }

    #[test]
    fn a_gap_is_filled_at_the_usual_spacing_up_to_the_next_frame() {
        let ages = after(&[0.04; 9], 0.2);
        let wanted = [0.04, 0.08, 0.12, 0.16];
        assert_eq!(ages.len(), wanted.len());
        assert!(ages.iter().zip(wanted).all(|(a, b)| (a - b).abs() < 1e-9));
    }

    #[test]
    fn an_hour_takes_some_hundred_instants() {
        let ages = after(&[0.04; 9], 3600.0);
        assert!((200..600).contains(&ages.len()), "{}", ages.len());
        assert!(ages.iter().all(|a| *a < 3600.0));
    }

    #[test]
    fn two_frames_lost_are_no_gap_nor_is_a_start_that_says_nothing() {
        assert!(after(&[0.02; 9], 0.06).is_empty());
        assert!(after(&[0.04; 3], 5.0).is_empty());
    }

    #[test]
    fn the_note_names_the_longest() {
        let mut gaps = Gaps::default();
        assert_eq!(gaps.note(), None);
        for (k, spacing) in [0.04, 0.04, 0.04, 0.04, 0.5, 0.04, 2.0].iter().enumerate() {
            let _ = gaps.push(k as f64, *spacing).count();
        }
        let note = gaps.note().unwrap();
        assert!(
            note.contains("2 gaps") && note.contains("2.00 s from 6.000 s"),
            "{note}"
        );
    }
}
