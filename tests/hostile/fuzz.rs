//! Everything that is parsed, damaged with an eye to its structure: no panic, no overflow, no hang, little memory.
//!
//! Each target has a corpus of good material; a case is one or two of them, changed in some places: bytes, numbers,
//! words, lines, splices, words of the other material. Cases follow from a seed, so a run can be had again. By
//! default each target has a few hundred cases; `FRAMEVOUCH_FUZZ_SECONDS=600` goes on for so long instead,
//! `FRAMEVOUCH_FUZZ_SEED=7` makes other cases. Built without `--release`, overflow is a panic too.
//!
//! A case that fails is saved in the build folder and named; what it was is printed.

use std::cell::Cell;
use std::fs;
use std::io::{Cursor, Read as _};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::sync::{LazyLock, Mutex, Once};
use std::time::{Duration, Instant};

use framevouch::campaign::plan::Plan;
use framevouch::campaign::run::Prepared;
use framevouch::capture::nut::NutReader;
use framevouch::capture::profile::Profile;
use framevouch::capture::{Capture, CapturedFrame, OpenOptions};
use framevouch::definition::recording_form::RecordingForm;
use framevouch::definition::{Definition, lint};
use framevouch::evidence::measurements::Reader;
use framevouch::evidence::verify::verify;
use framevouch::recording::inputs::Inputs;
use framevouch::recording::{MissingColumns, Recording};
use framevouch::reference::drawing::Drawing;
use framevouch::reference::painter::Painter;
use framevouch::requirements::{Names, Requirements};
use framevouch::suite::plan::read;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use tempfile::TempDir;

/// Cases of a target, when nothing else is asked for.
const CASES: u64 = 400;
/// A case takes milliseconds; one that takes so long hangs.
const CASE_LIMIT: Duration = Duration::from_secs(30);
/// Memory of the process with all targets, MB.
const PEAK_MB: u64 = 300;

const DISPLAY: &str = include_str!("display.toml");
const EVERY_KIND: &str = include_str!("../../src/definition/tests/every_kind.toml");
const ENGINE_STRIP: &str = include_str!("../../src/demo/engine_strip.toml");
const FONT: &[u8] = include_bytes!("../../reference_frames/fonts/B612Mono-Bold.ttf");
const REQIF: &str = include_str!("../../src/requirements/small.reqif");
const PARQUET: &[u8] = include_bytes!("../behaviour/recordings/strip.parquet");
const NUT: &[u8] = include_bytes!("small.nut");

const INPUTS: &str = "t_s,speed_kt,speed_ok,nr_pct,fuel_kg,mode,station\n\
    0.0,90,1,95,250,0,CH1\n0.1,92.5,1,95.5,249,0,CH1\n0.2,,1,,,,\n0.3,97,0,96.5,247,1,\"CH,2\"\n\
    0.4,99.25,1,97,246.5,1,CH2\n";

const PLAN: &str = "limit_ms = { hazardous = 1000, major = 1000 }\nfailure_rate_per_hour = { blank = 1e-6 }\n\
    [plan]\nname = \"fuzz\"\ndisplay = \"display.toml\"\nseed = 3\nlead_s = 0.5\nstretch_s = 1.0\nbudget_s = 10.0\n\
    onsets_per_stretch = 2\n[[capture]]\nfile = \"clip.y4m\"\ninputs = \"inputs.csv\"\noffset_s = 0.25\nfps = 25.0\n\
    allow_missing = true\n[[fault]]\nkind = \"blank\"\nregions = [\"*\", \"speed\"]\nlooks = [\"black\"]\nduration_s = 0.4\n\
    twins = true\n[[fault]]\nkind = \"bias\"\nchannels = [\"speed\"]\nmethods = [\"redraw\", \"donor\"]\n\
    sizes = { from = 0.5, to = 4.0, count = 3, log = true }\nrepeats = 2\n";

