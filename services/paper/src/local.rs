//! Moments as the shop's clocks show them.

use chrono::{DateTime, SecondsFormat, Utc};
use chrono_tz::Tz;

/// The clocks of a shop.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Clocks(Tz);

impl Clocks {
    /// Of an IANA time zone; of UTC where the name is unknown, which then shows beside each time.
    pub(crate) fn of(zone: &str) -> Self {
        Self(zone.parse().unwrap_or(Tz::UTC))
    }

    /// The moment in the zone.
    pub(crate) fn at(self, moment: DateTime<Utc>) -> DateTime<Tz> {
        moment.with_timezone(&self.0)
    }

    /// Date, time to the second, and the zone's letters: `2026-11-26 09:05:12 EST`.
    pub(crate) fn full(self, moment: DateTime<Utc>) -> String {
        self.at(moment).format("%Y-%m-%d %H:%M:%S %Z").to_string()
    }

    /// Hour and minute.
    pub(crate) fn short(self, moment: DateTime<Utc>) -> String {
        self.at(moment).format("%H:%M").to_string()
    }
}

/// The moment for programs: RFC 3339 in UTC.
pub(crate) fn rfc3339(moment: DateTime<Utc>) -> String {
    moment.to_rfc3339_opts(SecondsFormat::AutoSi, true)
}
