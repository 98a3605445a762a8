//! Vehicle facts in three values: known, denied, unknown.

use domain::catalogue::Vocabulary;
use domain::predicate::Predicate;
use domain::vehicle::{FactValue, VehicleFacts};
use rustc_hash::FxHashMap;

/// What is known of a statement. Ordered: `No < Unknown < Yes`, so that "all" is the least and "any" the greatest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Truth {
    /// It does not hold.
    No,
    /// Nobody knows.
    Unknown,
    /// It holds.
    Yes,
}

impl From<bool> for Truth {
    fn from(holds: bool) -> Self {
        if holds { Self::Yes } else { Self::No }
    }
}

impl std::ops::Not for Truth {
    type Output = Self;

    fn not(self) -> Self {
        match self {
            Self::No => Self::Yes,
            Self::Unknown => Self::Unknown,
            Self::Yes => Self::No,
        }
    }
}

/// Values that statements are put together from.
pub(crate) trait Logic: Copy + std::ops::Not<Output = Self> {
    const YES: Self;
    const NO: Self;

    fn and(self, other: Self) -> Self;
    fn or(self, other: Self) -> Self;
}

impl Logic for Truth {
    const YES: Self = Self::Yes;
    const NO: Self = Self::No;

    fn and(self, other: Self) -> Self {
        self.min(other)
    }

    fn or(self, other: Self) -> Self {
        self.max(other)
    }
}

/// The facts that exist on every vehicle, whatever the vocabulary says.
pub const BUILT_IN: [&str; 4] = ["make", "model", "powertrain", "model_year"];
/// What `powertrain` may be.
pub const POWERTRAINS: [&str; 3] = ["combustion", "hybrid", "electric"];

pub(crate) type FactId = usize;
pub(crate) type AtomId = usize;

/// A predicate over numbered atoms.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Formula {
    Atom(AtomId),
    All(Box<[Formula]>),
    Any(Box<[Formula]>),
    Not(Box<Formula>),
}

impl Formula {
    pub(crate) fn is_always(&self) -> bool {
        matches!(self, Self::All(all) if all.is_empty())
    }

    /// Its value when `atom` tells the value of each atom.
    pub(crate) fn value<L: Logic>(&self, atom: &impl Fn(AtomId) -> L) -> L {
        match self {
            Self::Atom(id) => atom(*id),
            Self::All(all) => all.iter().map(|f| f.value(atom)).fold(L::YES, L::and),
            Self::Any(any) => any.iter().map(|f| f.value(atom)).fold(L::NO, L::or),
            Self::Not(not) => !not.value(atom),
        }
    }

    /// Every atom that can still matter, with the polarity in which it occurs.
    pub(crate) fn literals(
        &self,
        atom: &impl Fn(AtomId) -> Truth,
        positive: bool,
        found: &mut impl FnMut(AtomId, bool),
    ) {
        match self {
            Self::Atom(id) => {
                if atom(*id) == Truth::Unknown {
                    found(*id, positive);
                }
            }
            Self::All(parts) | Self::Any(parts) => {
                if self.value(atom) == Truth::Unknown {
                    for part in parts {
                        part.literals(atom, positive, found);
                    }
                }
            }
            Self::Not(not) => not.literals(atom, !positive, found),
        }
    }
}

/// One elementary statement on one fact.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(crate) struct Atom {
    pub(crate) fact: FactId,
    pub(crate) test: Test,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(crate) enum Test {
    Has,
    OneOf(Box<[Box<str>]>),
    Years(Option<i32>, Option<i32>),
}

/// The value of a fact, known or supposed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Value<'a> {
    Unknown,
    Flag(bool),
    Word(&'a str),
    Year(i32),
}

impl Test {
    pub(crate) fn of(&self, value: Value<'_>) -> Truth {
        match (self, value) {
            (_, Value::Unknown) | (Self::OneOf(_), Value::Flag(true)) => Truth::Unknown,
            (Self::Has, Value::Flag(flag)) => flag.into(),
            (Self::Has, Value::Word(_) | Value::Year(_)) => Truth::Yes,
            (Self::OneOf(words), Value::Word(word)) => {
                words.iter().any(|one| one.eq_ignore_ascii_case(word)).into()
            }
            (Self::Years(from, to), Value::Year(year)) => {
                (from.is_none_or(|from| from <= year) && to.is_none_or(|to| year <= to)).into()
            }
            (Self::OneOf(_) | Self::Years(..), _) => Truth::No,
        }
    }
}

/// The facts and elementary statements of one catalogue, numbered.
#[derive(Debug, Default)]
pub(crate) struct Facts {
    names: Vec<Box<str>>,
    ids: FxHashMap<Box<str>, FactId>,
    words: Vec<Vec<Box<str>>>,
    pub(crate) atoms: Vec<Atom>,
    atom_ids: FxHashMap<Atom, AtomId>,
    /// The features in the order of their names.
    features: Vec<(Box<str>, FactId)>,
}

impl Facts {
    pub(crate) fn new(vocabulary: &Vocabulary) -> Self {
        let mut facts = Self::default();
        for name in BUILT_IN {
            let fact = facts.fact(name);
            if name == "powertrain" {
                facts.words[fact] = POWERTRAINS.into_iter().map(Into::into).collect();
            }
        }
        for feature in &vocabulary.features {
            let fact = facts.fact(&feature.id);
            facts.words[fact] = feature.one_of.iter().map(|w| w.as_str().into()).collect();
        }
        facts
    }

