//! A catalogue compiled once: interned words, and rules by what they react to.
//!
//! Deriving an order touches only what its operations, trouble codes and complaints can reach.

use domain::catalogue::Catalogue;
use domain::operation::{Operation, OperationPattern};
use domain::procedure::Procedure;
use rustc_hash::FxHashMap;

use crate::by_operation::ByOperation;
use crate::codes_index::CodeIndex;
use crate::disturbed::Disturbed;
use crate::facts::{Facts, Formula};
use crate::procedure_set::ProcedureSet;
use crate::rule_index::RuleIndex;
use crate::symbols::{Symbol, Symbols};

pub(crate) type ProcedureId = usize;
pub(crate) type RuleId = usize;
pub(crate) type ImplicationId = usize;

/// A catalogue that is ready for deriving.
#[derive(Debug)]
pub struct Compiled {
    catalogue: Catalogue,
    pub(crate) symbols: Symbols,
    pub(crate) facts: Facts,
    procedure_ids: FxHashMap<Box<str>, ProcedureId>,
    pub(crate) procedures: Vec<CompiledProcedure>,
    pub(crate) rules: Vec<CompiledRule>,
    pub(crate) implications: Vec<CompiledImplication>,
    pub(crate) rules_by_operation: RuleIndex,
    pub(crate) implications_by_operation: ByOperation<ImplicationId>,
    /// What disturbs a procedure, as its entry writes it.
    pub(crate) disturbed_by_operation: ByOperation<ProcedureId>,
    /// What is undone by an operation that starts after it passed: without what survives it.
    pub(crate) disturbed: Disturbed,
    pub(crate) rules_by_code: CodeIndex,
    rules_by_complaint: FxHashMap<Box<str>, Vec<RuleId>>,
    complaint_titles: FxHashMap<Box<str>, Box<str>>,
    pub(crate) rules_of_every_order: Vec<RuleId>,
}

#[derive(Debug)]
pub(crate) struct CompiledProcedure {
    pub(crate) exists_on: Formula,
    pub(crate) needs: Vec<ProcedureId>,
    pub(crate) after: ProcedureSet,
    pub(crate) left_by: Option<ProcedureId>,
    pub(crate) emits: Vec<Interned>,
    pub(crate) survives: Vec<InternedPattern>,
}

#[derive(Debug)]
pub(crate) struct CompiledRule {
    pub(crate) on: Formula,
    pub(crate) require: Vec<ProcedureId>,
}

#[derive(Debug)]
pub(crate) struct CompiledImplication {
    pub(crate) on: Formula,
    pub(crate) emits: Vec<Interned>,
}

/// An operation in symbols.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(crate) struct Interned {
    pub(crate) action: Symbol,
    pub(crate) component: Symbol,
    pub(crate) place: Option<Symbol>,
}

#[derive(Debug)]
pub(crate) struct InternedPattern {
    pub(crate) component: Symbol,
    pub(crate) actions: Vec<Symbol>,
}

impl Compiled {
    /// Compiles a catalogue. Names that it does not know are passed over: `check` refuses such a document.
    pub fn new(catalogue: Catalogue) -> Self {
        let symbols = Symbols::new(&catalogue);
        let mut facts = Facts::new(&catalogue.vocabulary);
        let procedure_ids: FxHashMap<Box<str>, ProcedureId> = catalogue
            .procedures
            .iter()
            .enumerate()
            .map(|(id, procedure)| (procedure.id.as_str().into(), id))
            .collect();
        let ids = |names: &[String]| -> Vec<ProcedureId> {
            names.iter().filter_map(|name| procedure_ids.get(name.as_str()).copied()).collect()
        };
        let intern = |operations: &[Operation]| -> Vec<Interned> {
            operations.iter().filter_map(|operation| symbols.intern(operation)).collect()
        };
        let procedures = catalogue
            .procedures
            .iter()
            .map(|procedure| CompiledProcedure {
                exists_on: facts.compile(&procedure.exists_on),
                needs: ids(&procedure.needs),
                after: ids(&procedure.after).into_iter().collect(),
                left_by: procedure
                    .opens
                    .as_ref()
                    .and_then(|opens| procedure_ids.get(opens.left_by.as_str()).copied()),
                emits: intern(&procedure.emits),
                survives: procedure
                    .survives
                    .iter()
                    .filter_map(|survives| InternedPattern::new(&symbols, &survives.operation))
                    .collect(),
            })
            .collect();
        let rules: Vec<CompiledRule> = catalogue
            .rules
            .iter()
            .map(|rule| CompiledRule { on: facts.compile(&rule.on), require: ids(&rule.require) })
            .collect();
        let implications = catalogue
            .implications
            .iter()
            .map(|implication| CompiledImplication {
                on: facts.compile(&implication.on),
                emits: intern(&implication.emits),
            })
            .collect();
        let complaint_titles = catalogue
            .vocabulary
            .complaints
            .iter()
            .map(|word| (word.title.to_lowercase().into(), word.id.as_str().into()))
            .collect();
        let mut compiled = Self {
            symbols,
            facts,
            procedure_ids,
            procedures,
            rules,
            implications,
            rules_by_operation: RuleIndex::default(),
            implications_by_operation: ByOperation::default(),
            disturbed_by_operation: ByOperation::default(),
            disturbed: Disturbed::default(),
            rules_by_code: CodeIndex::default(),
            rules_by_complaint: FxHashMap::default(),
            complaint_titles,
            rules_of_every_order: Vec::new(),
            catalogue,
        };
        compiled.fill();
        compiled
    }

