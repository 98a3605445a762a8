//! Every name is known, and each stands once.

use std::collections::HashSet;

use domain::catalogue::{Catalogue, Rule, Word};
use domain::operation::{Operation, OperationPattern};
use domain::precondition::{Condition, Precondition};
use domain::predicate::Predicate;
use domain::procedure::{PlaceOfWork, Procedure};
use domain::signal::Signal;

use crate::check::{At, Found, each};
use crate::facts::{BUILT_IN, POWERTRAINS};

pub(super) fn check(catalogue: &Catalogue, found: &mut Found) {
    let known = Known::new(catalogue);
    duplicates(catalogue, found);
    said(catalogue, found);
    for (index, component) in catalogue.vocabulary.components.iter().enumerate() {
        if let Some(parent) = &component.parent {
            let at = At::Root.key("vocabulary");
            known.component(&at.key("components").item(index).key("parent"), parent, found);
        }
    }
    each(&catalogue.implications, "implications", |at, implication| {
        known.patterns(&at.key("when"), &implication.when, found);
        known.predicate(&at.key("on"), &implication.on, found);
        known.operations(&at.key("emits"), &implication.emits, found);
    });
    each(&catalogue.procedures, "procedures", |at, entry| known.entry(at, entry, found));
    each(&catalogue.rules, "rules", |at, rule| known.rule(at, rule, found));
}

/// What people read is there.
fn said(catalogue: &Catalogue, found: &mut Found) {
    let mut need = |at: At<'_>, text: &str| {
        if text.trim().is_empty() {
            found.fault(&at, "empty_name", "nothing is said here".to_owned());
        }
    };
    need(At::Root.key("version"), &catalogue.version);
    for (index, entry) in catalogue.procedures.iter().enumerate() {
        let whole = At::Root.key("procedures");
        need(whole.item(index).key("title"), &entry.title);
    }
    for (index, rule) in catalogue.rules.iter().enumerate() {
        let whole = At::Root.key("rules");
        need(whole.item(index).key("because"), &rule.because);
    }
}

fn duplicates(catalogue: &Catalogue, found: &mut Found) {
    let vocabulary = &catalogue.vocabulary;
    let lists: [(&'static str, &[Word]); 8] = [
        ("actions", &vocabulary.actions),
        ("systems", &vocabulary.systems),
        ("bay_capabilities", &vocabulary.bay_capabilities),
        ("skills", &vocabulary.skills),
        ("equipment", &vocabulary.equipment),
        ("statements", &vocabulary.statements),
        ("complaints", &vocabulary.complaints),
        ("places", &vocabulary.places),
    ];
    let root = At::Root.key("vocabulary");
    for (key, words) in lists {
        once(&root.key(key), words.iter().map(|word| word.id.as_str()), found);
    }
    once(&root.key("components"), vocabulary.components.iter().map(|c| c.id.as_str()), found);
    once(&root.key("features"), vocabulary.features.iter().map(|f| f.id.as_str()), found);
    let root = At::Root;
    once(&root.key("sources"), catalogue.sources.iter().map(|s| s.id.as_str()), found);
    once(&root.key("procedures"), catalogue.procedures.iter().map(|p| p.id.as_str()), found);
    once(&root.key("rules"), catalogue.rules.iter().map(|r| r.id.as_str()), found);
    for (index, feature) in vocabulary.features.iter().enumerate() {
        if BUILT_IN.contains(&feature.id.as_str()) {
            let detail = format!("`{}` is a fact of every vehicle, not a feature", feature.id);
            let at = At::Root.key("vocabulary");
            found.fault(&at.key("features").item(index), "duplicate", detail);
        }
    }
}

fn once<'a>(at: &At<'_>, ids: impl Iterator<Item = &'a str>, found: &mut Found) {
    let mut seen = HashSet::new();
    for (index, id) in ids.enumerate() {
        if !seen.insert(id) {
            found.fault(&at.item(index).key("id"), "duplicate", format!("`{id}` stands twice"));
        }
        if id.is_empty() {
            found.fault(&at.item(index).key("id"), "empty_name", "a name is empty".to_owned());
        }
    }
}

struct Known<'c> {
    catalogue: &'c Catalogue,
    actions: HashSet<&'c str>,
    components: HashSet<&'c str>,
    systems: HashSet<&'c str>,
    bay_capabilities: HashSet<&'c str>,
    skills: HashSet<&'c str>,
    equipment: HashSet<&'c str>,
    statements: HashSet<&'c str>,
    complaints: HashSet<&'c str>,
    places: HashSet<&'c str>,
    sources: HashSet<&'c str>,
    procedures: HashSet<&'c str>,
}

fn ids(words: &[Word]) -> HashSet<&str> {
    words.iter().map(|word| word.id.as_str()).collect()
}

