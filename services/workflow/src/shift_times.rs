//! When a shift really is: from its rule (RFC 5545) and the shop's time zone to instants.
//!
//! The rule is followed in local time, and each occurrence is then placed in the zone. An occurrence in the gap of a
//! change to summer time does not exist and does not count (3.3.10); one that exists twice is the first (3.3.5).
//! `COUNT` and `UNTIL` are therefore applied here and not by the recurrence crate.

use chrono::{DateTime, LocalResult, NaiveDate, NaiveDateTime, TimeDelta, TimeZone as _, Utc};
use chrono_tz::Tz;
use rrule::{Frequency, RRule, RRuleSet, Unvalidated};
use store::means::ShiftTimes;

/// A working time: from and until.
pub type Interval = (DateTime<Utc>, DateTime<Utc>);

/// Occurrences that are looked at, at the most: a daily shift of 50 years.
const MOST: u16 = 20_000;

/// Every occurrence that touches the time between `from` and `until`, in order. A length is elapsed time, also over a
/// change of the clocks.
pub fn expand(
    shift: &ShiftTimes,
    zone: Tz,
    from: DateTime<Utc>,
    until: DateTime<Utc>,
) -> Vec<Interval> {
    let length = TimeDelta::minutes(shift.minutes.into());
    if length <= TimeDelta::zero() {
        return Vec::new();
    }
    let Some(rule) = &shift.rrule else {
        let start = at(zone, shift.starts_local).or_else(|| before_gap(zone, shift.starts_local));
        return start
            .filter(|_| !shift.except_dates.contains(&shift.starts_local.date()))
            .map(|start| (start, start + length))
            .into_iter()
            .filter(|(start, end)| *end > from && *start < until)
            .collect();
    };
    let Ok(rule) = Rule::read(rule, shift.starts_local) else { return Vec::new() };
    let last = rule.until.map(|end| end.instant(zone));
    rule.locals
        .into_iter()
        .take(usize::from(MOST))
        .map(|local| local.naive_utc())
        .filter_map(|local| Some((local, at(zone, local)?)))
        .take(rule.count.map_or(usize::MAX, |count| count as usize))
        .take_while(|(_, start)| *start < until && last.is_none_or(|last| *start <= last))
        .filter(|(local, start)| {
            *start + length > from && !shift.except_dates.contains(&local.date())
        })
        .map(|(_, start)| (start, start + length))
        .collect()
}

/// Whether a rule can be read, repeats in days or longer, and ever happens.
pub fn check(rule: &str, starts_local: NaiveDateTime) -> Result<(), String> {
    let rule = Rule::read(rule, starts_local)?;
    let ends = rule.until.map(Until::local);
    let first = rule.locals.into_iter().next().map(|first| first.naive_utc());
    let happens = first.is_some_and(|first| ends.is_none_or(|end| first <= end));
    if happens && rule.count != Some(0) {
        Ok(())
    } else {
        Err("no day follows this rule".to_owned())
    }
}

/// A rule with its ends taken off.
struct Rule {
    /// Local times, as if they were UTC.
    locals: RRuleSet,
    count: Option<u32>,
    until: Option<Until>,
}

/// The end of a rule: an instant, or a local time.
#[derive(Clone, Copy)]
enum Until {
    Instant(DateTime<Utc>),
    Local(NaiveDateTime),
}

impl Until {
    fn read(text: &str) -> Option<Self> {
        if let Some(utc) = text.strip_suffix('Z') {
            let moment = NaiveDateTime::parse_from_str(utc, "%Y%m%dT%H%M%S").ok()?;
            return Some(Self::Instant(moment.and_utc()));
        }
        let local = NaiveDateTime::parse_from_str(text, "%Y%m%dT%H%M%S").ok();
        let day = || NaiveDate::parse_from_str(text, "%Y%m%d").ok()?.and_hms_opt(23, 59, 59);
        local.or_else(day).map(Self::Local)
    }

    /// The latest local time that it may be anywhere.
    fn local(self) -> NaiveDateTime {
        match self {
            Self::Instant(instant) => instant.naive_utc() + TimeDelta::days(1),
            Self::Local(local) => local,
        }
    }

    fn instant(self, zone: Tz) -> DateTime<Utc> {
        match self {
            Self::Instant(instant) => instant,
            Self::Local(local) => {
                at(zone, local).or_else(|| before_gap(zone, local)).unwrap_or(local.and_utc())
            }
        }
    }
}

