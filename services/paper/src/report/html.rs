//! The completion report as one HTML page: no script, nothing loaded from elsewhere, readable
//! without colour, printable on A4.

use chrono::{DateTime, Utc};
use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::{DEFERENCE, Report, Seal, Value};
use crate::clean::clean;
use crate::local::{Clocks, rfc3339};

mod tasks;

const STYLE: &str = include_str!("html/report.css");

/// The page; with the seal, once there is one.
pub fn page(report: &Report, seal: Option<&Seal>) -> String {
    let clocks = Clocks::of(&report.shop.time_zone);
    let title = format!("Completion report, order {}", report.order.number);
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'";
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                header {
                    p class="shop" {
                        strong { (report.shop.name) }
                        @if let Some(address) = &report.shop.address { br; (address) }
                    }
                    h1 { "Completion report" br; span class="number" { (report.order.number) } }
                }
                p class="deference" role="note" { (DEFERENCE) }
                main {
                    (summary(report, clocks))
                    (findings(report))
                    (lines(report))
                    section {
                        h2 { "Procedures" }
                        @if report.tasks.is_empty() { p { "This order required none." } }
                        @for (number, task) in (1..).zip(&report.tasks) {
                            (tasks::article(number, task, clocks))
                        }
                    }
                    (waivers(report, clocks))
                    (refusals(report, clocks))
                    (addenda(report, clocks))
                    (origin(report, seal, clocks))
                }
            }
        }
    };
    clean(&page.into_string())
}

fn summary(report: &Report, clocks: Clocks) -> Markup {
    let (order, vehicle, release) = (&report.order, &report.vehicle, &report.release);
    html! {
        section class="summary" {
            h2 { "In short" }
            dl {
                (row("Vehicle", &html! { (vehicle.description) }))
                (row("VIN", &html! {
                    @match &vehicle.vin { Some(vin) => code { (vin) }, None => "none given" }
                }))
                @if let Some(plate) = &vehicle.plate { (row("Plate", &html! { (plate) })) }
                @if vehicle.odometer_in.is_some() || vehicle.odometer_out.is_some() {
                    (row("Odometer", &html! {
                        @if let Some(value) = &vehicle.odometer_in { "in " (measured(value)) }
                        @if vehicle.odometer_in.is_some() && vehicle.odometer_out.is_some() { ", " }
                        @if let Some(value) = &vehicle.odometer_out { "out " (measured(value)) }
                    }))
                }
                @if !vehicle.facts.is_empty() {
                    (row("Known of it", &html! {
                        @for (place, fact) in vehicle.facts.iter().enumerate() {
                            @if place > 0 { "; " }
                            (words(&fact.name)) ": " (words(&fact.value))
                        }
                    }))
                }
                (row("Order taken", &moment(order.taken_at, clocks)))
                @if let Some(at) = order.promised_at { (row("Promised", &moment(at, clocks))) }
                @if let Some(follows) = &order.follows { (row("Follows order", &html! { (follows) })) }
                @if !order.complaints.is_empty() { (row("Complaints", &joined(&order.complaints))) }
                @if !order.trouble_codes.is_empty() { (row("Trouble codes", &joined(&order.trouble_codes))) }
                (row("Order is", &html! { strong { (words(&order.state)) } }))
                (row("Released", &html! {
                    @match &release.kind {
                        Some(kind) => strong { (words(kind)) },
                        None => strong { "not released" },
                    }
                    @if let Some(at) = release.at { ", " (moment(at, clocks)) }
                    @if let Some(by) = &release.by { ", by " (by) }
                }))
                (row("Procedures", &html! { (counts(report)) }))
                @if !report.waivers.is_empty() {
                    (row("Waivers", &html! { (report.waivers.len()) " (see below)" }))
                }
            }
            @for remark in &release.remarks { p class="remark" { (remark) } }
        }
    }
}

/// `3 passed, 1 waived`, the states in alphabetical order.
fn counts(report: &Report) -> String {
    let mut states = std::collections::BTreeMap::<&str, usize>::new();
    for task in &report.tasks {
        *states.entry(&task.state).or_default() += 1;
    }
    let parts: Vec<String> =
        states.iter().map(|(state, count)| format!("{count} {}", words(state))).collect();
    if parts.is_empty() { "none required".to_owned() } else { parts.join(", ") }
}

fn findings(report: &Report) -> Markup {
    html! {
        @if !report.findings.is_empty() {
            section {
                h2 { "Findings" }
                ul { @for finding in &report.findings {
                    li { (finding.detail) " " small { "(" (words(&finding.code)) ")" } }
                } }
            }
        }
    }
}

fn lines(report: &Report) -> Markup {
    html! {
        section {
            h2 { "Work ordered" }
            table {
                caption { "Lines of the order, and the operations read from them" }
                thead { tr {
                    th scope="col" { "Line" } th scope="col" { "As written" }
                    th scope="col" { "Operations" } th scope="col" { "Reading" }
                    th scope="col" { "State" }
                } }
                tbody { @for line in &report.lines { tr {
                    th scope="row" { (line.line) }
                    td { (line.text) }
                    td { (joined(&line.operations)) }
                    td { (words(&line.reading)) }
                    td {
                        (words(&line.state))
                        @if let Some(word) = &line.authorisation { ", " (words(word)) }
                    }
                } } }
            }
        }
    }
}

