//! A week of events: whatever happens to a shop, the plan that follows keeps every rule.

use crate::checker::violations;
use planner::improve::plan;
use planner::model::{
    Bay, Duration, Edge, Immobile, Job, Model, Moving, Order, Pool, Settle, Technician, Ticks,
    Vehicle, Weights,
};
use planner::outcome::Options;
use planner::repair::repair;
use proptest::prelude::*;

const DAY: Ticks = 1_440;
const WALK: Options = Options { iterations: Some(100), seed: 3, threads: 1 };

/// Something that happens.
#[derive(Debug, Clone)]
enum Event {
    /// A vehicle comes in: chocked, opened, worked on, closed, driven; or worked on alone.
    Order { service_mode: bool, length: Ticks, promised_in: Ticks },
    /// Somebody goes home for the rest of the day.
    Ill(usize),
    /// A bay is down for some hours.
    Down(usize, Ticks),
    /// What runs takes longer than it was planned.
    Slow(Ticks),
    /// A part comes later.
    Late(usize, Ticks),
    /// Nothing but time.
    Nothing,
}

fn event() -> impl Strategy<Value = Event> {
    prop_oneof![
        3 => (any::<bool>(), 15..90_i64, 60..900_i64).prop_map(|(service_mode, length, promised_in)| {
            Event::Order { service_mode, length, promised_in }
        }),
        1 => (0..4_usize).prop_map(Event::Ill),
        1 => (0..4_usize, 30..240_i64).prop_map(|(bay, length)| Event::Down(bay, length)),
        1 => (5..60_i64).prop_map(Event::Slow),
        1 => (0..64_usize, 60..600_i64).prop_map(|(job, by)| Event::Late(job, by)),
        1 => Just(Event::Nothing),
    ]
}

fn monday_morning() -> Model {
    let words = |words: &[&str]| words.iter().map(|&w| w.to_owned()).collect::<Vec<_>>();
    let shift =
        |day: Ticks| [(day * DAY + 450, day * DAY + 720), (day * DAY + 750, day * DAY + 960)];
    let person = |name: &str, skills: &[&str]| Technician {
        name: name.to_owned(),
        skills: words(skills),
        shifts: (0..12).filter(|day| day % 7 < 5).flat_map(shift).collect(),
        ..Technician::default()
    };
    Model {
        now: 450,
        horizon: 12 * DAY,
        moving: Moving { same_zone: 5, other_zone: 10 },
        weights: Weights { tardiness: 20, flow: 1, moving: 100, change: 40, makespan: 0 },
        bays: (0..4)
            .map(|bay| Bay {
                name: format!("bay {bay}"),
                capabilities: if bay < 2 { words(&["lift"]) } else { Vec::new() },
                ..Bay::default()
            })
            .collect(),
        technicians: vec![
            person("Ada", &["brakes", "road"]),
            person("Ben", &["brakes"]),
            person("Cy", &["road"]),
            person("Di", &["brakes", "road"]),
        ],
        pools: vec![Pool { kind: "scan_tool".to_owned(), zone: None, capacity: 1 }],
        ..Model::default()
    }
}

fn take_in(model: &mut Model, service_mode: bool, length: Ticks, promised_in: Ticks) {
    let order = model.orders.len();
    model.vehicles.push(Vehicle::default());
    model.orders.push(Order {
        name: format!("order {order}"),
        vehicle: model.vehicles.len() - 1,
        release: model.now,
        promised: Some(model.now + promised_in),
        weight: 1,
        ..Order::default()
    });
    let first = model.jobs.len();
    let brakes = || vec![vec!["brakes".to_owned()]];
    let job = |name: &str, length: Ticks| Job {
        name: format!("{name} of order {order}"),
        order,
        duration: Duration::sure(length),
        ..Job::default()
    };
    let work = Job {
        bay: Some(vec!["lift".to_owned()]),
        people: brakes(),
        pause: Some(60),
        ..job("work", length)
    };
    if !service_mode {
        model.jobs.push(work);
        return;
    }
    let scan = vec![("scan_tool".to_owned(), 1)];
    let settle = Settle { ticks: 1, blocks_vehicle: true, keeps_bay: true };
    model.jobs.push(Job {
        bay: Some(Vec::new()),
        people: brakes(),
        equipment: scan.clone(),
        settle,
        ..job("open", 8)
    });
    model.jobs.push(work);
    model.jobs.push(Job {
        bay: Some(Vec::new()),
        people: brakes(),
        equipment: scan,
        settle,
        ..job("close", 10)
    });
    model.jobs.push(Job { people: vec![vec!["road".to_owned()]], ..job("drive", 20) });
    model.edges.extend((first..first + 3).map(|at| Edge { before: at, after: at + 1, wait: 0 }));
    model.immobile.push(Immobile { from: Some(first), until: first + 2 });
}