impl Rule {
    fn read(text: &str, starts_local: NaiveDateTime) -> Result<Self, String> {
        let (mut rest, mut count, mut until) = (Vec::new(), None, None);
        let text = text.to_ascii_uppercase();
        let text = text.strip_prefix("RRULE:").unwrap_or(&text);
        for part in text.split(';') {
            match part.split_once('=') {
                Some(("COUNT", number)) => {
                    let number: u32 =
                        number.parse().map_err(|_| "COUNT is no number".to_owned())?;
                    count = Some(number);
                }
                Some(("UNTIL", end)) => {
                    until = Some(Until::read(end).ok_or("UNTIL is no date or time")?);
                }
                _ => rest.push(part),
            }
        }
        if count.is_some() && until.is_some() {
            return Err("COUNT and UNTIL exclude each other (RFC 5545 3.3.10)".to_owned());
        }
        let rule: RRule<Unvalidated> =
            rest.join(";").parse().map_err(|error| format!("{error}"))?;
        if matches!(rule.get_freq(), Frequency::Hourly | Frequency::Minutely | Frequency::Secondly)
        {
            return Err("a shift repeats in days, weeks, months or years".to_owned());
        }
        let start = rrule::Tz::UTC.from_utc_datetime(&starts_local);
        let rule = rule.validate(start).map_err(|error| error.to_string())?;
        Ok(Self { locals: RRuleSet::new(start).rrule(rule).limit(), count, until })
    }
}

/// The instant of a local time: the first of two; none in a gap.
fn at(zone: Tz, local: NaiveDateTime) -> Option<DateTime<Utc>> {
    match zone.from_local_datetime(&local) {
        LocalResult::Single(one) | LocalResult::Ambiguous(one, _) => Some(one.to_utc()),
        LocalResult::None => None,
    }
}

