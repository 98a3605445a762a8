//! The one place that makes ids.

use chrono::{DateTime, Utc};
use uuid::{NoContext, Timestamp, Uuid};

/// A fresh `UUIDv7` of the service's time: ids sort by the time they were made.
pub(crate) fn new_id(now: DateTime<Utc>) -> Uuid {
    let seconds = u64::try_from(now.timestamp()).unwrap_or_default();
    Uuid::new_v7(Timestamp::from_unix(NoContext, seconds, now.timestamp_subsec_nanos()))
}