/// A second in which everything moves and is valid.
fn moving_inputs() -> String {
    let row = |k: u32| {
        let t = f64::from(k) / 20.0;
        let (speed, rotor, fuel) = (
            90.0 + 40.0 * t,
            95.0 + 12.0 * (2.0 * t).sin(),
            250.0 - 60.0 * t,
        );
        format!("{t:.2},{speed:.3},1,{rotor:.3},{fuel:.3},0,CH1\n")
    };
    let header = INPUTS.lines().next().expect("it has a header");
    format!("{header}\n{}", (0..=20).map(row).collect::<String>())
}

/// Material that the program itself makes, so that it is of today's form.
struct Made {
    folder: TempDir,
}

static MADE: LazyLock<Made> = LazyLock::new(|| {
    let folder =
        tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("there is room for files");
    let made = Made { folder };
    made.write("display.toml", DISPLAY.as_bytes());
    made.write("own.ttf", FONT);
    made.write("inputs.csv", moving_inputs().as_bytes());
    made.run("draw --display display.toml --inputs inputs.csv --fps 25 --format png --out frames");
    made.run(
        "calibrate --display display.toml --inputs inputs.csv --capture frames --out profile.json",
    );
    made.run("check --display display.toml --inputs inputs.csv --capture frames --offset 0 --measurements --out out");
    made
});

impl Made {
    fn write(&self, name: &str, bytes: &[u8]) {
        fs::write(self.folder.path().join(name), bytes).expect("there is room for files");
    }

    fn run(&self, words: &str) {
        let ran = Command::new(env!("CARGO_BIN_EXE_framevouch"))
            .args(words.split(' '))
            .current_dir(self.folder.path())
            .output()
            .expect("the program was built");
        let said = String::from_utf8_lossy(&ran.stderr).into_owned();
        assert!(ran.status.code() < Some(2), "{words}: {said}");
    }

