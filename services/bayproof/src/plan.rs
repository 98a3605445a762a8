//! `plan`: plans an instance from a file, by the engine of the service.

use std::time::Duration;

use planner::outcome::Options;
use planner::yardstick::solve_text;
use rustix::time::{ClockId, clock_gettime};

use crate::cli::PlanSettings;
use crate::{Outcome, documents};

/// Plans and prints. Seconds are of processor time, so that a busy machine does not shorten the search.
pub(crate) fn run(settings: &PlanSettings) -> Outcome {
    let bytes = documents::bytes(&settings.instance)?;
    let text = std::str::from_utf8(&bytes)
        .map_err(|error| format!("the instance is not text: {error}"))?;
    let options = Options {
        iterations: settings.iterations,
        seed: settings.seed,
        threads: settings.threads.into(),
    };
    let begun = processor_time();
    let budget = settings.seconds * f64::from(settings.threads);
    let spent = || (processor_time().saturating_sub(begun)).as_secs_f64() / budget;
    let unbounded = || 0.0;
    let plan = if settings.iterations.is_some() {
        solve_text(text, &options, &unbounded)?
    } else {
        solve_text(text, &options, &spent)?
    };
    documents::print(&plan)
}

/// What this process has computed so far, on all its threads.
fn processor_time() -> Duration {
    let time = clock_gettime(ClockId::ProcessCPUTime);
    let part = |value: i64| u64::try_from(value).unwrap_or(0);
    Duration::from_secs(part(time.tv_sec)) + Duration::from_nanos(part(time.tv_nsec))
}
