//! The drawing itself, from top to bottom.

use maud::{Markup, html};

use super::fit::{fit, text_width};
use super::scale::{MARGIN, NAMES, Scale, end, lanes};
use super::{Bar, Bay, Board, Closed};
use crate::local::Clocks;

mod bar;
mod legend;

/// Height of the title and the clock.
const HEAD: f64 = 92.0;
/// Height of a lane; the bar in it leaves some room.
const LANE: f64 = 58.0;
/// Height of a line in the list of what has no place.
const LIST: f64 = 22.0;

const STYLE: &str = "\
svg{background:#fff}\
text{font-family:'Helvetica Neue',Arial,'Liberation Sans',sans-serif;fill:#151515}\
.bar{stroke:#151515;stroke-width:1.4}\
.planned{fill:#fff}.running{fill:#ffe9a8}.held{fill:#fff}.done{fill:#dedede;stroke:#777}\
.done-text{fill:#444}\
.line{stroke:#151515}.grid{stroke:#d2d2d2}.soft{fill:#555}\
.row:nth-child(even) .ground{fill:#f6f5f1}.ground{fill:#fff}\
.now{stroke:#151515;stroke-width:2.5}\
.late{fill:#151515;stroke:#fff;stroke-width:1}";

/// The whole picture.
pub(super) fn board(board: &Board) -> Markup {
    let clocks = Clocks::of(&board.time_zone);
    let scale = Scale::new(board.from, board.until);
    let width = scale.right() + MARGIN;
    let rows: Vec<Row<'_>> = rows(board);
    let bottom = rows.last().map_or(HEAD + LANE, |row| row.top + row.height);
    let list = bottom + 44.0;
    let unplanned = board.unplanned.len().max(1);
    let legend = list + LIST * count(unplanned) + 18.0;
    let height = legend + legend::HEIGHT;
    html! {
        svg xmlns="http://www.w3.org/2000/svg" role="img" aria-labelledby="title summary"
            width=(px(width)) height=(px(height)) viewBox={ "0 0 " (px(width)) " " (px(height)) } {
            title id="title" { "Plan of " (board.shop) ", " (clocks.full(board.now)) }
            desc id="summary" { (summary(board)) }
            style { (STYLE) }
            (legend::patterns())
            text x="20" y="36" font-size="22" font-weight="700" {
                (fit(&board.shop, width - NAMES - 260.0, 22.0))
            }
            text x=(px(width - MARGIN)) y="36" font-size="14" text-anchor="end" class="soft" {
                "plan as of " (clocks.at(board.now).format("%A, %d %B %Y, %H:%M %Z"))
            }
            (clock(&scale, clocks))
            g { @for row in &rows { (ground(row, &scale, clocks, width)) } }
            (grid(&scale, clocks, bottom))
            (now(board, &scale, clocks, bottom))
            g { @for row in &rows { (bars(row, &scale, clocks)) } }
            @if rows.is_empty() { (nothing(&scale, "There are no bays.")) }
            @else if all_bars(board).all(|bar| !scale.shows(bar.from, end(bar))) {
                (nothing(&scale, "Nothing is planned in this time."))
            }
            line class="line" x1="20" x2=(px(width - MARGIN)) y1=(px(bottom)) y2=(px(bottom)) stroke-width="1.4" {}
            (unplaced(board, list, width))
            (later(board, &scale, clocks, list, width))
            (legend::legend(legend, width))
        }
    }
}

/// A row and where it stands.
struct Row<'a> {
    name: &'a str,
    offers: &'a str,
    closed: &'a [Closed],
    lanes: Vec<Vec<&'a Bar>>,
    top: f64,
    height: f64,
}

fn rows(board: &Board) -> Vec<Row<'_>> {
    let bays = board
        .bays
        .iter()
        .map(|bay: &Bay| (&*bay.name, &*bay.offers, &*bay.closed, lanes(&bay.bars)));
    let road = (!board.road.is_empty()).then(|| {
        let none: &[Closed] = &[];
        ("On the road", "no bay needed", none, lanes(&board.road))
    });
    let mut top = HEAD;
    bays.chain(road)
        .map(|(name, offers, closed, lanes)| {
            let height = LANE * count(lanes.len().max(1));
            top += height;
            Row { name, offers, closed, lanes, top: top - height, height }
        })
        .collect()
}

fn clock(scale: &Scale, clocks: Clocks) -> Markup {
    let mut day = None;
    html! {
        g {
            @for tick in scale.ticks(clocks) {
                @let x = scale.x(tick);
                @let local = clocks.at(tick);
                text x=(px(x)) y=(px(HEAD - 16.0)) font-size="13" text-anchor="middle" {
                    (clocks.short(tick))
                }
                @if day.replace(local.date_naive()) != Some(local.date_naive()) {
                    text x=(px(x)) y=(px(HEAD - 34.0)) font-size="12" font-weight="700" text-anchor="middle" {
                        (local.format("%a %d %b"))
                    }
                }
            }
        }
    }
}

fn grid(scale: &Scale, clocks: Clocks, bottom: f64) -> Markup {
    html! {
        g {
            @for tick in scale.ticks(clocks) {
                @let x = scale.x(tick);
                line class="grid" x1=(px(x)) x2=(px(x)) y1=(px(HEAD - 8.0)) y2=(px(bottom)) {}
            }
        }
    }
}

