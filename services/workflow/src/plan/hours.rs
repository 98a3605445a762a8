//! When people are there, and when what runs or is long will end by that.

use chrono::{DateTime, TimeDelta, Utc};
use planner::calendar::Calendar;
use planner::model::Technician;
use uuid::Uuid;

use super::picture::{HORIZON, Shop, ticks};
use crate::shift_times;

/// For so long is waited for work that should have begun, and by such steps is what runs over its time taken to go on: the plan
/// does not slide with every second.
pub(super) const PATIENCE: TimeDelta = TimeDelta::minutes(5);
/// Mechanical work may lie on both sides of a break of this length; a procedure never does.
const BREAK: TimeDelta = TimeDelta::minutes(60);
/// Mechanical work that is longer than anybody's day may lie on both sides of a night or some days off.
const DAYS_OFF: TimeDelta = TimeDelta::days(4);

/// When a technician is there from a moment on, as far ahead as is planned: shifts without absences.
pub(super) fn presence(shop: &Shop, technician: Uuid, from: DateTime<Utc>) -> Vec<(i64, i64)> {
    let end = shop.now + HORIZON;
    let mut there: Vec<(i64, i64)> = shop
        .shifts
        .iter()
        .filter(|s| s.technician == technician)
        .flat_map(|s| shift_times::expand(s, shop.zone, from, end))
        .map(|(start, until)| (ticks(start), ticks(until)))
        .collect();
    for away in shop.away.iter().filter(|a| a.technician == Some(technician)) {
        // Nobody is planned for the part of a second before they are back.
        let back =
            away.until_at.map_or(i64::MAX, |at| ticks(at + TimeDelta::nanoseconds(999_999_999)));
        let gone = ticks(away.from_at);
        there = there
            .into_iter()
            .flat_map(|(start, until)| [(start, until.min(gone)), (start.max(back), until)])
            .filter(|(start, until)| start < until)
            .collect();
    }
    Calendar::open(there).windows().to_vec()
}

/// When work that runs is taken to end: when it should, or by a step after now if it runs over; and nobody goes on with it before
/// they are there again.
pub(super) fn goes_on_until(shop: &Shop, end: i64, person: Option<Uuid>) -> i64 {
    let (now, step) = (ticks(shop.now), PATIENCE.num_seconds());
    if now < end {
        return end;
    }
    let next = end + ((now - end) / step + 1) * step;
    let there = person.map(|person| presence(shop, person, shop.now)).unwrap_or_default();
    match there.iter().find(|(_, until)| *until > now) {
        Some(&(from, _)) if from > now => next.max(from + step),
        _ => next,
    }
}

/// When mechanical work that somebody began then is taken to end, by the hours in which they are there.
pub(super) fn worked_until(
    shop: &Shop,
    person: Option<Uuid>,
    started: DateTime<Utc>,
    seconds: i64,
) -> i64 {
    let there = person.map(|person| presence(shop, person, started)).unwrap_or_default();
    goes_on_until(shop, worked(&there, ticks(started), seconds), person)
}

/// Who begins outside their hours works on by the clock.
fn worked(there: &[(i64, i64)], started: i64, seconds: i64) -> i64 {
    let (mut at, mut left) = (started, seconds);
    for &(from, until) in there.iter().filter(|(_, until)| *until > started) {
        if left == 0 || left == seconds && from > at {
            break;
        }
        at = from.max(at);
        let part = left.min(until - at);
        (at, left) = (at + part, left - part);
    }
    at + left
}

/// Over which gaps in somebody's hours mechanical work of this length may lie: over breaks, and over nights only if nobody with
/// the skills is there for so long.
pub(super) fn pause(people: &[Technician], skills: &[String], seconds: i64) -> i64 {
    let able = people.iter().filter(|person| skills.iter().all(|s| person.skills.contains(s)));
    let longest = able.map(|person| longest_day(&person.shifts)).max().unwrap_or(0);
    if seconds <= longest { BREAK.num_seconds() } else { DAYS_OFF.num_seconds() }
}

/// The longest time that somebody is there with no more than breaks in between, without those.
fn longest_day(there: &[(i64, i64)]) -> i64 {
    let (mut longest, mut day, mut last) = (0, 0, i64::MIN);
    for &(from, until) in there {
        let goes_on = from.saturating_sub(last) <= BREAK.num_seconds();
        day = until - from + if goes_on { day } else { 0 };
        longest = longest.max(day);
        last = until;
    }
    longest
}

#[cfg(test)]
mod tests {
    use super::{longest_day, pause, worked};
    use planner::model::Technician;

    const HOUR: i64 = 3_600;
    /// Two days from 8 to 12 and from 12:30 to 17.
    const DAYS: [(i64, i64); 4] = [
        (8 * HOUR, 12 * HOUR),
        (12 * HOUR + 1_800, 17 * HOUR),
        (32 * HOUR, 36 * HOUR),
        (36 * HOUR + 1_800, 41 * HOUR),
    ];

    #[test]
    fn what_was_begun_goes_on_after_breaks_and_nights() {
        assert_eq!(worked(&DAYS, 9 * HOUR, HOUR), 10 * HOUR);
        assert_eq!(worked(&DAYS, 11 * HOUR, 2 * HOUR), 13 * HOUR + 1_800);
        assert_eq!(worked(&DAYS, 16 * HOUR, 2 * HOUR), 33 * HOUR);
        // Begun in the evening, by somebody who stayed, or by nobody of the shop.
        assert_eq!(worked(&DAYS, 18 * HOUR, 2 * HOUR), 20 * HOUR);
        assert_eq!(worked(&[], 9 * HOUR, 2 * HOUR), 11 * HOUR);
    }

    #[test]
    fn only_what_is_longer_than_a_day_lies_over_a_night() {
        assert_eq!(longest_day(&DAYS), 8 * HOUR + 1_800);
        let skills = vec!["general".to_owned()];
        let day =
            Technician { shifts: DAYS.to_vec(), skills: skills.clone(), ..Technician::default() };
        let guard = Technician { shifts: vec![(0, 48 * HOUR)], ..Technician::default() };
        let people = [day, guard];
        assert_eq!(pause(&people, &skills, 8 * HOUR), HOUR);
        assert_eq!(pause(&people, &skills, 9 * HOUR), 96 * HOUR);
    }
}