    fn read(&self, name: &str) -> Vec<u8> {
        fs::read(self.folder.path().join(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
    }
}

// Mutation.

const NUMBERS: [&str; 26] = [
    "0",
    "-0",
    "1",
    "-1",
    "0.5",
    "1e-9",
    "1e9",
    "1e18",
    "1e308",
    "-1e308",
    "1e999",
    "5e-324",
    "nan",
    "inf",
    "-inf",
    "255",
    "256",
    "65536",
    "2147483648",
    "4294967296",
    "9223372036854775807",
    "-9223372036854775808",
    "18446744073709551616",
    "0x7f",
    "1_0",
    "1e",
];
const STRANGE: [&[u8]; 12] = [
    b"\0",
    b"\xff",
    b"\xed\xa0\x80",
    b"\x1b[2J",
    b"\r\n",
    b"\"",
    b"[[",
    b"{}",
    b"\n\n",
    b"#",
    b",,,,",
    b"../../x",
];
/// What numbers of binary formats like to be.
const WORDS: [u64; 9] = [
    0,
    1,
    0x7f,
    0x80,
    0xffff,
    1 << 31,
    u32::MAX as u64,
    1 << 63,
    u64::MAX,
];

/// Where the runs of bytes lie for which `is_part` holds.
fn runs(bytes: &[u8], is_part: impl Fn(u8) -> bool) -> Vec<(usize, usize)> {
    let mut out = Vec::new();
    let mut start = None;
    for (k, &b) in bytes.iter().enumerate() {
        match (is_part(b), start) {
            (true, None) => start = Some(k),
            (false, Some(from)) => {
                out.push((from, k));
                start = None;
            }
            _ => {}
        }
    }
    out.extend(start.map(|from| (from, bytes.len())));
    out
}

fn replace(bytes: &mut Vec<u8>, (from, to): (usize, usize), with: &[u8]) {
    bytes.splice(from..to, with.iter().copied());
}

fn span(bytes: &[u8], rng: &mut ChaCha8Rng) -> (usize, usize) {
    let from = rng.random_range(0..=bytes.len());
    let most = [1, 2, 8, 64, 1024][rng.random_range(0..5)];
    (from, bytes.len().min(from + rng.random_range(0..=most)))
}

/// Changes `bytes` in one place; `others` give pieces.
fn change(bytes: &mut Vec<u8>, others: &[Vec<u8>], rng: &mut ChaCha8Rng) {
    let other = &others[rng.random_range(0..others.len())];
    let word = |of: &[u8], rng: &mut ChaCha8Rng| {
        let found = runs(of, |b| b.is_ascii_alphanumeric() || b == b'_' || b == b'*');
        (!found.is_empty()).then(|| found[rng.random_range(0..found.len())])
    };
    match rng.random_range(0..13) {
        0 if !bytes.is_empty() => {
            let at = rng.random_range(0..bytes.len());
            bytes[at] ^= 1 << rng.random_range(0..8);
        }
        1 if !bytes.is_empty() => {
            let at = rng.random_range(0..bytes.len());
            bytes[at] = rng.random();
        }
        2 => {
            let at = span(bytes, rng);
            replace(bytes, at, &[]);
        }
        3 => {
            let (from, to) = span(bytes, rng);
            let piece = bytes[from..to].to_vec();
            let times = [1, 1, 2, 100][rng.random_range(0..4)];
            replace(bytes, (to, to), &piece.repeat(times));
        }
        4 => bytes.truncate(rng.random_range(0..=bytes.len())),
        // A splice: the start of one, the end of another.
        5 => {
            bytes.truncate(rng.random_range(0..=bytes.len()));
            bytes.extend(&other[rng.random_range(0..=other.len())..]);
        }
        6 => {
            let (from, to) = span(other, rng);
            let at = span(bytes, rng);
            replace(bytes, at, &other[from..to]);
        }
        7 => {
            let piece = STRANGE[rng.random_range(0..STRANGE.len())];
            let at = rng.random_range(0..=bytes.len());
            replace(bytes, (at, at), piece);
        }
        8 if bytes.len() >= 8 => {
            let size = [1, 2, 4, 8][rng.random_range(0..4)];
            let at = rng.random_range(0..=bytes.len() - size);
            let number = WORDS[rng.random_range(0..WORDS.len())];
            let (low, high) = (number.to_le_bytes(), number.to_be_bytes());
            let piece = if rng.random() {
                &low[..size]
            } else {
                &high[8 - size..]
            };
            replace(bytes, (at, at + size), piece);
        }
        9 | 10 => {
            let found = runs(bytes, |b| b.is_ascii_digit() || b".-+e".contains(&b));
            if !found.is_empty() {
                let at = found[rng.random_range(0..found.len())];
                replace(
                    bytes,
                    at,
                    NUMBERS[rng.random_range(0..NUMBERS.len())].as_bytes(),
                );
            }
        }
        11 => {
            if let (Some(at), Some((from, to))) = (word(bytes, rng), word(other, rng)) {
                replace(bytes, at, &other[from..to]);
            }
        }
        _ => {
            // A line elsewhere.
            let lines = runs(bytes, |b| b != b'\n');
            if !lines.is_empty() {
                let (from, to) = lines[rng.random_range(0..lines.len())];
                let piece = [&bytes[from..to], b"\n"].concat();
                if rng.random() {
                    replace(bytes, (from, to), &[]);
                }
                let at = runs(bytes, |b| b != b'\n');
                let at = at
                    .get(rng.random_range(0..at.len().max(1)))
                    .map_or(0, |l| l.0);
                replace(bytes, (at, at), &piece);
            }
        }
    }
}

fn mutated(corpus: &[Vec<u8>], rng: &mut ChaCha8Rng) -> Vec<u8> {
    let mut bytes = corpus[rng.random_range(0..corpus.len())].clone();
    for _ in 0..[1, 1, 2, 3, 8][rng.random_range(0..5)] {
        change(&mut bytes, corpus, rng);
    }
    // Nothing here grows without end by itself.
    bytes.truncate(4 << 20);
    bytes
}

// Running.

fn number_of(variable: &str) -> Option<u64> {
    let text = std::env::var(variable).ok()?;
    Some(
        text.parse()
            .unwrap_or_else(|_| panic!("{variable} is no number: {text}")),
    )
}

fn findings() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("fuzz");
    fs::create_dir_all(&folder).expect("there is room for a folder");
    folder
}

fn save(target: &str, seed: u64, case: u64, bytes: &[u8]) -> PathBuf {
    let path = findings().join(format!("{target}-{seed}-{case}"));
    fs::write(&path, bytes).expect("there is room for a finding");
    path
}

/// The most memory that this process has held so far, MB.
fn peak_mb() -> u64 {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    let kb = line.and_then(|l| l.split_whitespace().next()?.parse::<u64>().ok());
    kb.unwrap_or(0) / 1024
}

thread_local! {
    /// Panics of a case are its result, and are not printed where they happen.
    static IS_QUIET: Cell<bool> = const { Cell::new(false) };
    static SAID: Cell<String> = const { Cell::new(String::new()) };
}

fn catch_words() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let usual = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |info| {
            if IS_QUIET.get() {
                SAID.set(info.to_string());
            } else {
                usual(info);
            }
        }));
    });
}

