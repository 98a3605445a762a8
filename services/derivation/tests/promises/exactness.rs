//! A derivation against the definition, on random catalogues and orders.

use std::collections::BTreeSet;

use derivation::derive::{Derivation, Node, derive};
use derivation::index::Compiled;
use domain::catalogue::Catalogue;
use proptest::prelude::*;

use crate::oracle::{Constraints, Point, Task, World, completions, constraints, reachable, world};
use crate::random::{Choices, RandomOrder, catalogue, order};

fn task(derivation: &Derivation<'_>, at: usize) -> Task {
    let task = &derivation.tasks[at];
    (task.procedure.id.clone(), task.place.map(str::to_owned))
}

fn point(derivation: &Derivation<'_>, node: Node) -> Point {
    match node {
        Node::Task(at) => Point::Task(task(derivation, at)),
        Node::Line(line) => Point::Line(line),
    }
}

fn tasks(derivation: &Derivation<'_>, required: Option<bool>) -> BTreeSet<Task> {
    (0..derivation.tasks.len())
        .filter(|at| required.is_none_or(|wanted| derivation.tasks[*at].required == wanted))
        .map(|at| task(derivation, at))
        .collect()
}

/// Everything that holds in at least one of the worlds.
fn union(worlds: &[World]) -> World {
    let mut some = World::default();
    for world in worlds {
        some.tasks.extend(world.tasks.iter().cloned());
        some.from.extend(world.from.iter().cloned());
        some.does.extend(world.does.iter().cloned());
    }
    some
}

fn same_constraints(derivation: &Derivation<'_>, wanted: &Constraints) {
    let edges: BTreeSet<(Point, Point)> = derivation
        .edges
        .iter()
        .map(|edge| (point(derivation, edge.before), point(derivation, edge.then)))
        .collect();
    assert_eq!(edges, wanted.edges);
    let told: BTreeSet<_> = derivation
        .either_or
        .iter()
        .map(|one| {
            let at = |node| point(derivation, node);
            (at(one.enter), at(one.leave), at(one.disturber))
        })
        .collect();
    let reach = reachable(&edges);
    let leads = |one: &Point, other: &Point| reach.get(one).is_some_and(|to| to.contains(other));
    let open: BTreeSet<_> = wanted
        .either_or
        .iter()
        .filter(|(enter, leave, by)| !leads(by, enter) && !leads(leave, by))
        .cloned()
        .collect();
    assert_eq!(told, open);
}

fn every_edge_is_kept_or_told(derivation: &Derivation<'_>) {
    let place = |node| match node {
        Node::Task(at) => Some(at),
        Node::Line(_) => None,
    };
    if derivation.findings.is_empty() {
        for edge in &derivation.edges {
            if let (Some(before), Some(then)) = (place(edge.before), place(edge.then)) {
                assert!(before < then, "tasks stand in a workable order");
            }
        }
    }
    for finding in &derivation.findings {
        assert_eq!(finding.code, "order_conflict");
        for (at, node) in finding.path.iter().enumerate() {
            let next = finding.path[(at + 1) % finding.path.len()];
            assert!(
                derivation.edges.iter().any(|e| e.before == *node && e.then == next),
                "a conflict is a circle of edges"
            );
        }
    }
}

/// The facts that the membership of some task really depends on, with those tasks' procedures.
fn essential(order: &RandomOrder, worlds: &[(RandomOrder, World)]) -> BTreeSet<(String, String)> {
    let mut found = BTreeSet::new();
    let facts = ["f0", "f1", "f2", "w", "make", "model_year"];
    for fact in facts.into_iter().filter(|fact| order.vehicle.fact(fact).is_none()) {
        for (at, (one, left)) in worlds.iter().enumerate() {
            for (other, right) in &worlds[..at] {
                let same = facts.iter().all(|name| {
                    *name == fact || one.vehicle.fact(name) == other.vehicle.fact(name)
                });
                if same && one.lines == other.lines {
                    for task in left.tasks.symmetric_difference(&right.tasks) {
                        found.insert((fact.to_owned(), task.0.clone()));
                    }
                }
            }
        }
    }
    found
}

fn agrees(catalogue: &Catalogue, order: &RandomOrder) {
    let compiled = Compiled::new(catalogue.clone());
    let derivation = derive(&compiled, &order.repair());
    let worlds: Vec<(RandomOrder, World)> = completions(order)
        .into_iter()
        .map(|full| {
            let world = world(catalogue, &full);
            (full, world)
        })
        .collect();
    let all: Vec<World> = worlds.iter().map(|(_, world)| world.clone()).collect();
    let some = union(&all);
    let always: BTreeSet<Task> = some
        .tasks
        .iter()
        .filter(|task| all.iter().all(|world| world.tasks.contains(*task)))
        .cloned()
        .collect();
    assert_eq!(tasks(&derivation, None), some.tasks, "what is possible");
    assert_eq!(tasks(&derivation, Some(true)), always, "what is required");
    same_constraints(&derivation, &constraints(catalogue, &some));
    every_edge_is_kept_or_told(&derivation);
    let asked: BTreeSet<(String, String)> = derivation
        .questions
        .iter()
        .filter(|question| !question.asks.starts_with("lines."))
        .flat_map(|question| {
            let fact = question.asks.trim_start_matches("features.");
            question.decides.iter().map(move |id| (fact.to_owned(), (*id).to_owned()))
        })
        .collect();
    assert_eq!(asked, essential(order, &worlds), "the fewest facts that decide");
    for (full, world) in &worlds {
        let answered = derive(&compiled, &full.repair());
        assert_eq!(tasks(&answered, Some(true)), world.tasks, "after answering");
        assert_eq!(answered.questions, []);
        same_constraints(&answered, &constraints(catalogue, world));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, max_shrink_iters: 200, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_derivation_is_the_definition_tried_on_every_completion(
        numbers in proptest::collection::vec(any::<u32>(), 0..400)
    ) {
        let mut choices = Choices::new(&numbers);
        let order = order(&mut choices);
        let catalogue = catalogue(&mut choices);
        if completions(&order).len() <= 128 {
            agrees(&catalogue, &order);
        }
    }

    #[test]
    fn the_order_in_which_a_catalogue_is_written_does_not_matter_for_what_is_required(
        numbers in proptest::collection::vec(any::<u32>(), 0..400)
    ) {
        let mut choices = Choices::new(&numbers);
        let order = order(&mut choices);
        let catalogue = catalogue(&mut choices);
        let mut turned = catalogue.clone();
        turned.rules.reverse();
        turned.procedures.reverse();
        turned.implications.reverse();
        let (one, other) = (Compiled::new(catalogue), Compiled::new(turned));
        let (one, other) = (derive(&one, &order.repair()), derive(&other, &order.repair()));
        prop_assert_eq!(tasks(&one, Some(true)), tasks(&other, Some(true)));
        prop_assert_eq!(tasks(&one, None), tasks(&other, None));
    }
}
