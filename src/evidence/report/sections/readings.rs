//! What the readings were like while their regions agreed: how well the check could measure.

use maud::{Markup, html};

use crate::evidence::report::Section;
use crate::evidence::report::bundle::{Bundle, CheckRun};
use crate::evidence::report::labels::{figure, run_heading};

pub(in crate::evidence::report) fn section(bundle: &Bundle) -> Option<Section> {
    bundle.checks().next()?;
    let body = html! {
        p { "Value shown minus value due, in frames in which the region agreed or was blind. Single readings are in readings.csv." }
        @for (k, (_, run)) in bundle.checks().enumerate() { (run_heading(bundle, k)) (table(run)) }
    };
    Some(Section {
        id: "readings",
        title: "Readings",
        body,
    })
}

fn table(run: &CheckRun) -> Markup {
    html! {
        div.wide { table {
            thead { tr {
                th { "Region" } th { "Channel" } th { "Shown by" } th.n { "Readings" } th.n { "Mean error" } th.n { "RMS" }
                th.n { "Worst" } th.n { "in frame" } th.n { "Permitted" } th { "Unit" }
            } }
            tbody {
                @for ((region, channel, what), r) in &run.frames.readings {
                    @let permitted = run.display.region(region).and_then(|d| d.tolerances.get(channel));
                    tr {
                        th scope="row" { (region) }
                        td { (channel) } td { (what) }
                        td.n { (r.count) }
                        td.n { (figure(r.mean(), 4)) } td.n { (figure(r.rms(), 4)) } td.n { (figure(r.worst, 3)) }
                        td.n { (r.worst_frame) }
                        td.n { @if let Some(t) = permitted { (figure(t.value, 3)) } @else { "-" } }
                        td { (r.unit) }
                    }
                }
            }
        } }
    }
}