/// One target at a time, so that memory has an owner.
static TURN: Mutex<()> = Mutex::new(());

/// Gives `take` one damaged piece of the corpus after the other.
#[expect(
    clippy::disallowed_methods,
    reason = "how long to go on, and what hangs, is a matter of the clock"
)]
fn fuzz(target: &'static str, corpus: &[Vec<u8>], take: impl Fn(&[u8])) {
    let _turn = TURN.lock();
    catch_words();
    let seed = number_of("FRAMEVOUCH_FUZZ_SEED").unwrap_or(1);
    let until =
        number_of("FRAMEVOUCH_FUZZ_SECONDS").map(|s| Instant::now() + Duration::from_secs(s));
    // What is whole is taken as it is; a corpus that does not parse tests little.
    corpus.iter().for_each(|bytes| take(bytes));
    let (tell, told) = channel::<(u64, Vec<u8>)>();
    let watch = std::thread::spawn(move || {
        let mut now: Option<(u64, Vec<u8>)> = None;
        loop {
            match told.recv_timeout(CASE_LIMIT) {
                Ok(next) => now = Some(next),
                Err(RecvTimeoutError::Disconnected) => return,
                Err(RecvTimeoutError::Timeout) => {
                    let Some((case, bytes)) = now.take() else {
                        continue;
                    };
                    let path = save(target, seed, case, &bytes);
                    eprintln!(
                        "{target}: seed {seed}, case {case} hangs: {}",
                        path.display()
                    );
                    // Nothing ends a thread that hangs.
                    std::process::exit(101);
                }
            }
        }
    });
    let mut failed = Vec::new();
    let mut case = 0;
    while until.map_or(case < CASES, |end| Instant::now() < end) && failed.len() < 20 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(case);
        let bytes = mutated(corpus, &mut rng);
        tell.send((case, bytes.clone()))
            .expect("the watch ends last");
        let before = peak_mb();
        IS_QUIET.set(true);
        let ended = catch_unwind(AssertUnwindSafe(|| take(&bytes)));
        IS_QUIET.set(false);
        let peak = peak_mb();
        let words = match ended {
            Err(_) => Some(SAID.take()),
            Ok(()) if peak > PEAK_MB && peak > before + 8 => {
                Some(format!("{before} MB before, {peak} MB after"))
            }
            Ok(()) => None,
        };
        if let Some(words) = words {
            let path = save(target, seed, case, &bytes);
            failed.push(format!(
                "seed {seed}, case {case}: {words} [{}]",
                path.display()
            ));
        }
        case += 1;
    }
    drop(tell);
    watch.join().expect("the watch has nothing more to do");
    eprintln!(
        "{target}: {case} cases from seed {seed}, {} findings",
        failed.len()
    );
    assert!(failed.is_empty(), "{target}:\n{}", failed.join("\n"));
}

