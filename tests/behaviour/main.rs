//! What a user of framevouch sees, a file per behaviour:
//!
//! - `counts_time_left`: the time for which power may be used, from the recording's history;
//! - `refuses_bad_input`: damaged definitions, recordings and captures give an error with its place;
//! - `tolerates_benign_change`: what a good chain does to a good picture raises nothing;
//! - `detects_faults`: each fault is found as its class in its place, and its harmless twin is not;
//! - `guards_invalid_data`: a value on invalid data misleads, a flag in its place does not;
//! - `knows_its_chain`: a chain that changes midway is an error, and raises nothing;
//! - `owns_its_folder`: results come in whole or not at all, over nobody else's files, with what was read;
//! - `reads_recordings`: recordings as benches write them, and what is wrong with them;
//! - `reads_values_back`: readings are the values that were drawn;
//! - `repeats_exactly`: same inputs, same bytes;
//! - `rolls_over`: scales and digits that roll over are read as the whole value;
//! - `runs_suites`: many captures as one suite, what is new since the last, and parts that make the whole;
//! - `same_at_every_rate`: the same events at 12.5 to 60 frames a second;
//! - `explains_events`: an event told in words, completion, manual pages, colours;
//! - `explains_its_verdict`: what the results and the exit status say;
//! - `tells_pointers_apart`: two pointers on one axis, and what is hidden;
//! - `traces_requirements`: wording, regions and results of requirements, from their file to the page and back;
//! - `tries_faults`: campaigns and tuning;
//! - `shares_campaigns`: a campaign in shards is put together as one machine gives it;
//! - `shares_files`: a definition in several files is judged as if it stood in one, and vouched for with all of them;
//! - `spends_its_budget`: values decided by sums under a budget of nuisance trips and a time to the alert;
//! - `spares_files`: files of others stay where they are;
//! - `stays_small`: memory does not grow with the length of the video;
//! - `tells_age_and_blindness`: staleness, and time in which a freeze would not be seen;
//! - `answers_for_all`: the answer of a page is the worst of all that it holds;
//! - `leaves_evidence`: the page, tables and manifest, and that nobody changed them since;
//! - `readme`: what the README tells one to type exists;
//! - `writes_numbers`: unit, dashes and colour of readouts by several channels;
//! - `vouches_for_nothing_else`: changed results are refused or marked, and run, show and count nothing else.
//!
//! Captures come from the demo's stand-in unit, which has another rasteriser and another text engine than
//! the reference renderer, unless a test says otherwise.

mod answers_for_all;
mod bench;
mod compares_displays;
mod counts_time_left;
mod detects_faults;
mod dims_by_night;
mod explains_events;
mod explains_its_verdict;
mod finds_its_place;
mod follows_its_data;
mod follows_reversions;
mod guards_invalid_data;
mod knows_its_chain;
mod lays_over_captures;
mod leaves_evidence;
mod owns_its_folder;
mod readme;
mod reads_recordings;
mod reads_values_back;
mod refuses_bad_input;
mod repeats_exactly;
mod rolls_over;
mod runs_suites;
mod same_at_every_rate;
mod shares_campaigns;
mod shares_files;
mod shows_alerts;
mod shows_radios;
mod shows_traffic;
mod spares_files;
mod spends_its_budget;
mod stays_small;
mod tells_age_and_blindness;
mod tells_pointers_apart;
mod tolerates_benign_change;
mod traces_requirements;
mod tries_faults;
mod turns_pages;
mod vouches_for_nothing_else;
mod writes_numbers;