impl<'c> Known<'c> {
    fn new(catalogue: &'c Catalogue) -> Self {
        let vocabulary = &catalogue.vocabulary;
        Self {
            catalogue,
            actions: ids(&vocabulary.actions),
            components: vocabulary.components.iter().map(|c| c.id.as_str()).collect(),
            systems: ids(&vocabulary.systems),
            bay_capabilities: ids(&vocabulary.bay_capabilities),
            skills: ids(&vocabulary.skills),
            equipment: ids(&vocabulary.equipment),
            statements: ids(&vocabulary.statements),
            complaints: ids(&vocabulary.complaints),
            places: ids(&vocabulary.places),
            sources: catalogue.sources.iter().map(|s| s.id.as_str()).collect(),
            procedures: catalogue.procedures.iter().map(|p| p.id.as_str()).collect(),
        }
    }

    fn entry(&self, at: &At<'_>, entry: &Procedure, found: &mut Found) {
        known(&self.systems, "system", &at.key("system"), &entry.system, found);
        self.predicate(&at.key("exists_on"), &entry.exists_on, found);
        self.procedures(&at.key("needs"), &entry.needs, found);
        self.procedures(&at.key("after"), &entry.after, found);
        self.operations(&at.key("emits"), &entry.emits, found);
        self.patterns(&at.key("disturbed_by"), &entry.disturbed_by, found);
        for (index, survives) in entry.survives.iter().enumerate() {
            let at = at.key("survives");
            let at = at.item(index);
            self.pattern(&at.key("operation"), &survives.operation, found);
            self.source(&at.key("source"), &survives.source, found);
        }
        if let Some(opens) = &entry.opens {
            let at = at.key("opens");
            self.procedure(&at.key("left_by"), &opens.left_by, found);
            let said = &opens.work_ends_with;
            words(&at.key("work_ends_with"), &self.statements, "statement", said, found);
            if let Some(recovery) = &opens.recovered_by {
                self.procedure(&at.key("recovered_by"), recovery, found);
            }
        }
        once(&at.key("cautions"), entry.cautions.iter().map(|c| c.id.as_str()), found);
        let cautions: HashSet<&str> = entry.cautions.iter().map(|c| c.id.as_str()).collect();
        for (index, step) in entry.steps.iter().enumerate() {
            let at = at.key("steps");
            let at = at.item(index);
            for (index, caution) in step.cautions.iter().enumerate() {
                let at = at.key("cautions");
                known(&cautions, "caution of this procedure", &at.item(index), caution, found);
            }
        }
        self.preconditions(&at.key("preconditions"), &entry.preconditions, found);
        self.preconditions(&at.key("proof"), &entry.proof, found);
        if let Some(check) = &entry.quick_check {
            let at = at.key("quick_check");
            self.preconditions(&at.key("proof"), &check.proof, found);
        }
        if let PlaceOfWork::Bay(capabilities) = &entry.place_of_work {
            let at = at.key("where");
            words(&at.key("bay"), &self.bay_capabilities, "capability", capabilities, found);
        }
        for kind in entry.equipment.keys() {
            known(&self.equipment, "kind of equipment", &at.key("equipment"), kind, found);
        }
        words(&at.key("skills"), &self.skills, "skill", &entry.skills, found);
        self.source(&at.key("source"), &entry.source, found);
    }

    fn rule(&self, at: &At<'_>, rule: &Rule, found: &mut Found) {
        let when = at.key("when");
        self.patterns(&when.key("operations"), &rule.when.operations, found);
        words(&when.key("complaints"), &self.complaints, "complaint", &rule.when.complaints, found);
        let codes = when.key("trouble_codes");
        for (index, pattern) in rule.when.trouble_codes.iter().enumerate() {
            code_pattern(&codes.item(index), pattern, found);
        }
        self.predicate(&at.key("on"), &rule.on, found);
        self.procedures(&at.key("require"), &rule.require, found);
        self.source(&at.key("source"), &rule.source, found);
    }

    fn procedures(&self, at: &At<'_>, names: &[String], found: &mut Found) {
        words(at, &self.procedures, "procedure", names, found);
    }

    fn procedure(&self, at: &At<'_>, name: &str, found: &mut Found) {
        known(&self.procedures, "procedure", at, name, found);
    }

    fn component(&self, at: &At<'_>, name: &str, found: &mut Found) {
        known(&self.components, "component", at, name, found);
    }

    fn source(&self, at: &At<'_>, source: &str, found: &mut Found) {
        if source.trim().is_empty() {
            found.fault(at, "missing_source", "no source is named".to_owned());
        } else if !self.sources.contains(source) {
            found.fault(at, "unknown_source", format!("`{source}` is none of the sources"));
        }
    }

    fn patterns(&self, at: &At<'_>, patterns: &[OperationPattern], found: &mut Found) {
        for (index, pattern) in patterns.iter().enumerate() {
            self.pattern(&at.item(index), pattern, found);
        }
    }

    fn pattern(&self, at: &At<'_>, pattern: &OperationPattern, found: &mut Found) {
        self.component(&at.key("component"), &pattern.component, found);
        words(&at.key("actions"), &self.actions, "action", &pattern.actions, found);
    }