/// Time goes on: what has begun by the plan stays as it is.
fn go_on(model: &mut Model, minutes: Ticks) {
    model.now += minutes;
    let now = model.now;
    for (job, placed) in model.jobs.iter_mut().zip(&model.in_force) {
        if job.fixed.is_none() {
            job.fixed = placed.clone().filter(|placed| placed.start < now);
        }
    }
}

fn happen(model: &mut Model, event: &Event) {
    let now = model.now;
    let tonight = (now / DAY + 1) * DAY;
    match *event {
        Event::Order { service_mode, length, promised_in } => {
            take_in(model, service_mode, length, promised_in);
        }
        Event::Ill(who) => {
            let busy = |job: &Job| {
                job.fixed.as_ref().is_some_and(|f| f.end > now && f.technicians.contains(&who))
            };
            if !model.jobs.iter().any(busy) {
                let shifts = &mut model.technicians[who].shifts;
                let cut =
                    |&(from, to): &(Ticks, Ticks)| [(from, to.min(now)), (from.max(tonight), to)];
                *shifts = shifts.iter().flat_map(cut).filter(|(from, to)| from < to).collect();
            }
        }
        Event::Down(bay, length) => {
            let busy =
                |job: &Job| job.fixed.as_ref().is_some_and(|f| f.end > now && f.bay == Some(bay));
            let taken_apart = model.immobile.iter().any(|span| {
                let begun = span.from.and_then(|from| model.jobs[from].fixed.as_ref());
                begun.is_some_and(|b| b.bay == Some(bay)) && model.jobs[span.until].fixed.is_none()
            });
            if !model.jobs.iter().any(busy) && !taken_apart {
                model.bays[bay].closed.push((now, now + length));
            }
        }
        Event::Slow(by) => {
            let running = model.jobs.iter_mut().find(|job| {
                job.pause.is_none() && job.fixed.as_ref().is_some_and(|fixed| fixed.end > now)
            });
            if let Some(fixed) = running.and_then(|job| job.fixed.as_mut()) {
                fixed.end += by;
            }
        }
        Event::Late(job, by) => {
            let count = model.jobs.len().max(1);
            if let Some(job) = model.jobs.get_mut(job % count).filter(|job| job.fixed.is_none()) {
                job.earliest = now + by;
            }
        }
        Event::Nothing => {}
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_week_of_events_never_leads_to_a_plan_that_breaks_a_rule(
        week in prop::collection::vec((event(), 5..180_i64), 40),
    ) {
        let mut model = monday_morning();
        let arrivals = week.iter().filter(|(event, _)| matches!(event, Event::Order { .. })).count();
        let mut planned = 0;
        for (event, minutes) in week {
            happen(&mut model, &event);
            let missing = model.jobs.len() - model.in_force.len();
            model.in_force.extend(std::iter::repeat_n(None, missing));
            let repaired = repair(&model);
            prop_assert_eq!(violations(&model, &repaired), Vec::<String>::new(), "{:?}", event);
            let better = plan(&model, &WALK, &|| 0.0);
            prop_assert_eq!(violations(&model, &better), Vec::<String>::new(), "{:?}", event);
            planned += better.placements.iter().flatten().count();
            model.in_force = better.placements;
            go_on(&mut model, minutes);
        }
        prop_assert!(planned >= arrivals, "whatever arrived was planned");
    }
}
