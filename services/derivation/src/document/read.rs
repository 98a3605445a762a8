//! From the tree to the domain's types. A wrong value ends the part that it stands in; the other parts are read all
//! the same, and the part is read again without it until nothing new is found.

use std::cell::RefCell;
use std::collections::HashSet;
use std::fmt;

use domain::catalogue::{Catalogue, Implication, Rule, Source, Vocabulary};
use domain::procedure::Procedure;
use serde::Deserialize;
use serde::de::{self, DeserializeSeed, Visitor};
use serde::forward_to_deserialize_any;

use crate::document::tree::{Id, Tree, What};
use crate::document::{Fault, Limits};

/// A piece is read again at most so often; one with more faults of its own tells the first ones.
const MOST_PASSES: usize = 64;

/// What a document holds of a catalogue.
#[derive(Debug, Default)]
pub(crate) struct Pieces {
    version: Option<String>,
    notice: Option<String>,
    vocabulary: Option<Vocabulary>,
    sources: Vec<Source>,
    implications: Vec<Implication>,
    procedures: Vec<Procedure>,
    rules: Vec<Rule>,
}

impl Pieces {
    /// Adds what another document holds; of two versions, notices or vocabularies the first stays.
    pub(crate) fn add(&mut self, other: Self) {
        self.version = self.version.take().or(other.version);
        self.notice = self.notice.take().or(other.notice);
        self.vocabulary = self.vocabulary.take().or(other.vocabulary);
        self.sources.extend(other.sources);
        self.implications.extend(other.implications);
        self.procedures.extend(other.procedures);
        self.rules.extend(other.rules);
    }

    /// The catalogue, if all that it needs is there.
    pub(crate) fn whole(self) -> Option<Catalogue> {
        Some(Catalogue {
            version: self.version?,
            notice: self.notice?,
            sources: self.sources,
            vocabulary: self.vocabulary?,
            implications: self.implications,
            procedures: self.procedures,
            rules: self.rules,
        })
    }
}

/// Reads what a document holds, as far as it can be read; entries of its lists that can't leave the tree.
pub(crate) fn read(
    tree: &mut Tree<'_>,
    whole: bool,
    limits: Limits,
    faults: &mut Vec<Fault>,
) -> Option<Pieces> {
    let reader = Reader {
        tree,
        found: RefCell::default(),
        passed_over: RefCell::default(),
        unread: RefCell::default(),
    };
    let pieces = reader.pieces(whole);
    let found = reader.found.into_inner();
    let unread = reader.unread.into_inner();
    if !unread.is_empty() {
        tree.leave_out(|id| unread.contains(&id));
    }
    faults.extend(found.into_iter().take(limits.faults.saturating_sub(faults.len())));
    pieces
}

struct Reader<'t, 's> {
    tree: &'t Tree<'s>,
    found: RefCell<Vec<Fault>>,
    /// Values whose fault is told, and wholes that can't be read without them.
    passed_over: RefCell<HashSet<Id>>,
    /// Pieces that could not be read.
    unread: RefCell<HashSet<Id>>,
}

impl Reader<'_, '_> {
    /// What the document holds; with `whole`, what a whole catalogue lacks is a fault.
    fn pieces(&self, whole: bool) -> Option<Pieces> {
        let fields =
            &["version", "notice", "sources", "vocabulary", "implications", "procedures", "rules"];
        let root = self.whole(self.tree.root, fields)?;
        let one = |name| -> Option<String> {
            if whole { root.one(name) } else { self.piece(root.find(name)?) }
        };
        let vocabulary = if whole { root.part("vocabulary") } else { root.find("vocabulary") };
        Some(Pieces {
            version: one("version"),
            notice: one("notice"),
            vocabulary: vocabulary.and_then(|id| self.vocabulary(id)),
            sources: root.list("sources", whole).unwrap_or_default(),
            implications: root.list("implications", false).unwrap_or_default(),
            procedures: root.list("procedures", whole).unwrap_or_default(),
            rules: root.list("rules", whole).unwrap_or_default(),
        })
    }

