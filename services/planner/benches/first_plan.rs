//! What a first valid plan and a repair cost, from 200 to 20 000 tasks on sites of a hundred orders.

use criterion::{Criterion, criterion_group, criterion_main};
use planner::improve::plan;
use planner::model::{Bay, Duration, Edge, Job, Model, Order, Technician, Vehicle};
use planner::outcome::Options;
use planner::repair::repair;

/// Sites with fourteen bays and eleven technicians for a hundred orders of three jobs each.
fn shop(orders: usize) -> Model {
    let days = 0..10_i64;
    let shifts: Vec<_> = days.map(|day| (day * 1440, day * 1440 + 480)).collect();
    let mut model = Model { horizon: 30_000, ..Model::default() };
    for zone in 0..orders.div_ceil(100) {
        let zones = vec![zone];
        let crew = Technician { zones, shifts: shifts.clone(), ..Technician::default() };
        model.bays.extend(vec![Bay { zone, ..Bay::default() }; 14]);
        model.technicians.extend(vec![crew; 11]);
    }
    for order in 0..orders {
        let minutes = 20 + 5 * i64::try_from(order % 9).unwrap_or(0);
        let promised = Some(minutes * 12);
        model.vehicles.push(Vehicle::default());
        let zones = vec![order / 100];
        model.orders.push(Order { vehicle: order, zones, promised, weight: 1, ..Order::default() });
        for step in 0..3 {
            let before = model.jobs.len();
            let (bay, people) = (Some(Vec::new()), vec![Vec::new()]);
            model.jobs.push(Job {
                order,
                duration: Duration::sure(minutes),
                bay,
                people,
                ..Job::default()
            });
            if step < 2 {
                model.edges.push(Edge { before, after: before + 1, wait: 5 });
            }
        }
    }
    model
}

fn bench(criterion: &mut Criterion) {
    let options = Options { iterations: Some(0), ..Options::default() };
    for tasks in [201, 2_001, 20_001] {
        let mut model = shop(tasks / 3);
        criterion.bench_function(&format!("first plan of {tasks} tasks"), |bencher| {
            bencher.iter(|| plan(&model, &options, &|| 0.0));
        });
        model.in_force = plan(&model, &options, &|| 0.0).placements;
        model.technicians[0].shifts.clear();
        criterion.bench_function(
            &format!("repair of {tasks} tasks, one technician gone"),
            |bencher| {
                bencher.iter(|| repair(&model));
            },
        );
    }
}

criterion_group! { name = benches; config = Criterion::default().sample_size(10); targets = bench }
criterion_main!(benches);
