//! Pinned starts that had to be given up: in a better plan they may be possible after all.

use crate::cost::cost;
use crate::improve::{finish, first};
use crate::model::Model;
use crate::outcome::Plan;

/// Tries given-up pins anew in the finished plan, until one more look changes nothing: a later repair then changes nothing either.
pub(crate) fn try_anew(model: &Model, mut plan: Plan) -> Plan {
    let pinned = |plan: &Plan| {
        plan.unplanned.iter().filter(|entry| model.jobs[entry.job].pin.start.is_some()).count()
    };
    let mut looks = pinned(&plan);
    if looks == 0 {
        return plan;
    }
    let mut again = model.clone();
    while looks > 0 {
        looks -= 1;
        again.in_force.clone_from(&plan.placements);
        let (shop, unplanned, draft) = first(&again);
        let next = finish(&shop, &draft, unplanned);
        if next.placements == plan.placements {
            break;
        }
        let costs = cost(model, &next.placements);
        plan = Plan { cost: costs, ..next };
    }
    plan
}
