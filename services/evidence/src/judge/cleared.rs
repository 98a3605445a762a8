//! Codes that were read and then cleared: what has merely gone from the list is not tested yet.

use chrono::{DateTime, Utc};

use super::board::Board;
use super::codes::{List, same};
use crate::frame::obd;
use crate::sample::{Code, CodeList, Kind, Sample};

/// What is known of a code over the attempt.
struct Known<'a> {
    code: &'a str,
    /// Where it was last present.
    read: &'a Sample,
    /// Since then: cleared, and when.
    cleared: Option<DateTime<Utc>>,
    /// Since then: its last status said that its test has run without a fault.
    tested: bool,
}

/// Codes that were present in this attempt, were cleared, and whose test has not run since, as far as anything tells:
/// neither their own status (ISO 14229-1) nor, for the powertrain, that all monitors are complete since codes were
/// cleared (SAE J1979). With where each was read.
pub(super) fn untested<'a>(
    board: &Board<'a>,
    unverified: bool,
    pattern: &str,
    except: &[String],
) -> Vec<(&'a str, Option<&'a Sample>)> {
    let mut known: Vec<Known> = Vec::new();
    // An unregistered interface may show that codes were cleared, and proves nothing by it.
    for sample in board.of_attempt(true) {
        let counts = || sample.objection(unverified).is_none();
        match &sample.kind {
            Kind::CodesCleared => {
                for one in known.iter_mut().filter(|one| one.cleared.is_none()) {
                    one.cleared = Some(sample.taken_at);
                }
            }
            Kind::Codes { list, .. } if *list != CodeList::Permanent && counts() => {
                for code in List::of(sample).iter().flat_map(|list| list.meant(pattern, except)) {
                    follow(&mut known, code, sample);
                }
            }
            Kind::Monitors { monitors } if counts() && obd::all_complete(monitors) => {
                for one in known.iter_mut().filter(|one| one.code.starts_with('P')) {
                    one.tested |= one.cleared.is_some();
                }
            }
            _ => {}
        }
    }
    let owed = known.into_iter().filter(|one| one.cleared.is_some() && !one.tested);
    owed.map(|one| (one.code, Some(one.read))).collect()
}

fn follow<'a>(known: &mut Vec<Known<'a>>, code: &'a Code, read: &'a Sample) {
    if code.is_present() {
        known.retain(|one| !same(one.code, &code.code));
        known.push(Known { code: &code.code, read, cleared: None, tested: false });
    } else {
        for one in known.iter_mut().filter(|one| same(one.code, &code.code)) {
            one.tested = !code.is_untested();
        }
    }
}
