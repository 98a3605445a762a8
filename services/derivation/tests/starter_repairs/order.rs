//! Orders in short form, and what was derived from them.

use std::collections::BTreeSet;
use std::sync::LazyLock;

use derivation::derive::{Derivation, Node, derive};
use derivation::index::Compiled;
use derivation::repair::{Repair, RepairLine, StatedOperation};
use derivation::starter;
use domain::operation::Operation;
use domain::order::{Authorisation, Done, Reading};
use domain::procedure::Procedure;
use domain::vehicle::{FactValue, Powertrain, VehicleFacts};

/// The starter catalogue, compiled once.
pub(crate) static STARTER: LazyLock<Compiled> =
    LazyLock::new(|| Compiled::new(starter::catalogue().expect("the starter catalogue reads")));

/// A procedure of the starter catalogue.
pub(crate) fn procedure(id: &str) -> &'static Procedure {
    STARTER.procedure(id).unwrap_or_else(|| panic!("`{id}` is in the starter catalogue"))
}

/// An order under construction.
#[derive(Default)]
pub(crate) struct Order {
    vehicle: VehicleFacts,
    lines: Vec<RepairLine>,
    trouble_codes: Vec<String>,
    complaints: Vec<String>,
}

impl Order {
    /// A vehicle of which everything is known: it has these features (`front_camera camera_calibration=static`) and
    /// no others.
    pub(crate) fn on(powertrain: Powertrain, features: &str) -> Self {
        let mut order = Self::default();
        order.vehicle.powertrain = Some(powertrain);
        for feature in &STARTER.catalogue().vocabulary.features {
            if feature.one_of.is_empty() {
                order.vehicle.features.insert(feature.id.clone(), FactValue::Flag(false));
            }
        }
        order.with(features)
    }

    /// A vehicle of which nothing is known.
    pub(crate) fn on_unknown() -> Self {
        Self::default()
    }

    pub(crate) fn with(mut self, features: &str) -> Self {
        for feature in features.split_whitespace() {
            let (name, value) = match feature.split_once('=') {
                Some((name, word)) => (name, FactValue::Word(word.to_owned())),
                None => (feature, FactValue::Flag(true)),
            };
            self.vehicle.features.insert(name.to_owned(), value);
        }
        self
    }

    /// A line such as `replace throttle_body, remove_install seat@front_right`.
    pub(crate) fn line(mut self, operations: &str) -> Self {
        let stated = |words: &str| {
            let (what, place) = words.split_once('@').map_or((words, None), |(a, b)| (a, Some(b)));
            let (action, component) = what.split_once(' ').expect("action and component");
            let place = place.map(str::to_owned);
            StatedOperation {
                operation: Operation { place, ..Operation::new(action, component) },
                done: Done::Planned,
                sure: true,
                words: words.to_owned(),
            }
        };
        self.lines.push(RepairLine {
            line: i32::try_from(self.lines.len()).expect("few lines") + 1,
            authorisation: Authorisation::Approved,
            begun: false,
            reading: Reading::Sure,
            operations: operations.split(", ").map(stated).collect(),
        });
        self
    }

    pub(crate) fn trouble_code(mut self, code: &str) -> Self {
        self.trouble_codes.push(code.to_owned());
        self
    }

    pub(crate) fn complaint(mut self, complaint: &str) -> Self {
        self.complaints.push(complaint.to_owned());
        self
    }

    pub(crate) fn derive(&self) -> Answer<'_> {
        Answer(derive(
            &STARTER,
            &Repair {
                vehicle: &self.vehicle,
                lines: &self.lines,
                trouble_codes: &self.trouble_codes,
                complaints: &self.complaints,
                observed: &[],
            },
        ))
    }
}

/// What was derived.
pub(crate) struct Answer<'a>(pub(crate) Derivation<'a>);

impl Answer<'_> {
    /// The procedures required for certain.
    pub(crate) fn required(&self) -> BTreeSet<&str> {
        self.0.tasks.iter().filter(|t| t.required).map(|t| t.procedure.id.as_str()).collect()
    }

    /// The procedures that hang on an answer.
    pub(crate) fn undetermined(&self) -> BTreeSet<&str> {
        self.0.tasks.iter().filter(|t| !t.required).map(|t| t.procedure.id.as_str()).collect()
    }

    /// What is asked for.
    pub(crate) fn asks(&self) -> Vec<&str> {
        self.0.questions.iter().map(|question| question.asks.as_str()).collect()
    }

    /// Each comes before the next, whatever a plan looks like. `line 1` is a line.
    #[track_caller]
    pub(crate) fn in_order(&self, names: &[&str]) {
        for pair in names.windows(2) {
            let (before, then) = (self.node(pair[0]), self.node(pair[1]));
            assert!(self.leads(before, then), "`{}` before `{}`", pair[0], pair[1]);
        }
    }

    /// Whether nothing says which of the two comes first.
    pub(crate) fn is_free(&self, one: &str, other: &str) -> bool {
        let (one, other) = (self.node(one), self.node(other));
        !self.leads(one, other) && !self.leads(other, one)
    }

    /// A node by its name.
    #[track_caller]
    pub(crate) fn node(&self, name: &str) -> Node {
        if let Some(line) = name.strip_prefix("line ") {
            return Node::Line(line.parse().expect("a number"));
        }
        let at = self.0.tasks.iter().position(|task| task.procedure.id == name);
        Node::Task(at.unwrap_or_else(|| panic!("`{name}` is derived")))
    }

    fn leads(&self, from: Node, to: Node) -> bool {
        let mut seen = BTreeSet::from([from]);
        let mut open = vec![from];
        while let Some(here) = open.pop() {
            for edge in self.0.edges.iter().filter(|edge| edge.before == here) {
                if edge.then == to {
                    return true;
                }
                if seen.insert(edge.then) {
                    open.push(edge.then);
                }
            }
        }
        false
    }
}

/// Words as a set.
pub(crate) fn set(words: &str) -> BTreeSet<&str> {
    words.split_whitespace().collect()
}