    fn operations(&self, at: &At<'_>, operations: &[Operation], found: &mut Found) {
        for (index, operation) in operations.iter().enumerate() {
            let at = at.item(index);
            known(&self.actions, "action", &at.key("action"), &operation.action, found);
            self.component(&at.key("component"), &operation.component, found);
            if let Some(place) = &operation.place {
                known(&self.places, "place", &at.key("place"), place, found);
            }
        }
    }

    fn predicate(&self, at: &At<'_>, predicate: &Predicate, found: &mut Found) {
        let features = &self.catalogue.vocabulary.features;
        let feature = |name: &str| features.iter().find(|feature| feature.id == name);
        match predicate {
            Predicate::Has(name) | Predicate::Lacks(name) => match feature(name) {
                None => {
                    found.fault(at, "unknown_name", format!("`{name}` is no feature"));
                }
                Some(feature) if !feature.one_of.is_empty() => {
                    let detail =
                        format!("`{name}` takes one of several words: ask with `is` which one");
                    found.fault(at, "wrong_fact", detail);
                }
                Some(_) => {}
            },
            Predicate::Is { fact, one_of } => {
                let words: Vec<&str> = match (fact.as_str(), feature(fact)) {
                    ("make" | "model", _) => return,
                    ("powertrain", _) => POWERTRAINS.to_vec(),
                    (_, Some(feature)) => feature.one_of.iter().map(String::as_str).collect(),
                    (_, None) => {
                        found.fault(at, "unknown_name", format!("`{fact}` is no fact"));
                        return;
                    }
                };
                for word in one_of.iter().filter(|word| !words.contains(&word.as_str())) {
                    let detail = format!("`{fact}` is never `{word}`");
                    found.fault(at, "unknown_name", detail);
                }
            }
            Predicate::ModelYear { .. } => {}
            Predicate::All(parts) | Predicate::Any(parts) => {
                let key = if matches!(predicate, Predicate::All(_)) { "all" } else { "any" };
                for (index, part) in parts.iter().enumerate() {
                    self.predicate(&at.key(key).item(index), part, found);
                }
            }
            Predicate::Not(part) => self.predicate(&at.key("not"), part, found),
        }
    }

    fn preconditions(&self, at: &At<'_>, list: &[Precondition], found: &mut Found) {
        once(at, list.iter().map(|one| one.id.as_str()), found);
        for (index, one) in list.iter().enumerate() {
            let at = at.item(index);
            self.condition(&at.key("condition"), &one.condition, found);
            if let Some(wider) = &one.while_running {
                self.condition(&at.key("while_running"), wider, found);
            }
            self.source(&at.key("source"), &one.source, found);
        }
    }

    fn condition(&self, at: &At<'_>, condition: &Condition, found: &mut Found) {
        match condition {
            Condition::Range(range) => signal(&at.key("range").key("signal"), &range.signal, found),
            Condition::State { signal: name, .. } => {
                signal(&at.key("state").key("signal"), name, found);
            }
            Condition::Attested { statement, .. } => {
                let at = at.key("attested");
                known(&self.statements, "statement", &at.key("statement"), statement, found);
            }
            Condition::NoCode { pattern, except } => {
                let at = at.key("no_code");
                code_pattern(&at.key("pattern"), pattern, found);
                for (index, one) in except.iter().enumerate() {
                    code_pattern(&at.key("except").item(index), one, found);
                }
            }
            Condition::All(parts) | Condition::Any(parts) => {
                let key = if matches!(condition, Condition::All(_)) { "all" } else { "any" };
                for (index, part) in parts.iter().enumerate() {
                    self.condition(&at.key(key).item(index), part, found);
                }
            }
            Condition::Elapsed { .. }
            | Condition::Routine { .. }
            | Condition::CodesRecorded { .. }
            | Condition::Attachment { .. } => {}
        }
    }
}

fn words(at: &At<'_>, list: &HashSet<&str>, what: &str, words: &[String], found: &mut Found) {
    for (index, word) in words.iter().enumerate() {
        known(list, what, &at.item(index), word, found);
    }
}

fn known(list: &HashSet<&str>, what: &str, at: &At<'_>, name: &str, found: &mut Found) {
    if !list.contains(name) {
        found.fault(at, "unknown_name", format!("`{name}` is no {what}"));
    }
}

fn signal(at: &At<'_>, name: &str, found: &mut Found) {
    if Signal::of_name(name).is_none() {
        found.fault(at, "unknown_name", format!("`{name}` is no signal"));
    }
}

/// SAE J2012: a letter of P, C, B, U; a digit 0 to 3; three hexadecimal digits. `x` is any digit, all `x` any code.
fn code_pattern(at: &At<'_>, pattern: &str, found: &mut Found) {
    let bytes = pattern.as_bytes();
    let is_form = bytes.len() == 5
        && b"PCBUx".contains(&bytes[0])
        && b"0123x".contains(&bytes[1])
        && bytes[2..].iter().all(|b| b"0123456789ABCDEFx".contains(b));
    if !is_form {
        let detail = format!("`{pattern}` is no trouble code or pattern such as `P05xx`");
        found.fault(at, "trouble_code", detail);
    }
}