fn ground(row: &Row<'_>, scale: &Scale, clocks: Clocks, width: f64) -> Markup {
    let middle = row.top + row.height / 2.0;
    html! {
        g class="row" {
            rect class="ground" x="20" y=(px(row.top)) width=(px(width - MARGIN - 20.0)) height=(px(row.height)) fill-opacity="0.7" {}
            line class="line" x1="20" x2=(px(width - MARGIN)) y1=(px(row.top)) y2=(px(row.top)) stroke-width="0.8" {}
            title { (row.name) ": " (row.offers) }
            text x="26" y=(px(middle - 3.0)) font-size="15" font-weight="700" { (fit(row.name, NAMES - 34.0, 15.0)) }
            text x="26" y=(px(middle + 14.0)) font-size="11" class="soft" { (fit(row.offers, NAMES - 34.0, 11.0)) }
            @for closed in row.closed {
                @if scale.shows(closed.from, closed.until) { (shut(closed, row, scale, clocks)) }
            }
        }
    }
}

fn bars(row: &Row<'_>, scale: &Scale, clocks: Clocks) -> Markup {
    html! {
        @for (place, lane) in row.lanes.iter().enumerate() {
            @let top = row.top + LANE * count(place) + (LANE - bar::HEIGHT) / 2.0;
            @for task in lane {
                @if scale.shows(task.from, end(task)) { (bar::bar(task, top, scale, clocks)) }
            }
        }
    }
}

fn shut(closed: &Closed, row: &Row<'_>, scale: &Scale, clocks: Clocks) -> Markup {
    let (left, right) = (scale.x(closed.from), scale.x(closed.until));
    let label = fit(&closed.why, right - left - 20.0, 11.0);
    let half = text_width(&label, 11.0) / 2.0 + 5.0;
    let (x, y) = (f64::midpoint(left, right), row.top + row.height / 2.0);
    html! {
        g {
            title { "Closed " (clocks.short(closed.from)) " to " (clocks.short(closed.until)) ": " (closed.why) }
            rect x=(px(left)) y=(px(row.top + 1.0)) width=(px(right - left)) height=(px(row.height - 2.0)) fill="url(#closed)" {}
            @if !label.is_empty() {
                rect x=(px(x - half)) y=(px(y - 9.0)) width=(px(half * 2.0)) height="18" fill="#fff" {}
                text x=(px(x)) y=(px(y + 4.0)) font-size="11" text-anchor="middle" class="soft" { (label) }
            }
        }
    }
}

fn now(board: &Board, scale: &Scale, clocks: Clocks, bottom: f64) -> Markup {
    let x = scale.x(board.now);
    html! {
        @if board.from <= board.now && board.now <= board.until {
            g {
                line class="now" x1=(px(x)) x2=(px(x)) y1=(px(HEAD - 6.0)) y2=(px(bottom + 6.0)) stroke-dasharray="9 4" {}
                rect x=(px(x - 42.0)) y=(px(bottom + 4.0)) width="84" height="18" rx="9" fill="#151515" {}
                text x=(px(x)) y=(px(bottom + 17.0)) font-size="11.5" font-weight="700" text-anchor="middle" style="fill:#fff" {
                    "now " (clocks.short(board.now))
                }
            }
        }
    }
}

fn nothing(scale: &Scale, text: &str) -> Markup {
    let x = f64::midpoint(NAMES, scale.right());
    html! {
        text x=(px(x)) y=(px(HEAD + LANE / 2.0 + 5.0)) font-size="15" text-anchor="middle" class="soft" { (text) }
    }
}

fn unplaced(board: &Board, top: f64, width: f64) -> Markup {
    let room = width - MARGIN - 40.0;
    html! {
        g {
            text x="20" y=(px(top)) font-size="14" font-weight="700" {
                "Without a place in the plan: "
                @if board.unplanned.is_empty() { "none" } @else { (board.unplanned.len()) }
            }
            @for (place, item) in board.unplanned.iter().enumerate() {
                @let text = format!("{}  \u{b7}  {}  \u{2013}  {}", item.order, item.title, item.why);
                g {
                    title { (text) }
                    text x="34" y=(px(top + LIST * (count(place) + 1.0))) font-size="12.5" { (fit(&text, room, 12.5)) }
                }
            }
        }
    }
}

/// What does not fit into the time that is shown is counted, so that nobody takes the picture for all there is.
fn later(board: &Board, scale: &Scale, clocks: Clocks, top: f64, width: f64) -> Markup {
    let later = all_bars(board).filter(|bar| scale.is_over_by(bar.from)).count();
    html! {
        @if later > 0 {
            text x=(px(width - MARGIN)) y=(px(top)) font-size="14" font-weight="700" text-anchor="end" {
                "Planned after " (clocks.at(board.until).format("%a %d %b, %H:%M")) ": " (later)
            }
        }
    }
}

fn all_bars(board: &Board) -> impl Iterator<Item = &Bar> {
    board.bays.iter().flat_map(|bay| &bay.bars).chain(&board.road)
}

fn summary(board: &Board) -> String {
    let bars = || all_bars(board);
    let late: std::collections::BTreeSet<&str> =
        bars().filter(|bar| bar.late).map(|bar| &*bar.order).collect();
    format!(
        "{} bays, {} tasks planned, {} without a place, {} orders late",
        board.bays.len(),
        bars().count(),
        board.unplanned.len(),
        late.len()
    )
}

/// A length as text: one decimal, so that the bytes don't depend on more.
fn px(length: f64) -> String {
    let text = format!("{length:.1}");
    text.strip_suffix(".0").map(str::to_owned).unwrap_or(text)
}

#[expect(clippy::cast_precision_loss, reason = "rows are far below 2^53")]
fn count(number: usize) -> f64 {
    number as f64
}
