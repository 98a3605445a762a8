//! Calendars, read by a general reader of iCalendar (crate `icalendar`).

use icalendar::parser::{read_calendar, unfold};
use paper::calendar::{Calendar, Entry, ics};
use proptest::prelude::*;

use crate::sample::{at, keep};

fn calendar(text: &str) -> Calendar {
    Calendar {
        name: "Bay 2".into(),
        as_of: at(15, 40),
        entries: vec![Entry {
            id: "0193a1b2-0000-7000-8000-000000000417".into(),
            summary: text.into(),
            description: text.into(),
            location: Some("Bay 2".into()),
            from: at(16, 45),
            until: at(17, 30),
        }],
    }
}

#[test]
fn a_calendar_holds_each_task_with_its_time_and_place() {
    let text = ics(&calendar("RO-20422: idle relearn; engine warm, then off"));
    keep("bay.ics", &text);
    assert!(text.lines().all(|line| line.len() <= 75));
    assert_eq!(text.matches('\n').count(), text.matches("\r\n").count());
    let unfolded = unfold(&text);
    let read = read_calendar(&unfolded).unwrap();
    let event = &read.components[0];
    let value = |name: &str| event.find_prop(name).unwrap().val.to_string();
    assert_eq!(event.name.to_string(), "VEVENT");
    assert_eq!(value("DTSTART"), "20261126T164500Z");
    assert_eq!(value("DTEND"), "20261126T173000Z");
    assert_eq!(value("DTSTAMP"), "20261126T154000Z");
    assert_eq!(value("LOCATION"), "Bay 2");
    assert!(value("UID").ends_with("417"));
}

#[test]
fn a_day_without_tasks_is_a_calendar_too() {
    let empty = Calendar { entries: vec![], ..calendar("") };
    let text = ics(&empty);
    assert!(read_calendar(&unfold(&text)).unwrap().components.is_empty());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    #[test]
    fn no_text_adds_a_line_or_a_property(text: String) {
        let written = ics(&calendar(&text));
        prop_assert!(written.split("\r\n").all(|line| line.len() <= 75 && !line.contains(['\n', '\r'])));
        let unfolded = unfold(&written);
        let read = read_calendar(&unfolded).map_err(TestCaseError::fail)?;
        prop_assert_eq!(read.components.len(), 1);
        let expected = if text.is_empty() { 6 } else { 7 };
        prop_assert_eq!(read.components[0].properties.len(), expected);
    }
}
