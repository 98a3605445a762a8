//! The definition, followed word by word: every completion of the unknown is tried, every rule looked at.

use std::collections::{BTreeMap, BTreeSet};

use domain::catalogue::Catalogue;
use domain::operation::{Operation, OperationPattern};
use domain::order::Reading;
use domain::predicate::Predicate;
use domain::procedure::Phase;
use domain::vehicle::{FactValue, VehicleFacts};

use crate::random::{FLAGS, MAKES, RandomOrder, WORDS, YEARS};

pub(crate) type Task = (String, Option<String>);

/// A task or a line.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Point {
    Line(i32),
    Task(Task),
}

/// What holds for one vehicle of which all is known.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub(crate) struct World {
    pub(crate) tasks: BTreeSet<Task>,
    /// Which lines each task comes from.
    pub(crate) from: BTreeSet<(i32, Task)>,
    /// What each line and task does, with all that it amounts to.
    pub(crate) does: BTreeSet<(Point, Operation)>,
}

/// Every way in which the unknown facts and unsure lines can turn out.
pub(crate) fn completions(order: &RandomOrder) -> Vec<RandomOrder> {
    let mut all = vec![order.clone()];
    let mut vary = |change: &dyn Fn(&RandomOrder) -> Vec<RandomOrder>| {
        all = all.iter().flat_map(change).collect();
    };
    for flag in FLAGS {
        vary(&|order| with_feature(order, flag, &[FactValue::Flag(false), FactValue::Flag(true)]));
    }
    vary(&|order| with_feature(order, "w", &WORDS.map(|word| FactValue::Word(word.to_owned()))));
    vary(&|order| {
        let mut makes = MAKES.to_vec();
        makes.push("another");
        if order.vehicle.make.is_some() {
            return vec![order.clone()];
        }
        let with =
            |make: &&str| VehicleFacts { make: Some((*make).to_owned()), ..order.vehicle.clone() };
        makes.iter().map(|make| RandomOrder { vehicle: with(make), ..order.clone() }).collect()
    });
    vary(&|order| {
        if order.vehicle.model_year.is_some() {
            return vec![order.clone()];
        }
        let with = |year: i32| VehicleFacts { model_year: Some(year), ..order.vehicle.clone() };
        (YEARS[0] - 1..=YEARS[2] + 1)
            .map(|year| RandomOrder { vehicle: with(year), ..order.clone() })
            .collect()
    });
    for at in 0..order.lines.len() {
        vary(&|order| {
            if order.lines[at].reading != Reading::Unsure {
                return vec![order.clone()];
            }
            let candidates = order.lines[at].operations.len();
            (0..1 << candidates)
                .map(|chosen: usize| {
                    let mut order = order.clone();
                    let line = &mut order.lines[at];
                    line.reading = Reading::Sure;
                    let mut which = 0..;
                    line.operations.retain(|_| chosen >> which.next().unwrap_or(0) & 1 == 1);
                    line.operations.iter_mut().for_each(|stated| stated.sure = true);
                    order
                })
                .collect()
        });
    }
    all
}

fn with_feature(order: &RandomOrder, name: &str, values: &[FactValue]) -> Vec<RandomOrder> {
    if order.vehicle.features.contains_key(name) {
        return vec![order.clone()];
    }
    let with = |value: &FactValue| {
        let mut order = order.clone();
        order.vehicle.features.insert(name.to_owned(), value.clone());
        order
    };
    values.iter().map(with).collect()
}

fn holds(predicate: &Predicate, vehicle: &VehicleFacts) -> bool {
    match predicate {
        Predicate::Has(name) => vehicle.features.get(name) == Some(&FactValue::Flag(true)),
        Predicate::Lacks(name) => vehicle.features.get(name) == Some(&FactValue::Flag(false)),
        Predicate::Is { fact, one_of } => match vehicle.fact(fact) {
            Some(FactValue::Word(word)) => one_of.contains(&word),
            _ => false,
        },
        Predicate::ModelYear { from, to } => vehicle.model_year.is_some_and(|year| {
            from.is_none_or(|from| year >= from) && to.is_none_or(|to| year <= to)
        }),
        Predicate::All(all) => all.iter().all(|one| holds(one, vehicle)),
        Predicate::Any(any) => any.iter().any(|one| holds(one, vehicle)),
        Predicate::Not(one) => !holds(one, vehicle),
    }
}

