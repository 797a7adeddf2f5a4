//! How long a fault must last before it counts.
//!
//! A monitor that acts on a single odd frame takes a good display away from the crew; one
//! that waits too long leaves a misleading picture up. Three rules stand here:
//!
//! - [`Persistence`] counts in time and is what verdicts go through. Frame rates vary, so
//!   time and not the number of frames decides; [`KOfN`] can be asked for besides.
//! - [`RunLength`] counts frames in a row.
//! - [`KOfN`] counts faulty frames in a sliding window, and so also sees a fault that comes
//!   and goes.
//!
//! All three know one bit a frame. What the fault is, and whether two frames have the same
//! one, is the caller's to say: one machine for each region and class.

use super::constants::TIME_SLACK_S;

/// Largest window of [`KOfN`], frames.
pub use crate::definition::model::MAX_WINDOW_FRAMES;

/// Trips while at least `k` of the last `n` frames were faulty.
///
/// The window starts empty, which counts as clean. Two of them are equal when they will
/// behave the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct KOfN {
    k: u32,
    n: u32,
    /// Newest frame in the lowest bit.
    window: u128,
}

impl KOfN {
    /// `k` of `n` frames.
    ///
    /// # Panics
    /// Unless 1 <= `k` <= `n` <= [`MAX_WINDOW_FRAMES`].
    #[must_use]
    pub const fn new(k: u32, n: u32) -> Self {
        assert!(
            1 <= k && k <= n && n <= MAX_WINDOW_FRAMES,
            "k of n frames: 1 <= k <= n <= 128"
        );
        Self { k, n, window: 0 }
    }

    /// `k` of `n` frames, where there is such a window; records may say anything.
    #[must_use]
    pub const fn checked([k, n]: [u32; 2]) -> Option<Self> {
        if 1 <= k && k <= n && n <= MAX_WINDOW_FRAMES {
            Some(Self::new(k, n))
        } else {
            None
        }
    }

    /// True while no frame of the window was faulty.
    #[must_use]
    pub const fn is_clean(&self) -> bool {
        self.window == 0
    }

    /// Takes the next frame; true while tripped.
    pub const fn push(&mut self, is_faulty: bool) -> bool {
        self.window =
            ((self.window << 1) | is_faulty as u128) & (u128::MAX >> (MAX_WINDOW_FRAMES - self.n));
        self.window.count_ones() >= self.k
    }
}

/// Trips after a run of faulty frames and recovers after a run of clean ones.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct RunLength {
    confirm_frames: u32,
    recover_frames: u32,
    is_tripped: bool,
    /// Frames in a row that speak against the present state.
    run: u32,
}

impl RunLength {
    /// Trips at the `confirm_frames`th faulty frame in a row, recovers at the
    /// `recover_frames`th clean one in a row. 0 acts like 1.
    #[must_use]
    pub const fn new(confirm_frames: u32, recover_frames: u32) -> Self {
        Self {
            confirm_frames,
            recover_frames,
            is_tripped: false,
            run: 0,
        }
    }

    /// Takes the next frame; true while tripped.
    pub const fn push(&mut self, is_faulty: bool) -> bool {
        if is_faulty == self.is_tripped {
            self.run = 0;
            return self.is_tripped;
        }
        self.run += 1;
        let needed = if self.is_tripped {
            self.recover_frames
        } else {
            self.confirm_frames
        };
        if self.run >= needed {
            self.is_tripped = is_faulty;
            self.run = 0;
        }
        self.is_tripped
    }
}

/// What a frame changed. Times are those given to [`Persistence::push`], s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Transition {
    /// A fault has lasted for the confirmation time.
    Raised {
        /// First faulty frame.
        onset_s: f64,
        /// The frame that confirmed it.
        detected_s: f64,
    },
    /// A raised fault has been gone for the recovery time, or the capture ended.
    Ended {
        /// First faulty frame.
        onset_s: f64,
        /// The frame that confirmed it.
        detected_s: f64,
        /// First clean frame after it; the end of the capture when there was none.
        end_s: f64,
    },
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum State {
    Clean,
    /// Faulty since `onset_s`, not for long enough yet; the frames since `run_s` were all faulty.
    Suspect {
        onset_s: f64,
        run_s: Option<f64>,
    },
    Raised {
        onset_s: f64,
        detected_s: f64,
        clean_since_s: Option<f64>,
    },
}

