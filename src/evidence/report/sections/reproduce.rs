//! How to get the same again.

use maud::html;

use crate::evidence::report::Section;
use crate::evidence::report::bundle::Bundle;
use crate::evidence::report::labels::run_heading;

pub(in crate::evidence::report) fn section(bundle: &Bundle) -> Option<Section> {
    let body = html! {
        p { "Same inputs, same program: the same bytes, on any number of threads. With compressed captures the decoder "
            "is part of what must be the same; the CRC-32 of every decoded frame is in frames.jsonl." }
        @for (k, folder) in bundle.folders.iter().enumerate() {
            (run_heading(bundle, k))
            p { "In the result folder (" code { (folder.name) } "), with framevouch " (folder.manifest.version) ":" }
            pre tabindex="0" { (folder.manifest.command_line()) }
            @if folder.manifest.is_repeatable() {
                p { "Or at once, with a comparison byte by byte:" }
                pre tabindex="0" { "framevouch verify --again ." }
            } @else {
                p.loud { "The capture came through standard input, and cannot be run again from here." }
            }
        }
    };
    Some(Section {
        id: "reproduce",
        title: "How to reproduce",
        body,
    })
}
