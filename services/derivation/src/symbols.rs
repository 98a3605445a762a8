//! The words of a catalogue as numbers, and the parents of components.

use domain::catalogue::Catalogue;
use domain::operation::Operation;
use rustc_hash::FxHashMap;

use crate::index::Interned;

/// A word of the vocabulary.
pub(crate) type Symbol = u32;

/// No catalogue nests components deeper; a circle of parents, which `check` refuses, ends here too.
const DEEPEST: usize = 16;

#[derive(Debug)]
pub(crate) struct Symbols {
    numbers: FxHashMap<Box<str>, Symbol>,
    names: Vec<Box<str>>,
    parents: Vec<Option<Symbol>>,
}

impl Symbols {
    pub(crate) fn new(catalogue: &Catalogue) -> Self {
        let vocabulary = &catalogue.vocabulary;
        let mut symbols =
            Self { numbers: FxHashMap::default(), names: Vec::new(), parents: Vec::new() };
        for word in vocabulary.actions.iter().chain(&vocabulary.places) {
            symbols.add(&word.id);
        }
        for component in &vocabulary.components {
            let child = symbols.add(&component.id);
            if let Some(parent) = &component.parent {
                let parent = symbols.add(parent);
                symbols.parents[child as usize] = Some(parent);
            }
        }
        symbols
    }

    fn add(&mut self, name: &str) -> Symbol {
        if let Some(symbol) = self.numbers.get(name) {
            return *symbol;
        }
        let symbol = Symbol::try_from(self.names.len()).unwrap_or(Symbol::MAX);
        self.numbers.insert(name.into(), symbol);
        self.names.push(name.into());
        self.parents.push(None);
        symbol
    }

    pub(crate) fn get(&self, name: &str) -> Option<Symbol> {
        self.numbers.get(name).copied()
    }

    pub(crate) fn len(&self) -> usize {
        self.names.len()
    }

    /// Every word.
    pub(crate) fn all(&self) -> impl Iterator<Item = Symbol> + use<> {
        0..Symbol::try_from(self.names.len()).unwrap_or(Symbol::MAX)
    }

    pub(crate) fn name(&self, symbol: Symbol) -> &str {
        &self.names[symbol as usize]
    }

    /// The operation in symbols; `None` when a word of it is unknown.
    pub(crate) fn intern(&self, operation: &Operation) -> Option<Interned> {
        Some(Interned {
            action: self.get(&operation.action)?,
            component: self.get(&operation.component)?,
            place: match &operation.place {
                Some(place) => Some(self.get(place)?),
                None => None,
            },
        })
    }

    /// The component, its parent, and so on.
    pub(crate) fn and_parents(&self, component: Symbol) -> impl Iterator<Item = Symbol> + '_ {
        std::iter::successors(Some(component), |child| self.parents[*child as usize]).take(DEEPEST)
    }
}
