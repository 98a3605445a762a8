//! What can't be planned is named with its reason, and the rest is planned.

use planner::improve::plan;
use planner::model::{
    Bay, Duration, Edge, Immobile, Job, Model, Order, Pin, Pool, Technician, Vehicle,
};
use planner::outcome::Options;

fn shop(broken: Job) -> Model {
    let good = Job {
        name: "good".to_owned(),
        order: 1,
        duration: Duration::sure(30),
        bay: Some(vec![]),
        people: vec![vec![]],
        ..Job::default()
    };
    let later = Job { name: "later".to_owned(), order: 0, ..good.clone() };
    Model {
        now: 100,
        horizon: 2_000,
        bays: vec![Bay {
            name: "bay 1".to_owned(),
            capabilities: vec!["lift".to_owned()],
            ..Bay::default()
        }],
        technicians: vec![
            Technician { name: "Ada".to_owned(), shifts: vec![(0, 480)], ..Technician::default() },
            Technician {
                name: "Ben".to_owned(),
                skills: vec!["isolation".to_owned()],
                shifts: vec![(50, 50)],
                ..Technician::default()
            },
        ],
        pools: vec![Pool { kind: "scan_tool".to_owned(), zone: None, capacity: 0 }],
        vehicles: vec![Vehicle::default(); 2],
        orders: vec![
            Order {
                name: "first".to_owned(),
                vehicle: 0,
                promised: Some(50),
                weight: 1,
                ..Order::default()
            },
            Order {
                name: "second".to_owned(),
                vehicle: 1,
                promised: Some(50),
                weight: 1,
                ..Order::default()
            },
        ],
        jobs: vec![
            Job { name: "broken".to_owned(), order: 0, duration: Duration::sure(30), ..broken },
            later,
            good,
        ],
        edges: vec![Edge { before: 0, after: 1, wait: 0 }],
        ..Model::default()
    }
}

fn reasons(model: &Model) -> Vec<(usize, String)> {
    let found = plan(model, &Options { iterations: Some(200), ..Options::default() }, &|| 0.0);
    assert!(found.placements[2].is_some(), "the rest is planned, though its promise has passed");
    found.unplanned.iter().map(|entry| (entry.job, entry.reason.to_string())).collect()
}

fn expect(broken: Job, reason: &str) {
    assert_eq!(
        reasons(&shop(broken)),
        [(0, reason.to_owned()), (1, "waits for broken".to_owned())]
    );
}

#[test]
fn a_bay_that_nobody_has_is_named() {
    expect(Job { bay: Some(vec!["rack".to_owned()]), ..Job::default() }, "no bay offers rack");
}

#[test]
fn a_skill_that_nobody_has_is_named() {
    expect(
        Job { people: vec![vec!["painting".to_owned()]], ..Job::default() },
        "nobody there has the skill painting",
    );
}

#[test]
fn a_shift_of_zero_length_is_no_shift() {
    expect(
        Job { people: vec![vec!["isolation".to_owned()]], ..Job::default() },
        "nobody with the skill isolation is there long enough for it",
    );
}

#[test]
fn equipment_that_is_not_there_is_named() {
    expect(
        Job { equipment: vec![("scan_tool".to_owned(), 1)], ..Job::default() },
        "1 of scan_tool needed, fewer are there",
    );
}

#[test]
fn contradictory_pins_are_named() {
    let pin = |pin: Pin| Job {
        bay: Some(vec![]),
        people: vec![vec!["isolation".to_owned()]],
        pin,
        ..Job::default()
    };
    expect(pin(Pin { technician: Some(0), ..Pin::default() }), "pinned to Ada, who can't do it");
    let pin = |start| Job {
        bay: Some(vec![]),
        people: vec![vec![]],
        pin: Pin { start: Some(start), ..Pin::default() },
        ..Job::default()
    };
    expect(pin(50), "pinned to a time before it can begin");
    expect(pin(470), "pinned to a time at which nobody who can do it is free");
}

#[test]
fn of_two_pins_that_want_the_same_person_at_the_same_time_one_is_given_up() {
    let pin = Pin { start: Some(200), technician: Some(0), ..Pin::default() };
    let mut model = shop(Job { bay: Some(vec![]), people: vec![vec![]], pin, ..Job::default() });
    model.bays.push(model.bays[0].clone());
    model.jobs[2].pin = pin;
    model.jobs.push(Job { pin: Pin::default(), ..model.jobs[2].clone() });
    model.jobs.swap(2, 3);
    assert_eq!(
        reasons(&model),
        [(3, "pinned to a time at which Ada is busy with broken".to_owned())]
    );
}

#[test]
fn a_pin_that_comes_before_what_it_waits_for_is_given_up() {
    let mut model = shop(Job { bay: Some(vec![]), people: vec![vec![]], ..Job::default() });
    model.jobs[1].pin.start = Some(110);
    assert_eq!(
        reasons(&model),
        [(1, "pinned to a time by which what comes before it can't be done".to_owned())]
    );
}

#[test]
fn an_order_of_things_that_contradicts_itself_is_named() {
    let mut model = shop(Job { bay: Some(vec![]), ..Job::default() });
    model.edges.push(Edge { before: 1, after: 0, wait: 0 });
    let words = "what has to come first also has to come later".to_owned();
    assert_eq!(reasons(&model), [(0, words.clone()), (1, words)]);
}

#[test]
fn a_pinned_start_holds_no_bay_when_what_it_takes_apart_can_not_be_put_together() {
    let nobody = vec![vec!["calibration".to_owned()]];
    let mut model = shop(Job { bay: Some(vec![]), people: nobody, ..Job::default() });
    model.edges.clear();
    model.jobs[1].pin = Pin { start: Some(110), ..Pin::default() };
    model.immobile = vec![Immobile { from: Some(1), until: 0 }];
    let plan = plan(&model, &Options { iterations: Some(0), ..Options::default() }, &|| 0.0);
    let unplanned: Vec<usize> = plan.unplanned.iter().map(|entry| entry.job).collect();
    assert_eq!(unplanned, [0, 1]);
    assert_eq!(plan.placements[2].as_ref().map(|placement| placement.start), Some(100));
}