    fn vocabulary(&self, id: Id) -> Option<Vocabulary> {
        let fields = &[
            "actions",
            "components",
            "features",
            "systems",
            "bay_capabilities",
            "skills",
            "equipment",
            "statements",
            "complaints",
            "places",
        ];
        let whole = self.whole(id, fields)?;
        let actions = whole.list("actions", true);
        let components = whole.list("components", true);
        let features = whole.list("features", true);
        let systems = whole.list("systems", true);
        let bay_capabilities = whole.list("bay_capabilities", true);
        let skills = whole.list("skills", true);
        let equipment = whole.list("equipment", true);
        let statements = whole.list("statements", true);
        let complaints = whole.list("complaints", true);
        let places = whole.list("places", true);
        Some(Vocabulary {
            actions: actions?,
            components: components?,
            features: features?,
            systems: systems?,
            bay_capabilities: bay_capabilities?,
            skills: skills?,
            equipment: equipment?,
            statements: statements?,
            complaints: complaints?,
            places: places?,
        })
    }

    fn whole(&self, id: Id, fields: &'static [&'static str]) -> Option<Whole<'_, '_, '_>> {
        let part = Part { reader: self, id };
        if let What::Map(_) = part.what() {
            return Some(Whole { part, entries: part.entries(Some(fields)) });
        }
        self.tell(id, "wrong_type", format!("expected a mapping with {}", fields.join(", ")));
        None
    }

    /// Reads one piece until nothing new is wrong with it.
    fn piece<T: for<'de> Deserialize<'de>>(&self, id: Id) -> Option<T> {
        for _ in 0..MOST_PASSES {
            let problem = match T::deserialize(Part { reader: self, id }) {
                Ok(read) => return Some(read),
                Err(problem) => problem,
            };
            let at = problem.at.unwrap_or(id);
            if !self.passed_over.borrow_mut().insert(at) {
                break;
            }
            if let Some((code, detail)) = problem.told {
                self.tell(at, code, detail);
            }
        }
        self.unread.borrow_mut().insert(id);
        None
    }

    fn tell(&self, at: Id, code: &'static str, detail: String) {
        let value = &self.tree.values[at];
        let (line, column) = (u64::from(value.line), u64::from(value.column));
        self.found.borrow_mut().push(Fault { line, column, code, detail });
    }

    fn is_passed_over(&self, id: Id) -> bool {
        self.passed_over.borrow().contains(&id)
    }
}

/// A mapping whose parts are read on their own.
struct Whole<'r, 't, 's> {
    part: Part<'r, 't, 's>,
    entries: Vec<(Id, Id)>,
}

impl Whole<'_, '_, '_> {
    fn find(&self, name: &str) -> Option<Id> {
        let tree = self.part.reader.tree;
        self.entries.iter().find(|(key, _)| tree.text(*key) == name).map(|(_, value)| *value)
    }

    fn part(&self, name: &str) -> Option<Id> {
        let found = self.find(name);
        if found.is_none() {
            let detail = format!("`{name}` is missing");
            self.part.reader.tell(self.part.id, "missing_field", detail);
        }
        found
    }

    fn one<T: for<'de> Deserialize<'de>>(&self, name: &str) -> Option<T> {
        self.part.reader.piece(self.part(name)?)
    }

    fn list<T: for<'de> Deserialize<'de>>(&self, name: &str, required: bool) -> Option<Vec<T>> {
        let reader = self.part.reader;
        let id = if required {
            self.part(name)?
        } else {
            match self.find(name) {
                Some(id) => id,
                None => return Some(Vec::new()),
            }
        };
        let What::List(items) = &reader.tree.values[id].what else {
            reader.tell(id, "wrong_type", format!("`{name}` must be a list"));
            return None;
        };
        Some(items.iter().filter_map(|item| reader.piece(*item)).collect())
    }
}

/// Why a part could not be read.
#[derive(Debug)]
struct Problem {
    /// The value that is meant, when it is not the whole part.
    at: Option<Id>,
    /// `None`: it follows from something that was told.
    told: Option<(&'static str, String)>,
    missing: Option<&'static str>,
}

impl Problem {
    fn new(code: &'static str, detail: String) -> Self {
        Self { at: None, told: Some((code, detail)), missing: None }
    }

    const FOLLOWS: Self = Self { at: None, told: None, missing: None };
}

impl fmt::Display for Problem {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(self.told.as_ref().map_or("", |(_, detail)| detail))
    }
}

impl std::error::Error for Problem {}

