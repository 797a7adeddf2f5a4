//! What stands in a result folder and is not the program's stays there; what would be taken for its results is named.

use crate::bench::Files;

#[test]
fn files_of_others_in_the_result_folder_are_left_alone() {
    let files = Files::new();
    files.write("out/events/notes.txt", b"mine");
    files.write("out/frames.txt", b"mine too");
    let ran = files.check("clip.y4m", &["--matrix", "bt709"]);
    assert_eq!(ran.status, 2, "{}{}", ran.stdout, ran.stderr);
    let said = ["notes.txt", "--out"];
    assert!(
        said.iter().all(|s| ran.stderr.contains(s)),
        "{}",
        ran.stderr
    );
    assert_eq!(files.read("out/events/notes.txt"), b"mine");
    std::fs::remove_file(files.path("out/events/notes.txt")).expect("it is there");
    // A name alone makes no picture of an earlier check: none that a manifest names, it goes for who insists alone.
    files.write("out/events/event_0000_blank_frame.png", b"old");
    let ran = files.check("clip.y4m", &["--matrix", "bt709"]);
    assert_eq!(ran.status, 2, "{}{}", ran.stdout, ran.stderr);
    assert!(ran.stderr.contains("--force"), "{}", ran.stderr);
    let ran = files.check("clip.y4m", &["--matrix", "bt709", "--force"]);
    assert_eq!(ran.status, 0, "{}{}", ran.stdout, ran.stderr);
    assert!(!files.path("out/events").exists());
    assert_eq!(files.read("out/frames.txt"), b"mine too");
}

#[test]
fn frames_of_a_longer_drawing_are_not_mixed_with_a_shorter_one() {
    let files = Files::new().with_folder();
    files.write("frames/notes.txt", b"mine");
    // One that no drawing made stays, and no drawing is mixed with it.
    files.write("frames/frame_000900.png", b"mine too");
    let before = files.read("frames/times.csv");
    let ran = files.draw("0.2");
    assert_eq!(ran.status, 2, "{}", ran.stdout);
    let said = ["frame_000900", "--out"];
    assert!(
        said.iter().all(|s| ran.stderr.contains(s)),
        "{}",
        ran.stderr
    );
    assert_eq!(files.read("frames/times.csv"), before);
    std::fs::remove_file(files.path("frames/frame_000900.png")).expect("it is there");
    // Frames of the longer one go with its manifest.
    assert_eq!(files.draw("0.2").status, 0);
    let left = crate::bench::all_bytes(&files.path("frames"));
    let left: Vec<&str> = left.iter().map(|(name, _)| name.as_str()).collect();
    let frames = (0..6).map(|k| format!("frame_{k:06}.png"));
    let rest = ["manifest.json", "notes.txt", "times.csv"].map(str::to_owned);
    assert_eq!(left, frames.chain(rest).collect::<Vec<_>>());
    // Beyond the recording's end, with a word about it.
    let ran = files.draw("3.2");
    assert_eq!(ran.status, 0, "{}", ran.stderr);
    assert!(
        ran.stdout.contains("outside the recording"),
        "{}",
        ran.stdout
    );
}
