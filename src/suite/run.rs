//! Carrying a suite out: runs side by side, each into its own folder, kept where it is what would come out anyway.
//!
//! A run is kept when its manifest verifies, with the inputs as they lie there now, and names the command that would be run,
//! by this version of the program. Everything else is done again. Several runs are under way at once, so memory is bounded
//! by their number; what is told comes in the order of the plan, and nothing in the results depends on who was first.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError, mpsc};
use std::thread;

use super::error::cannot_write;
use super::last::Last;
use super::plan::{Plan, Planned};
use super::records::{RunRecord, SuiteRecord};
use super::{Error, folder, totals, verdict};
use crate::check;
use crate::evidence::manifest::{MANIFEST_FILE, ReadFiles, stored_path};
use crate::evidence::records::{CAUTION, RECORDS_VERSION};
use crate::evidence::report::bundle::{Folder, Results};
use crate::evidence::report::{self, Bundle};
use crate::evidence::results_folder::Trust;
use crate::evidence::run_folder::RunFolder;
use crate::shard::Shard;

/// Whoever can check a capture.
pub trait Checker: Sync {
    /// The arguments of the check, as its manifest in `home` has them.
    fn arguments(&self, run: &Planned, home: &Path) -> Vec<String>;

    /// Checks a run and leaves its results in `home`, or none.
    ///
    /// # Errors
    /// Why there are no results, in words.
    fn check(&self, run: &Planned, home: &Path) -> Result<(), String>;
}

/// What is asked for.
#[derive(Clone, Debug)]
pub struct Order<'a> {
    /// The plan.
    pub plan: &'a Plan,
    /// The suite's folder.
    pub out: &'a Path,
    /// The folder of the last suite.
    pub against: Option<&'a Path>,
    /// The part that is carried out; all of it when absent. A run is of the part that the one is of which it stands beside.
    pub shard: Option<Shard>,
    /// Time or number of issue.
    pub issued: Option<String>,
    /// Runs that are under way at once, at most.
    pub jobs: usize,
    /// Whether files that are not ours may be replaced.
    pub is_forced: bool,
}

/// What became of a run.
#[derive(Clone, Debug)]
pub struct Told<'a> {
    /// Its number among those that are carried out, from 1.
    pub number: usize,
    /// How many those are.
    pub of: usize,
    /// What is said of it.
    pub run: &'a RunRecord,
    /// Whether the results of an earlier call were kept.
    pub is_kept: bool,
}

/// Carries a suite out, or as much of it as is done before `stop` is true; `tell` hears of each run in the order of the plan.
///
/// # Errors
/// When the folder or the last suite cannot be used, or it was told to stop. A run that cannot be judged is none.
pub fn carry_out(
    order: &Order,
    checker: &dyn Checker,
    stop: &AtomicBool,
    tell: &mut dyn FnMut(&Told),
) -> Result<SuiteRecord, Error> {
    let (plan, out) = (order.plan, order.out);
    let last = order.against.map(|path| last_of(path, out)).transpose()?;
    let in_part = |place: usize| order.shard.is_none_or(|s| s.holds(place));
    let companies = companies(&plan.runs).into_iter().enumerate();
    let companies: Vec<Vec<&Planned>> = companies
        .filter_map(|(k, company)| in_part(k).then_some(company))
        .collect();
    let runs = companies.iter().flatten();
    let home = folder::claim(out, &[&plan.content.path], order.is_forced)?;
    let ids: BTreeSet<&str> = runs.map(|r| r.id.as_str()).collect();
    let stale = folder::stale(out, &ids)?;
    let suite = Suite {
        order,
        checker,
        last,
        withdrawn: Mutex::new(false),
        home: &home,
    };
    if !stale.is_empty() {
        suite.withdraw()?;
    }
    for path in &stale {
        RunFolder::remove(path, check::folder::KIND)?;
    }
    let done = side_by_side(
        &companies,
        order.jobs,
        stop,
        &|run| suite.settle(run, stop),
        tell,
    )?;
    if done.len() < ids.len() {
        return Err(Error::BrokenOff {
            done: done.len(),
            runs: ids.len(),
        });
    }
    let record = suite.record(done);
    let mut inputs = ReadFiles::default();
    inputs.add_file("plan", &plan.content)?;
    let new = home.new_results();
    folder::write(&new, out, &record, arguments(order), &inputs)?;
    home.finish()?;
    Ok(record)
}

