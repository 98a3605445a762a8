//! One task: its bar, its words, its signs, and the wait after it.

use maud::{Markup, html};

use super::super::fit::fit;
use super::super::scale::Scale;
use super::super::{Bar, BarState};
use super::px;
use crate::local::Clocks;

/// Height of a bar.
pub(super) const HEIGHT: f64 = 46.0;

/// Draws it with its upper edge at `top`, as far as the time is in the picture.
pub(super) fn bar(bar: &Bar, top: f64, scale: &Scale, clocks: Clocks) -> Markup {
    let (left, right) = (scale.x(bar.from), scale.x(bar.until));
    let width = (right - left).max(3.0);
    let signs = if bar.late { 20.0 } else { 0.0 } + if bar.pinned { 14.0 } else { 0.0 };
    html! {
        g {
            title { (told(bar, clocks)) }
            @if let Some(settled) = bar.settles_until && settled > bar.until {
                rect x=(px(right)) y=(px(top + HEIGHT - 14.0)) width=(px(scale.x(settled) - right)) height="14"
                    fill="url(#wait)" stroke="#151515" stroke-width="0.8" stroke-dasharray="3 2" {}
            }
            rect class={ "bar " (class(bar.state)) } x=(px(left)) y=(px(top)) width=(px(width)) height=(px(HEIGHT)) rx="3" {}
            @if bar.state == BarState::Held {
                rect x=(px(left)) y=(px(top)) width=(px(width)) height=(px(HEIGHT)) rx="3" fill="url(#held)" {}
            }
            @if bar.state == BarState::Running {
                rect x=(px(left)) y=(px(top)) width=(px(width.min(6.0))) height=(px(HEIGHT)) fill="#151515" {}
            }
            (label(bar, left, top, width, signs))
            @if bar.late {
                rect x=(px(left)) y=(px(top)) width=(px(width)) height=(px(HEIGHT)) rx="3"
                    fill="none" stroke="#151515" stroke-width="3" {}
                (flag(left + width - 3.0, top + HEIGHT - 19.0))
            }
            @if bar.pinned && width >= 24.0 { (pin(left + width - signs + 5.0, top + HEIGHT - 10.0)) }
        }
    }
}

/// Order, title and technician inside the bar: a picture of its own, so that nothing runs over
/// the edge in a type that is wider than thought.
fn label(bar: &Bar, left: f64, top: f64, width: f64, signs: f64) -> Markup {
    let room = width - 12.0;
    let class = if bar.state == BarState::Done { "done-text" } else { "" };
    let worker = bar.technician.as_deref().unwrap_or("");
    let order = fit(&bar.order, room, 12.5);
    // Without its order a bar's other words would say nothing.
    html! {
        @if !order.is_empty() { svg x=(px(left)) y=(px(top)) width=(px(width)) height=(px(HEIGHT)) {
            text x="9" y="15" font-size="12.5" font-weight="700" class=(class) { (order) }
            text x="9" y="28.5" font-size="11.5" class=(class) { (fit(&bar.title, room, 11.5)) }
            text x="9" y="41" font-size="10.5" class="soft" { (fit(worker, room - signs, 10.5)) }
        } }
    }
}

/// The sign of an order that will be late: a filled triangle at the bar's upper right corner.
pub(super) fn flag(right: f64, top: f64) -> Markup {
    html! {
        path class="late" d={ "M" (px(right - 17.0)) " " (px(top + 16.0)) "h16l-8 -14z" } {}
    }
}

/// The sign of a fixed place.
pub(super) fn pin(x: f64, y: f64) -> Markup {
    html! {
        circle cx=(px(x)) cy=(px(y)) r="4" fill="#fff" stroke="#151515" stroke-width="1.6" {}
        circle cx=(px(x)) cy=(px(y)) r="1.3" fill="#151515" {}
    }
}

fn told(bar: &Bar, clocks: Clocks) -> String {
    let mut parts = vec![
        format!("{}: {}", bar.order, bar.title),
        format!("{} to {}", clocks.short(bar.from), clocks.short(bar.until)),
        word(bar.state).to_owned(),
    ];
    parts.extend(bar.technician.clone());
    if let Some(settled) = bar.settles_until {
        parts.push(format!("then waits until {}", clocks.short(settled)));
    }
    if bar.late {
        parts.push("the order will be late".to_owned());
    }
    if bar.pinned {
        parts.push("its place is fixed".to_owned());
    }
    parts.join(", ")
}

/// The style of a state.
pub(super) fn class(state: BarState) -> &'static str {
    match state {
        BarState::Planned => "planned",
        BarState::Running => "running",
        BarState::Held => "held",
        BarState::Done => "done",
    }
}

fn word(state: BarState) -> &'static str {
    match state {
        BarState::Planned => "planned",
        BarState::Running => "being worked",
        BarState::Held => "held, a decision is needed",
        BarState::Done => "done",
    }
}
