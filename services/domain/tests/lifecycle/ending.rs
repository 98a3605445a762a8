//! Whether everything can still end: shown by doing it.

use std::collections::HashSet;
use std::sync::Mutex;

use domain::lifecycle::TaskState;

use crate::floor::Floor;
use crate::step::{Act, Decision, Request, Rules, decide};
use crate::work::Work;

/// Whether a diligent shop brings everything to its end from here: by doing what is next, and deciding to try again.
/// `known` are places from which it does.
pub(crate) fn can_end(
    work: &Work,
    rules: Rules,
    floor: &Floor,
    known: &Mutex<HashSet<Floor>>,
) -> bool {
    let mut floor = floor.clone();
    let mut way = Vec::new();
    for _ in 0..60 {
        for task in &mut floor.tasks {
            task.settling = false;
        }
        floor = floor.in_brief(work);
        let mut known = known.lock().expect("no check failed while it held this");
        if floor.is_done() || known.contains(&floor) {
            known.extend(way);
            return true;
        }
        drop(known);
        let done = next_right(&floor)
            .into_iter()
            .find_map(|request| decide(work, rules, &floor, request).ok());
        let Some((_, after)) = done else { return false };
        way.push(std::mem::replace(&mut floor, after));
    }
    false
}

/// What a diligent shop does next, the most pressing first.
pub(crate) fn next_right(floor: &Floor) -> Vec<Request> {
    let mut asked = vec![Request::EndLeases];
    let tasks = || floor.tasks.iter().enumerate();
    for (at, task) in tasks() {
        let who = task.technician.unwrap_or_default();
        let act = |act| Request::Act { who, at, fence: task.fence, act };
        match task.state {
            TaskState::Held | TaskState::Failed => {
                asked.push(Request::Decide { who, at, decision: Decision::Retry });
            }
            TaskState::Running => asked.push(act(Act::Pass)),
            TaskState::Taken => asked.push(act(Act::Start)),
            _ => {}
        }
    }
    asked.extend((0..floor.lines.len()).map(Request::EndLine));
    asked.extend((0..floor.lines.len()).map(Request::BeginLine));
    asked.extend(tasks().map(|(at, _)| Request::Take { who: 0, at }));
    asked
}
