//! What went in and came out, with digests.

use std::collections::BTreeMap;

use maud::{Markup, html};

use crate::evidence::report::Section;
use crate::evidence::report::bundle::{Bundle, Folder};
use crate::evidence::report::labels::run_heading;
use crate::files::Content;

pub(in crate::evidence::report) fn section(bundle: &Bundle) -> Option<Section> {
    let all: Vec<&Folder> = bundle.folders.iter().chain(&bundle.against).collect();
    let body = html! {
        p { "SHA-256 and CRC-32 of each file. " code { "framevouch verify DIR" } " hashes them again. Nothing in a folder vouches for \
            its manifest: keep the manifest's own digest where the record is kept." }
        @for (k, folder) in all.iter().enumerate() {
            @if k < bundle.folders.len() { (run_heading(bundle, k)) } @else { h3 { "Compared with: " (folder.name) } }
            p { "manifest.json " code.digest { (folder.manifest_sha256) } }
            (table(folder))
        }
    };
    Some(Section {
        id: "manifest",
        title: "Manifest",
        body,
    })
}

fn table(folder: &Folder) -> Markup {
    // Pictures of events are many; they are counted here and listed in the file.
    let mut counted: BTreeMap<String, (u64, u64)> = BTreeMap::new();
    let mut listed = Vec::new();
    for f in &folder.manifest.outputs {
        match f.path.rsplit_once('/') {
            None => listed.push(f),
            Some((below, _)) => {
                let n = counted.entry(below.to_owned()).or_default();
                n.0 += 1;
                n.1 += f.content.bytes;
            }
        }
    }
    html! {
        div.wide { table.manifest {
            thead { tr { th { "Role" } th { "File" } th.n { "Bytes" } th { "SHA-256" } th { "CRC-32" } } }
            tbody {
                @for i in &folder.manifest.inputs {
                    tr { td { (i.role) } th scope="row" { (i.path) @if let Some(n) = i.files { " (" (n) " files)" } }
                        (digests(i.content.as_ref())) }
                }
                @for f in listed { tr { td { "result" } th scope="row" { (f.path) } (digests(Some(&f.content))) } }
                @for (below, (n, bytes)) in &counted {
                    tr { td { "result" } th scope="row" { (below) "/ (" (n) " files)" } td.n { (bytes) } td { "each in manifest.json" } td {} }
                }
            }
        } }
    }
}

fn digests(content: Option<&Content>) -> Markup {
    html! {
        @if let Some(c) = content {
            td.n { (c.bytes) } td { code.digest { (c.sha256) } } td { code { (format!("{:08x}", c.crc32)) } }
        } @else { td.n { "-" } td { "none: standard input" } td {} }
    }
}