impl de::Error for Problem {
    fn custom<T: fmt::Display>(detail: T) -> Self {
        Self::new("wrong_value", detail.to_string())
    }

    fn invalid_type(seen: de::Unexpected<'_>, expected: &dyn de::Expected) -> Self {
        let quote = matches!(
            seen,
            de::Unexpected::Signed(_) | de::Unexpected::Float(_) | de::Unexpected::Bool(_)
        ) && expected.to_string() == "a string";
        let hint = if quote { "; put it in quotes" } else { "" };
        Self::new("wrong_type", format!("{seen}, expected {expected}{hint}"))
    }

    fn invalid_value(seen: de::Unexpected<'_>, expected: &dyn de::Expected) -> Self {
        Self::new("wrong_value", format!("{seen}, expected {expected}"))
    }

    fn unknown_variant(variant: &str, expected: &'static [&'static str]) -> Self {
        let detail = format!("`{variant}` is none of {}", expected.join(", "));
        Self::new("unknown_word", detail)
    }

    fn missing_field(field: &'static str) -> Self {
        let problem = Self::new("missing_field", format!("`{field}` is missing"));
        Self { missing: Some(field), ..problem }
    }
}

/// One value, as a source for serde.
#[derive(Clone, Copy)]
struct Part<'r, 't, 's> {
    reader: &'r Reader<'t, 's>,
    id: Id,
}

impl<'t> Part<'_, 't, '_> {
    fn what(&self) -> &'t What<'_> {
        &self.reader.tree.values[self.id].what
    }

    fn part(&self, id: Id) -> Self {
        Self { reader: self.reader, id }
    }

    fn at_least_here(&self, mut problem: Problem) -> Problem {
        problem.at.get_or_insert(self.id);
        problem
    }

    fn entries(&self, fields: Option<&'static [&'static str]>) -> Vec<(Id, Id)> {
        let What::Map(entries) = self.what() else { return Vec::new() };
        let reader = self.reader;
        let known = |key: Id| {
            let name = reader.tree.text(key);
            let Some(fields) = fields.filter(|fields| !fields.contains(&name)) else { return true };
            if reader.passed_over.borrow_mut().insert(key) {
                let detail = format!("`{name}` is none of {}", fields.join(", "));
                reader.tell(key, "unknown_field", detail);
            }
            false
        };
        let mut seen = HashSet::new();
        entries
            .iter()
            .copied()
            .filter(|(key, _)| known(*key) && seen.insert(reader.tree.text(*key)))
            .filter(|(_, value)| !reader.is_passed_over(*value))
            .collect()
    }

    fn map<'de, V: Visitor<'de>>(
        self,
        fields: Option<&'static [&'static str]>,
        visitor: V,
    ) -> Result<V::Value, Problem> {
        let What::Map(all) = self.what() else {
            return self.any(visitor);
        };
        let entries = self.entries(fields);
        let access = Entries { part: self, rest: entries.into_iter(), value: None };
        visitor.visit_map(access).map_err(|problem| {
            let told = problem.missing.is_some_and(|field| {
                let tree = self.reader.tree;
                all.iter().any(|(key, value)| {
                    tree.text(*key) == field && self.reader.is_passed_over(*value)
                })
            });
            self.at_least_here(if told { Problem::FOLLOWS } else { problem })
        })
    }

    fn any<'de, V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Problem> {
        let read = match self.what() {
            What::Null => visitor.visit_unit(),
            What::Flag(flag) => visitor.visit_bool(*flag),
            What::Whole(whole) => visitor.visit_i64(*whole),
            What::Real(real) => visitor.visit_f64(*real),
            What::Text(text) => visitor.visit_str(text),
            What::List(items) => visitor.visit_seq(Items { part: self, items: items.iter() }),
            What::Map(_) => return self.map(None, visitor),
        };
        read.map_err(|problem| self.at_least_here(problem))
    }
}

