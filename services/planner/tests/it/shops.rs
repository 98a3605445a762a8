//! Small random shops with everything in them.

use planner::model::{
    Bay, Bracket, Duration, Edge, Immobile, Job, Model, Moving, Order, Pin, Placement, Pool,
    Settle, Technician, Ticks, Vehicle, Weights,
};
use proptest::prelude::*;

const OFFERS: [&str; 3] = ["lift", "level", "rack"];
const SKILLS: [&str; 3] = ["diagnosis", "alignment", "isolation"];

fn some(words: [&'static str; 3], bits: u8) -> Vec<String> {
    words
        .iter()
        .enumerate()
        .filter(|(place, _)| bits >> place & 1 == 1)
        .map(|(_, word)| (*word).to_owned())
        .collect()
}

prop_compose! {
    fn job()(length in 1..60_i64, place in 0..10_u8, offers in 0..8_u8, crew in prop::collection::vec(0..8_u8, 0..3), scan in 0..2_u32, settle in 0..20_i64,
             flags in any::<[bool; 3]>(), pin in 0..60_usize) -> Job {
        Job {
            duration: Duration::sure(length),
            bay: (place > 1).then(|| some(OFFERS, offers & (offers >> 1))),
            people: crew.iter().map(|&bits| some(SKILLS, bits & (bits >> 1))).collect(),
            equipment: if scan == 0 { Vec::new() } else { vec![("scan_tool".to_owned(), scan)] },
            settle: Settle { ticks: if flags[0] { settle } else { 0 }, blocks_vehicle: flags[1], keeps_bay: flags[2] && place > 1 },
            pause: (crew.len() == 1 && settle > 15).then_some(30),
            pin: Pin {
                bay: (pin == 0).then_some(0),
                technician: (pin == 1).then_some(0),
                start: (pin == 2).then_some(150 + settle * 7),
            },
            ..Job::default()
        }
    }
}

prop_compose! {
    /// A model of up to a dozen jobs with every kind of rule.
    pub(crate) fn shop()(
        bays in prop::collection::vec((0..8_u8, 0..2_usize, 0..400_i64), 1..4),
        crew in prop::collection::vec((0..8_u8, 0..3_usize, 0..200_i64), 1..4),
        tools in prop::collection::vec((prop::option::of(0..2_usize), 0..3_u32), 0..3),
        orders in prop::collection::vec((0..3_usize, 0..200_i64, 0..700_i64, 0..4_i64, prop::collection::vec(job(), 1..4)), 1..5),
        ties in prop::collection::vec((0..12_usize, 0..12_usize, 0..30_i64), 0..6),
        bracket in prop::option::of((0..12_usize, 0..12_usize, 0..12_usize, any::<bool>())),
        span in prop::option::of((0..12_usize, 0..12_usize)),
        running in prop::option::of(0..12_usize),
    ) -> Model {
        let mut model = Model {
            now: 100,
            horizon: 5_000,
            moving: Moving { same_zone: 5, other_zone: 35 },
            weights: Weights { flow: 1, tardiness: 10, change: 3, ..Weights::default() },
            vehicles: vec![Vehicle::default(); 3],
            ..Model::default()
        };
        for (bits, zone, closed) in bays {
            model.bays.push(Bay { name: format!("bay {bits}"), zone, capabilities: some(OFFERS, bits | 1), closed: vec![(closed, closed + 60)] });
        }
        for (bits, zone, begin) in crew {
            let shifts = (0..3).flat_map(|day| [(begin, begin + 240), (begin + 270, begin + 480)].map(|(a, b): (Ticks, Ticks)| (a + day * 1440, b + day * 1440)));
            let zones = if zone < 2 { vec![zone] } else { vec![] };
            model.technicians.push(Technician { name: format!("person {bits}"), zones, skills: some(SKILLS, bits), shifts: shifts.collect() });
        }
        model.pools.extend(tools.into_iter().map(|(zone, capacity)| Pool { kind: "scan_tool".to_owned(), zone, capacity }));
        model.pools.dedup_by_key(|pool| pool.zone);
        for (vehicle, release, span, weight, jobs) in orders {
            let order = model.orders.len();
            model.orders.push(Order { name: format!("order {order}"), vehicle, zones: vec![], release, promised: Some(release + span), weight });
            model.jobs.extend(jobs.into_iter().map(|job| Job { order, ..job }));
        }
        for (number, job) in model.jobs.iter_mut().enumerate() {
            job.name = format!("job {number}");
        }
        let count = model.jobs.len();
        let vehicle = |model: &Model, job: usize| model.orders[model.jobs[job].order].vehicle;
        for (a, b, wait) in ties {
            let (before, after) = (a % count, b % count);
            if before < after {
                model.edges.push(Edge { before, after, wait });
            }
        }
        if let Some((a, b, outside, entered)) = bracket {
            let (a, b, outside) = (a % count, b % count, outside % count);
            if a != outside && b != outside && vehicle(&model, a) == vehicle(&model, outside) && vehicle(&model, b) == vehicle(&model, outside) {
                model.brackets.push(Bracket { inside: if a == b { vec![a] } else { vec![a, b] }, entered, outside });
            }
        }
        if let Some((from, until)) = span {
            let (from, until) = (from % count, until % count);
            if from < until && vehicle(&model, from) == vehicle(&model, until) && model.brackets.is_empty() {
                model.immobile.push(Immobile { from: Some(from), until });
            }
        }
        if let Some(job) = running
            && model.immobile.is_empty()
            && model.brackets.is_empty()
        {
            let job = job % count;
            let bay = model.jobs[job].bay.as_ref().map(|_| 0);
            let technicians = (0..model.jobs[job].people.len().min(model.technicians.len())).collect();
            model.jobs[job].fixed = Some(Placement { start: 60, end: 60 + model.jobs[job].duration.likely.max(50), bay, technicians });
        }
        model
    }
}
