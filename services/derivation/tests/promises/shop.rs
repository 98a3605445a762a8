//! A tiny catalogue and orders for it.

use std::collections::BTreeMap;

use derivation::derive::{Derivation, DerivedTask, Node};
use derivation::document::{self, Limits};
use derivation::index::Compiled;
use derivation::repair::{Repair, RepairLine, StatedOperation};
use domain::operation::Operation;
use domain::order::{Authorisation, Done, Reading};
use domain::vehicle::{FactValue, VehicleFacts};

pub(crate) const CATALOGUE: &str = include_str!("shop.yaml");

pub(crate) fn compiled() -> Compiled {
    let read = document::read(CATALOGUE.as_bytes(), Limits::default()).expect("reads");
    Compiled::new(read.catalogue)
}

/// An order under construction.
#[derive(Default)]
pub(crate) struct Order {
    pub(crate) vehicle: VehicleFacts,
    pub(crate) lines: Vec<RepairLine>,
    pub(crate) trouble_codes: Vec<String>,
    pub(crate) complaints: Vec<String>,
    pub(crate) observed: Vec<Operation>,
}

impl Order {
    pub(crate) fn with(features: &[(&str, bool)]) -> Self {
        let features: BTreeMap<String, FactValue> = features
            .iter()
            .map(|(name, flag)| ((*name).to_owned(), FactValue::Flag(*flag)))
            .collect();
        Self { vehicle: VehicleFacts { features, ..VehicleFacts::default() }, ..Self::default() }
    }

    pub(crate) fn line(mut self, operations: &[&str]) -> Self {
        self.lines.push(RepairLine {
            line: i32::try_from(self.lines.len()).expect("few") + 1,
            authorisation: Authorisation::Approved,
            begun: false,
            reading: Reading::Sure,
            operations: operations.iter().map(|words| stated(words, true)).collect(),
        });
        self
    }

    pub(crate) fn unsure_line(self, operations: &[&str]) -> Self {
        let mut order = self.line(&[]);
        if let Some(line) = order.lines.last_mut() {
            line.reading = Reading::Unsure;
            line.operations = operations.iter().map(|words| stated(words, false)).collect();
        }
        order
    }

    pub(crate) fn repair(&self) -> Repair<'_> {
        Repair {
            vehicle: &self.vehicle,
            lines: &self.lines,
            trouble_codes: &self.trouble_codes,
            complaints: &self.complaints,
            observed: &self.observed,
        }
    }
}

/// `replace battery` or `remove_install seat@front_left`.
pub(crate) fn operation(words: &str) -> Operation {
    let (operation, place) = match words.split_once('@') {
        Some((operation, place)) => (operation, Some(place.to_owned())),
        None => (words, None),
    };
    let (action, component) = operation.split_once(' ').expect("action and component");
    Operation { place, ..Operation::new(action, component) }
}

fn stated(words: &str, sure: bool) -> StatedOperation {
    StatedOperation {
        operation: operation(words),
        done: Done::Planned,
        sure,
        words: words.to_owned(),
    }
}

/// `procedure` or `procedure@place`, with a question mark when undetermined.
pub(crate) fn name(task: &DerivedTask<'_>) -> String {
    let place = task.place.map(|place| format!("@{place}")).unwrap_or_default();
    let doubt = if task.required { "" } else { "?" };
    format!("{}{place}{doubt}", task.procedure.id)
}

pub(crate) fn names(derivation: &Derivation<'_>) -> Vec<String> {
    derivation.tasks.iter().map(name).collect()
}

pub(crate) fn node(derivation: &Derivation<'_>, node: Node) -> String {
    match node {
        Node::Task(at) => name(&derivation.tasks[at]),
        Node::Line(line) => format!("line {line}"),
    }
}

pub(crate) fn comes_before(derivation: &Derivation<'_>, before: &str, then: &str) -> bool {
    derivation
        .edges
        .iter()
        .any(|edge| node(derivation, edge.before) == before && node(derivation, edge.then) == then)
}