/// Runs of a plan with those that stand beside them, each company in the order of the plan: one needs the results of the other.
fn companies(runs: &[Planned]) -> Vec<Vec<&Planned>> {
    let mut companies: Vec<Vec<&Planned>> = Vec::new();
    for run in runs {
        let is_of = |c: &&mut Vec<&Planned>| c.iter().any(|r| Some(&r.id) == run.beside.as_ref());
        match companies.iter_mut().find(is_of) {
            Some(company) => company.push(run),
            None => companies.push(vec![run]),
        }
    }
    companies
}

fn last_of(path: &Path, out: &Path) -> Result<Last, Error> {
    let full = |p: &Path| std::fs::canonicalize(p).ok();
    if full(path).is_some_and(|p| full(out) == Some(p)) {
        return Err(Error::Itself(path.display().to_string()));
    }
    Last::load(path)
}

/// The arguments in a fixed order, paths as the manifest of the suite stores them.
fn arguments(order: &Order) -> Vec<String> {
    let mut words = vec![
        "--plan".to_owned(),
        stored_path(&order.plan.content.path, order.out),
    ];
    if let Some(against) = order.against {
        words.extend(["--against".into(), stored_path(against, order.out)]);
    }
    if let Some(shard) = order.shard {
        words.extend(["--shard".into(), shard.to_string()]);
    }
    if let Some(issued) = &order.issued {
        words.extend(["--issued".into(), issued.clone()]);
    }
    words
}

/// What a worker has of a run.
struct Settled {
    run: RunRecord,
    is_kept: bool,
}

struct Suite<'a> {
    order: &'a Order<'a>,
    checker: &'a dyn Checker,
    last: Option<Last>,
    /// Whether what was said of an earlier suite here is taken back.
    withdrawn: Mutex<bool>,
    home: &'a RunFolder,
}

impl Suite<'_> {
    /// Takes back what the folder says of all runs together, since one of them changes now.
    fn withdraw(&self) -> Result<(), Error> {
        let mut is_done = self
            .withdrawn
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        if !*is_done {
            self.home.withdraw(&|_| false)?;
            *is_done = true;
        }
        Ok(())
    }

    /// Results of a run, from an earlier call or made now; `None` when it was told to stop meanwhile.
    fn settle(&self, run: &Planned, stop: &AtomicBool) -> Result<Option<Settled>, Error> {
        let home = folder::of_run(self.order.out, &run.id);
        if let Some(kept) = self.kept(run, &home) {
            let run = self.told(run, kept)?;
            return Ok(Some(Settled { run, is_kept: true }));
        }
        self.withdraw()?;
        let checked = self.checker.check(run, &home);
        if stop.load(Ordering::Relaxed) {
            return Ok(None);
        }
        let run = match checked {
            Ok(()) => self.told(run, Folder::load(&home, Trust::Verified)?)?,
            Err(why) => {
                // What stands there is of an earlier call, and of other inputs.
                if home.join(MANIFEST_FILE).exists() {
                    RunFolder::remove(&home, check::folder::KIND)?;
                }
                let why = self.without_places(&why);
                self.compared(RunRecord::failed(run, why))
            }
        };
        Ok(Some(Settled {
            run,
            is_kept: false,
        }))
    }

    /// The results in `home`, where they are what would come out now.
    fn kept(&self, run: &Planned, home: &Path) -> Option<Folder> {
        if !home.join(MANIFEST_FILE).is_file() {
            return None;
        }
        let found = Folder::load(home, Trust::Verified).ok()?;
        let Results::Check(results) = &found.results else {
            return None;
        };
        let is_whole = check::broken_off_after(&results.summary).is_none();
        // Inputs and programs that are gone or other ones are changes too.
        let is_same = found.gone.is_empty()
            && found.manifest.is_of_this_program()
            && found.manifest.is_repeatable()
            && found.manifest.arguments == self.checker.arguments(run, home);
        (is_whole && is_same).then_some(found)
    }

    /// What the results of a run say, with its page written.
    fn told(&self, run: &Planned, mut found: Folder) -> Result<RunRecord, Error> {
        // As it is called from the suite's folder, wherever that is.
        found.name = format!("{}/{}", folder::RUNS, run.id);
        let record = match &found.results {
            Results::Check(results) => RunRecord::of(run, results, &found.manifest_sha256),
            _ => RunRecord::failed(run, "its results are not those of a check".into()),
        };
        let bundle = Bundle {
            folders: vec![found],
            against: None,
            issued: self.order.issued.clone(),
            requirements: None,
        };
        let path = self.home.new_results().join(folder::report_of(&run.id));
        std::fs::write(&path, report::page(&bundle)).map_err(cannot_write(&path))?;
        Ok(self.compared(record))
    }

    fn compared(&self, mut run: RunRecord) -> RunRecord {
        run.changes = self.last.as_ref().map(|last| last.changes(&run));
        run
    }

    /// An error's words without the folders in which plan and results lie: they are those of one machine.
    fn without_places(&self, words: &str) -> String {
        let places = [&self.order.plan.folder, self.order.out];
        places
            .iter()
            .fold(words.to_owned(), |words, place| without(&words, place))
    }

    fn record(&self, runs: Vec<RunRecord>) -> SuiteRecord {
        let plan = self.order.plan;
        let last = self.last.as_ref();
        let against = last.map(|last| last.told(&plan.runs));
        let (result, exit_status) = verdict::of(&runs, against.is_some());
        SuiteRecord {
            records_version: RECORDS_VERSION,
            tool: format!("framevouch {}", env!("CARGO_PKG_VERSION")),
            caution: CAUTION.into(),
            name: plan.name.clone(),
            issued: self.order.issued.clone(),
            result: result.into(),
            exit_status,
            shard: self.order.shard,
            planned: plan.runs.len() as u64,
            plan_sha256: plan.content.content.sha256.clone(),
            against,
            all: totals::of_all(&runs),
            tags: totals::by_tag(&runs),
            history: last.map_or(Vec::new(), Last::history),
            runs,
        }
    }
}

