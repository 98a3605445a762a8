//! The board of the plan.

use paper::board::{Board, svg};
use proptest::prelude::*;

use crate::sample;

#[test]
fn a_board_is_a_picture_that_stays_the_same() {
    let picture = svg(&sample::day());
    sample::keep("board.svg", &picture);
    assert_eq!(picture, svg(&sample::day()));
    insta::assert_snapshot!("board", picture);
}

#[test]
fn an_empty_plan_is_a_picture_too() {
    let empty = Board { bays: vec![], road: vec![], unplanned: vec![], ..sample::day() };
    let picture = svg(&empty);
    sample::keep("board-empty.svg", &picture);
    roxmltree::Document::parse(&picture).unwrap();
    assert!(picture.contains("There are no bays."));
    let mut idle = sample::day();
    idle.road.clear();
    for bay in &mut idle.bays {
        bay.bars.clear();
    }
    assert!(svg(&idle).contains("Nothing is planned in this time."));
    roxmltree::Document::parse(&svg(&Board::default())).unwrap();
}

#[test]
fn what_lies_after_the_picture_is_counted_in_it() {
    let day = sample::day();
    assert!(!svg(&day).contains("Planned after"));
    let morning = Board { until: day.now + chrono::TimeDelta::minutes(110), ..day.clone() };
    let later = |bar: &&paper::board::Bar| bar.from >= morning.until;
    let bars = || morning.bays.iter().flat_map(|bay| &bay.bars).chain(&morning.road);
    let count = bars().filter(later).count();
    assert!(count > 0);
    assert!(svg(&morning).contains(&format!("Planned after Thu 26 Nov, 12:30: {count}")));
    // A weekend: nothing in the picture, everything after it.
    let weekend = Board {
        now: day.now - chrono::TimeDelta::days(2),
        from: day.from - chrono::TimeDelta::days(2),
        until: day.until - chrono::TimeDelta::days(2),
        ..day
    };
    assert!(svg(&weekend).contains("Nothing is planned in this time."));
}

#[test]
fn a_board_tells_what_it_shows_without_colour() {
    let picture = svg(&sample::day());
    let document = roxmltree::Document::parse(&picture).unwrap();
    let titles: Vec<&str> = document
        .descendants()
        .filter(|node| node.has_tag_name(("http://www.w3.org/2000/svg", "title")))
        .filter_map(|node| node.text())
        .collect();
    for wanted in [
        "RO-20411: Close and calibrate parking brake, 10:10 to 11:05, being worked, Sam Oyelaran",
        "RO-20422: Idle relearn, 11:45 to 12:30, planned, Ida Brandt, the order will be late, its place is fixed",
        "RO-20411: Three-cycle functional test, 11:10 to 11:40, planned, Sam Oyelaran, then waits until 12:20",
        "Closed 07:00 to 09:30: rack is being recalibrated",
    ] {
        assert!(titles.contains(&wanted), "{wanted}");
    }
    // Two late bars and the legend's sample.
    assert_eq!(picture.matches(r#"class="late""#).count(), 3);
    assert!(
        picture.contains("8 tasks")
            || picture.contains("tasks planned, 2 without a place, 2 orders late")
    );
    assert!(picture.contains("now 10:40"));
}

#[test]
fn the_clock_along_the_top_shows_full_hours_of_the_shop() {
    let board = Board {
        time_zone: "Asia/Kolkata".into(), // half an hour beside UTC's hours
        ..sample::day()
    };
    let picture = svg(&board);
    assert!(picture.contains(">18:00<") && !picture.contains(">18:30<"));
}

#[test]
fn bars_in_one_bay_never_cover_each_other() {
    let picture = svg(&sample::day());
    let document = roxmltree::Document::parse(&picture).unwrap();
    let figure = |node: &roxmltree::Node<'_, '_>, name: &str| {
        node.attribute(name).unwrap().parse::<f64>().unwrap()
    };
    let bars: Vec<[f64; 4]> = document
        .descendants()
        .filter(|node| node.attribute("class").is_some_and(|class| class.starts_with("bar ")))
        .map(|node| ["x", "y", "width", "height"].map(|name| figure(&node, name)))
        .collect();
    assert!(bars.len() > 15);
    for (place, a) in bars.iter().enumerate() {
        for b in &bars[place + 1..] {
            let apart = a[0] + a[2] <= b[0] || b[0] + b[2] <= a[0];
            let stacked = a[1] + a[3] <= b[1] || b[1] + b[3] <= a[1];
            assert!(apart || stacked, "{a:?} {b:?}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// The reader is a strict XML parser of its own.
    #[test]
    fn any_text_leaves_a_well_formed_picture(text: String, minutes in 0_i64..3000, span in -5_i64..20000) {
        let mut board = sample::day();
        text.clone_into(&mut board.shop);
        for bay in &mut board.bays {
            bay.name.clone_from(&text);
            bay.offers.clone_from(&text);
            for bar in &mut bay.bars {
                bar.order.clone_from(&text);
                bar.title.clone_from(&text);
                bar.technician = Some(text.clone());
            }
            for closed in &mut bay.closed {
                closed.why.clone_from(&text);
            }
        }
        board.unplanned[0].why.clone_from(&text);
        board.from += chrono::TimeDelta::minutes(minutes - 1500);
        board.until = board.from + chrono::TimeDelta::minutes(span);
        let picture = svg(&board);
        let document = roxmltree::Document::parse(&picture).map_err(|e| TestCaseError::fail(e.to_string()))?;
        let plain = svg(&Board { shop: "plain".into(), ..board.clone() });
        prop_assert_eq!(document.root_element().tag_name().name(), "svg");
        prop_assert_eq!(plain.matches('<').count(), picture.matches('<').count());
    }
}
