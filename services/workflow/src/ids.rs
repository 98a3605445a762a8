//! The one place that makes ids.

use chrono::{DateTime, Utc};
use uuid::{ContextV7, Timestamp, Uuid};

/// Makes the ids of one step: `UUIDv7` of the service's time, counted, so that they sort by the order they were made in.
#[derive(Debug)]
pub(crate) struct Ids(ContextV7);

impl Ids {
    pub(crate) fn new() -> Self {
        Self(ContextV7::new().with_additional_precision())
    }

    /// A fresh id.
    pub(crate) fn next(&self, now: DateTime<Utc>) -> Uuid {
        let seconds = u64::try_from(now.timestamp()).unwrap_or_default();
        Uuid::new_v7(Timestamp::from_unix(&self.0, seconds, now.timestamp_subsec_nanos()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_of_one_moment_sort_by_the_order_they_were_made_in() {
        let (ids, now) =
            (Ids::new(), DateTime::from_timestamp(1_700_000_000, 123_456_000).expect("in range"));
        let made: Vec<Uuid> = (0..1000).map(|_| ids.next(now)).collect();
        assert!(made.windows(2).all(|pair| pair[0] < pair[1]));
    }
}
