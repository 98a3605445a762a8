//! Catalogues with very many rules that don't concern an order.

use std::fmt::Write;

use domain::catalogue::{Catalogue, Component, Rule};
use domain::operation::OperationPattern;
use domain::predicate::Predicate;

use crate::orders::Numbers;

/// The catalogue with rules added up to `count`: half react to parts that no order names, half are the given rules again
/// for makes that no order has. It passes the check.
pub(crate) fn with_rules(base: &Catalogue, count: usize) -> Catalogue {
    let mut catalogue = base.clone();
    let mut numbers = Numbers(0x2545_F491);
    let given: Vec<&Rule> = base
        .rules
        .iter()
        .filter(|rule| !rule.when.operations.is_empty() && !rule.when.every_order)
        .collect();
    for at in base.rules.len()..count {
        let mut rule = given[at / 2 % given.len()].clone();
        rule.id = format!("{}_{at}", rule.id);
        rule.when.trouble_codes.clear();
        rule.when.complaints.clear();
        if at % 2 == 0 {
            let whole = &rule.when.operations[numbers.below(rule.when.operations.len())];
            let id = format!("{}_{at}", whole.component);
            let part = OperationPattern { component: id.clone(), ..whole.clone() };
            catalogue.vocabulary.components.push(Component {
                title: format!("Part {at}"),
                id,
                parent: Some(whole.component.clone()),
                needs_nothing_because: None,
            });
            rule.when.operations = vec![part];
        } else {
            let make = Predicate::Is {
                fact: "make".to_owned(),
                one_of: vec![format!("Foreign {}", at / 2 / given.len())],
            };
            rule.on = Predicate::All(vec![make, rule.on]);
        }
        catalogue.rules.push(rule);
    }
    catalogue
}

/// The catalogue as block YAML, as people write it.
pub(crate) fn yaml(catalogue: &Catalogue) -> String {
    let value = serde_json::to_value(catalogue).expect("writes");
    let mut text = String::new();
    block(&value, 0, &mut text);
    text
}

fn block(value: &serde_json::Value, depth: usize, text: &mut String) {
    use serde_json::Value;
    let indent = "  ".repeat(depth);
    match value {
        Value::Object(entries) if !entries.is_empty() => {
            for (key, value) in entries {
                match value {
                    Value::Object(inner) if !inner.is_empty() => {
                        writeln!(text, "{indent}{key}:").expect("a string takes it");
                        block(value, depth + 1, text);
                    }
                    Value::Array(items) if items.iter().any(Value::is_object) => {
                        writeln!(text, "{indent}{key}:").expect("a string takes it");
                        for item in items {
                            let begin = text.len();
                            block(item, depth + 2, text);
                            // The first line of an item carries its dash.
                            let dash = begin + indent.len() + 2;
                            text.replace_range(dash..=dash, "-");
                        }
                    }
                    flow => writeln!(text, "{indent}{key}: {flow}").expect("a string takes it"),
                }
            }
        }
        flow => writeln!(text, "{indent}{flow}").expect("a string takes it"),
    }
}

/// The most memory that this process has held, in MB, where the system tells.
pub(crate) fn most_memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let kilobytes = line.and_then(|line| line.trim().trim_end_matches(" kB").parse::<u64>().ok());
    kilobytes.map_or_else(|| "?".to_owned(), |kilobytes| (kilobytes >> 10).to_string())
}
