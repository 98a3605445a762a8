//! How many facts reach a procedure in more than one way: those are tried case by case when they are unknown.

use std::collections::BTreeMap;

use crate::check::{At, Found};
use crate::facts::{AtomId, FactId, Formula, Truth};
use crate::index::{Compiled, Interned, ProcedureId};

/// More facts than this are never tried for one procedure.
const MOST_FACTS: usize = 8;

/// How a fact reaches a procedure.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Way {
    One(AtomId, bool),
    Several,
}

type Ways = BTreeMap<FactId, Way>;

pub(super) fn check(compiled: &Compiled, found: &mut Found) {
    let catalogue = compiled.catalogue();
    if catalogue.procedures.is_empty() {
        return;
    }
    let mut ways: Vec<Ways> = vec![Ways::new(); catalogue.procedures.len()];
    for (entry, ways) in compiled.procedures.iter().zip(&mut ways) {
        add(compiled, ways, &entry.exists_on);
    }
    let mut fired: Vec<Ways> = vec![Ways::new(); compiled.rules.len()];
    for implication in &compiled.implications {
        if implication.on.is_always() {
            continue;
        }
        for rule in rules_of(compiled, &implication.emits) {
            add(compiled, &mut fired[rule], &implication.on);
        }
    }
    for (rule, by) in compiled.rules.iter().zip(&fired) {
        for &procedure in &rule.require {
            add(compiled, &mut ways[procedure], &rule.on);
            join(&mut ways[procedure], by);
        }
    }
    let links = links(compiled);
    let mut again = true;
    while again {
        again = false;
        for &(from, to) in &links {
            let by = ways[from].clone();
            again |= join(&mut ways[to], &by);
        }
    }
    let whole = At::Root.key("procedures");
    for (id, ways) in ways.iter().enumerate() {
        let several: Vec<&str> = ways
            .iter()
            .filter(|(_, way)| **way == Way::Several)
            .map(|(fact, _)| compiled.facts.name(*fact))
            .collect();
        if several.len() > MOST_FACTS {
            let detail = format!(
                "{} facts decide `{}` in more than one way, at most {MOST_FACTS} are tried: {}",
                several.len(),
                catalogue.procedures[id].id,
                several.join(", ")
            );
            found.fault(&whole.item(id), "too_many_cases", detail);
        }
    }
}

/// From a procedure to those that it can make necessary.
fn links(compiled: &Compiled) -> Vec<(ProcedureId, ProcedureId)> {
    let mut links = Vec::new();
    for (id, entry) in compiled.procedures.iter().enumerate() {
        links.extend(entry.needs.iter().chain(&entry.left_by).map(|needed| (id, *needed)));
        for rule in rules_of(compiled, &entry.emits) {
            links.extend(compiled.rules[rule].require.iter().map(|required| (id, *required)));
        }
    }
    links.sort_unstable();
    links.dedup();
    links
}

fn rules_of(compiled: &Compiled, operations: &[Interned]) -> Vec<usize> {
    let mut rules: Vec<usize> = operations
        .iter()
        .flat_map(|operation| compiled.amounts_to(*operation))
        .flat_map(|one| compiled.rules_by_operation.all(&compiled.symbols, one).collect::<Vec<_>>())
        .collect();
    rules.sort_unstable();
    rules.dedup();
    rules
}

fn add(compiled: &Compiled, ways: &mut Ways, formula: &Formula) {
    formula.literals(&|_| Truth::Unknown, true, &mut |atom, positive| {
        let fact = compiled.facts.atoms[atom].fact;
        merge(ways, fact, Way::One(atom, positive));
    });
}

fn join(ways: &mut Ways, by: &Ways) -> bool {
    by.iter().fold(false, |grew, (fact, way)| merge(ways, *fact, *way) || grew)
}

fn merge(ways: &mut Ways, fact: FactId, way: Way) -> bool {
    let merged = match ways.get(&fact) {
        None => way,
        Some(here) if *here == way => way,
        Some(_) => Way::Several,
    };
    ways.insert(fact, merged) != Some(merged)
}
