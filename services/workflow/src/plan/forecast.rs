//! Looking ahead: load by hour, and what could be promised for an order that is not there yet.

use chrono::{DateTime, DurationRound as _, TimeDelta, Utc};
use contract::forecast::{LoadHour, LoadOf, LoadQuery, LoadView, PromiseView};
use contract::orders::NewOrder;
use planner::load::{Supply, load};
use planner::model::{Job, Model, Placement};

use super::picture::{draw, ticks};
use super::round::{aside, items, unplanned};
use super::show;
use crate::caller::Caller;
use crate::checks::fault;
use crate::flow::Flow;
use crate::refusal::Refusal;
use crate::view;

/// Days that are told without being asked for.
const DAYS: u8 = 5;
/// What is promised is promised at a full quarter of an hour.
const QUARTER: TimeDelta = TimeDelta::minutes(15);

/// How much of what bays offer and people can do is planned, by hours of the clock.
pub async fn forecast(
    flow: &Flow,
    caller: &Caller,
    query: &LoadQuery,
) -> Result<LoadView, Refusal> {
    let days = query.days.unwrap_or(DAYS);
    if !(1..=14).contains(&days) {
        return Err(Refusal::unprocessable(vec![fault("query", "ask for 1 to 14 days")]));
    }
    flow.read(caller, async |step| {
        let shop = step.shop_picture().await?;
        let id = step.shop();
        let version = store::plans::newest(step.conn(), id).await?.map_or(0, |p| p.version);
        let from = shop.now.duration_trunc(TimeDelta::hours(1)).unwrap_or(shop.now);
        let hours: Vec<DateTime<Utc>> =
            (0..i64::from(days) * 24).map(|hour| from + TimeDelta::hours(hour)).collect();
        let slots: Vec<(i64, i64)> =
            hours.iter().map(|at| (ticks(*at), ticks(*at) + 3600)).collect();
        let picture = draw(&shop);
        let (model, placements) = used(&picture.model);
        let load = load(&model, &placements, &slots);
        let told = |(name, supply): (String, Supply)| LoadOf { name, hours: told(&hours, &supply) };
        Ok(LoadView {
            plan_version: version,
            from,
            until: from + TimeDelta::days(i64::from(days)),
            capabilities: load.capabilities.into_iter().map(told).collect(),
            skills: load.skills.into_iter().map(told).collect(),
        })
    })
    .await
}

/// The plan in force as what it takes of each bay and each person, whatever the work asks of them; a person's breaks are not taken.
fn used(model: &Model) -> (Model, Vec<Option<Placement>>) {
    let mut used = Model { jobs: Vec::new(), ..model.clone() };
    let mut placements = Vec::new();
    let mut take = |job: Job, start: i64, end: i64| {
        used.jobs.push(job);
        placements.push(Some(Placement { start, end, bay: None, technicians: Vec::new() }));
    };
    for placed in model.in_force.iter().flatten() {
        if let Some(bay) = placed.bay {
            let offers = Some(model.bays[bay].capabilities.clone());
            take(Job { bay: offers, ..Job::default() }, placed.start, placed.end);
        }
        for person in placed.technicians.iter().map(|who| &model.technicians[*who]) {
            for (from, until) in &person.shifts {
                let (start, end) = (placed.start.max(*from), placed.end.min(*until));
                if start < end {
                    let skills = vec![person.skills.clone()];
                    take(Job { people: skills, ..Job::default() }, start, end);
                }
            }
        }
    }
    (used, placements)
}

fn told(hours: &[DateTime<Utc>], supply: &Supply) -> Vec<LoadHour> {
    let minutes = |ticks: i64| u32::try_from(ticks / 60).unwrap_or(0);
    hours
        .iter()
        .zip(supply.there.iter().zip(&supply.planned))
        .map(|(at, (there, planned))| LoadHour {
            at: *at,
            there: minutes(*there),
            planned: minutes(*planned),
        })
        .filter(|hour| hour.there + hour.planned > 0)
        .collect()
}

/// When this order could be promised: it is taken in, laid into the gaps of the plan, and taken back.
pub async fn promise(flow: &Flow, caller: &Caller, new: &NewOrder) -> Result<PromiseView, Refusal> {
    let (shop, order) = flow
        .imagine(caller, async |step| {
            let (order, _) = step.intake(flow, new).await?;
            Ok((step.shop_picture().await?, order))
        })
        .await?;
    let picture = draw(&shop);
    let model = picture.model.clone();
    let plan = aside(move || planner::repair::repair(&model)).await?;
    let mut mine = items(&shop, &picture, &plan);
    mine.retain(|item| item.order_id == order.id);
    let ready =
        show::case_of(&shop, order.id).and_then(|case| view::ready_with(case, &mine, shop.now));
    let up = |at: DateTime<Utc>| {
        let down = at.duration_trunc(QUARTER).unwrap_or(at);
        if down == at { at } else { down + QUARTER }
    };
    let mut left = unplanned(&picture, &plan);
    left.retain(|left| left.order == order.id);
    Ok(PromiseView {
        ready_at: ready.map(|(at, _)| at),
        promise_at: ready.map(|(at, slip)| up(at + slip)),
        questions: order.questions.into_iter().filter(|q| q.state == "open").collect(),
        items: mine.iter().filter_map(|item| show::view(&shop, item)).collect(),
        unplanned: left,
    })
}
