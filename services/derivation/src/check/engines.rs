//! An engine that runs indoors has its exhaust led away, and somebody says so or the bay shows it.

use domain::catalogue::Catalogue;
use domain::precondition::Condition;
use domain::procedure::{PlaceOfWork, Procedure};

use crate::check::{Found, each};

/// Bays in which exhaust does not gather.
const AIRED: [&str; 3] = ["exhaust_extraction", "high_temperature_extraction", "outdoors"];

pub(super) fn check(catalogue: &Catalogue, found: &mut Found) {
    each(&catalogue.procedures, "procedures", |at, entry| {
        let PlaceOfWork::Bay(capabilities) = &entry.place_of_work else { return };
        if !demands(entry).any(runs) || capabilities.iter().any(|one| one == "outdoors") {
            return;
        }
        if !capabilities.iter().any(|one| AIRED.contains(&one.as_str())) {
            let detail = format!("the engine runs in `{}`: its bay needs an extraction", entry.id);
            found.fault(&at.key("where"), "engine_without_extraction", detail);
        }
        let attested = entry.preconditions.iter().any(|one| leads_away(&one.condition));
        if !attested {
            let detail = format!(
                "the engine runs in `{}`: a precondition must show that the extraction is connected",
                entry.id
            );
            found.fault(&at.key("preconditions"), "engine_without_extraction", detail);
        }
    });
}

/// Everything that must hold before or while it is done, or that proves it.
fn demands(entry: &Procedure) -> impl Iterator<Item = &Condition> {
    let quick = entry.quick_check.iter().flat_map(|check| &check.proof);
    let all = entry.preconditions.iter().chain(&entry.proof).chain(quick);
    all.flat_map(|one| std::iter::once(&one.condition).chain(&one.while_running))
}

fn runs(condition: &Condition) -> bool {
    let above_zero = |signal: &str, least: Option<domain::quantity::Decimal>| {
        matches!(signal, "engine_speed" | "engine_run_time")
            && least.is_some_and(|least| least.ratio() > num_rational::Ratio::from(0))
    };
    match condition {
        Condition::Range(range) => above_zero(&range.signal, range.at_least),
        Condition::State { signal, is } => signal == "engine" && is == "running",
        Condition::All(parts) => parts.iter().any(runs),
        Condition::Any(parts) => !parts.is_empty() && parts.iter().any(runs),
        _ => false,
    }
}

/// Exhaust is led away under every alternative.
fn leads_away(condition: &Condition) -> bool {
    match condition {
        Condition::State { signal, is } => signal == "exhaust_extraction" && is == "connected",
        Condition::Attested { statement, .. } => {
            statement.contains("extraction") || statement.contains("outdoors")
        }
        Condition::All(parts) => parts.iter().any(leads_away),
        Condition::Any(parts) => !parts.is_empty() && parts.iter().all(leads_away),
        _ => false,
    }
}
