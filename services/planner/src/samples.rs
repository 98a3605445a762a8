//! A shop for tests: too much work for two bays, two people and one tool.

use crate::model::{
    Bay, Duration, Edge, Job, Model, Moving, Order, Pool, Technician, Ticks, Vehicle, Weights,
};
use crate::shop::index;

/// So many orders of three jobs each.
pub(crate) fn busy_shop(orders: usize) -> Model {
    let mut model = Model {
        horizon: 10_000,
        moving: Moving { same_zone: 5, other_zone: 5 },
        weights: Weights::default(),
        ..Model::default()
    };
    model.bays = vec![Bay::default(), Bay::default()];
    let shifts = (0..6).map(|day| (day * 1_440, day * 1_440 + 480)).collect::<Vec<_>>();
    model.technicians = vec![Technician { shifts, ..Technician::default() }; 2];
    model.pools = vec![Pool { kind: "scan_tool".to_owned(), zone: None, capacity: 1 }];
    for order in 0..orders {
        let number = Ticks::from(index(order));
        model.vehicles.push(Vehicle::default());
        model.orders.push(Order {
            vehicle: order,
            release: number * 7,
            promised: Some(150 + number * 31 % 300),
            weight: 1 + number % 3,
            ..Order::default()
        });
        for step in 0..3 {
            let after = model.jobs.len();
            let tool = (step + number) % 2 == 0;
            model.jobs.push(Job {
                order,
                duration: Duration::sure(15 + (number * 13 + step * 29) % 50),
                bay: (step < 2).then(Vec::new),
                people: vec![Vec::new()],
                equipment: if tool { vec![("scan_tool".to_owned(), 1)] } else { Vec::new() },
                ..Job::default()
            });
            if step > 0 {
                model.edges.push(Edge { before: after - 1, after, wait: 5 });
            }
        }
    }
    model
}
