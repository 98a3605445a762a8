//! Why an order is late, and what one more technician, bay or tool would save.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use contract::forecast::{ChainLink, Gain, GainsView, WhyLateView};
use planner::compare::{Figures, figures};
use planner::explain::{Cause, explain};
use planner::model::{Bay, Model, OrderId, Pool, Technician};
use planner::outcome::Plan;
use uuid::Uuid;

use super::picture::{Picture, draw};
use super::round::{aside, think, title};
use super::show::case_of;
use crate::caller::Caller;
use crate::flow::Flow;
use crate::refusal::Refusal;

/// What is tried at most; each is a round of planning.
const TRIALS: usize = 6;

/// The chain that ends an order by the plan in force.
pub async fn why_late(flow: &Flow, caller: &Caller, order: Uuid) -> Result<WhyLateView, Refusal> {
    let shop = flow.read(caller, async |step| step.shop_picture().await).await?;
    let case = case_of(&shop, order).ok_or_else(|| Refusal::not_found("open order"))?;
    let picture = draw(&shop);
    let plan = in_force(&picture.model);
    let own = picture.nodes.iter().position(|(id, _)| *id == order);
    let chain = own.map(|job| explain(&picture.model, &plan, picture.model.jobs[job].order));
    let at = |ticks: i64| DateTime::<Utc>::from_timestamp(ticks, 0).unwrap_or(shop.now);
    let ends = (0..picture.nodes.len())
        .filter(|job| picture.nodes[*job].0 == order)
        .filter_map(|job| plan.placements.get(job)?.as_ref().map(|placed| placed.end))
        .max();
    let late = ends.zip(case.order.promised_at).map(|(end, promised)| at(end) - promised);
    Ok(WhyLateView {
        order,
        number: case.order.number.clone(),
        promised_at: case.order.promised_at,
        ends_at: ends.map(at),
        late_minutes: late.map_or(0, |late| late.num_minutes().max(0)),
        chain: chain
            .unwrap_or_default()
            .into_iter()
            .filter_map(|link| {
                let (order, node) = picture.nodes.get(link.job)?;
                let case = case_of(&shop, *order)?;
                Some(ChainLink {
                    order: *order,
                    number: case.order.number.clone(),
                    task: node.task(),
                    line: node.line(),
                    title: title(case, *node),
                    starts_at: at(link.start),
                    because: link.cause.words(&picture.model),
                })
            })
            .collect(),
    })
}

fn in_force(model: &Model) -> Plan {
    Plan { placements: model.in_force.clone(), ..Plan::default() }
}

/// What one more of what late orders wait for would save.
pub async fn gains(flow: &Flow, caller: &Caller) -> Result<GainsView, Refusal> {
    let shop = flow.read(caller, async |step| step.shop_picture().await).await?;
    let picture = draw(&shop);
    if picture.model.jobs.is_empty() {
        return Ok(GainsView { late_orders: 0, late_minutes: 0, gains: Vec::new() });
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
    gains.sort_by_key(|gain| (gain.late_minutes, gain.late_orders));
    GainsView { late_orders: count(now.late.len()), late_minutes: now.late_by / 60, gains }
}

fn count(number: usize) -> u32 {
    u32::try_from(number).unwrap_or(u32::MAX)
}

/// One more of something.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum More {
    /// A technician with these skills, at the hours of another one.
    Technician(Vec<String>, usize),
    /// A bay with these capabilities.
    Bay(Vec<String>),
    /// A unit of this kind.
    Equipment(String),
}

/// What the late orders' chains wait for; of all orders, if none is late.
fn wanted(model: &Model, plan: &Plan, now: &Figures) -> Vec<More> {
    let all: Vec<OrderId> = (0..model.orders.len()).collect();
    let orders = if now.late.is_empty() { &all } else { &now.late };
    let mut wanted = BTreeSet::new();
    for &order in orders {
        for link in explain(model, plan, order) {
            let job = &model.jobs[link.job];
            let more = match link.cause {
                Cause::Technician(who, _) | Cause::Shift(who) => {
                    let place = plan.placements[link.job].as_ref();
                    let at = place.and_then(|p| p.technicians.iter().position(|t| *t == who));
                    More::Technician(
                        job.people.get(at.unwrap_or(0)).cloned().unwrap_or_default(),
                        who,
                    )
                }
                Cause::Bay(..) | Cause::Closed(_) => More::Bay(job.bay.clone().unwrap_or_default()),
                Cause::Equipment(kind, _) => More::Equipment(kind),
                _ => continue,
            };
            let known =
                |other: &More| other.offers() == more.offers() && other.kind() == more.kind();
            if !wanted.iter().any(known) {
                wanted.insert(more);
            }
        }
    }
    wanted.into_iter().take(TRIALS).collect()
}

impl More {
    const fn kind(&self) -> &'static str {
        match self {
            Self::Technician(..) => "technician",
            Self::Bay(_) => "bay",
            Self::Equipment(_) => "equipment",
        }
    }

    fn offers(&self) -> Vec<String> {
        match self {
            Self::Technician(offers, _) | Self::Bay(offers) => offers.clone(),
            Self::Equipment(kind) => vec![kind.clone()],
        }
    }

    fn added_to(&self, model: &Model) -> Model {
        let mut model = model.clone();
        match self {
            Self::Technician(skills, hours_of) => {
                let shifts = model.technicians[*hours_of].shifts.clone();
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
            Self::Equipment(kind) => match model.pools.iter_mut().find(|pool| pool.kind == *kind) {
                Some(pool) => pool.capacity += 1,
                None => {
                    model.pools.push(Pool { kind: kind.clone(), zone: None, capacity: 1 });
                }
            },
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
            Self::Equipment(_) => format!("One more {}", plain(&offers)),
        };
        let saved = (now.late_by - then.late_by) / 60;
        let fewer = count(now.late.len()).saturating_sub(count(then.late.len()));
        let words = match (saved, fewer) {
            (..=0, 0) => format!("{what} would save nothing today."),
            (saved, 0) => format!("{what} would save {saved} minutes of lateness."),
            (saved, 1) => {
                format!("{what} would save {saved} minutes of lateness and one late order.")
            }
            (saved, fewer) => {
                format!("{what} would save {saved} minutes of lateness and {fewer} late orders.")
            }
        };
        Gain {
            kind: self.kind().to_owned(),
            offers,
            late_orders: count(then.late.len()),
            late_minutes: then.late_by / 60,
            words,
        }
    }
}
