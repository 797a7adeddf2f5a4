//! What decides how long a fault must last, and what is tried in its place.

use crate::definition::Definition;
use crate::definition::model::Budget;
use crate::judge::region::plan_under;
use crate::judge::sequential::Plan;

/// Confirmation times that are tried, ms, besides the present one.
const CONFIRM_MS: [f64; 18] = [
    0.0, 40.0, 80.0, 120.0, 160.0, 200.0, 240.0, 280.0, 300.0, 320.0, 360.0, 400.0, 480.0, 560.0,
    640.0, 720.0, 800.0, 1000.0,
];

/// Budgets of a hazard class that are tried, nuisance trips an hour, besides the present one.
const BUDGETS_PER_HOUR: [f64; 6] = [1e-4, 1e-3, 1e-2, 1e-1, 1.0, 10.0];

/// What decides how long a fault must last.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Limit {
    /// A confirmation time, ms.
    Confirm(f64),
    /// Nuisance trips that the regions of its hazard class may cause together, 1/h.
    Budget(f64),
}

impl Limit {
    /// That of a region.
    #[must_use]
    pub fn of(definition: &Definition, k: usize) -> Self {
        let region = &definition.regions()[k];
        let budgets = definition.file().budget;
        let budget = budgets.and_then(|b| b.of(region.hazard));
        match budget.filter(|_| definition.budget(k).is_some()) {
            Some(budget) => Self::Budget(budget.nuisance_per_hour),
            None => Self::Confirm(region.confirm_ms()),
        }
    }

    /// That of a region, and all that are tried in its place, rising.
    #[must_use]
    pub fn tried(self) -> Vec<Self> {
        let rising = |tried: &[f64], present: f64| {
            let mut all = tried.to_vec();
            all.push(present);
            all.sort_by(f64::total_cmp);
            all.dedup();
            all
        };
        match self {
            Self::Confirm(ms) => {
                let all = rising(&CONFIRM_MS, ms).into_iter();
                all.map(Self::Confirm).collect()
            }
            Self::Budget(per_hour) => {
                let all = rising(&BUDGETS_PER_HOUR, per_hour).into_iter();
                all.map(Self::Budget).collect()
            }
        }
    }

    /// How far from `present`: seconds, or powers of ten.
    #[must_use]
    pub fn distance(self, present: Self) -> f64 {
        match (self, present) {
            (Self::Confirm(a), Self::Confirm(b)) => ((a - b) / 1000.0).abs(),
            (Self::Budget(a), Self::Budget(b)) => libm::log10(a / b).abs(),
            _ => f64::INFINITY,
        }
    }

    /// What trips less is less.
    #[must_use]
    pub const fn laxity(self) -> f64 {
        match self {
            Self::Confirm(ms) => -ms,
            Self::Budget(per_hour) => per_hour,
        }
    }

    /// So many times as strict.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        match self {
            Self::Confirm(ms) => Self::Confirm(ms * factor),
            Self::Budget(per_hour) => Self::Budget(per_hour / factor),
        }
    }

    /// The confirmation time, ms, where that decides.
    #[must_use]
    pub const fn confirm_ms(self) -> Option<f64> {
        match self {
            Self::Confirm(ms) => Some(ms),
            Self::Budget(_) => None,
        }
    }

    /// The budget, 1/h, where that decides.
    #[must_use]
    pub const fn budget_per_hour(self) -> Option<f64> {
        match self {
            Self::Confirm(_) => None,
            Self::Budget(per_hour) => Some(per_hour),
        }
    }
}

/// What the tests of region `k`, of which so many values are read, are planned for where its hazard class may cause so many nuisance
/// trips an hour.
#[must_use]
pub fn plan_of(definition: &Definition, k: usize, readings: usize, per_hour: f64) -> Option<Plan> {
    let own = definition.budget(k)?;
    let of_class = definition
        .file()
        .budget?
        .of(definition.regions()[k].hazard)?;
    let budget = Budget {
        nuisance_per_hour: own.nuisance_per_hour * (per_hour / of_class.nuisance_per_hour),
        ..own
    };
    Some(plan_under(budget, readings))
}