/// Confirmation and recovery in time.
///
/// A fault is raised at the first frame at which faulty frames have lasted for the
/// confirmation time without a clean one between, measured from the first faulty frame. It
/// ends once clean frames have lasted for the recovery time; a faulty frame before that
/// continues it. With 0 ms the first frame decides. A fault that comes and goes is raised by
/// [`KOfN`], where that is asked for too.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Persistence {
    confirm_s: f64,
    recover_s: f64,
    often: Option<KOfN>,
    state: State,
}

impl Persistence {
    /// Starts clean. Times are milliseconds, not negative.
    #[must_use]
    pub const fn new(confirm_ms: f64, recover_ms: f64) -> Self {
        Self {
            confirm_s: confirm_ms / 1000.0,
            recover_s: recover_ms / 1000.0,
            often: None,
            state: State::Clean,
        }
    }

    /// Raises as well while `often` is tripped.
    #[must_use]
    pub const fn or_often(mut self, often: Option<KOfN>) -> Self {
        self.often = often;
        self
    }

    /// Takes the frame shown at `time_s`; times do not fall from call to call.
    pub fn push(&mut self, time_s: f64, is_faulty: bool) -> Option<Transition> {
        self.push_known(time_s, is_faulty, false)
    }

    /// The same where it may be known that the fault has lasted for long enough, as by a sequential test: then it is raised at once.
    pub fn push_known(
        &mut self,
        time_s: f64,
        is_faulty: bool,
        is_confirmed: bool,
    ) -> Option<Transition> {
        let is_often = self.often.as_mut().is_some_and(|o| o.push(is_faulty)) || is_confirmed;
        match (self.state, is_faulty) {
            (State::Clean, false) => None,
            (State::Suspect { onset_s, .. }, false) => {
                self.state = if self.often.is_some_and(|o| !o.is_clean()) {
                    State::Suspect {
                        onset_s,
                        run_s: None,
                    }
                } else {
                    State::Clean
                };
                None
            }
            (State::Clean, true) => self.suspect(time_s, time_s, time_s, is_often),
            (State::Suspect { onset_s, run_s }, true) => {
                self.suspect(onset_s, run_s.unwrap_or(time_s), time_s, is_often)
            }
            (
                State::Raised {
                    onset_s,
                    detected_s,
                    ..
                },
                true,
            ) => {
                self.state = State::Raised {
                    onset_s,
                    detected_s,
                    clean_since_s: None,
                };
                None
            }
            (
                State::Raised {
                    onset_s,
                    detected_s,
                    clean_since_s,
                },
                false,
            ) => {
                let end_s = clean_since_s.unwrap_or(time_s);
                if time_s - end_s >= self.recover_s - TIME_SLACK_S {
                    self.state = State::Clean;
                    return Some(Transition::Ended {
                        onset_s,
                        detected_s,
                        end_s,
                    });
                }
                self.state = State::Raised {
                    onset_s,
                    detected_s,
                    clean_since_s: Some(end_s),
                };
                None
            }
        }
    }

    fn suspect(
        &mut self,
        onset_s: f64,
        run_s: f64,
        time_s: f64,
        is_often: bool,
    ) -> Option<Transition> {
        if is_often || time_s - run_s >= self.confirm_s - TIME_SLACK_S {
            self.state = State::Raised {
                onset_s,
                detected_s: time_s,
                clean_since_s: None,
            };
            return Some(Transition::Raised {
                onset_s,
                detected_s: time_s,
            });
        }
        self.state = State::Suspect {
            onset_s,
            run_s: Some(run_s),
        };
        None
    }