fn matches(catalogue: &Catalogue, pattern: &OperationPattern, operation: &Operation) -> bool {
    if !pattern.actions.is_empty() && !pattern.actions.contains(&operation.action) {
        return false;
    }
    let mut component = Some(operation.component.clone());
    while let Some(name) = component {
        if name == pattern.component {
            return true;
        }
        let known = &catalogue.vocabulary.components;
        component = known.iter().find(|one| one.id == name).and_then(|one| one.parent.clone());
    }
    false
}

fn any_matches(catalogue: &Catalogue, list: &[OperationPattern], operation: &Operation) -> bool {
    list.iter().any(|pattern| matches(catalogue, pattern, operation))
}

fn code_matches(pattern: &str, code: &str) -> bool {
    let code = &code[..5];
    pattern.chars().zip(code.chars()).all(|(p, c)| p == 'x' || p == c)
}

/// The least fixpoint for one completion.
pub(crate) fn world(catalogue: &Catalogue, order: &RandomOrder) -> World {
    let vehicle = &order.vehicle;
    let mut world = World::default();
    for line in &order.lines {
        for stated in &line.operations {
            world.does.insert((Point::Line(line.line), stated.operation.clone()));
        }
    }
    loop {
        let before = world.clone();
        for implication in &catalogue.implications {
            for (by, operation) in &before.does {
                let fires = any_matches(catalogue, &implication.when, operation);
                if fires && holds(&implication.on, vehicle) {
                    for emitted in &implication.emits {
                        let place = emitted.place.clone().or(operation.place.clone());
                        world.does.insert((by.clone(), Operation { place, ..emitted.clone() }));
                    }
                }
            }
        }
        for rule in catalogue.rules.iter().filter(|rule| holds(&rule.on, vehicle)) {
            let mut fired: Vec<(Vec<i32>, Option<String>)> = Vec::new();
            if rule.when.every_order {
                fired.push((order.lines.iter().map(|line| line.line).collect(), None));
            }
            let codes = &order.trouble_codes;
            let by_code = rule
                .when
                .trouble_codes
                .iter()
                .any(|pattern| codes.iter().any(|code| code_matches(pattern, code)));
            if by_code || rule.when.complaints.iter().any(|one| order.complaints.contains(one)) {
                fired.push((Vec::new(), None));
            }
            for (by, operation) in &before.does {
                if any_matches(catalogue, &rule.when.operations, operation) {
                    fired.push((lines_of(&before, by), operation.place.clone()));
                }
            }
            for (lines, place) in fired {
                for name in &rule.require {
                    require(catalogue, vehicle, &mut world, name, place.clone(), &lines);
                }
            }
        }
        for task in &before.tasks {
            let entry = catalogue.procedures.iter().find(|one| one.id == task.0).expect("known");
            let lines = lines_of(&before, &Point::Task(task.clone()));
            let left_by = entry.opens.as_ref().map(|opens| &opens.left_by);
            for name in entry.needs.iter().chain(left_by) {
                require(catalogue, vehicle, &mut world, name, task.1.clone(), &lines);
            }
            for emitted in &entry.emits {
                let place = emitted.place.clone().or(task.1.clone());
                let operation = Operation { place, ..emitted.clone() };
                world.does.insert((Point::Task(task.clone()), operation));
            }
        }
        if world == before {
            return world;
        }
    }
}

fn lines_of(world: &World, by: &Point) -> Vec<i32> {
    match by {
        Point::Line(line) => vec![*line],
        Point::Task(task) => {
            world.from.iter().filter(|(_, one)| one == task).map(|(line, _)| *line).collect()
        }
    }
}

fn require(
    catalogue: &Catalogue,
    vehicle: &VehicleFacts,
    world: &mut World,
    name: &str,
    place: Option<String>,
    lines: &[i32],
) {
    let entry = catalogue.procedures.iter().find(|one| one.id == name).expect("known");
    if holds(&entry.exists_on, vehicle) {
        let task = (entry.id.clone(), place.filter(|_| entry.per_place));
        world.from.extend(lines.iter().map(|line| (*line, task.clone())));
        world.tasks.insert(task);
    }
}

/// Edges between everything that holds in some world: what comes before what.
#[derive(Debug, Default, PartialEq, Eq)]
pub(crate) struct Constraints {
    pub(crate) edges: BTreeSet<(Point, Point)>,
    /// Enter, leave, disturber; also those that the edges decide already.
    pub(crate) either_or: BTreeSet<(Point, Point, Point)>,
}

