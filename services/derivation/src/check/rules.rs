//! Rules that can fire, and whose triggers undo what they require; rules and procedures that nothing would miss.

use std::collections::{HashMap, HashSet};

use domain::catalogue::{Catalogue, Rule};
use domain::operation::OperationPattern;
use domain::procedure::Phase;

use crate::check::satisfiable::{implies, satisfiable};
use crate::check::{At, Found, each};
use crate::index::{Compiled, Interned, ProcedureId, RuleId};
use crate::symbols::Symbol;

pub(super) fn check(compiled: &Compiled, found: &mut Found) {
    let catalogue = compiled.catalogue();
    let mut rules = Rules { compiled, disturbed: HashMap::new() };
    let whole = At::Root.key("rules");
    for (id, rule) in catalogue.rules.iter().enumerate() {
        rules.rule(&whole.item(id), id, rule, found);
        if let Some(by) = rules.covered_by(id) {
            let (rule, by) = (&catalogue.rules[id].id, &catalogue.rules[by].id);
            let detail = format!("whenever `{rule}` fires, `{by}` requires the same");
            found.note(&whole.item(id), "covered_rule", detail);
        }
    }
    leaving(compiled, found);
    unrequired(catalogue, found);
    without_consequence(compiled, found);
}

struct Rules<'c> {
    compiled: &'c Compiled,
    /// What an operation disturbs, with all that it amounts to.
    disturbed: HashMap<(Symbol, Symbol), HashSet<ProcedureId>>,
}

impl Rules<'_> {
    fn rule(&mut self, at: &At<'_>, id: RuleId, rule: &Rule, found: &mut Found) {
        let when = &rule.when;
        let silent = when.operations.is_empty()
            && when.trouble_codes.is_empty()
            && when.complaints.is_empty()
            && !when.every_order;
        if silent {
            let detail = format!("nothing makes `{}` fire", rule.id);
            found.fault(&at.key("when"), "unreachable", detail);
        }
        if rule.require.is_empty() {
            let detail = format!("`{}` requires nothing", rule.id);
            found.fault(&at.key("require"), "unreachable", detail);
        }
        let compiled = self.compiled;
        let facts = &compiled.facts;
        let on = &compiled.rules[id].on;
        if !satisfiable(facts, &[on]) {
            let detail = format!("no vehicle satisfies the predicate of `{}`", rule.id);
            found.fault(&at.key("on"), "unreachable", detail);
            return;
        }
        for (index, name) in rule.require.iter().enumerate() {
            let Some(procedure) = compiled.procedure_id(name) else { continue };
            let exists = &compiled.procedures[procedure].exists_on;
            if !satisfiable(facts, &[on, exists]) {
                let detail =
                    format!("`{name}` exists on none of the vehicles that `{}` is for", rule.id);
                found.fault(&at.key("require").item(index), "unreachable", detail);
            }
            self.triggers(at, rule, procedure, found);
        }
    }

    /// An operation that requires a procedure undoes it when it comes later, or the entry says why not.
    fn triggers(&mut self, at: &At<'_>, rule: &Rule, procedure: ProcedureId, found: &mut Found) {
        let entry = &self.compiled.catalogue().procedures[procedure];
        if entry.phase == Phase::Before {
            return;
        }
        for (index, pattern) in rule.when.operations.iter().enumerate() {
            let symbols = &self.compiled.symbols;
            let open: Vec<&str> = self
                .operations(pattern)
                .into_iter()
                .filter(|operation| {
                    !self.disturbs(*operation, procedure)
                        && !self.compiled.survives(procedure, *operation)
                })
                .map(|operation| symbols.name(operation.action))
                .collect();
            if !open.is_empty() {
                let detail = format!(
                    "`{}` requires `{}` on `{}` ({}), but `{}` neither lists that under `disturbed_by` nor under `survives`",
                    rule.id,
                    entry.id,
                    pattern.component,
                    open.join(", "),
                    entry.id
                );
                let at = at.key("when");
                let at = at.key("operations");
                found.fault(&at.item(index), "trigger_without_effect", detail);
            }
        }
    }

    fn operations(&self, pattern: &OperationPattern) -> Vec<Interned> {
        let compiled = self.compiled;
        let Some(component) = compiled.symbols.get(&pattern.component) else { return Vec::new() };
        let all = compiled.catalogue().vocabulary.actions.iter().map(|word| &word.id);
        let named: Vec<&String> = if pattern.actions.is_empty() {
            all.collect()
        } else {
            pattern.actions.iter().collect()
        };
        named
            .into_iter()
            .filter_map(|action| compiled.symbols.get(action))
            .map(|action| Interned { action, component, place: None })
            .collect()
    }

    fn matches(&self, pattern: &OperationPattern, operation: Interned) -> bool {
        let symbols = &self.compiled.symbols;
        let action = symbols.name(operation.action);
        (pattern.actions.is_empty() || pattern.actions.iter().any(|one| one == action))
            && symbols.get(&pattern.component).is_some_and(|component| {
                symbols.and_parents(operation.component).any(|one| one == component)
            })
    }

    fn disturbs(&mut self, operation: Interned, procedure: ProcedureId) -> bool {
        let compiled = self.compiled;
        self.disturbed
            .entry((operation.component, operation.action))
            .or_insert_with(|| {
                let all = compiled.amounts_to(operation);
                all.into_iter()
                    .flat_map(|one| compiled.disturbed_by_operation.of(&compiled.symbols, one))
                    .collect()
            })
            .contains(&procedure)
    }

    /// Another rule that fires whenever this one does and requires all that it requires.
    fn covered_by(&self, id: RuleId) -> Option<RuleId> {
        let compiled = self.compiled;
        let catalogue = compiled.catalogue();
        let (rule, entry) = (&catalogue.rules[id], &compiled.rules[id]);
        if entry.require.is_empty() {
            return None;
        }
        let fires_too =
            |other: RuleId| {
                let when = &catalogue.rules[other].when;
                when.every_order
                    || (!rule.when.every_order
                        && rule.when.complaints.iter().all(|one| when.complaints.contains(one))
                        && rule.when.trouble_codes.iter().all(|one| {
                            when.trouble_codes.iter().any(|pattern| covers(pattern, one))
                        })
                        && rule.when.operations.iter().all(|pattern| {
                            self.operations(pattern).into_iter().all(|operation| {
                                when.operations.iter().any(|one| self.matches(one, operation))
                            })
                        }))
            };
        self.neighbours(id, rule)
            .into_iter()
            .filter(|other| *other != id)
            .filter(|other| {
                let requires = &compiled.rules[*other].require;
                entry.require.iter().all(|one| requires.contains(one))
            })
            .filter(|other| {
                // Of two rules that cover each other only the later is told.
                let on = &compiled.rules[*other].on;
                let equal = *on == entry.on && catalogue.rules[*other].when == rule.when;
                (!equal || *other < id) && implies(&compiled.facts, &entry.on, on)
            })
            .find(|other| fires_too(*other))
    }

    /// Rules that might cover this one: those that its first trigger fires as well.
    fn neighbours(&self, id: RuleId, rule: &Rule) -> Vec<RuleId> {
        const ENOUGH: usize = 128;
        let compiled = self.compiled;
        let mut near: Vec<RuleId> = compiled.rules_of_every_order.clone();
        if let Some(operation) =
            rule.when.operations.first().and_then(|one| self.operations(one).into_iter().next())
        {
            let on = &compiled.rules[id].on;
            let (symbols, facts) = (&compiled.symbols, &compiled.facts);
            let index = &compiled.rules_by_operation;
            near.extend(index.wherever(symbols, facts, operation, on).take(ENOUGH));
        } else if let Some(code) = rule.when.trouble_codes.first() {
            near.extend(compiled.rules_by_code.of(code).take(ENOUGH));
        } else if let Some(complaint) = rule.when.complaints.first() {
            near.extend(compiled.rules_of_complaint(complaint).iter().take(ENOUGH));
        }
        near
    }
}

