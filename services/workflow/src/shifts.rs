//! Shifts as stretches of time: the shop's local times, repeated by an RRULE (RFC 5545).

use chrono::{DateTime, LocalResult, NaiveDateTime, TimeDelta, TimeZone as _, Utc};
use chrono_tz::Tz;
use rrule::RRuleSet;
use store::means::ShiftTimes;

/// At most this many occurrences of one shift are looked at.
const MOST: u16 = 2_000;

/// Whether a rule reads, with what is wrong when it does not.
pub fn check(starts_local: NaiveDateTime, zone: Tz, rrule: &str) -> Result<(), String> {
    set(starts_local, zone, rrule).map(drop)
}

/// The stretches of a shift that touch `[from, until)`. A local time that does not exist on a day (the clock is put
/// forward) does not count (RFC 5545 3.3.10); one that exists twice is the first.
pub fn expand(
    shift: &ShiftTimes,
    zone: Tz,
    from: DateTime<Utc>,
    until: DateTime<Utc>,
) -> Vec<(DateTime<Utc>, DateTime<Utc>)> {
    let length = TimeDelta::minutes(i64::from(shift.minutes));
    if shift.minutes <= 0 {
        return Vec::new();
    }
    let starts: Vec<DateTime<Utc>> = match &shift.rrule {
        None => exact(shift.starts_local, zone).into_iter().collect(),
        Some(rule) => occurrences(shift.starts_local, zone, rule, from - length, until),
    };
    starts
        .into_iter()
        .filter(|start| !shift.except_dates.contains(&start.with_timezone(&zone).date_naive()))
        .map(|start| (start, start + length))
        .filter(|(start, end)| *end > from && *start < until)
        .collect()
}

fn occurrences(
    starts_local: NaiveDateTime,
    zone: Tz,
    rule: &str,
    from: DateTime<Utc>,
    until: DateTime<Utc>,
) -> Vec<DateTime<Utc>> {
    let Ok(set) = set(starts_local, zone, rule) else { return Vec::new() };
    let edge = |at: DateTime<Utc>| at.with_timezone(&rrule::Tz::Tz(zone));
    set.after(edge(from))
        .before(edge(until))
        .all(MOST)
        .dates
        .into_iter()
        // The library moves a time that does not exist to one that does.
        .filter(|found| found.naive_local().time() == starts_local.time())
        .map(|found| found.with_timezone(&Utc))
        .collect()
}

fn set(starts_local: NaiveDateTime, zone: Tz, rule: &str) -> Result<RRuleSet, String> {
    if rule.contains(['\n', '\r']) || rule.to_uppercase().contains("DTSTART") {
        return Err("one RRULE, without DTSTART".to_owned());
    }
    let rule = rule.strip_prefix("RRULE:").unwrap_or(rule);
    let text = format!(
        "DTSTART;TZID={}:{}\nRRULE:{rule}",
        zone.name(),
        starts_local.format("%Y%m%dT%H%M%S")
    );
    text.parse::<RRuleSet>().map_err(|error| error.to_string())
}

fn exact(local: NaiveDateTime, zone: Tz) -> Option<DateTime<Utc>> {
    match zone.from_local_datetime(&local) {
        LocalResult::Single(at) | LocalResult::Ambiguous(at, _) => Some(at.with_timezone(&Utc)),
        LocalResult::None => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::NaiveDate;

    fn shift(starts: &str, rrule: Option<&str>) -> ShiftTimes {
        ShiftTimes {
            technician: uuid::Uuid::nil(),
            starts_local: starts.parse().expect("a local time"),
            minutes: 480,
            rrule: rrule.map(str::to_owned),
            except_dates: vec![NaiveDate::from_ymd_opt(2026, 11, 4).expect("a date")],
        }
    }

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().expect("a time")
    }

    #[test]
    fn a_weekly_shift_repeats_in_local_time_without_its_exceptions() {
        let weekly = shift("2026-11-02T07:30:00", Some("FREQ=WEEKLY;BYDAY=MO,TU,WE"));
        let found = expand(
            &weekly,
            chrono_tz::Europe::Berlin,
            at("2026-11-02T00:00:00Z"),
            at("2026-11-09T00:00:00Z"),
        );
        let starts: Vec<String> = found.iter().map(|(start, _)| start.to_rfc3339()).collect();
        assert_eq!(starts, ["2026-11-02T06:30:00+00:00", "2026-11-03T06:30:00+00:00"]);
    }

    /// RFC 5545 3.3.10: an occurrence at a local time that does not exist is ignored. New York puts the clock forward on
    /// 2026-03-08 at 02:00 (IANA time zone database).
    #[test]
    fn a_night_shift_that_would_begin_in_the_skipped_hour_does_not_happen() {
        let nightly = shift("2026-03-06T02:30:00", Some("FREQ=DAILY"));
        let found = expand(
            &nightly,
            chrono_tz::America::New_York,
            at("2026-03-06T00:00:00Z"),
            at("2026-03-10T00:00:00Z"),
        );
        let days: Vec<String> =
            found.iter().map(|(start, _)| start.format("%m-%d %H:%M").to_string()).collect();
        assert_eq!(days, ["03-06 07:30", "03-07 07:30", "03-09 06:30"]);
    }

    #[test]
    fn a_shift_of_no_length_or_a_rule_that_does_not_read_gives_nothing() {
        let none = ShiftTimes { minutes: 0, ..shift("2026-11-02T07:30:00", None) };
        let (from, until) = (at("2026-11-01T00:00:00Z"), at("2026-11-09T00:00:00Z"));
        assert!(expand(&none, chrono_tz::UTC, from, until).is_empty());
        assert!(
            check("2026-11-02T07:30:00".parse().expect("a time"), chrono_tz::UTC, "FREQ=SOMETIMES")
                .is_err()
        );
        assert!(
            check(
                "2026-11-02T07:30:00".parse().expect("a time"),
                chrono_tz::UTC,
                "FREQ=DAILY;UNTIL=20261201T000000Z"
            )
            .is_ok()
        );
    }
}