    /// Ends the capture at `time_s` and closes an open event. What was not confirmed by then is
    /// dropped. Starts clean again.
    pub fn finish(&mut self, time_s: f64) -> Option<Transition> {
        self.often = self.often.map(|o| KOfN::new(o.k, o.n));
        match std::mem::replace(&mut self.state, State::Clean) {
            State::Clean | State::Suspect { .. } => None,
            State::Raised {
                onset_s,
                detected_s,
                clean_since_s,
            } => Some(Transition::Ended {
                onset_s,
                detected_s,
                end_s: clean_since_s.unwrap_or(time_s),
            }),
        }
    }

    /// True from being raised until being ended, also while a recovery is under way.
    #[must_use]
    pub const fn is_raised(&self) -> bool {
        matches!(self.state, State::Raised { .. })
    }

    /// First faulty frame of a fault that is raised or may yet be, s.
    #[must_use]
    pub const fn onset_s(&self) -> Option<f64> {
        match self.state {
            State::Clean => None,
            State::Suspect { onset_s, .. } | State::Raised { onset_s, .. } => Some(onset_s),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Frames every 0.1 s; `#` faulty, `.` clean. Gives the transitions with the frames' numbers.
    fn run(machine: &mut Persistence, frames: &str) -> Vec<(usize, Transition)> {
        let frames = frames.bytes().enumerate();
        frames
            .filter_map(|(k, f)| Some((k, machine.push(k as f64 * 0.1, f == b'#')?)))
            .collect()
    }

    const fn raised(onset_s: f64, detected_s: f64) -> Transition {
        Transition::Raised {
            onset_s,
            detected_s,
        }
    }

    const fn ended(onset_s: f64, detected_s: f64, end_s: f64) -> Transition {
        Transition::Ended {
            onset_s,
            detected_s,
            end_s,
        }
    }

    #[test]
    fn a_fault_is_raised_when_it_has_lasted() {
        let mut machine = Persistence::new(300.0, 200.0);
        // 0.1 * 6 - 0.1 * 3 falls short of 0.3 by a rounding error.
        let seen = run(&mut machine, "...####......");
        assert_eq!(
            seen,
            [
                (6, raised(0.1 * 3.0, 0.1 * 6.0)),
                (9, ended(0.1 * 3.0, 0.1 * 6.0, 0.1 * 7.0))
            ]
        );
        assert!(!machine.is_raised());
    }

    #[test]
    fn a_clean_frame_starts_the_confirmation_anew() {
        let mut machine = Persistence::new(300.0, 200.0);
        assert_eq!(run(&mut machine, "###.###.###."), []);
        assert_eq!(machine.onset_s(), None);
    }

    #[test]
    fn a_faulty_frame_during_recovery_continues_the_event() {
        let mut machine = Persistence::new(100.0, 300.0);
        let seen = run(&mut machine, "##...#....");
        assert_eq!(
            seen,
            [(1, raised(0.0, 0.1)), (9, ended(0.0, 0.1, 0.1 * 6.0))]
        );
    }

    #[test]
    fn no_time_means_the_first_frame() {
        let mut machine = Persistence::new(0.0, 0.0);
        assert_eq!(
            run(&mut machine, ".#.."),
            [(1, raised(0.1, 0.1)), (2, ended(0.1, 0.1, 0.2))]
        );
    }

    #[test]
    fn the_end_of_a_capture_closes_an_event() {
        let mut machine = Persistence::new(100.0, 1000.0);
        run(&mut machine, "###");
        assert_eq!(machine.finish(0.25), Some(ended(0.0, 0.1, 0.25)));
        assert_eq!(machine.finish(0.25), None);
        run(&mut machine, "##..");
        assert_eq!(
            machine.finish(0.5),
            Some(ended(0.0, 0.1, 0.2)),
            "it was clean from 0.2 s"
        );
        run(&mut machine, "#");
        assert_eq!(machine.finish(0.1), None, "not confirmed");
    }

    #[test]
    fn a_window_forgets() {
        let mut window = KOfN::new(2, 3);
        let tripped: Vec<bool> = [true, false, false, true, true, false, false]
            .map(|f| window.push(f))
            .to_vec();
        assert_eq!(tripped, [false, false, false, false, true, true, false]);
        let mut widest = KOfN::new(128, 128);
        assert_eq!((0..128).filter(|_| widest.push(true)).count(), 1);
        assert!(!widest.push(false));
    }

    #[test]
    fn a_run_confirms_and_recovers() {
        let mut run = RunLength::new(3, 2);
        let frames = [
            true, true, false, true, true, true, false, true, false, false,
        ];
        let tripped = frames.map(|f| run.push(f));
        assert_eq!(
            tripped,
            [
                false, false, false, false, false, true, true, true, true, false
            ]
        );
    }

    proptest! {
        #[test]
        fn shorter_faults_are_never_raised_and_longer_ones_always(
            steps_ms in prop::collection::vec((1_u32..60, any::<bool>()), 1..300),
            confirm_ms in 0_u32..400,
            recover_ms in 0_u32..400,
        ) {
            let mut machine = Persistence::new(f64::from(confirm_ms), f64::from(recover_ms));
            let mut now_ms = 0;
            let (mut faulty_since, mut clean_since): (Option<u32>, Option<u32>) = (None, None);
            let mut is_open = false;
            for (step_ms, is_faulty) in steps_ms {
                now_ms += step_ms;
                if is_faulty {
                    faulty_since.get_or_insert(now_ms);
                    clean_since = None;
                } else {
                    clean_since.get_or_insert(now_ms);
                    faulty_since = None;
                }
                let lasted = |since: Option<u32>, needed| since.is_some_and(|s| now_ms - s >= needed);
                let seconds = |ms: u32| f64::from(ms) / 1000.0;
                match machine.push(seconds(now_ms), is_faulty) {
                    Some(Transition::Raised { onset_s, detected_s }) => {
                        prop_assert!(!is_open && lasted(faulty_since, confirm_ms));
                        prop_assert_eq!(onset_s, seconds(faulty_since.unwrap()));
                        prop_assert_eq!(detected_s, seconds(now_ms));
                        is_open = true;
                    }
                    Some(Transition::Ended { end_s, .. }) => {
                        prop_assert!(is_open && lasted(clean_since, recover_ms));
                        prop_assert_eq!(end_s, seconds(clean_since.unwrap()));
                        is_open = false;
                    }
                    None => {
                        prop_assert!(is_open || !lasted(faulty_since, confirm_ms), "a long fault was not raised");
                        prop_assert!(!is_open || !lasted(clean_since, recover_ms), "a recovery was not noticed");
                    }
                }
                prop_assert_eq!(machine.is_raised(), is_open);
            }
            prop_assert_eq!(machine.finish(f64::from(now_ms)).is_some(), is_open);
        }
    }

    #[test]
    fn a_fault_that_comes_and_goes_is_raised_only_where_that_is_asked_for() {
        // Two of three frames, 40 ms apart: never 300 ms without a clean one.
        let onset = |mut p: Persistence| {
            (0..30).find_map(|k| match p.push(f64::from(k) * 0.04, k % 3 != 2) {
                Some(Transition::Raised {
                    onset_s,
                    detected_s,
                }) => Some((onset_s, detected_s)),
                _ => None,
            })
        };
        let plain = Persistence::new(300.0, 500.0);
        assert_eq!(onset(plain), None);
        // The eighth faulty frame is frame 10.
        let often = plain.or_often(Some(KOfN::new(8, 16)));
        let (onset_s, detected_s) = onset(often).expect("8 of 16 are faulty");
        assert_eq!(onset_s, 0.0);
        assert!((detected_s - 0.4).abs() < 1e-9, "{detected_s}");
    }

    #[test]
    fn an_odd_frame_is_forgotten_once_the_window_has_passed_it() {
        let mut p = Persistence::new(300.0, 500.0).or_often(Some(KOfN::new(2, 4)));
        assert_eq!(p.push(0.0, true), None);
        for k in 1..4 {
            p.push(f64::from(k) * 0.04, false);
            assert_eq!(p.onset_s(), Some(0.0));
        }
        p.push(0.16, false);
        assert_eq!(p.onset_s(), None);
    }
}
