//! `framevouch calibrate`: what the capture chain does to a good picture.

use std::path::{Path, PathBuf};

use super::check::parse_offset;
use super::{CaptureArguments, Failure, Force, InputArguments};
use crate::capture::{CapturedFrame, ReadAhead, profile};
use crate::chain::measure::Given;
use crate::check::place::in_words;
use crate::check::{self, Offset};
use crate::evidence::records::thousandths;
use crate::examine::subject::Subject;
use crate::files;
use crate::reference::drawing::Drawing;
use crate::reference::painter::Painter;

/// Arguments of `calibrate`.
#[derive(clap::Args)]
pub struct Arguments {
    #[command(flatten)]
    input: InputArguments,
    #[command(flatten)]
    capture: CaptureArguments,
    /// File for the profile.
    #[arg(long, value_name = "profile.json")]
    out: PathBuf,
    /// Recording time = capture time + SECONDS; `auto` finds it from the material.
    #[arg(long, value_name = "SECONDS|auto", value_parser = parse_offset, allow_hyphen_values = true)]
    offset: Option<Offset>,
    #[command(flatten)]
    force: Force,
}

/// Frames that are measured: evenly spread, in memory at once.
const MEASURED_FRAMES: usize = 48;

/// Runs `calibrate`.
pub(super) fn run(arguments: &Arguments) -> Result<u8, Failure> {
    calibrate(
        &arguments.input,
        &arguments.capture,
        arguments.offset.unwrap_or(Offset::Usual),
        &arguments.out,
        arguments.force.force,
    )
}

/// Measures a chain and writes its profile to `out`.
pub(super) fn calibrate(
    input: &InputArguments,
    capture: &CaptureArguments,
    offset: Offset,
    out: &Path,
    is_forced: bool,
) -> Result<u8, Failure> {
    let (definition, recording) = input.load()?;
    let mut inputs = InputArguments::paths(&definition, &recording);
    inputs.push(&capture.capture);
    files::refuse_shared(inputs, [out.to_owned()])?;
    // Now rather than after the measuring.
    files::refuse_foreign(out, profile::FILE, is_forced)?;
    let drawing = Drawing::new(&definition);
    let subject = Subject::new(&definition, &drawing);
    let place = capture.place(&definition)?;
    let mut source = ReadAhead::start(capture.open()?, 4);
    let (first, ended) = check::first_stretch(&mut source)?;
    if let Some(e) = ended {
        return Err(e.into());
    }
    // Frames all over the capture; the stride doubles as it turns out longer.
    let mut frames: Vec<CapturedFrame> = Vec::new();
    let mut stride = 1u64;
    let mut add = |frame: &CapturedFrame| {
        if !frame.index.is_multiple_of(stride) {
            return;
        }
        frames.push(frame.clone());
        if frames.len() == 2 * MEASURED_FRAMES {
            let mut k = 0;
            frames.retain(|_| {
                k += 1;
                k % 2 == 1
            });
            stride *= 2;
        }
    };
    first.iter().for_each(&mut add);
    let mut frame = CapturedFrame::new();
    while source.next_into(&mut frame)? {
        add(&frame);
    }
    let mut painter = Painter::new();
    let given = Given {
        siting: source.info().siting,
        profile: None,
        place: check::settle_place(subject, &recording, &first, place, offset, &mut painter)
            .map_err(|e| e.of_capture(&capture.capture))?,
    };
    let settled = check::settle(subject, &recording, &frames, given, offset);
    let measured = &settled.measured;
    let p = &measured.profile;
    say!(
        "time offset   {} s ({})",
        thousandths(settled.offset_s),
        settled.offset_from
    );
    say!(
        "shift         {:.3} px, {:.3} px",
        p.shift_px[0],
        p.shift_px[1]
    );
    say!("scale         {:.6}, {:.6}", p.scale[0], p.scale[1]);
    let geometry = p.look().geometry;
    if !geometry.is_upright() {
        say!("corners       {}", in_words(&geometry, definition.size()));
    }
    say!(
        "noise         {:.2}, {:.2}, {:.2} levels",
        p.noise[0],
        p.noise[1],
        p.noise[2]
    );
    say!("text          {}", p.text.in_words());
    match p.latency_se_s {
        Some(se) => say!(
            "latency       {:.1} ms, standard error {:.1} ms",
            p.latency_s * 1e3,
            se * 1e3
        ),
        None => say!("latency       not measured: nothing moved enough"),
    }
    say!(
        "agreement     {:.0} % of the regions",
        100.0 * measured.agreeing
    );
    for note in &measured.notes {
        say!("note          {note}");
    }
    // A check is the judge of what is a chain: what it would refuse is none.
    let raised = match check::confirm(subject, &recording, (&first, &frames), given, &settled) {
        Err(check::Error::NoAgreement) => return Err("the capture does not agree with the recording well enough to measure the chain; use a stretch that is known to be good, and check offset, definition and recording".into()),
        Err(check::Error::Chain { what, .. }) => return Err(format!("this is no chain that a profile can describe (the display's place, and one map of colours that is linear in their levels), or it changes within the capture: by what was measured of the whole, {what}").into()),
        other => other?,
    };
    if !raised.is_empty() {
        say!(
            "raised        {}: by this chain they disagree in most of these frames, and a check with this profile raises them",
            raised.join(", ")
        );
    }
    let text = serde_json::to_string_pretty(p)? + "\n";
    let bytes = text.as_bytes();
    files::replace(out, bytes, profile::FILE, is_forced)?;
    Ok(super::EXIT_AGREES)
}
