//! Why a procedure is not required: for each way in which it could be, what is lacking.

use std::fmt;

use domain::catalogue::Rule;
use domain::procedure::Procedure;

use crate::derive::graph::{Graph, Kind, NodeId};
use crate::derive::membership::{Incoming, Members};
use crate::facts::{Formula, Truth, Value};
use crate::index::{Compiled, ProcedureId, RuleId};
use crate::repair::Repair;

/// What stands between an order and a procedure.
#[derive(Debug, Clone, PartialEq)]
pub struct Explanation<'a> {
    /// The procedure.
    pub procedure: &'a Procedure,
    /// Whether the order requires it: `Unknown` is undetermined.
    pub required: Truth,
    /// Whether it exists on this vehicle.
    pub exists: Truth,
    /// The facts that this depends on, with what is known of them.
    pub exists_by: Vec<Known>,
    /// Every rule and procedure that could require it.
    pub ways: Vec<Way<'a>>,
}

/// One way in which it could become necessary.
#[derive(Debug, Clone, PartialEq)]
pub struct Way<'a> {
    /// Whose doing it would be.
    pub by: By<'a>,
    /// What is lacking; empty: this way is open, as far as the vehicle has the procedure.
    pub lacks: Vec<Lack>,
}

/// Who requires a procedure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum By<'a> {
    /// A rule.
    Rule(&'a Rule),
    /// A procedure that needs it, or that enters the mode which it leaves.
    Procedure(&'a Procedure),
}

/// What is lacking.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Lack {
    /// Nothing on the order sets the rule off.
    Trigger,
    /// The rule is for other vehicles; the facts that it asks for, with what is known of them.
    Vehicle(Vec<Known>),
    /// The rule may be for other vehicles; the facts are not all known.
    VehicleUnknown(Vec<Known>),
    /// The procedure that needs it is not required itself.
    NotRequired,
}

/// A fact and what is known of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Known {
    /// The fact, as questions call it.
    pub fact: String,
    /// Its value in words; `None` is unknown.
    pub value: Option<String>,
}

/// Explains; `None` when the catalogue has no procedure of this name.
pub fn why_not<'a>(
    compiled: &'a Compiled,
    repair: &Repair<'a>,
    procedure: &str,
) -> Option<Explanation<'a>> {
    let id = compiled.procedure_id(procedure)?;
    let graph = Graph::new(compiled, *repair);
    let incoming = Incoming::new(&graph);
    let members = Members::new(&graph, &incoming);
    let state = |id: ProcedureId| {
        let tasks = graph.tasks_of(id);
        tasks.map(|task| members.of(task).truth).max().unwrap_or(Truth::No)
    };
    let exists = &compiled.procedures[id].exists_on;
    let mut ways: Vec<Way<'a>> = Vec::new();
    for (rule, entry) in compiled.rules.iter().enumerate() {
        if entry.require.contains(&id) {
            ways.push(by_rule(&graph, rule));
        }
    }
    for (by, entry) in compiled.procedures.iter().enumerate() {
        if entry.needs.contains(&id) || entry.left_by == Some(id) {
            let lacks = if state(by) == Truth::Yes { Vec::new() } else { vec![Lack::NotRequired] };
            let by = By::Procedure(&compiled.catalogue().procedures[by]);
            ways.push(Way { by, lacks });
        }
    }
    Some(Explanation {
        procedure: &compiled.catalogue().procedures[id],
        required: state(id),
        exists: graph.value(exists),
        exists_by: facts(&graph, exists),
        ways,
    })
}

fn by_rule<'a>(graph: &Graph<'a>, rule: RuleId) -> Way<'a> {
    let compiled = graph.compiled;
    let mut lacks = Vec::new();
    if !is_set_off(graph, rule) {
        lacks.push(Lack::Trigger);
    }
    let on = &compiled.rules[rule].on;
    match graph.value(on) {
        Truth::Yes => {}
        Truth::No => lacks.push(Lack::Vehicle(facts(graph, on))),
        Truth::Unknown => lacks.push(Lack::VehicleUnknown(facts(graph, on))),
    }
    Way { by: By::Rule(&compiled.catalogue().rules[rule]), lacks }
}