    /// The number of this fact; a new one if it is not known yet.
    fn fact(&mut self, name: &str) -> FactId {
        if let Some(id) = self.ids.get(name) {
            return *id;
        }
        let id = self.names.len();
        self.names.push(name.into());
        self.words.push(Vec::new());
        self.ids.insert(name.into(), id);
        if id >= BUILT_IN.len() {
            let place = self.features.partition_point(|(feature, _)| **feature < *name);
            self.features.insert(place, (name.into(), id));
        }
        id
    }

    pub(crate) fn name(&self, fact: FactId) -> &str {
        &self.names[fact]
    }

    /// The words that a fact may take, when there is a closed list.
    pub(crate) fn words(&self, fact: FactId) -> &[Box<str>] {
        &self.words[fact]
    }

    /// What `questions` and amendments call it.
    pub(crate) fn path(&self, fact: FactId) -> String {
        let name = self.name(fact);
        if fact < BUILT_IN.len() { name.to_owned() } else { format!("features.{name}") }
    }

    pub(crate) fn compile(&mut self, predicate: &Predicate) -> Formula {
        match predicate {
            Predicate::Has(name) => self.atom(name, Test::Has),
            Predicate::Lacks(name) => Formula::Not(Box::new(self.atom(name, Test::Has))),
            Predicate::Is { fact, one_of } => {
                let mut words: Vec<Box<str>> = one_of.iter().map(|w| w.as_str().into()).collect();
                words.sort_unstable();
                words.dedup();
                self.atom(fact, Test::OneOf(words.into()))
            }
            Predicate::ModelYear { from, to } => self.atom("model_year", Test::Years(*from, *to)),
            Predicate::All(all) => Formula::All(all.iter().map(|p| self.compile(p)).collect()),
            Predicate::Any(any) => Formula::Any(any.iter().map(|p| self.compile(p)).collect()),
            Predicate::Not(not) => Formula::Not(Box::new(self.compile(not))),
        }
    }

    fn atom(&mut self, name: &str, test: Test) -> Formula {
        let atom = Atom { fact: self.fact(name), test };
        if let Some(id) = self.atom_ids.get(&atom) {
            return Formula::Atom(*id);
        }
        let id = self.atoms.len();
        self.atoms.push(atom.clone());
        self.atom_ids.insert(atom, id);
        Formula::Atom(id)
    }

    /// What an order states of each fact.
    pub(crate) fn known<'a>(&self, vehicle: &'a VehicleFacts) -> Known<'a> {
        let mut values = vec![Value::Unknown; self.names.len()];
        if let Some(make) = &vehicle.make {
            values[0] = Value::Word(make);
        }
        if let Some(model) = &vehicle.model {
            values[1] = Value::Word(model);
        }
        if let Some(powertrain) = vehicle.powertrain {
            values[2] = Value::Word(powertrain.word());
        }
        if let Some(year) = vehicle.model_year {
            values[3] = Value::Year(year);
        }
        // Both are sorted, so that no name is hashed.
        let mut features = self.features.iter().peekable();
        for (name, value) in &vehicle.features {
            while features.next_if(|(feature, _)| **feature < *name.as_str()).is_some() {}
            if let Some((_, fact)) = features.next_if(|(feature, _)| **feature == *name.as_str()) {
                values[*fact] = match value {
                    FactValue::Flag(flag) => Value::Flag(*flag),
                    FactValue::Word(word) => Value::Word(word),
                    FactValue::Unknown => Value::Unknown,
                };
            }
        }
        Known { values }
    }

    /// The values that an unknown fact may turn out to have, as far as these atoms can tell them apart.
    pub(crate) fn possible(&self, fact: FactId, atoms: &[AtomId]) -> Vec<Value<'_>> {
        let words = self.words(fact);
        if !words.is_empty() {
            return words.iter().map(|word| Value::Word(word)).collect();
        }
        let mut values = Vec::new();
        for &atom in atoms {
            match &self.atoms[atom].test {
                Test::Has => values.extend([Value::Flag(false), Value::Flag(true)]),
                Test::OneOf(words) => {
                    values.push(Value::Word(""));
                    values.extend(words.iter().map(|word| Value::Word(word)));
                }
                Test::Years(from, to) => {
                    values.extend(
                        from.iter().flat_map(|y| [y.saturating_sub(1), *y]).map(Value::Year),
                    );
                    values
                        .extend(to.iter().flat_map(|y| [*y, y.saturating_add(1)]).map(Value::Year));
                }
            }
        }
        values.sort_unstable();
        values.dedup();
        values
    }
}

/// What is known of one vehicle, by fact.
#[derive(Debug)]
pub(crate) struct Known<'a> {
    pub(crate) values: Vec<Value<'a>>,
}

impl Known<'_> {
    pub(crate) fn atom(&self, facts: &Facts, atom: AtomId) -> Truth {
        let atom = &facts.atoms[atom];
        atom.test.of(self.values[atom.fact])
    }
}
