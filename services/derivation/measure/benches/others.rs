//! Other ways to find the rules that what the lines say sets off.

use std::collections::BTreeSet;
use std::fmt::Write;

use domain::catalogue::{Catalogue, Component};
use domain::operation::OperationPattern;
use domain::predicate::Predicate;
use domain::vehicle::FactValue;
use regorus::{Engine, Value};
use serde_json::json;

use crate::orders::Order;

/// Looks at every rule in turn.
pub(crate) struct Scan<'c>(&'c Catalogue);

impl<'c> Scan<'c> {
    pub(crate) fn new(catalogue: &'c Catalogue) -> Self {
        Self(catalogue)
    }

    pub(crate) fn fire(&self, order: &Order) -> BTreeSet<String> {
        let fires = |pattern: &OperationPattern| {
            order.lines.iter().flat_map(|line| &line.operations).any(|stated| {
                let operation = &stated.operation;
                (pattern.actions.is_empty() || pattern.actions.contains(&operation.action))
                    && and_parents(self.0, &operation.component).contains(&&*pattern.component)
            })
        };
        let rules = self.0.rules.iter();
        rules
            .filter(|rule| rule.when.operations.iter().any(fires))
            .filter(|rule| holds(&rule.on, order))
            .map(|rule| rule.id.clone())
            .collect()
    }
}

fn and_parents<'c>(catalogue: &'c Catalogue, component: &str) -> Vec<&'c str> {
    let find = |id: &str| catalogue.vocabulary.components.iter().find(|one| one.id == id);
    std::iter::successors(find(component), |one: &&Component| one.parent.as_deref().and_then(find))
        .map(|one| one.id.as_str())
        .collect()
}

fn holds(predicate: &Predicate, order: &Order) -> bool {
    let fact = |name: &str| order.vehicle.fact(name);
    match predicate {
        Predicate::Has(name) => fact(name) == Some(FactValue::Flag(true)),
        Predicate::Lacks(name) => fact(name) == Some(FactValue::Flag(false)),
        Predicate::Is { fact: name, one_of } => {
            matches!(fact(name), Some(FactValue::Word(word)) if one_of.contains(&word))
        }
        Predicate::ModelYear { from, to } => order.vehicle.model_year.is_some_and(|year| {
            from.is_none_or(|from| from <= year) && to.is_none_or(|to| year <= to)
        }),
        Predicate::All(all) => all.iter().all(|one| holds(one, order)),
        Predicate::Any(any) => any.iter().any(|one| holds(one, order)),
        Predicate::Not(one) => !holds(one, order),
    }
}

/// A general policy engine (Rego) with one policy rule for each rule of the catalogue.
pub(crate) struct Policy<'c> {
    engine: Engine,
    catalogue: &'c Catalogue,
}

impl<'c> Policy<'c> {
    pub(crate) fn new(catalogue: &'c Catalogue) -> Self {
        let mut text = "package repair\nimport rego.v1\n".to_owned();
        let mut known = 0;
        for rule in &catalogue.rules {
            let mut parts = String::new();
            let on = policy(&rule.on, &mut known, &mut parts);
            text.push_str(&parts);
            for pattern in &rule.when.operations {
                let actions = if pattern.actions.is_empty() {
                    String::new()
                } else {
                    format!("\n  done.action in {}", json!(pattern.actions))
                };
                writeln!(
                    text,
                    "fires contains {} if {{\n  some done in input.operations\n  {} in done.components{actions}\n  {on}\n}}",
                    json!(rule.id),
                    json!(pattern.component),
                )
                .expect("a string takes it");
            }
        }
        let mut engine = Engine::new();
        engine.add_policy("repair.rego".to_owned(), text).expect("a policy");
        Self { engine, catalogue }
    }

    pub(crate) fn fire(&mut self, order: &Order) -> BTreeSet<String> {
        let operations: Vec<_> = order
            .lines
            .iter()
            .flat_map(|line| &line.operations)
            .map(|stated| {
                let operation = &stated.operation;
                json!({
                    "action": operation.action,
                    "components": and_parents(self.catalogue, &operation.component),
                })
            })
            .collect();
        let input = json!({ "operations": operations, "vehicle": order.vehicle });
        self.engine.set_input(Value::from(input));
        let fires = self.engine.eval_rule("data.repair.fires".to_owned()).expect("evaluates");
        let fires = fires.as_set().expect("a set");
        fires.iter().filter_map(|one| one.as_string().ok()).map(|one| one.to_string()).collect()
    }
}

/// A predicate as one expression; alternatives become policy rules of their own.
fn policy(predicate: &Predicate, known: &mut usize, parts: &mut String) -> String {
    let fact = |name: &str| match name {
        "make" | "model" | "powertrain" | "model_year" => format!("input.vehicle.{name}"),
        feature => format!("input.vehicle.features.{feature}"),
    };
    match predicate {
        Predicate::Has(name) => format!("{} == true", fact(name)),
        Predicate::Lacks(name) => format!("{} == false", fact(name)),
        Predicate::Is { fact: name, one_of } => format!("{} in {}", fact(name), json!(one_of)),
        Predicate::ModelYear { from, to } => format!(
            "{year} >= {}\n  {year} <= {}",
            from.unwrap_or(i32::MIN),
            to.unwrap_or(i32::MAX),
            year = fact("model_year")
        ),
        Predicate::All(all) if all.is_empty() => "true".to_owned(),
        Predicate::All(all) => {
            let all: Vec<String> = all.iter().map(|one| policy(one, known, parts)).collect();
            all.join("\n  ")
        }
        Predicate::Any(any) => {
            let any: Vec<String> = any.iter().map(|one| policy(one, known, parts)).collect();
            if any.is_empty() { "false".to_owned() } else { named(&any, known, parts) }
        }
        Predicate::Not(one) => {
            let one = policy(one, known, parts);
            format!("not {}", named(&[one], known, parts))
        }
    }
}

/// A policy rule that holds when one of the bodies does; its name.
fn named(bodies: &[String], known: &mut usize, parts: &mut String) -> String {
    *known += 1;
    let name = format!("part_{known}");
    for body in bodies {
        writeln!(parts, "{name} if {{\n  {body}\n}}").expect("a string takes it");
    }
    name
}
