//! Same inputs, same bytes: whatever the run and the number of threads.

use crate::bench::{Bench, Files, all_bytes, check_arguments, inputs_until, y4m};
use framevouch::demo::faults::Kind;

/// A clip with a fault in it, so that events and pictures are compared too.
fn faulty() -> Files {
    let bench = Bench::engine_strip(3.2);
    let kind = Kind::BlankRegion(bench.region("power"), bench.definition.background());
    let files = Files::new();
    files.write("inputs.csv", inputs_until(3.2).as_bytes());
    files.write("clip.y4m", &y4m(&bench.frames(Some((kind, 1.8, 2.8)))));
    files
}

#[test]
fn results_are_the_same_on_every_run_and_thread_count() {
    let files = faulty();
    let mut arguments = check_arguments("clip.y4m");
    arguments.extend(["--matrix", "bt709"]);
    let mut first = None;
    for threads in ["1", "1", "2"] {
        let ran = files.run_with(&arguments, &[], &[("RAYON_NUM_THREADS", threads)]);
        assert_eq!(ran.status, 1, "{}{}", ran.stdout, ran.stderr);
        let all = all_bytes(&files.path("out"));
        let names: Vec<&str> = all.iter().map(|(n, _)| n.as_str()).collect();
        assert!(names.iter().any(|n| n.ends_with(".png")), "{names:?}");
        match &first {
            None => first = Some(all),
            Some(before) => {
                let different: Vec<&str> = before
                    .iter()
                    .zip(&all)
                    .filter(|(a, b)| a != b)
                    .map(|(a, _)| a.0.as_str())
                    .collect();
                assert!(*before == all, "{threads} threads: {different:?}");
            }
        }
    }
}

#[test]
fn drawing_twice_gives_the_same_bytes() {
    let one = Files::new().with_folder();
    let two = Files::new().with_folder();
    assert!(all_bytes(&one.path("frames")) == all_bytes(&two.path("frames")));
}