fn texts(of: &[&str]) -> Vec<Vec<u8>> {
    of.iter().map(|t| t.as_bytes().to_vec()).collect()
}

fn display() -> Definition {
    Definition::from_toml(DISPLAY, "display.toml", MADE.folder.path())
        .expect("it is a good display")
}

// Targets.

#[test]
fn definition() {
    let folder = MADE.folder.path();
    fuzz(
        "definition",
        &texts(&[DISPLAY, EVERY_KIND, ENGINE_STRIP]),
        |bytes| {
            let Ok(text) = str::from_utf8(bytes) else {
                return;
            };
            match Definition::from_toml(text, "fuzz.toml", folder) {
                Err(e) => assert!(!e.to_string().is_empty()),
                Ok(definition) => {
                    // A picture of the size that it may have takes memory by right.
                    let (width, height) = definition.size();
                    assert!(lint::lint(&definition).len() < 1 << 20);
                    let inputs = Recording::from_reader(
                        INPUTS.as_bytes(),
                        "inputs.csv",
                        &definition,
                        MissingColumns::Allow,
                    );
                    let (Ok(recording), true) = (inputs, width * height <= 1 << 20) else {
                        return;
                    };
                    let drawing = Drawing::new(&definition);
                    let (mut painter, mut inputs) = (Painter::new(), Inputs::default());
                    for time_s in [0.0, 0.15, 0.4] {
                        recording.inputs_at(time_s, &mut inputs);
                        let picture = drawing.frame(&definition, &inputs, &mut painter);
                        assert_eq!(picture.interleaved().len(), 3 * width * height);
                    }
                }
            }
        },
    );
}

#[test]
fn recording() {
    let definition = display();
    let strange = "\u{feff}t_s;speed_kt\r\n0;1\r\n";
    fuzz("recording", &texts(&[INPUTS, strange]), |bytes| {
        for missing in [MissingColumns::Allow, MissingColumns::Refuse] {
            match Recording::from_reader(bytes, "inputs.csv", &definition, missing) {
                Err(e) => assert!(!e.to_string().is_empty()),
                Ok(recording) => {
                    let (first_s, last_s) = recording.span_s();
                    let mut inputs = Inputs::default();
                    for time_s in [
                        first_s,
                        last_s,
                        (first_s + last_s) / 2.0,
                        -1e300,
                        1e300,
                        f64::NAN,
                    ] {
                        recording.inputs_at(time_s, &mut inputs);
                    }
                }
            }
        }
    });
}

/// Reads a recording in each of some forms, and asks what it says.
fn read_in_forms(bytes: &[u8], definition: &Definition, forms: &[RecordingForm]) {
    for form in forms {
        for missing in [MissingColumns::Allow, MissingColumns::Refuse] {
            match Recording::from_reader_as(bytes, "log", definition, missing, form) {
                Err(e) => assert!(!e.to_string().is_empty()),
                Ok(recording) => {
                    let (first_s, last_s) = recording.span_s();
                    assert!(first_s.is_finite() && first_s <= last_s);
                    let mut inputs = Inputs::default();
                    recording.inputs_at(f64::midpoint(first_s, last_s), &mut inputs);
                    let warnings = lint::lint_recording(definition, &recording);
                    assert!(warnings.iter().all(|w| !w.to_string().is_empty()));
                }
            }
        }
    }
}

fn form(text: &str) -> RecordingForm {
    RecordingForm::from_toml(text, "bench.toml").expect("it is a good form")
}

const BENCH: &str = "[recording]\ndecimal = \"comma\"\nskip_rows = 1\ncomment = \"#\"\nunit_row = true\ntime = \"Zeit\"\n\
    time_unit = \"ms\"\ntime_zero = 100.5\nrepeats = \"last\"\n[recording.columns]\n\
    speed_kt = { name = \"IAS\", scale = 0.5399568, offset = -1e-3 }\n";