pub(crate) fn constraints(catalogue: &Catalogue, some: &World) -> Constraints {
    let mut found = Constraints::default();
    let entry =
        |task: &Task| catalogue.procedures.iter().find(|one| one.id == task.0).expect("known");
    let meet = |one: &Option<String>, other: &Option<String>| {
        one.is_none() || other.is_none() || one == other
    };
    for (line, task) in &some.from {
        let (line, point) = (Point::Line(*line), Point::Task(task.clone()));
        found.edges.insert(match entry(task).phase {
            Phase::Before => (point, line),
            Phase::After => (line, point),
        });
    }
    let mut modes = Vec::new();
    for task in &some.tasks {
        for name in &entry(task).needs {
            let needed = catalogue.procedures.iter().find(|one| one.id == *name).expect("known");
            let needed = (name.clone(), task.1.clone().filter(|_| needed.per_place));
            if some.tasks.contains(&needed) {
                found.edges.insert((Point::Task(needed), Point::Task(task.clone())));
            }
        }
        for other in some.tasks.iter().filter(|other| entry(task).after.contains(&other.0)) {
            if other != task && meet(&other.1, &task.1) {
                found.edges.insert((Point::Task(other.clone()), Point::Task(task.clone())));
            }
        }
        if let Some(opens) = &entry(task).opens {
            let leave = catalogue.procedures.iter().find(|o| o.id == opens.left_by).expect("known");
            let leave = (leave.id.clone(), task.1.clone().filter(|_| leave.per_place));
            if some.tasks.contains(&leave) {
                let (enter, leave) = (Point::Task(task.clone()), Point::Task(leave));
                found.edges.insert((enter.clone(), leave.clone()));
                modes.push((enter, leave));
            }
        }
    }
    let fixed = reachable(&found.edges);
    let reaches = |one: &Point, other: &Point| fixed.get(one).is_some_and(|to| to.contains(other));
    for (by, operation) in &some.does {
        for task in &some.tasks {
            let point = Point::Task(task.clone());
            let own = matches!(by, Point::Task((name, _)) if *name == task.0);
            let here = meet(&task.1, &operation.place);
            if own || !here || !any_matches(catalogue, &entry(task).disturbed_by, operation) {
                continue;
            }
            let its: Vec<_> =
                modes.iter().filter(|(enter, leave)| *enter == point || *leave == point).collect();
            let inside = its.iter().any(|(enter, leave)| {
                by == enter || by == leave || (reaches(enter, by) && reaches(by, leave))
            });
            if inside {
                continue;
            }
            let entered: Vec<_> = its.iter().filter(|(enter, _)| *enter == point).collect();
            if !entered.is_empty() {
                for (enter, leave) in entered {
                    found.either_or.insert((enter.clone(), leave.clone(), by.clone()));
                }
                continue;
            }
            let lines = lines_of(some, &point);
            if entry(task).phase == Phase::After || lines.is_empty() {
                found.edges.insert((by.clone(), point));
            } else if !lines.iter().any(|line| Point::Line(*line) == *by) {
                for line in lines.into_iter().map(Point::Line) {
                    if !(reaches(&point, by) && reaches(by, &line)) {
                        found.either_or.insert((point.clone(), line, by.clone()));
                    }
                }
            }
        }
    }
    loop {
        let reached = reachable(&found.edges);
        let leads =
            |one: &Point, other: &Point| reached.get(one).is_some_and(|to| to.contains(other));
        let known = found.edges.len();
        for (enter, leave, by) in &found.either_or {
            found.edges.extend(leads(by, leave).then(|| (by.clone(), enter.clone())));
            found.edges.extend(leads(enter, by).then(|| (leave.clone(), by.clone())));
        }
        if found.edges.len() == known {
            return found;
        }
    }
}

/// From each point every point behind it.
pub(crate) fn reachable(edges: &BTreeSet<(Point, Point)>) -> BTreeMap<Point, BTreeSet<Point>> {
    let mut all: BTreeMap<Point, BTreeSet<Point>> = BTreeMap::new();
    for (before, then) in edges {
        all.entry(before.clone()).or_default().insert(then.clone());
    }
    loop {
        let before = all.clone();
        for reached in all.values_mut() {
            let more: Vec<Point> = reached
                .iter()
                .flat_map(|one| before.get(one).into_iter().flatten())
                .cloned()
                .collect();
            reached.extend(more);
        }
        if all == before {
            return all;
        }
    }
}