fn waivers(report: &Report, clocks: Clocks) -> Markup {
    html! {
        @if !report.waivers.is_empty() {
            section {
                h2 { "Waivers" }
                @for waiver in &report.waivers {
                    article class="waiver" {
                        h3 { "Not done: " (waiver.scope) }
                        dl {
                            (row("Reason", &html! { (waiver.reason) }))
                            (row("Decided", &html! { (moment(waiver.at, clocks)) ", by " (waiver.by) }))
                            @if let Some(by) = &waiver.approved_by { (row("Approved by", &html! { (by) })) }
                            @if let Some(told) = &waiver.customer_told { (row("Customer was told", &html! { (told) })) }
                            @if let Some(limit) = &waiver.restriction { (row("Restriction", &html! { (limit) })) }
                            @if let Some(at) = waiver.expires_at { (row("Until", &moment(at, clocks))) }
                            @if let Some(at) = waiver.revoked_at { (row("Revoked", &moment(at, clocks))) }
                        }
                    }
                }
            }
        }
    }
}

fn refusals(report: &Report, clocks: Clocks) -> Markup {
    html! {
        @if !report.refusals.is_empty() {
            section {
                h2 { "Refused on the way" }
                table {
                    caption { "What was asked for and not allowed" }
                    thead { tr {
                        th scope="col" { "When" } th scope="col" { "Who" }
                        th scope="col" { "Asked" } th scope="col" { "Why not" }
                    } }
                    tbody { @for refusal in &report.refusals { tr {
                        td { (moment(refusal.at, clocks)) }
                        td { (refusal.by) }
                        td { (refusal.asked) }
                        td { ul { @for reason in &refusal.reasons { li { (reason) } } } }
                    } } }
                }
            }
        }
    }
}

fn addenda(report: &Report, clocks: Clocks) -> Markup {
    html! {
        @if !report.addenda.is_empty() {
            section {
                h2 { "Added later" }
                ul { @for addendum in &report.addenda {
                    li { (moment(addendum.at, clocks)) ", " (addendum.by) ": " (addendum.text) }
                } }
            }
        }
    }
}

fn origin(report: &Report, seal: Option<&Seal>, clocks: Clocks) -> Markup {
    html! {
        section class="origin" {
            h2 { "Where this comes from" }
            dl {
                (row("Drawn up", &moment(report.made_at, clocks)))
                (row("Order id", &html! { code { (report.order.id) } }))
                (row("Catalogue", &html! {
                    code { (report.catalogue.version) }
                    @if let Some(basis) = &report.catalogue.basis { br; (basis) }
                }))
                @if let Some(seal) = seal {
                    (row("SHA-256 of the report as JSON", &html! { code { (seal.report_sha256) } }))
                    (row("Journal", &html! { code { (seal.origin) } }))
                    (row("Checkpoint", &html! {
                        (seal.size) " entries, signed " (moment(seal.signed_at, clocks))
                        " with key " code { (seal.key_id) }
                    }))
                    (row("Root", &html! { code { (seal.root) } }))
                }
            }
            @if seal.is_some() {
                p { "Keep these figures elsewhere: with them an exported audit bundle can be checked \
                     without the server." }
            } @else {
                p { "This report is not sealed yet." }
            }
        }
    }
}

/// A term and what it means here.
fn row(term: &str, meaning: &Markup) -> Markup {
    html! { div { dt { (term) } dd { (meaning) } } }
}

fn moment(at: DateTime<Utc>, clocks: Clocks) -> Markup {
    html! { time datetime=(rfc3339(at)) { (clocks.full(at)) } }
}

fn measured(value: &Value) -> Markup {
    html! {
        (value.value)
        @if let Some(unit) = &value.unit { "\u{a0}" (symbol(unit)) }
    }
}

fn joined(texts: &[String]) -> Markup {
    html! { @for (place, text) in texts.iter().enumerate() { @if place > 0 { "; " } (text) } }
}

/// A word of the program as people write it: `open_learning` is "open learning".
fn words(word: &str) -> String {
    word.replace('_', " ")
}

/// The sign that people know for a UCUM code; other codes stand as they are.
fn symbol(code: &str) -> &str {
    match code {
        "Cel" => "°C",
        "[degF]" => "°F",
        "/min" | "{rev}/min" => "1/min",
        "deg" => "°",
        "[psi]" => "psi",
        "[mi_i]" => "mi",
        "[mi_i]/h" => "mi/h",
        "[in_i]" => "in",
        "[ft_i]" => "ft",
        "[lb_av]" => "lb",
        "[ft_i].[lbf_av]" => "lbf·ft",
        "[in_i].[lbf_av]" => "lbf·in",
        "N.m" => "N·m",
        "Ohm" => "Ω",
        "kOhm" => "kΩ",
        "MOhm" => "MΩ",
        "A.h" => "Ah",
        _ => code,
    }
}
