//! The patterns, and what they mean.

use maud::{Markup, html};

use super::super::BarState;
use super::bar::{class, flag, pin};
use super::px;

/// Height of the legend.
pub(super) const HEIGHT: f64 = 58.0;

/// Patterns that tell apart what colour alone would not.
pub(super) fn patterns() -> Markup {
    html! {
        defs {
            pattern id="closed" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" {
                line x1="0" y1="0" x2="0" y2="8" stroke="#9a9a9a" stroke-width="2.4" {}
            }
            pattern id="wait" width="6" height="6" patternUnits="userSpaceOnUse" {
                rect width="6" height="6" fill="#fff" {}
                circle cx="3" cy="3" r="1.1" fill="#151515" {}
            }
            pattern id="held" width="12" height="12" patternUnits="userSpaceOnUse" {
                path d="M0 0L12 12M12 0L0 12" stroke="#151515" stroke-width="0.7" stroke-opacity="0.35" {}
            }
        }
    }
}

/// One line of samples.
pub(super) fn legend(top: f64, width: f64) -> Markup {
    let step = (width - 60.0) / 8.0;
    let at = |place: u8| 20.0 + step * f64::from(place);
    let text = |place: u8, words: &str| {
        html! { text x=(px(at(place) + 34.0)) y=(px(top + 24.0)) font-size="12" { (words) } }
    };
    let swatch = |place: u8, fill: &str| {
        html! {
            rect x=(px(at(place))) y=(px(top + 10.0)) width="26" height="20" fill=(fill) stroke="#151515" stroke-width="0.8" {}
        }
    };
    let states = [
        (0, BarState::Planned, "planned"),
        (1, BarState::Running, "being worked"),
        (2, BarState::Held, "held: decide"),
        (3, BarState::Done, "done"),
    ];
    html! {
        g {
            @for (place, state, words) in states {
                rect class={ "bar " (class(state)) } x=(px(at(place))) y=(px(top + 10.0)) width="26" height="20" rx="3" {}
                @if state == BarState::Running {
                    rect x=(px(at(place))) y=(px(top + 10.0)) width="6" height="20" fill="#151515" {}
                }
                @if state == BarState::Held { (swatch(place, "url(#held)")) }
                (text(place, words))
            }
            (swatch(4, "url(#wait)")) (text(4, "wait after it"))
            (swatch(5, "url(#closed)")) (text(5, "closed"))
            (flag(at(6) + 24.0, top + 11.0)) (text(6, "order late"))
            (pin(at(7) + 16.0, top + 20.0)) (text(7, "place fixed"))
        }
    }
}
