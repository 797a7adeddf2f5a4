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
        (budgets(run))
    }
}

/// What the regions may spend of the budgets of their hazard classes.
fn budgets(run: &CheckRun) -> Markup {
    let regions = run.display.regions.iter();
    let with: Vec<_> = regions
        .filter_map(|r| Some((&r.id, r.hazard, r.budget?)))
        .collect();
    html! {
        @if !with.is_empty() {
            div.wide { table {
                caption { "Values decided under a budget: what each region may spend of that of its hazard class." }
                thead { tr { th { "Region" } th { "Hazard" } th.n { "Nuisance trips an hour" } th.n { "Time to alert ms" } } }
                tbody { @for (id, hazard, budget) in with {
                    tr {
                        th scope="row" { (id) } td { (hazard.name()) }
                        td.n { (figure(budget.nuisance_per_hour, 2)) } td.n { (figure(budget.time_to_alert_ms, 4)) }
                    }
                } }
            } }
        }
    }
}