fn is_set_off(graph: &Graph<'_>, rule: RuleId) -> bool {
    let compiled = graph.compiled;
    let by_operation = |node: NodeId| match graph.nodes[node].kind {
        Kind::Operation { operation, .. } => {
            compiled.rules_by_operation.all(&compiled.symbols, operation).any(|one| one == rule)
        }
        Kind::Task { .. } => false,
    };
    let repair = graph.repair;
    compiled.rules_of_every_order.contains(&rule)
        || (0..graph.nodes.len()).any(by_operation)
        || repair.trouble_codes.iter().any(|c| compiled.rules_by_code.of(c).any(|r| r == rule))
        || repair.complaints.iter().any(|c| compiled.rules_of_complaint(c).contains(&rule))
}

fn facts(graph: &Graph<'_>, formula: &Formula) -> Vec<Known> {
    let compiled = graph.compiled;
    let mut ids = Vec::new();
    formula.literals(&|_| Truth::Unknown, true, &mut |atom, _| {
        ids.push(compiled.facts.atoms[atom].fact);
    });
    ids.sort_unstable();
    ids.dedup();
    ids.into_iter()
        .map(|fact| Known {
            fact: compiled.facts.path(fact),
            value: match graph.known.values[fact] {
                Value::Unknown => None,
                Value::Flag(true) => Some("yes".to_owned()),
                Value::Flag(false) => Some("no".to_owned()),
                Value::Word(word) => Some(word.to_owned()),
                Value::Year(year) => Some(year.to_string()),
            },
        })
        .collect()
}

impl Explanation<'_> {
    /// The explanation as sentences.
    pub fn sentences(&self) -> Vec<String> {
        let id = &self.procedure.id;
        let mut sentences = vec![match self.required {
            Truth::Yes => format!("`{id}` is required."),
            Truth::Unknown => format!("`{id}` is undetermined until the questions are answered."),
            Truth::No => format!("`{id}` is not required."),
        }];
        match self.exists {
            Truth::Yes => {}
            Truth::No => {
                sentences
                    .push(format!("This vehicle does not have it: {}.", join(&self.exists_by)));
            }
            Truth::Unknown => sentences.push(format!(
                "Whether this vehicle has it is unknown: {}.",
                join(&self.exists_by)
            )),
        }
        sentences.extend(self.ways.iter().map(ToString::to_string));
        if self.ways.is_empty() {
            sentences.push("No rule requires it and no procedure needs it.".to_owned());
        }
        sentences
    }
}

impl fmt::Display for Way<'_> {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.by {
            By::Rule(rule) => write!(out, "The rule `{}`", rule.id)?,
            By::Procedure(procedure) => write!(out, "The procedure `{}`", procedure.id)?,
        }
        if self.lacks.is_empty() {
            return out.write_str(" requires it.");
        }
        let lacks: Vec<String> = self.lacks.iter().map(ToString::to_string).collect();
        write!(out, " does not require it: {}.", lacks.join("; "))
    }
}

impl fmt::Display for Lack {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Trigger => out.write_str("nothing on the order sets it off"),
            Self::Vehicle(facts) => write!(out, "it is for other vehicles ({})", join(facts)),
            Self::VehicleUnknown(facts) => {
                write!(out, "it is not known whether the vehicle is one of those ({})", join(facts))
            }
            Self::NotRequired => out.write_str("it is not required itself, or not yet certain"),
        }
    }
}

fn join(facts: &[Known]) -> String {
    let known =
        |fact: &Known| format!("{} is {}", fact.fact, fact.value.as_deref().unwrap_or("unknown"));
    facts.iter().map(known).collect::<Vec<_>>().join(", ")
}