/// Whether every code of the second pattern matches the first.
fn covers(pattern: &str, other: &str) -> bool {
    pattern.len() == other.len()
        && pattern.bytes().zip(other.bytes()).all(|(one, other)| one == b'x' || one == other)
}

/// Where a mode can be entered it can be left.
fn leaving(compiled: &Compiled, found: &mut Found) {
    each(&compiled.catalogue().procedures, "procedures", |at, entry| {
        let Some(opens) = &entry.opens else { return };
        let ids = (compiled.procedure_id(&entry.id), compiled.procedure_id(&opens.left_by));
        let (Some(enter), Some(leave)) = ids else { return };
        let exists = |id: ProcedureId| &compiled.procedures[id].exists_on;
        if !implies(&compiled.facts, exists(enter), exists(leave)) {
            let detail = format!(
                "`{}` can be entered on vehicles on which `{}` does not exist",
                opens.mode, opens.left_by
            );
            found.fault(&at.key("opens").key("left_by"), "bracket_without_leaving", detail);
        }
    });
}

fn unrequired(catalogue: &Catalogue, found: &mut Found) {
    let mut named: HashSet<&str> = HashSet::new();
    for rule in &catalogue.rules {
        named.extend(rule.require.iter().map(String::as_str));
    }
    for entry in &catalogue.procedures {
        named.extend(entry.needs.iter().map(String::as_str));
        if let Some(opens) = &entry.opens {
            named.insert(&opens.left_by);
            named.extend(opens.recovered_by.as_deref());
        }
    }
    each(&catalogue.procedures, "procedures", |at, entry| {
        if !named.contains(entry.id.as_str()) {
            let detail = format!("no rule requires `{}` and no procedure needs it", entry.id);
            found.note(at, "unrequired_procedure", detail);
        }
    });
}

fn without_consequence(compiled: &Compiled, found: &mut Found) {
    let vocabulary = &compiled.catalogue().vocabulary;
    let whole = At::Root.key("vocabulary");
    let whole = whole.key("components");
    for (index, component) in vocabulary.components.iter().enumerate() {
        let Some(symbol) = compiled.symbols.get(&component.id) else { continue };
        let fires =
            vocabulary.actions.iter().filter_map(|word| compiled.symbols.get(&word.id)).any(
                |action| {
                    let operation = Interned { action, component: symbol, place: None };
                    compiled.amounts_to(operation).into_iter().any(|one| {
                        compiled.rules_by_operation.all(&compiled.symbols, one).next().is_some()
                    })
                },
            );
        let at = whole.item(index);
        if !fires && component.needs_nothing_because.is_none() {
            let detail =
                format!("nothing follows from work on `{}`, and it does not say why", component.id);
            found.note(&at, "component_without_consequence", detail);
        }
        if fires && component.needs_nothing_because.is_some() {
            let detail =
                format!("`{}` is said to need nothing, but rules react to it", component.id);
            found.note(&at.key("needs_nothing_because"), "component_with_consequence", detail);
        }
    }
}
