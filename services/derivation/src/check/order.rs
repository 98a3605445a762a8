//! Order inside the catalogue: no circles, no preparation that waits for the work, modes that are left again, proofs
//! that don't look ahead.

use std::collections::{BTreeSet, HashMap};

use domain::catalogue::Catalogue;
use domain::precondition::Condition;
use domain::procedure::{Phase, Procedure};

use crate::check::{At, Found, each};
use crate::derive::sequence::sequence;

pub(super) fn check(catalogue: &Catalogue, found: &mut Found) {
    let ids: HashMap<&str, usize> =
        catalogue.procedures.iter().enumerate().map(|(at, p)| (p.id.as_str(), at)).collect();
    circles(catalogue, &ids, found);
    parents(catalogue, found);
    let later = later(catalogue, &ids);
    each(&catalogue.procedures, "procedures", |at, entry| {
        for (index, needed) in entry.needs.iter().enumerate() {
            let phase = ids.get(needed.as_str()).map(|id| catalogue.procedures[*id].phase);
            if entry.phase == Phase::Before && phase == Some(Phase::After) {
                let detail = format!(
                    "`{}` is done before the work and can't need `{needed}`, which is done after it",
                    entry.id
                );
                found.fault(&at.key("needs").item(index), "before_needs_after", detail);
            }
        }
        modes(catalogue, &ids, at, entry, found);
        let own = ids.get(entry.id.as_str()).and_then(|id| later.get(id));
        for (index, proof) in entry.proof.iter().enumerate() {
            for &id in own.into_iter().flatten() {
                let coming = &catalogue.procedures[id];
                let title = coming.title.trim().to_lowercase();
                if names(&proof.condition, &coming.id)
                    || !title.is_empty() && proof.text.to_lowercase().contains(&title)
                {
                    let detail = format!(
                        "what proves `{}` can't be `{}`, which comes later",
                        entry.id, coming.id
                    );
                    found.fault(&at.key("proof").item(index), "proof_names_later", detail);
                }
            }
        }
    });
}

/// What comes before what whenever both are required: `needs`, `after`, and the leaving of a mode.
fn edges(catalogue: &Catalogue, ids: &HashMap<&str, usize>) -> Vec<(usize, usize)> {
    let mut edges = Vec::new();
    for (at, entry) in catalogue.procedures.iter().enumerate() {
        let earlier = entry.needs.iter().chain(&entry.after);
        edges.extend(earlier.filter_map(|name| ids.get(name.as_str())).map(|id| (*id, at)));
        let left_by = entry.opens.as_ref().and_then(|opens| ids.get(opens.left_by.as_str()));
        edges.extend(left_by.map(|leave| (at, *leave)));
    }
    edges.sort_unstable();
    edges.dedup();
    edges
}

/// What a point comes before by these edges, which are sorted.
fn then(edges: &[(usize, usize)], point: usize) -> impl Iterator<Item = usize> + '_ {
    let begin = edges.partition_point(|(before, _)| *before < point);
    edges[begin..].iter().take_while(move |(before, _)| *before == point).map(|(_, then)| *then)
}

fn circles(catalogue: &Catalogue, ids: &HashMap<&str, usize>, found: &mut Found) {
    let edges = edges(catalogue, ids);
    let whole = At::Root.key("procedures");
    for circle in
        sequence(&vec![0; catalogue.procedures.len()], |point| then(&edges, point)).circles
    {
        let mut path: Vec<&str> =
            circle.iter().map(|id| catalogue.procedures[*id].id.as_str()).collect();
        path.extend(path.first().copied());
        let first = circle.first().copied().unwrap_or_default();
        let detail = format!("each must come before the next: {}", path.join(" -> "));
        found.fault(&whole.item(first), "cycle", detail);
    }
}

fn parents(catalogue: &Catalogue, found: &mut Found) {
    let components = &catalogue.vocabulary.components;
    let ids: HashMap<&str, usize> =
        components.iter().enumerate().map(|(at, c)| (c.id.as_str(), at)).collect();
    let mut edges: Vec<_> = components
        .iter()
        .enumerate()
        .filter_map(|(at, component)| {
            let parent = component.parent.as_ref()?;
            Some((*ids.get(parent.as_str())?, at))
        })
        .collect();
    let root = At::Root.key("vocabulary");
    edges.sort_unstable();
    for circle in sequence(&vec![0; components.len()], |point| then(&edges, point)).circles {
        let mut path: Vec<&str> = circle.iter().map(|id| components[*id].id.as_str()).collect();
        path.extend(path.first().copied());
        let first = circle.first().copied().unwrap_or_default();
        let detail = format!("each is the parent of the next: {}", path.join(" -> "));
        found.fault(&root.key("components").item(first), "cycle", detail);
    }
}

/// For each procedure, what comes after it, however many steps.
fn later(catalogue: &Catalogue, ids: &HashMap<&str, usize>) -> HashMap<usize, BTreeSet<usize>> {
    let mut then: HashMap<usize, Vec<usize>> = HashMap::new();
    for (before, after) in edges(catalogue, ids) {
        then.entry(before).or_default().push(after);
    }
    let mut later = HashMap::new();
    for &start in then.keys() {
        let mut reached = BTreeSet::new();
        let mut stack = vec![start];
        while let Some(here) = stack.pop() {
            for &next in then.get(&here).into_iter().flatten() {
                if reached.insert(next) {
                    stack.push(next);
                }
            }
        }
        reached.remove(&start);
        later.insert(start, reached);
    }
    later
}

fn modes(
    catalogue: &Catalogue,
    ids: &HashMap<&str, usize>,
    at: &At<'_>,
    entry: &Procedure,
    found: &mut Found,
) {
    if let Some(opens) = &entry.opens {
        let leave = ids.get(opens.left_by.as_str()).map(|id| &catalogue.procedures[*id]);
        if leave.is_some_and(|leave| entry.phase == Phase::After && leave.phase == Phase::Before) {
            let detail = format!(
                "`{}` enters `{}` after the work, but `{}` leaves it before the work",
                entry.id, opens.mode, opens.left_by
            );
            found.fault(&at.key("opens").key("left_by"), "before_needs_after", detail);
        }
        if leave.is_some_and(|leave| leave.closes.as_ref() != Some(&opens.mode)) {
            let detail = format!(
                "`{}` enters `{}`, but `{}` does not leave it",
                entry.id, opens.mode, opens.left_by
            );
            found.fault(&at.key("opens").key("left_by"), "bracket_without_leaving", detail);
        }
    }
    if let Some(mode) = &entry.closes {
        let opened = catalogue
            .procedures
            .iter()
            .any(|other| other.opens.as_ref().is_some_and(|opens| opens.mode == *mode));
        if !opened {
            let detail = format!("nothing enters the mode `{mode}`");
            found.fault(&at.key("closes"), "unknown_name", detail);
        }
    }
}

/// Whether a condition speaks of a procedure by name.
fn names(condition: &Condition, procedure: &str) -> bool {
    let means = |name: &str| {
        name == procedure
            || name.strip_prefix(procedure).is_some_and(|rest| {
                matches!(rest, "_passed" | "_done" | "_ok" | "_completed" | "_finished")
            })
    };
    match condition {
        Condition::Attested { statement, .. } => means(statement),
        Condition::Elapsed { since, .. } => means(since),
        Condition::Attachment { shows } => means(shows),
        Condition::All(parts) | Condition::Any(parts) => {
            parts.iter().any(|part| names(part, procedure))
        }
        _ => false,
    }
}
