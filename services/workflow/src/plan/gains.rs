//! What one more technician, bay or tool would save.

use contract::forecast::{Gain, GainsView};
use planner::compare::{Figures, figures};
use planner::explain::{Cause, explain};
use planner::model::{Bay, Model, OrderId, Pool, Technician};
use planner::outcome::{Plan, Reason};

use super::picture::{Picture, draw};
use super::round::{aside, think};
use crate::caller::Caller;
use crate::flow::Flow;
use crate::refusal::Refusal;

/// What is tried at most; each is a round of planning.
const TRIALS: usize = 6;

/// What one more of what late orders wait for would save.
pub async fn gains(flow: &Flow, caller: &Caller) -> Result<GainsView, Refusal> {
    let shop = flow.read(caller, async |step| step.shop_picture().await).await?;
    let picture = draw(&shop);
    if picture.model.jobs.is_empty() {
        let gains = Vec::new();
        return Ok(GainsView { late_orders: 0, late_minutes: 0, unfinished_orders: 0, gains });
    }
    aside(move || weigh(&picture)).await
}

fn weigh(picture: &Picture) -> GainsView {
    let as_it_is = think(&picture.model);
    let now = figures(&picture.model, &as_it_is);
    let mut gains: Vec<Gain> = wanted(&picture.model, &as_it_is, &now)
        .into_iter()
        .map(|more| {
            let model = more.added_to(&picture.model);
            let then = figures(&model, &think(&model));
            more.gain(&now, &then)
        })
        .collect();
    gains.sort_by_key(|gain| (gain.unfinished_orders, gain.late_minutes, gain.late_orders));
    GainsView {
        late_orders: count(now.late.len()),
        late_minutes: now.late_by / 60,
        unfinished_orders: count(now.unfinished.len()),
        gains,
    }
}

fn count(number: usize) -> u32 {
    u32::try_from(number).unwrap_or(u32::MAX)
}

/// One more of something.
#[derive(Debug, Clone, PartialEq, Eq)]
enum More {
    /// A technician with these skills, at the hours of another one; around the clock where there is nobody.
    Technician(Vec<String>, Option<usize>),
    /// A bay with these capabilities.
    Bay(Vec<String>),
    /// So many units of this kind.
    Equipment(String, u32),
}

/// What unplanned work lacks, then what the late orders' chains wait for; of all orders, if none is late.
fn wanted(model: &Model, plan: &Plan, now: &Figures) -> Vec<More> {
    let mut wanted: Vec<More> = Vec::new();
    let mut want = |more: More| {
        let known = |other: &More| other.offers() == more.offers() && other.kind() == more.kind();
        if !wanted.iter().any(known) {
            wanted.push(more);
        }
    };
    for left in &plan.unplanned {
        lacking(model, left).into_iter().for_each(&mut want);
    }
    let all: Vec<OrderId> = (0..model.orders.len()).collect();
    let orders = if now.late.is_empty() { &all } else { &now.late };
    for &order in orders {
        for link in explain(model, plan, order) {
            let job = &model.jobs[link.job];
            let more = match link.cause {
                Cause::Technician(who, _) | Cause::Shift(who) => {
                    let place = plan.placements[link.job].as_ref();
                    let at = place.and_then(|p| p.technicians.iter().position(|t| *t == who));
                    let skills = job.people.get(at.unwrap_or(0)).cloned();
                    More::Technician(skills.unwrap_or_default(), Some(who))
                }
                Cause::Bay(..) | Cause::Closed(_) => More::Bay(job.bay.clone().unwrap_or_default()),
                Cause::Equipment(kind, _) => More::Equipment(kind, 1),
                _ => continue,
            };
            want(more);
        }
    }
    wanted.truncate(TRIALS);
    wanted
}