/// The instant of a local time in a gap, by the offset before it (3.3.5).
fn before_gap(zone: Tz, local: NaiveDateTime) -> Option<DateTime<Utc>> {
    let day = TimeDelta::days(1);
    at(zone, local - day).map(|earlier| earlier + day)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Local starts of the first occurrences. Rules and dates marked RFC are examples of RFC 5545 3.8.5.3; the others
    /// follow from its 3.3.5 and 3.3.10 and the time zone database, and were computed with python-dateutil and
    /// zoneinfo, with occurrences in gaps taken out.
    const VECTORS: &[(&str, &str, &str, &str, &[&str])] = &[
        (
            "RFC",
            "America/New_York",
            "1997-08-05T09:00:00",
            "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO",
            &[
                "1997-08-05T13:00:00Z",
                "1997-08-10T13:00:00Z",
                "1997-08-19T13:00:00Z",
                "1997-08-24T13:00:00Z",
            ],
        ),
        (
            "RFC",
            "America/New_York",
            "1997-08-05T09:00:00",
            "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU",
            &[
                "1997-08-05T13:00:00Z",
                "1997-08-17T13:00:00Z",
                "1997-08-19T13:00:00Z",
                "1997-08-31T13:00:00Z",
            ],
        ),
        (
            "RFC",
            "America/New_York",
            "2007-01-15T09:00:00",
            "FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5",
            &[
                "2007-01-15T14:00:00Z",
                "2007-01-30T14:00:00Z",
                "2007-02-15T14:00:00Z",
                "2007-03-15T13:00:00Z",
                "2007-03-30T13:00:00Z",
            ],
        ),
        (
            "across a spring change",
            "America/New_York",
            "2026-03-05T07:30:00",
            "FREQ=WEEKLY;BYDAY=MO,TU,WE,TH,FR;COUNT=3",
            &["2026-03-05T12:30:00Z", "2026-03-06T12:30:00Z", "2026-03-09T11:30:00Z"],
        ),
        (
            "a gap is not counted",
            "America/New_York",
            "2026-03-06T02:30:00",
            "FREQ=DAILY;COUNT=5",
            &[
                "2026-03-06T07:30:00Z",
                "2026-03-07T07:30:00Z",
                "2026-03-09T06:30:00Z",
                "2026-03-10T06:30:00Z",
                "2026-03-11T06:30:00Z",
            ],
        ),
        (
            "a fold is the first",
            "America/New_York",
            "2026-10-30T01:30:00",
            "FREQ=DAILY;COUNT=5",
            &[
                "2026-10-30T05:30:00Z",
                "2026-10-31T05:30:00Z",
                "2026-11-01T05:30:00Z",
                "2026-11-02T06:30:00Z",
                "2026-11-03T06:30:00Z",
            ],
        ),
        (
            "a gap elsewhere",
            "Europe/Berlin",
            "2026-03-28T02:30:00",
            "FREQ=DAILY;COUNT=3",
            &["2026-03-28T01:30:00Z", "2026-03-30T00:30:00Z", "2026-03-31T00:30:00Z"],
        ),
        (
            "a gap of half an hour",
            "Australia/Lord_Howe",
            "2026-10-03T02:15:00",
            "FREQ=DAILY;COUNT=3",
            &["2026-10-02T15:45:00Z", "2026-10-04T15:15:00Z", "2026-10-05T15:15:00Z"],
        ),
        (
            "UNTIL is UTC",
            "America/New_York",
            "2026-01-05T08:00:00",
            "FREQ=WEEKLY;BYDAY=MO;UNTIL=20260119T130000Z",
            &["2026-01-05T13:00:00Z", "2026-01-12T13:00:00Z", "2026-01-19T13:00:00Z"],
        ),
        (
            "UNTIL a second short",
            "America/New_York",
            "2026-01-05T08:00:00",
            "FREQ=WEEKLY;BYDAY=MO;UNTIL=20260119T125959Z",
            &["2026-01-05T13:00:00Z", "2026-01-12T13:00:00Z"],
        ),
        (
            "short months are skipped",
            "America/New_York",
            "2026-01-31T08:00:00",
            "FREQ=MONTHLY;COUNT=3",
            &["2026-01-31T13:00:00Z", "2026-03-31T12:00:00Z", "2026-05-31T12:00:00Z"],
        ),
        (
            "leap days",
            "America/New_York",
            "2024-02-29T08:00:00",
            "FREQ=YEARLY;COUNT=3",
            &["2024-02-29T13:00:00Z", "2028-02-29T13:00:00Z", "2032-02-29T13:00:00Z"],
        ),
    ];

    fn shift(starts_local: &str, rrule: Option<&str>) -> ShiftTimes {
        ShiftTimes {
            technician: uuid::Uuid::nil(),
            starts_local: starts_local.parse().expect("a local time"),
            minutes: 60,
            rrule: rrule.map(str::to_owned),
            except_dates: Vec::new(),
        }
    }

    fn starts(shift: &ShiftTimes, zone: &str) -> Vec<String> {
        let (from, until) = (DateTime::UNIX_EPOCH, DateTime::UNIX_EPOCH + TimeDelta::days(36_500));
        let found = expand(shift, zone.parse().expect("a zone"), from, until);
        let text = |at: DateTime<Utc>| at.to_rfc3339_opts(chrono::SecondsFormat::Secs, true);
        found.into_iter().map(|(start, _)| text(start)).collect()
    }

    #[test]
    fn shifts_are_where_the_standard_puts_them() {
        for (name, zone, first, rule, expected) in VECTORS {
            assert_eq!(starts(&shift(first, Some(rule)), zone), *expected, "{name}: {rule}");
        }
    }

    #[test]
    fn a_day_that_is_excepted_still_counts() {
        let rule = Some("FREQ=WEEKLY;BYDAY=MO,TU,WE,TH,FR;COUNT=5");
        let except_dates = vec!["2026-07-03".parse().expect("a day")];
        let shift = ShiftTimes { except_dates, ..shift("2026-06-29T07:30:00", rule) };
        assert_eq!(starts(&shift, "America/New_York").len(), 4);
    }

    #[test]
    fn a_single_shift_in_a_gap_takes_the_offset_before_it() {
        let single = shift("2026-03-08T02:30:00", None);
        assert_eq!(starts(&single, "America/New_York"), ["2026-03-08T07:30:00Z"]);
    }

    #[test]
    fn a_single_shift_does_not_happen_on_a_day_that_is_excepted() {
        let except_dates = vec!["2026-07-03".parse().expect("a day")];
        let shift = ShiftTimes { except_dates, ..shift("2026-07-03T07:30:00", None) };
        assert!(starts(&shift, "America/New_York").is_empty());
    }

    #[test]
    fn rules_that_are_none_are_refused() {
        let first = "2026-01-05T08:00:00".parse().expect("a local time");
        assert!(check("FREQ=WEEKLY;BYDAY=MO", first).is_ok());
        for rule in [
            "",
            "FREQ=SOMETIMES",
            "FREQ=HOURLY",
            "FREQ=DAILY;COUNT=2;UNTIL=20260101",
            "FREQ=DAILY;UNTIL=soon",
            // Rules that no day follows.
            "FREQ=DAILY;INTERVAL=0",
            "FREQ=DAILY;COUNT=0",
            "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30",
            "FREQ=DAILY;UNTIL=20251231",
        ] {
            assert!(check(rule, first).is_err(), "{rule}");
        }
    }
}
