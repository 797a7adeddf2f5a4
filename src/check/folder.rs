//! What the result folder of a check holds.

use crate::evidence::measurements::MEASUREMENTS_FILE;
use crate::evidence::run_folder::Kind;
use crate::evidence::{stills, tables};

/// The results of a check: a picture of each event, and the frames round them, have folders of their own.
pub const KIND: Kind = Kind {
    command: "check",
    is_result: |name| {
        const FILES: [&str; 9] = [
            "frames.jsonl",
            "readings.csv",
            "events.json",
            "events.csv",
            "summary.json",
            "display.json",
            "stills.json",
            "junit.xml",
            MEASUREMENTS_FILE,
        ];
        FILES.contains(&name) || tables::FILES.contains(&name)
    },
    folders: &["events", stills::FOLDER],
    is_begun: |_| false,
};
