//! Flexible and classic job shops in the usual text form: `jobs machines`, then a line per job.
//!
//! A flexible line: number of operations, then per operation the number of alternatives and as many pairs `machine duration` (the form of
//! Brandimarte 1993's files); a classic one: pairs `machine duration` (Fisher and Thompson 1963, Lawrence 1984). Machines count from 0.

use super::Unreadable;
use crate::model::{Bay, Duration, Edge, Job, Model, Order, Ticks, Vehicle, Weights};
use crate::outcome::Plan;

/// A job shop: per job, per operation, the machines that can do it and how long they take.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobShop {
    machines: usize,
    jobs: Vec<Vec<Vec<(usize, Ticks)>>>,
}

impl JobShop {
    /// Reads the text of either form.
    pub fn read(text: &str) -> Result<Self, Unreadable> {
        let mut lines =
            text.lines().map(str::trim).filter(|line| !line.is_empty() && !line.starts_with('#'));
        let head = numbers(lines.next().unwrap_or(""))?;
        let &[jobs, machines, ..] = head.as_slice() else {
            return Err(Unreadable::JobShop(
                "the first line needs the numbers of jobs and machines".to_owned(),
            ));
        };
        let rows = lines.take(count(jobs)?).map(numbers).collect::<Result<Vec<_>, _>>()?;
        if rows.len() != count(jobs)? {
            return Err(Unreadable::JobShop(format!(
                "{jobs} jobs announced, {} there",
                rows.len()
            )));
        }
        let machines = count(machines)?;
        if machines > 100_000 {
            return Err(Unreadable::JobShop(format!("{machines} machines are out of range")));
        }
        let shop = rows.iter().map(|row| flexible(row, machines)).collect::<Result<Vec<_>, _>>();
        let jobs = match shop {
            Ok(jobs) => jobs,
            Err(_) => {
                rows.iter().map(|row| classic(row, machines)).collect::<Result<Vec<_>, _>>()?
            }
        };
        Ok(Self { machines, jobs })
    }

    /// Machines are bays, operations are jobs without people; only the end of everything counts.
    #[must_use]
    pub fn model(&self) -> Model {
        let mut model = Model {
            weights: Weights { tardiness: 0, flow: 0, moving: 0, change: 0, makespan: 1 },
            horizon: self
                .jobs
                .iter()
                .flatten()
                .map(|options| options.iter().map(|(_, ticks)| *ticks).max().unwrap_or(0))
                .sum(),
            ..Model::default()
        };
        model.bays.extend(
            (0..self.machines)
                .map(|machine| Bay { name: format!("machine {machine}"), ..Bay::default() }),
        );
        for (number, operations) in self.jobs.iter().enumerate() {
            model.vehicles.push(Vehicle::default());
            model.orders.push(Order {
                name: format!("job {number}"),
                vehicle: number,
                ..Order::default()
            });
            for (place, options) in operations.iter().enumerate() {
                if place > 0 {
                    model.edges.push(Edge {
                        before: model.jobs.len() - 1,
                        after: model.jobs.len(),
                        wait: 0,
                    });
                }
                let least = options.iter().map(|(_, ticks)| *ticks).min().unwrap_or(0);
                model.jobs.push(Job {
                    name: format!("operation {number}.{place}"),
                    order: number,
                    duration: Duration::sure(least),
                    bay: Some(Vec::new()),
                    lengths: options.clone(),
                    ..Job::default()
                });
            }
        }
        model
    }

    /// `{"makespan", "operations"}`.
    #[must_use]
    pub fn print(&self, plan: &Plan) -> String {
        let mut placements = plan.placements.iter().flatten();
        let operations: Vec<Vec<(usize, Ticks, Ticks)>> = self
            .jobs
            .iter()
            .map(|job| {
                placements
                    .by_ref()
                    .take(job.len())
                    .map(|placement| (placement.bay.unwrap_or(0), placement.start, placement.end))
                    .collect()
            })
            .collect();
        let makespan = operations.iter().flatten().map(|operation| operation.2).max().unwrap_or(0);
        serde_json::json!({ "makespan": makespan, "operations": operations }).to_string()
    }
}

fn numbers(line: &str) -> Result<Vec<Ticks>, Unreadable> {
    let number = |word: &str| {
        word.parse::<f64>().ok().filter(|value| value.is_finite() && *value >= 0.0 && *value < 1e12)
    };
    let whole = |word: &str| word.parse::<Ticks>().ok().or_else(|| number(word).map(truncated));
    line.split_whitespace()
        .map(|word| {
            whole(word).ok_or_else(|| Unreadable::JobShop(format!("`{word}` is no number")))
        })
        .collect()
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "the range was checked; a mean number of alternatives may stand on the first line"
)]
const fn truncated(value: f64) -> Ticks {
    value as Ticks
}

fn count(value: Ticks) -> Result<usize, Unreadable> {
    usize::try_from(value)
        .ok()
        .filter(|value| *value < 10_000_000)
        .ok_or_else(|| Unreadable::JobShop(format!("{value} is out of range")))
}

fn option(
    machine: Option<Ticks>,
    ticks: Option<Ticks>,
    machines: usize,
) -> Result<(usize, Ticks), Unreadable> {
    let machine = count(machine.unwrap_or(-1))?;
    let ticks = ticks
        .filter(|ticks| *ticks >= 0)
        .ok_or_else(|| Unreadable::JobShop("a line ends too early".to_owned()))?;
    if machine >= machines {
        return Err(Unreadable::JobShop(format!("machine {machine} of {machines}")));
    }
    Ok((machine, ticks))
}

fn flexible(row: &[Ticks], machines: usize) -> Result<Vec<Vec<(usize, Ticks)>>, Unreadable> {
    let mut row = row.iter().copied();
    let mut operations = Vec::new();
    for _ in 0..count(row.next().unwrap_or(-1))? {
        let options = count(row.next().unwrap_or(-1))?;
        if options == 0 {
            return Err(Unreadable::JobShop("an operation that no machine does".to_owned()));
        }
        operations.push(
            (0..options)
                .map(|_| option(row.next(), row.next(), machines))
                .collect::<Result<Vec<_>, _>>()?,
        );
    }
    match row.next() {
        None => Ok(operations),
        Some(_) => Err(Unreadable::JobShop("a line is too long".to_owned())),
    }
}

fn classic(row: &[Ticks], machines: usize) -> Result<Vec<Vec<(usize, Ticks)>>, Unreadable> {
    row.chunks(2)
        .map(|pair| Ok(vec![option(pair.first().copied(), pair.get(1).copied(), machines)?]))
        .collect()
}
