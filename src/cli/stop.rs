//! What ends a run early: the user's interrupt, or a request to terminate.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use signal_hook::consts::{SIGINT, SIGTERM};
use signal_hook::flag;

use super::{EXIT_NOT_JUDGED, Failure};

/// A word that comes true with the first signal. The second ends the process at once: results that were not
/// moved in are cleared away by the next run.
pub(super) fn on_signals() -> Result<Arc<AtomicBool>, Failure> {
    let stop = Arc::new(AtomicBool::new(false));
    for signal in [SIGINT, SIGTERM] {
        // In this order: the first signal finds the word false.
        flag::register_conditional_shutdown(signal, EXIT_NOT_JUDGED.into(), Arc::clone(&stop))?;
        flag::register(signal, Arc::clone(&stop))?;
    }
    Ok(stop)
}