const BUS: &str = "[recording]\nwords = \"word\"\ntime_unit = \"utc\"\ntime_zone = \"+01:00\"\n[recording.columns]\n\
    speed_kt = { word = { label = \"206\", source = 0, coding = \"binary\", full_scale = 1024, bits = 14 } }\n\
    nr_pct = { scale = 0.01, word = { label = \"201\", coding = \"decimal\" } }\n\
    fuel_kg = { word = { label = \"333\", coding = \"discrete\", field = [16, 29] } }\n";

#[test]
fn recording_in_other_forms() {
    let definition = display();
    let forms = [RecordingForm::PLAIN, form(BENCH), form(BUS)];
    let dialect = "Logger\nZeit;IAS;speed_ok;nr_pct;fuel_kg;mode;station\nms;km/h;;;;;\n# begun\n100,5;90;1;95,5;250;0;CH1\n\
        100,5;91;1;95;249;0;CH1\n140;92,5;1;95;249;0;\"CH;1\"\n";
    let lines = "{\"t_s\":0,\"speed_kt\":90,\"speed_ok\":true,\"nr_pct\":95.5,\"fuel_kg\":2.5e2,\"mode\":null,\"station\":\"CH\\u0031\"}\n\
        {\"t_s\":0.1,\"speed_kt\":\"91\",\"x\":[1,{\"y\":2}]}\n";
    let bus = "t_s,word,mode,station\n2031-05-04T10:00:00Z,E17E0061,0,CH1\n2031-05-04 11:00:00.02,0x095E1881,,\n\
        2031-05-04T11:00:00.02+01:00,603F80DB,,\n2031-05-04T10:00:01Z,20000081,,\n";
    fuzz(
        "recording_in_other_forms",
        &texts(&[dialect, lines, bus]),
        |bytes| {
            read_in_forms(bytes, &definition, &forms);
        },
    );
}

#[test]
fn recording_in_parquet() {
    let definition = display();
    let columns = "[recording.columns]\nspeed_kt = { name = \"airspeed_kt\" }\nnr_pct = { name = \"altitude_ft\" }\n\
        speed_ok = { name = \"altitude_ok\" }\nstation = { name = \"mode\" }\nfuel_kg = { name = \"list.list.element\" }\n";
    let stamped =
        format!("[recording]\ntime = \"time\"\ntime_zone = \"Z\"\nrepeats = \"last\"\n{columns}");
    let counted = "[recording]\ntime = \"altitude_ft\"\nrepeats = \"first\"\n";
    fuzz("recording_in_parquet", &[PARQUET.to_vec()], |bytes| {
        read_in_forms(bytes, &definition, &[form(&stamped), form(counted)]);
    });
}

#[test]
fn recording_form() {
    fuzz("recording_form", &texts(&[BENCH, BUS]), |bytes| {
        let Ok(text) = str::from_utf8(bytes) else {
            return;
        };
        match RecordingForm::from_toml(text, "bench.toml") {
            Err(e) => assert!(!e.to_string().is_empty()),
            Ok(form) => read_in_forms(INPUTS.as_bytes(), &display(), &[form]),
        }
    });
}

/// Reads a capture to its end, or to its damage.
fn read_on(capture: Result<Capture, framevouch::capture::Error>) {
    let mut frame = CapturedFrame::new();
    match capture {
        Err(e) => assert!(!e.to_string().is_empty()),
        Ok(mut capture) => {
            let mut last_s = f64::NEG_INFINITY;
            while let Ok(true) = capture.next_into(&mut frame) {
                assert!(
                    frame.time_s.is_finite() && frame.time_s > last_s,
                    "{} after {last_s}",
                    frame.time_s
                );
                last_s = frame.time_s;
            }
        }
    }
}

fn of_the_display() -> OpenOptions {
    OpenOptions {
        size: Some((256, 192)),
        ..OpenOptions::default()
    }
}

