//! A calendar of one bay or technician (iCalendar, RFC 5545), for people's own calendars.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::clean::clean;

/// A calendar.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Calendar {
    /// Its name: the bay's or the technician's.
    pub name: String,
    /// The moment that the plan is of.
    pub as_of: DateTime<Utc>,
    /// What is in it.
    pub entries: Vec<Entry>,
}

/// A task in a calendar.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Entry {
    /// What stays the same when the task moves: its id.
    pub id: String,
    /// One line: order and title.
    pub summary: String,
    /// More.
    pub description: String,
    /// The bay.
    pub location: Option<String>,
    /// Its beginning.
    pub from: DateTime<Utc>,
    /// Its end.
    pub until: DateTime<Utc>,
}

/// The calendar, as `text/calendar`.
pub fn ics(calendar: &Calendar) -> String {
    let mut out = String::new();
    let mut put = |name: &str, value: &str| fold(&mut out, &format!("{name}:{value}"));
    let stamp = moment(calendar.as_of);
    put("BEGIN", "VCALENDAR");
    put("VERSION", "2.0");
    put("PRODID", "-//Bayproof//Plan//EN");
    put("CALSCALE", "GREGORIAN");
    put("METHOD", "PUBLISH");
    put("NAME", &text(&calendar.name)); // RFC 7986 section 5.1
    put("X-WR-CALNAME", &text(&calendar.name)); // what older programs read instead
    for entry in &calendar.entries {
        put("BEGIN", "VEVENT");
        put("UID", &text(&entry.id));
        put("DTSTAMP", &stamp);
        put("DTSTART", &moment(entry.from));
        put("DTEND", &moment(entry.until));
        put("SUMMARY", &text(&entry.summary));
        if !entry.description.is_empty() {
            put("DESCRIPTION", &text(&entry.description));
        }
        if let Some(location) = &entry.location {
            put("LOCATION", &text(location));
        }
        put("END", "VEVENT");
    }
    put("END", "VCALENDAR");
    out
}

/// A value of type TEXT (RFC 5545 section 3.3.11).
fn text(value: &str) -> String {
    let mut out = String::new();
    for c in clean(&value.replace("\r\n", "\n")).chars() {
        match c {
            '\\' | ';' | ',' => out.extend(['\\', c]),
            '\n' => out.push_str("\\n"),
            _ => out.push(c),
        }
    }
    out
}

/// A value of type DATE-TIME in UTC (section 3.3.5).
fn moment(at: DateTime<Utc>) -> String {
    at.format("%Y%m%dT%H%M%SZ").to_string()
}

/// Writes a content line in pieces of at most 75 octets (section 3.1), none of which splits a
/// character.
fn fold(out: &mut String, line: &str) {
    let mut used = 0;
    for c in line.chars() {
        if used + c.len_utf8() > 75 {
            out.push_str("\r\n ");
            used = 1;
        }
        out.push(c);
        used += c.len_utf8();
    }
    out.push_str("\r\n");
}