/// `words` without `place` and a stroke before what lies in it.
fn without(words: &str, place: &Path) -> String {
    let prefix = format!("{}/", place.display());
    if prefix == "/" {
        return words.to_owned();
    }
    let mut out = String::with_capacity(words.len());
    let mut rest = words;
    while let Some(at) = rest.find(&prefix) {
        let (before, found) = rest.split_at(at);
        out.push_str(before);
        // Not within another path.
        let is_begin = out
            .chars()
            .next_back()
            .is_none_or(|c| c == '"' || c.is_whitespace());
        if !is_begin {
            out.push_str(&prefix);
        }
        rest = &found[prefix.len()..];
    }
    out + rest
}

/// Does `work` for each run, several companies side by side, and tells of each in the order of the plan. Gives those that are
/// done, in order: not all, where it was told to stop.
fn side_by_side(
    companies: &[Vec<&Planned>],
    jobs: usize,
    stop: &AtomicBool,
    work: &(dyn Fn(&Planned) -> Result<Option<Settled>, Error> + Sync),
    tell: &mut dyn FnMut(&Told),
) -> Result<Vec<RunRecord>, Error> {
    let next = AtomicUsize::new(0);
    let is_over = AtomicBool::new(false);
    let is_going_on = || !stop.load(Ordering::Relaxed) && !is_over.load(Ordering::Relaxed);
    let jobs = jobs.clamp(1, companies.len().max(1));
    let (send, receive) = mpsc::channel();
    let mut waiting: BTreeSet<usize> = companies.iter().flatten().map(|r| r.number).collect();
    let of = waiting.len();
    let mut done: BTreeMap<usize, Settled> = BTreeMap::new();
    let mut failed = None;
    thread::scope(|scope| {
        for _ in 0..jobs {
            let send = send.clone();
            let (next, is_going_on) = (&next, &is_going_on);
            scope.spawn(move || {
                while let Some(company) = companies.get(next.fetch_add(1, Ordering::Relaxed)) {
                    for run in company {
                        if !is_going_on() || send.send((run.number, work(run))).is_err() {
                            return;
                        }
                    }
                }
            });
        }
        drop(send);
        for (number, settled) in receive {
            match settled {
                Ok(Some(settled)) => {
                    done.insert(number, settled);
                }
                Ok(None) => {}
                Err(e) => {
                    is_over.store(true, Ordering::Relaxed);
                    failed.get_or_insert(e);
                }
            }
            while let Some(settled) = waiting.first().and_then(|number| done.get(number)) {
                waiting.pop_first();
                tell(&Told {
                    number: of - waiting.len(),
                    of,
                    run: &settled.run,
                    is_kept: settled.is_kept,
                });
            }
        }
    });
    match failed {
        Some(e) => Err(e),
        None => Ok(done.into_values().map(|settled| settled.run).collect()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::suite::plan::read;

    fn planned(count: usize) -> Vec<Planned> {
        let runs: String = (0..count)
            .map(|k| format!("[[run]]\nid = \"r{k}\"\ncapture = \"c{k}\"\n"))
            .collect();
        let head = "[suite]\nname = \"s\"\n[suite.defaults]\ndisplay = \"d\"\ninputs = \"i\"\n";
        read(&(head.to_owned() + &runs), "p", Path::new(""))
            .unwrap()
            .1
    }

    fn settled(run: &Planned) -> Settled {
        Settled {
            run: RunRecord::failed(run, String::new()),
            is_kept: false,
        }
    }

    #[test]
    fn runs_are_told_in_order_whoever_was_first() {
        let runs = planned(20);
        let all = companies(&runs);
        let mut told = Vec::new();
        let stop = AtomicBool::new(false);
        let under_way = AtomicUsize::new(0);
        let most = AtomicUsize::new(0);
        let work = |run: &Planned| {
            most.fetch_max(
                under_way.fetch_add(1, Ordering::SeqCst) + 1,
                Ordering::SeqCst,
            );
            // Even ones take longer.
            if run.id.ends_with(['0', '2', '4', '6', '8']) {
                thread::sleep(std::time::Duration::from_millis(3));
            }
            under_way.fetch_sub(1, Ordering::SeqCst);
            Ok(Some(settled(run)))
        };
        let done = side_by_side(&all, 3, &stop, &work, &mut |t| {
            told.push((t.number, t.of, t.run.id.clone()));
        });
        let ids: Vec<String> = done.unwrap().into_iter().map(|r| r.id).collect();
        let expected: Vec<String> = (0..20).map(|k| format!("r{k}")).collect();
        assert_eq!(ids, expected);
        assert_eq!(told[4], (5, 20, "r4".to_owned()));
        assert!(most.into_inner() <= 3);
    }

    #[test]
    fn who_stands_beside_another_comes_after_it_in_its_company() {
        let mut runs = planned(5);
        runs[3].beside = Some("r1".into());
        runs[4].beside = Some("r3".into());
        let companies = companies(&runs);
        let ids = |c: &Vec<&Planned>| c.iter().map(|r| r.id.clone()).collect::<Vec<_>>();
        let ids: Vec<_> = companies.iter().map(ids).collect();
        assert_eq!(ids, [vec!["r0"], vec!["r1", "r3", "r4"], vec!["r2"]]);
        // What is told stays in the order of the plan.
        let mut told = Vec::new();
        let work = |run: &Planned| Ok(Some(settled(run)));
        let stop = AtomicBool::new(false);
        side_by_side(&companies, 2, &stop, &work, &mut |t| {
            told.push(t.run.id.clone())
        })
        .unwrap();
        assert_eq!(told, ["r0", "r1", "r2", "r3", "r4"]);
    }

    #[test]
    fn who_is_told_to_stop_begins_no_other_run() {
        let runs = planned(9);
        let all = companies(&runs);
        let stop = AtomicBool::new(false);
        let work = |run: &Planned| {
            if run.id == "r2" {
                stop.store(true, Ordering::Relaxed);
                return Ok(None);
            }
            Ok(Some(settled(run)))
        };
        let done = side_by_side(&all, 1, &stop, &work, &mut |_| {}).unwrap();
        assert_eq!(done.len(), 2);
    }

    #[test]
    fn messages_name_files_as_the_plan_does() {
        let told = without(
            "plans/d.toml:1:2: no \"plans/x\", more/plans/y",
            Path::new("plans"),
        );
        assert_eq!(told, "d.toml:1:2: no \"x\", more/plans/y");
        assert_eq!(without("a /b", Path::new("")), "a /b");
    }
}