#[test]
fn times() {
    let folder = tempfile::tempdir().expect("there is room for files");
    for k in 0..3 {
        let name = format!("frame_{k:06}.png");
        fs::write(
            folder.path().join(&name),
            MADE.read(&format!("frames/{name}")),
        )
        .expect("there is room");
    }
    let table = String::from_utf8(MADE.read("frames/times.csv")).expect("it is text");
    let table: Vec<&str> = table.lines().take(4).collect();
    fuzz("times", &texts(&[&(table.join("\n") + "\n")]), |bytes| {
        fs::write(folder.path().join("times.csv"), bytes).expect("there is room");
        read_on(Capture::open(folder.path(), &of_the_display()));
    });
}

#[test]
fn png() {
    let folder = tempfile::tempdir().expect("there is room for files");
    let path = folder.path().join("frame.png");
    let corpus = [
        MADE.read("frames/frame_000000.png"),
        MADE.read("frames/frame_000003.png"),
    ];
    fuzz("png", &corpus, |bytes| {
        fs::write(&path, bytes).expect("there is room");
        read_on(Capture::open(&path, &of_the_display()));
    });
}

#[test]
fn yuv4mpeg2() {
    let clip = |head: &str, bytes: usize| {
        let frame = [b"FRAME\n".as_slice(), &vec![0x80; bytes]].concat();
        [format!("YUV4MPEG2 {head}\n").as_bytes(), &frame, &frame].concat()
    };
    let corpus = [
        clip(
            "W16 H8 F25:1 Ip A1:1 C420jpeg XYSCSS=420JPEG XCOLORRANGE=FULL",
            192,
        ),
        clip("W16 H8 F30000:1001 Ip A0:0 C422", 256),
        clip("W16 H8 F25:1 C444 XCOLORRANGE=LIMITED", 384),
        clip("W15 H7 F25:1 Cmono", 105),
    ];
    fuzz("yuv4mpeg2", &corpus, |bytes| {
        let reader = Box::new(Cursor::new(bytes.to_vec()));
        read_on(Capture::from_reader(
            reader,
            "clip.y4m",
            &OpenOptions::default(),
        ));
    });
}

#[test]
fn nut() {
    // Two frames of 16 x 8 and their headers, as ffmpeg 5.1 writes them for this program.
    fuzz("nut", &[NUT.to_vec()], |bytes| {
        let Ok(mut nut) = NutReader::open(bytes, 0) else {
            return;
        };
        let mut frames = 0;
        while let Ok(Some(frame)) = nut.next_frame() {
            // As the caller does, whatever the stream says.
            std::io::copy(&mut nut.reader().take(frame.size), &mut std::io::sink())
                .expect("memory can be read");
            frames += 1;
            assert!(frames < 1 << 20, "more frames than bytes");
        }
    });
}

#[test]
fn profile() {
    let corpus = [MADE.read("profile.json")];
    fuzz("profile", &corpus, |bytes| {
        let Ok(text) = str::from_utf8(bytes) else {
            return;
        };
        match Profile::from_json(text, "profile.json") {
            Err(e) => assert!(!e.to_string().is_empty()),
            Ok(profile) => assert!(profile.width > 0 && profile.height > 0),
        }
    });
}

#[test]
fn requirements() {
    let folder = tempfile::tempdir().expect("there is room for files");
    let path = folder.path().join("requirements");
    let table = "id,text,method,hazard\nR-1,\"one, two\",test,major\nR-2,three,,\n,note,,\n";
    let corpus = texts(&[table, &table.replace(',', ";"), REQIF]);
    fuzz("requirements", &corpus, |bytes| {
        fs::write(&path, bytes).expect("there is room");
        match Requirements::load(&path, &Names::default()) {
            Err(e) => assert!(!e.to_string().is_empty()),
            Ok(read) => assert!(
                read.all.len() <= bytes.len(),
                "more requirements than bytes"
            ),
        }
    });
}

