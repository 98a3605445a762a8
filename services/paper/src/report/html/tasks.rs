//! One procedure on the page: why, cautions, every attempt with its evidence.

use maud::{Markup, html};

use super::{joined, measured, moment, row, words};
use crate::local::Clocks;
use crate::report::task::{Attempt, Evidence, Precondition, Reason, Task};

/// The article about a task.
pub(super) fn article(number: usize, task: &Task, clocks: Clocks) -> Markup {
    html! {
        article class="task" {
            h3 {
                (number) ". " (task.title) " "
                span class="state" { (mark(&task.state)) " " (words(&task.state)) }
            }
            p class="kind" {
                (words(&task.kind)) ", " (words(&task.phase)) " the work, "
                code { (task.procedure) }
            }
            @if let Some(what) = &task.disturbed_by { p class="remark" { "Undone afterwards by: " (what) } }
            @if let Some(other) = &task.replaces { p { "Takes the place of: " (other) } }
            h4 { "Why" }
            @if task.because.is_empty() { p { "Asked for by hand." } }
            @for reason in &task.because { (why(reason)) }
            @if !task.cautions.is_empty() {
                h4 { "Cautions" }
                ul { @for caution in &task.cautions { li {
                    (caution.text) " "
                    small {
                        @match (&caution.acknowledged_by, caution.acknowledged_at) {
                            (Some(by), Some(at)) => { "(acknowledged by " (by) ", " (moment(at, clocks)) ")" },
                            (Some(by), None) => { "(acknowledged by " (by) ")" },
                            _ => strong { "(not acknowledged)" },
                        }
                    }
                } } }
            }
            @if !task.preconditions.is_empty() {
                h4 { "Wanted before it can start" }
                (preconditions(&task.preconditions, clocks))
            }
            @if !task.limits.is_empty() {
                h4 { "Limits by the manufacturer" }
                ul { @for limit in &task.limits { li {
                    code { (limit.precondition) } ": " (limit.text) " "
                    small {
                        "(read by " (limit.read_by) ", " (moment(limit.at, clocks))
                        @if let Some(by) = &limit.approved_by { ", approved by " (by) }
                        @if !limit.in_force { "; not approved, it did not count" }
                        ")"
                    }
                } } }
            }
            @for attempt in &task.attempts { (tried(attempt, clocks)) }
            @if let Some(at) = task.settled_at { p { "The wait after it ended " (moment(at, clocks)) "." } }
        }
    }
}

fn why(reason: &Reason) -> Markup {
    html! {
        p class="chain" {
            @for (place, link) in reason.chain.iter().enumerate() {
                @if place > 0 { " \u{2192} " }
                (link)
            }
            @if let Some(source) = &reason.source { " " small { "(source: " (source) ")" } }
        }
    }
}

fn tried(attempt: &Attempt, clocks: Clocks) -> Markup {
    html! {
        section class="attempt" {
            h4 { "Attempt " (attempt.number) ": " (mark(&attempt.outcome)) " " (words(&attempt.outcome)) }
            dl {
                (row("By", &joined(&attempt.people)))
                @if let Some(bay) = &attempt.bay { (row("Where", &html! { (bay) })) }
                @if !attempt.equipment.is_empty() { (row("With", &joined(&attempt.equipment))) }
                @if let Some(identity) = &attempt.identity { (row("Vehicle identified by", &html! { (identity) })) }
                (row("Taken", &moment(attempt.taken_at, clocks)))
                @if let Some(at) = attempt.started_at { (row("Started", &moment(at, clocks))) }
                @if let Some(at) = attempt.ended_at { (row("Ended", &moment(at, clocks))) }
            }
            @if !attempt.preconditions.is_empty() { (preconditions(&attempt.preconditions, clocks)) }
            @if !attempt.results.is_empty() {
                table {
                    caption { "What shows the result" }
                    (evidence_head("Observed"))
                    tbody { @for item in &attempt.results { tr {
                        th scope="row" { (words(&item.what)) }
                        (cells(item, clocks))
                    } } }
                }
            }
            @if !attempt.events.is_empty() {
                ul { @for event in &attempt.events {
                    li { (moment(event.at, clocks)) ", " (event.by) ": " (event.text) }
                } }
            }
        }
    }
}

fn preconditions(list: &[Precondition], clocks: Clocks) -> Markup {
    html! {
        table {
            caption { "Preconditions and what was shown for them" }
            (evidence_head("Precondition"))
            @for precondition in list {
                tbody {
                    tr class="precondition" {
                        th scope="rowgroup" colspan="5" {
                            (mark(&precondition.verdict)) " "
                            strong { (words(&precondition.verdict)) } ": " (precondition.text)
                            @if let Some(detail) = &precondition.detail { br; span { (detail) } }
                        }
                    }
                    @for item in &precondition.evidence { tr {
                        td { (words(&item.what)) }
                        (cells(item, clocks))
                    } }
                }
            }
        }
    }
}

fn evidence_head(first: &str) -> Markup {
    html! {
        thead { tr {
            th scope="col" { (first) } th scope="col" { "Value" }
            th scope="col" { "Taken" } th scope="col" { "Source" }
            th scope="col" { "Marks" }
        } }
    }
}

fn cells(item: &Evidence, clocks: Clocks) -> Markup {
    html! {
        td {
            (measured(&item.given))
            @if let Some(raw) = &item.raw { br; code { (raw) } }
        }
        td { (moment(item.taken_at, clocks)) }
        td { (item.source) }
        td { @for (place, word) in item.marks.iter().enumerate() { @if place > 0 { ", " } (words(word)) } }
    }
}

/// A sign before the word, so that a reader finds at a glance what did not hold.
fn mark(word: &str) -> &'static str {
    match word {
        "met" | "passed" => "\u{2713}",
        "violated" | "failed" => "\u{2717}",
        "missing" | "stale" | "held" | "disturbed" => "!",
        _ => "\u{2013}",
    }
}
