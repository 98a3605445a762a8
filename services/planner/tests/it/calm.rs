//! The plan stays calm when the day changes.

use planner::compare::compare;
use planner::explain::{Cause, explain};
use planner::improve::plan;
use planner::model::{
    Bay, Duration, Edge, Immobile, Job, Model, Order, Placement, Technician, Vehicle, Weights,
};
use planner::outcome::Options;
use planner::repair::repair;

fn shop() -> Model {
    let mut model = Model {
        horizon: 10_000,
        weights: Weights { change: 30, ..Weights::default() },
        ..Model::default()
    };
    model.bays = vec![
        Bay { name: "bay 1".to_owned(), ..Bay::default() },
        Bay { name: "bay 2".to_owned(), ..Bay::default() },
    ];
    for name in ["Ada", "Ben"] {
        model.technicians.push(Technician {
            name: name.to_owned(),
            shifts: vec![(0, 480), (1440, 1920)],
            ..Technician::default()
        });
    }
    for number in 0..8 {
        model.vehicles.push(Vehicle::default());
        model.orders.push(Order {
            name: format!("order {number}"),
            vehicle: number,
            promised: Some(300),
            weight: 1,
            ..Order::default()
        });
        model.jobs.push(Job {
            name: format!("job {number}"),
            order: number,
            duration: Duration::sure(60),
            bay: Some(vec![]),
            people: vec![vec![]],
            ..Job::default()
        });
    }
    model
}

#[test]
fn a_technician_who_goes_home_moves_only_what_was_his() {
    let mut model = shop();
    let before = plan(&model, &Options { iterations: Some(2_000), ..Options::default() }, &|| 0.0);
    model.in_force.clone_from(&before.placements);
    model.now = 90;
    for (job, placement) in model.jobs.iter_mut().zip(&before.placements) {
        job.fixed = placement.clone().filter(|placement| placement.start < 90);
    }
    model.technicians[1].shifts = vec![(0, 120), (1440, 1920)];
    let after = repair(&model);
    let moved = compare(&model, &before, &after).moved;
    for job in moved {
        let old = before.placements[job].as_ref().unwrap();
        assert!(
            old.technicians == [1] && old.end > 120 || old.start < 90,
            "job {job} moved for nothing"
        );
    }
    assert!(after.unplanned.is_empty());
}

#[test]
fn a_new_order_takes_a_gap_and_pushes_nobody() {
    let mut model = shop();
    let before = plan(&model, &Options { iterations: Some(2_000), ..Options::default() }, &|| 0.0);
    model.in_force.clone_from(&before.placements);
    model.vehicles.push(Vehicle::default());
    model.orders.push(Order {
        name: "rush".to_owned(),
        vehicle: 8,
        promised: Some(60),
        weight: 8,
        ..Order::default()
    });
    model.jobs.push(Job {
        name: "look".to_owned(),
        order: 8,
        duration: Duration::sure(15),
        bay: Some(vec![]),
        people: vec![vec![]],
        ..Job::default()
    });
    let after = repair(&model);
    assert_eq!(after.placements[..8], before.placements[..]);
    assert!(after.placements[8].is_some());
}

#[test]
fn an_explanation_leads_from_a_late_order_back_to_its_cause() {
    let model = shop();
    let found = plan(&model, &Options { iterations: Some(0), ..Options::default() }, &|| 0.0);
    let (last, _) = found
        .placements
        .iter()
        .enumerate()
        .max_by_key(|(_, placement)| placement.as_ref().map(|placement| placement.end))
        .unwrap();
    let chain = explain(&model, &found, last);
    assert_eq!(chain.first().map(|link| link.job), Some(last));
    assert!(matches!(chain.last().map(|link| &link.cause), Some(Cause::Arrival)));
    assert!(
        chain[0].cause.words(&model).starts_with("waits for"),
        "{}",
        chain[0].cause.words(&model)
    );
}

#[test]
fn a_vehicle_that_can_not_be_moved_meanwhile_finds_room_beside_what_is_planned_later_in_the_bay() {
    let mut model = shop();
    model.bays.truncate(1);
    model.orders.truncate(2);
    model.jobs.truncate(2);
    let job = |number: usize, minutes: i64| Job {
        order: 1,
        duration: Duration::sure(minutes),
        name: format!("step {number}"),
        ..model.jobs[0].clone()
    };
    let steps = [job(0, 5), job(1, 20), job(2, 5)];
    model.jobs.splice(1.., steps);
    model.edges =
        vec![Edge { before: 1, after: 2, wait: 0 }, Edge { before: 2, after: 3, wait: 0 }];
    model.immobile = vec![Immobile { from: Some(1), until: 3 }];
    model.in_force = vec![None; 4];
    model.in_force[0] =
        Some(Placement { start: 200, end: 260, bay: Some(0), technicians: vec![0] });
    for begin in [0, 1_440] {
        (model.orders[1].release, model.orders[1].promised) = (begin, Some(begin + 60));
        for after in [repair(&model), plan(&model, &Options::default(), &|| 1.0)] {
            assert!(after.unplanned.is_empty(), "{:?}", after.unplanned);
            assert_eq!(after.placements[0], model.in_force[0]);
            assert!(after.placements[1].as_ref().is_some_and(|placement| placement.start >= begin));
        }
        let options = Options { iterations: Some(2_000), ..Options::default() };
        let searched = plan(&model, &options, &|| 0.0);
        let end = searched.placements[3].as_ref().map(|placement| placement.end);
        assert_eq!(end, Some(begin + 30), "there is room before it");
    }
}