/// What would let unplanned work be planned.
fn lacking(model: &Model, left: &planner::outcome::Unplanned) -> Option<More> {
    let job = &model.jobs[left.job];
    Some(match &left.reason {
        Reason::NoTechnician(skills) | Reason::NoShift(skills) => {
            let hours = |who: &usize| -> i64 {
                model.technicians[*who].shifts.iter().map(|shift| shift.1 - shift.0).sum()
            };
            let longest = (0..model.technicians.len()).max_by_key(hours);
            More::Technician(skills.clone(), longest)
        }
        Reason::NoBay(offers) => More::Bay(offers.clone()),
        Reason::BayClosed => More::Bay(job.bay.clone().unwrap_or_default()),
        Reason::NoEquipment { kind, needed } => {
            let there = model.pools.iter().find(|pool| pool.kind == *kind);
            let there = there.map_or(0, |pool| pool.capacity);
            More::Equipment(kind.clone(), needed.saturating_sub(there).max(1))
        }
        _ => return None,
    })
}

impl More {
    const fn kind(&self) -> &'static str {
        match self {
            Self::Technician(..) => "technician",
            Self::Bay(_) => "bay",
            Self::Equipment(..) => "equipment",
        }
    }

    fn offers(&self) -> Vec<String> {
        match self {
            Self::Technician(offers, _) | Self::Bay(offers) => offers.clone(),
            Self::Equipment(kind, _) => vec![kind.clone()],
        }
    }

    fn added_to(&self, model: &Model) -> Model {
        let mut model = model.clone();
        match self {
            Self::Technician(skills, hours_of) => {
                let shifts = match hours_of {
                    Some(other) => model.technicians[*other].shifts.clone(),
                    None => vec![(model.now, model.horizon)],
                };
                model.technicians.push(Technician {
                    name: "one more technician".to_owned(),
                    skills: skills.clone(),
                    shifts,
                    ..Technician::default()
                });
            }
            Self::Bay(capabilities) => model.bays.push(Bay {
                name: "one more bay".to_owned(),
                capabilities: capabilities.clone(),
                ..Bay::default()
            }),
            Self::Equipment(kind, units) => {
                let there = model.pools.iter_mut().find(|pool| pool.kind == *kind);
                if let Some(pool) = there {
                    pool.capacity += units;
                } else {
                    let capacity = *units;
                    model.pools.push(Pool { kind: kind.clone(), zone: None, capacity });
                }
            }
        }
        model
    }

    fn gain(&self, now: &Figures, then: &Figures) -> Gain {
        let plain = |names: &[String]| names.join(" and ").replace('_', " ");
        let offers = self.offers();
        let what = match self {
            Self::Technician(..) if offers.is_empty() => "One more technician".to_owned(),
            Self::Technician(..) => format!("One more technician with {}", plain(&offers)),
            Self::Bay(_) if offers.is_empty() => "One more bay".to_owned(),
            Self::Bay(_) => format!("One more bay with {}", plain(&offers)),
            Self::Equipment(_, 1) => format!("One more {}", plain(&offers)),
            Self::Equipment(_, units) => format!("{units} more of {}", plain(&offers)),
        };
        let orders = |number: usize, what: &str| match number {
            1 => format!("one {what}"),
            more => format!("{more} {what}s"),
        };
        let minutes = (now.late_by - then.late_by) / 60;
        let mut saved = Vec::new();
        if minutes > 0 {
            saved.push(format!("{minutes} minutes of lateness"));
        }
        match now.late.len().saturating_sub(then.late.len()) {
            0 => {}
            fewer => saved.push(orders(fewer, "late order")),
        }
        let finished = now.unfinished.len().saturating_sub(then.unfinished.len());
        let mut parts = Vec::new();
        if finished > 0 {
            parts.push(format!("would let {} be finished", orders(finished, "more order")));
        }
        if !saved.is_empty() {
            parts.push(format!("would save {}", saved.join(" and ")));
        }
        let words = if parts.is_empty() {
            format!("{what} would save nothing today.")
        } else {
            format!("{what} {}.", parts.join(" and "))
        };
        Gain {
            kind: self.kind().to_owned(),
            offers,
            late_orders: count(then.late.len()),
            late_minutes: then.late_by / 60,
            unfinished_orders: count(then.unfinished.len()),
            words,
        }
    }
}