    fn fill(&mut self) {
        for (id, rule) in self.catalogue.rules.iter().enumerate() {
            for pattern in &rule.when.operations {
                let rule = (id, &self.rules[id].on);
                self.rules_by_operation.add(&self.symbols, &self.facts, pattern, rule);
            }
            for pattern in &rule.when.trouble_codes {
                self.rules_by_code.add(pattern, id);
            }
            for complaint in &rule.when.complaints {
                self.rules_by_complaint.entry(complaint.as_str().into()).or_default().push(id);
            }
            if rule.when.every_order {
                self.rules_of_every_order.push(id);
            }
        }
        for (id, implication) in self.catalogue.implications.iter().enumerate() {
            for pattern in &implication.when {
                self.implications_by_operation.add(&self.symbols, pattern, id);
            }
        }
        for (id, procedure) in self.catalogue.procedures.iter().enumerate() {
            for pattern in &procedure.disturbed_by {
                self.disturbed_by_operation.add(&self.symbols, pattern, id);
            }
        }
        let survives: Vec<_> = self
            .procedures
            .iter()
            .enumerate()
            .flat_map(|(id, procedure)| procedure.survives.iter().map(move |one| (id, one)))
            .collect();
        self.disturbed = Disturbed::new(&self.symbols, &self.disturbed_by_operation, &survives);
    }

    /// The catalogue itself.
    pub fn catalogue(&self) -> &Catalogue {
        &self.catalogue
    }

    /// The procedure of this name.
    pub fn procedure(&self, name: &str) -> Option<&Procedure> {
        self.procedure_ids.get(name).map(|id| &self.catalogue.procedures[*id])
    }

    pub(crate) fn procedure_id(&self, name: &str) -> Option<ProcedureId> {
        self.procedure_ids.get(name).copied()
    }

    /// Whether action, component and place are words of the vocabulary.
    pub fn knows(&self, operation: &Operation) -> bool {
        let vocabulary = &self.catalogue.vocabulary;
        vocabulary.actions.iter().any(|word| word.id == operation.action)
            && vocabulary.components.iter().any(|word| word.id == operation.component)
            && operation
                .place
                .as_ref()
                .is_none_or(|place| vocabulary.places.iter().any(|word| word.id == *place))
    }

    /// The complaint that is meant: by name, or by its title in whatever case.
    pub fn complaint(&self, text: &str) -> Option<&str> {
        let known = &self.catalogue.vocabulary.complaints;
        if let Some(word) = known.iter().find(|word| word.id == text) {
            return Some(&word.id);
        }
        self.complaint_titles.get(text.trim().to_lowercase().as_str()).map(|id| &**id)
    }

    pub(crate) fn rules_of_complaint(&self, text: &str) -> &[RuleId] {
        self.complaint(text)
            .and_then(|complaint| self.rules_by_complaint.get(complaint))
            .map_or(&[], Vec::as_slice)
    }

    /// The operation and all that it amounts to on some vehicle.
    pub(crate) fn amounts_to(&self, operation: Interned) -> Vec<Interned> {
        let mut all = vec![operation];
        let mut next = 0;
        while next < all.len() {
            for id in self.implications_by_operation.of(&self.symbols, all[next]) {
                for emitted in &self.implications[id].emits {
                    let place = emitted.place.or(all[next].place);
                    let emitted = Interned { place, ..*emitted };
                    if !all.contains(&emitted) {
                        all.push(emitted);
                    }
                }
            }
            next += 1;
        }
        all
    }

    /// Whether the entry says that this operation leaves a pass valid.
    pub(crate) fn survives(&self, procedure: ProcedureId, operation: Interned) -> bool {
        let survives = &self.procedures[procedure].survives;
        survives.iter().any(|pattern| pattern.matches(&self.symbols, operation))
    }
}

impl InternedPattern {
    fn new(symbols: &Symbols, pattern: &OperationPattern) -> Option<Self> {
        Some(Self {
            component: symbols.get(&pattern.component)?,
            actions: pattern.actions.iter().filter_map(|action| symbols.get(action)).collect(),
        })
    }

    pub(crate) fn matches(&self, symbols: &Symbols, operation: Interned) -> bool {
        (self.actions.is_empty() || self.actions.contains(&operation.action))
            && symbols.and_parents(operation.component).any(|one| one == self.component)
    }
}