#[test]
fn plan() {
    let folder = tempfile::tempdir().expect("there is room for files");
    for name in ["display.toml", "own.ttf", "inputs.csv"] {
        fs::write(folder.path().join(name), MADE.read(name)).expect("there is room");
    }
    let path = folder.path().join("plan.toml");
    fuzz(
        "plan",
        &texts(&[PLAN, include_str!("../browser/campaign.toml")]),
        |bytes| {
            if let Ok(text) = str::from_utf8(bytes) {
                // What is refused for its text is not loaded.
                if Plan::from_toml(text, "plan.toml").is_err() {
                    return;
                }
            }
            fs::write(&path, bytes).expect("there is room");
            if let Err(e) = Prepared::load(&path, "ffmpeg") {
                assert!(!e.to_string().is_empty());
            }
        },
    );
}

/// A plan of a suite, with every key, and stars that stand for files.
const SUITE: &str = "[suite]\nname = \"fuzz\"\n[suite.defaults]\ndisplay = \"display.toml\"\ninputs = \"in*.csv\"\n\
    tags = [\"all\"]\nplace = [0, 0, 1024.5, 768]\n[[run]]\nid = \"cruise-*\"\ncapture = \"clips/c*.y4m\"\ntags = [\"cruise\"]\n\
    offset_s = -1.5\n[[run]]\nid = \"hover\"\ncapture = \"hover.mp4\"\noffset_s = \"auto\"\n\
    matrix = \"bt709\"\nrange = \"limited\"\nplace = \"auto\"\nmeasurements = true\nallow_missing = true\n";

#[test]
fn suite_plan() {
    let folder = tempfile::tempdir().expect("there is room for files");
    fs::create_dir(folder.path().join("clips")).expect("there is room");
    for name in ["c1.y4m", "c22.y4m", "d.y4m"] {
        fs::write(folder.path().join("clips").join(name), name).expect("there is room");
    }
    let whole = read(SUITE, "suite.toml", folder.path()).expect("it is a plan");
    assert_eq!(whole.1.len(), 3);
    fuzz("suite plan", &texts(&[SUITE]), |bytes| {
        let Ok(text) = str::from_utf8(bytes) else {
            return;
        };
        match read(text, "suite.toml", folder.path()) {
            Err(e) => assert!(!e.to_string().is_empty()),
            Ok((_, runs)) => assert!(runs.iter().all(|r| !r.id.contains(['/', '*', '.']))),
        }
    });
}

#[test]
fn measurements() {
    let corpus = [MADE.read("out/measurements.bin")];
    fuzz("measurements", &corpus, |bytes| {
        let Ok(mut reader) = Reader::new(bytes, "measurements.bin") else {
            return;
        };
        let mut clips = 0;
        while let Ok(Some(clip)) = reader.clip() {
            assert!(clip.times_s.len() <= bytes.len(), "more frames than bytes");
            clips += 1;
            assert!(clips <= bytes.len(), "more clips than bytes");
        }
    });
}

#[test]
fn manifest() {
    let folder = tempfile::tempdir().expect("there is room for files");
    let out = folder.path().join("out");
    fs::create_dir(&out).expect("there is room");
    for name in ["display.toml", "inputs.csv", "own.ttf"] {
        fs::write(folder.path().join(name), MADE.read(name)).expect("there is room");
    }
    let whole = MADE.read("out/manifest.json");
    let parsed: serde_json::Value = serde_json::from_slice(&whole).expect("it is JSON");
    for output in parsed["outputs"].as_array().expect("it has results") {
        let name = output["path"].as_str().expect("they have names");
        fs::write(out.join(name), MADE.read(&format!("out/{name}"))).expect("there is room");
    }
    fuzz("manifest", &[whole], |bytes| {
        fs::write(out.join("manifest.json"), bytes).expect("there is room");
        if let Err(e) = verify(&out) {
            assert!(!e.to_string().is_empty());
        }
    });
}