impl<'de> de::Deserializer<'de> for Part<'_, '_, '_> {
    type Error = Problem;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Problem> {
        self.any(visitor)
    }

    fn deserialize_option<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Problem> {
        match self.what() {
            What::Null => visitor.visit_none(),
            _ => visitor.visit_some(self),
        }
    }

    fn deserialize_newtype_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        visitor: V,
    ) -> Result<V::Value, Problem> {
        visitor.visit_newtype_struct(self)
    }

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        fields: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Problem> {
        self.map(Some(fields), visitor)
    }

    fn deserialize_enum<V: Visitor<'de>>(
        self,
        _: &'static str,
        variants: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Problem> {
        let one = match self.what() {
            What::Map(entries) if entries.iter().any(|e| self.reader.is_passed_over(e.1)) => {
                return Err(self.at_least_here(Problem::FOLLOWS));
            }
            What::Text(_) => Some((self.id, None)),
            What::Map(entries) if entries.len() == 1 => Some((entries[0].0, Some(entries[0].1))),
            _ => None,
        };
        let Some((name, content)) = one else {
            let detail = format!("expected exactly one of {}", variants.join(", "));
            return Err(self.at_least_here(Problem::new("wrong_type", detail)));
        };
        visitor
            .visit_enum(Choice { part: self, name, content })
            .map_err(|problem| self.at_least_here(problem))
    }

    forward_to_deserialize_any! {
        bool i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64 char str string bytes byte_buf unit unit_struct seq tuple
        tuple_struct map identifier ignored_any
    }
}

struct Items<'r, 't, 's, 'i> {
    part: Part<'r, 't, 's>,
    items: std::slice::Iter<'i, Id>,
}

impl<'de> de::SeqAccess<'de> for Items<'_, '_, '_, '_> {
    type Error = Problem;

    fn next_element_seed<T: DeserializeSeed<'de>>(
        &mut self,
        seed: T,
    ) -> Result<Option<T::Value>, Problem> {
        let reader = self.part.reader;
        let next = self.items.find(|id| !reader.is_passed_over(**id));
        let Some(&id) = next else { return Ok(None) };
        seed.deserialize(self.part.part(id)).map(Some)
    }
}

struct Entries<'r, 't, 's> {
    part: Part<'r, 't, 's>,
    rest: std::vec::IntoIter<(Id, Id)>,
    value: Option<Id>,
}

impl<'de> de::MapAccess<'de> for Entries<'_, '_, '_> {
    type Error = Problem;

    fn next_key_seed<K: DeserializeSeed<'de>>(
        &mut self,
        seed: K,
    ) -> Result<Option<K::Value>, Problem> {
        let Some((key, value)) = self.rest.next() else { return Ok(None) };
        self.value = Some(value);
        seed.deserialize(self.part.part(key)).map(Some)
    }

    fn next_value_seed<V: DeserializeSeed<'de>>(&mut self, seed: V) -> Result<V::Value, Problem> {
        let id = self.value.take().unwrap_or(self.part.id);
        seed.deserialize(self.part.part(id))
    }
}

struct Choice<'r, 't, 's> {
    part: Part<'r, 't, 's>,
    name: Id,
    content: Option<Id>,
}

impl<'r, 't, 's> Choice<'r, 't, 's> {
    /// The value behind the word.
    fn behind(&self) -> Result<Part<'r, 't, 's>, Problem> {
        let missing = || Problem::new("wrong_type", "this word needs a value behind it".to_owned());
        self.content.map(|content| self.part.part(content)).ok_or_else(missing)
    }
}

impl<'de> de::EnumAccess<'de> for Choice<'_, '_, '_> {
    type Error = Problem;
    type Variant = Self;

    fn variant_seed<V: DeserializeSeed<'de>>(self, seed: V) -> Result<(V::Value, Self), Problem> {
        let name = seed.deserialize(self.part.part(self.name))?;
        Ok((name, self))
    }
}

impl<'de> de::VariantAccess<'de> for Choice<'_, '_, '_> {
    type Error = Problem;

    fn unit_variant(self) -> Result<(), Problem> {
        match self.content {
            None => Ok(()),
            Some(_) => Err(Problem::new("wrong_type", "this word stands alone".to_owned())),
        }
    }

    fn newtype_variant_seed<T: DeserializeSeed<'de>>(self, seed: T) -> Result<T::Value, Problem> {
        self.behind().and_then(|content| seed.deserialize(content))
    }

    fn tuple_variant<V: Visitor<'de>>(self, _: usize, visitor: V) -> Result<V::Value, Problem> {
        self.behind()?.any(visitor)
    }

    fn struct_variant<V: Visitor<'de>>(
        self,
        fields: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Problem> {
        self.behind()?.map(Some(fields), visitor)
    }
}
