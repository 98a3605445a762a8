//! Rules by the operation that sets them off and, where a rule is for some makes or models only, by those: rules for
//! other makes cost an order nothing.

use domain::operation::OperationPattern;
use rustc_hash::FxHashMap;

use crate::by_operation::ByOperation;
use crate::facts::{FactId, Facts, Formula, Known, Test, Value};
use crate::index::{Interned, RuleId};
use crate::symbols::{Symbol, Symbols};

/// The facts by which rules are told apart: make and model, whose words are many.
const TELLING: [FactId; 2] = [0, 1];

#[derive(Debug, Default)]
pub(crate) struct RuleIndex {
    plain: ByOperation<RuleId>,
    guarded: FxHashMap<(Symbol, Option<Symbol>), Vec<Guarded>>,
}

/// Rules of one operation that are for some words of a fact.
#[derive(Debug)]
struct Guarded {
    fact: FactId,
    all: Vec<RuleId>,
    by_word: FxHashMap<Box<str>, Vec<RuleId>>,
}

impl RuleIndex {
    pub(crate) fn add(
        &mut self,
        symbols: &Symbols,
        facts: &Facts,
        pattern: &OperationPattern,
        (rule, on): (RuleId, &Formula),
    ) {
        let Some((fact, words)) = guard(facts, on) else {
            self.plain.add(symbols, pattern, rule);
            return;
        };
        let Some(component) = symbols.get(&pattern.component) else { return };
        let named = pattern.actions.iter().filter_map(|action| symbols.get(action)).map(Some);
        let any = pattern.actions.is_empty().then_some(None);
        for action in named.chain(any) {
            let list = self.guarded.entry((component, action)).or_default();
            let at = list.iter().position(|one| one.fact == fact).unwrap_or_else(|| {
                list.push(Guarded { fact, all: Vec::new(), by_word: FxHashMap::default() });
                list.len() - 1
            });
            list[at].all.push(rule);
            for word in words {
                list[at].by_word.entry(word.to_lowercase().into()).or_default().push(rule);
            }
        }
    }

    /// Every rule that the operation sets off on some vehicle.
    pub(crate) fn all<'s>(
        &'s self,
        symbols: &'s Symbols,
        operation: Interned,
    ) -> impl Iterator<Item = RuleId> + 's {
        let guarded = self.guarded(symbols, operation).flat_map(|one| &one.all).copied();
        self.plain.of(symbols, operation).chain(guarded)
    }

    /// Rules that the operation sets off on every vehicle for which the predicate holds, as far as make and model tell.
    pub(crate) fn wherever<'s>(
        &'s self,
        symbols: &'s Symbols,
        facts: &Facts,
        operation: Interned,
        on: &Formula,
    ) -> impl Iterator<Item = RuleId> + 's {
        let own =
            guard(facts, on).and_then(|(fact, words)| Some((fact, words.first()?.to_lowercase())));
        let guarded = self.guarded(symbols, operation).filter_map(move |one| {
            let (fact, word) = own.as_ref()?;
            if one.fact == *fact { one.by_word.get(word.as_str()) } else { None }
        });
        self.plain.of(symbols, operation).chain(guarded.flatten().copied())
    }

    /// Every rule that the operation may set off on this vehicle.
    pub(crate) fn of<'s>(
        &'s self,
        symbols: &'s Symbols,
        operation: Interned,
        known: &'s Known<'_>,
    ) -> impl Iterator<Item = RuleId> + 's {
        let guarded =
            self.guarded(symbols, operation).flat_map(|one| match known.values[one.fact] {
                Value::Word(word) => {
                    one.by_word.get(word.to_lowercase().as_str()).map_or(&[][..], Vec::as_slice)
                }
                _ => one.all.as_slice(),
            });
        self.plain.of(symbols, operation).chain(guarded.copied())
    }

    fn guarded<'s>(
        &'s self,
        symbols: &'s Symbols,
        operation: Interned,
    ) -> impl Iterator<Item = &'s Guarded> + 's {
        let here = !self.guarded.is_empty();
        let parents = symbols.and_parents(operation.component).filter(move |_| here);
        parents.flat_map(move |component| {
            [None, Some(operation.action)]
                .into_iter()
                .filter_map(move |action| self.guarded.get(&(component, action)))
                .flatten()
        })
    }
}

/// The words of a make or model without which a predicate never holds.
fn guard<'f>(facts: &'f Facts, on: &Formula) -> Option<(FactId, &'f [Box<str>])> {
    match on {
        Formula::Atom(id) => match &facts.atoms[*id] {
            atom if TELLING.contains(&atom.fact) => match &atom.test {
                Test::OneOf(words) => Some((atom.fact, words)),
                _ => None,
            },
            _ => None,
        },
        Formula::All(parts) => parts.iter().find_map(|part| guard(facts, part)),
        _ => None,
    }
}
