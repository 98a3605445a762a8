//! From YAML (or JSON) text to a tree. Duplicate keys, tags, other keys than texts, a second document and aliases
//! that blow up are faults.

use granit_parser::{Event, Parser, ScalarStyle, Span, options};
use rustc_hash::{FxHashMap, FxHashSet};

use crate::document::tree::{Id, Tree, Value, What, plain};
use crate::document::{Fault, Limits};

/// Reads the tree; `None` when the text can't be followed to its end.
pub(crate) fn tree<'s>(text: &'s str, limits: Limits, faults: &mut Vec<Fault>) -> Option<Tree<'s>> {
    let options = options! { emit_comments: false, emit_unresolved_aliases: true };
    let mut builder = Builder {
        tree: Tree { values: Vec::with_capacity(text.len() / 24), root: 0 },
        weights: Vec::new(),
        open: Vec::new(),
        anchors: FxHashMap::default(),
        limits,
        root: None,
        faults,
    };
    for next in Parser::new_from_str_with_options(text, options) {
        match next {
            Ok((event, span)) => builder.event(event, span)?,
            Err(error) => {
                let marker = error.marker();
                let place = (marker.line() as u64, marker.col() as u64 + 1);
                builder.fault(place, "syntax", error.info());
                return None;
            }
        }
    }
    let Some(root) = builder.root else {
        builder.fault((1, 1), "empty", "there is no document".to_owned());
        return None;
    };
    builder.tree.root = root;
    Some(builder.tree)
}

struct Builder<'s, 'f> {
    tree: Tree<'s>,
    /// How many values each value is, with aliases written out.
    weights: Vec<u64>,
    open: Vec<Open>,
    anchors: FxHashMap<usize, Id>,
    limits: Limits,
    root: Option<Id>,
    faults: &'f mut Vec<Fault>,
}

struct Open {
    place: (u64, u64),
    anchor: usize,
    is_map: bool,
    /// Values of a list; keys and values of a mapping by turns.
    parts: Vec<Id>,
}

impl<'s> Builder<'s, '_> {
    fn event(&mut self, event: Event<'s>, span: Span) -> Option<()> {
        let place = (span.start.line() as u64, span.start.col() as u64 + 1);
        if let Some(tag) = event.tag() {
            let detail = format!("tags such as `{}` are not used here", tag.original());
            self.fault(place, "tag", detail);
        }
        match event {
            Event::Scalar(text, style, anchor, _) => {
                let what = match style {
                    ScalarStyle::Plain => plain(text),
                    _ => What::Text(text),
                };
                let id = self.value(place, what, 1)?;
                self.anchor(anchor, id);
                self.put(id);
            }
            Event::SequenceStart(_, anchor, _) => self.open(place, anchor, false)?,
            Event::MappingStart(_, anchor, _) => self.open(place, anchor, true)?,
            Event::SequenceEnd | Event::MappingEnd => self.close()?,
            Event::Alias(anchor) => {
                let Some(id) = self.anchors.get(&anchor).copied() else {
                    let detail = "an alias inside the value that it stands for".to_owned();
                    self.fault(place, "alias", detail);
                    return None;
                };
                // Its parts are shared and keep the places where they are written.
                let copy = self.tree.values[id].what.clone();
                let id = self.value(place, copy, self.weights[id])?;
                self.put(id);
            }
            Event::UnresolvedAlias(name) => {
                self.fault(place, "alias", format!("nothing is called `&{name}` before this"));
                let id = self.value(place, What::Null, 1)?;
                self.put(id);
            }
            Event::DocumentStart(..) if self.root.is_some() => {
                let detail = "a second document; there must be one".to_owned();
                self.fault(place, "second_document", detail);
                return None;
            }
            _ => {}
        }
        Some(())
    }

    fn value(&mut self, (line, column): (u64, u64), what: What<'s>, weight: u64) -> Option<Id> {
        if weight > self.limits.values || self.tree.values.len() as u64 > self.limits.values {
            let detail =
                format!("more than {} values, with aliases written out", self.limits.values);
            self.fault((line, column), "too_many_values", detail);
            return None;
        }
        let short = |number: u64| u32::try_from(number).unwrap_or(u32::MAX);
        self.tree.values.push(Value { line: short(line), column: short(column), what });
        self.weights.push(weight);
        Some(self.tree.values.len() - 1)
    }

    fn open(&mut self, place: (u64, u64), anchor: usize, is_map: bool) -> Option<()> {
        if self.open.len() >= self.limits.depth {
            let detail = format!("more than {} levels inside each other", self.limits.depth);
            self.fault(place, "too_deep", detail);
            return None;
        }
        self.open.push(Open { place, anchor, is_map, parts: Vec::new() });
        Some(())
    }

    fn close(&mut self) -> Option<()> {
        let open = self.open.pop()?;
        let weight =
            open.parts.iter().fold(1_u64, |sum, part| sum.saturating_add(self.weights[*part]));
        let what = if open.is_map {
            What::Map(self.entries(&open.parts))
        } else {
            What::List(open.parts.into())
        };
        let id = self.value(open.place, what, weight)?;
        self.anchor(open.anchor, id);
        self.put(id);
        Some(())
    }

    fn entries(&mut self, parts: &[Id]) -> Box<[(Id, Id)]> {
        let mut seen = Seen::default();
        let mut wrong = Vec::new();
        for &key in parts.iter().step_by(2) {
            if !matches!(self.tree.values[key].what, What::Text(_)) {
                wrong.push((key, "key", "a key must be a word".to_owned()));
            } else if !seen.is_new(self.tree.text(key)) {
                let detail = format!("`{}` stands here twice", self.tree.text(key));
                wrong.push((key, "duplicate_key", detail));
            }
        }
        for (key, code, detail) in wrong {
            let value = &self.tree.values[key];
            let place = (u64::from(value.line), u64::from(value.column));
            self.fault(place, code, detail);
        }
        parts.chunks_exact(2).map(|pair| (pair[0], pair[1])).collect()
    }

    fn put(&mut self, id: Id) {
        match self.open.last_mut() {
            Some(open) => open.parts.push(id),
            None => self.root = Some(id),
        }
    }

    fn anchor(&mut self, anchor: usize, id: Id) {
        if anchor != 0 {
            self.anchors.insert(anchor, id);
        }
    }

    fn fault(&mut self, (line, column): (u64, u64), code: &'static str, detail: String) {
        if self.faults.len() < self.limits.faults {
            self.faults.push(Fault { line, column, code, detail });
        }
    }
}

/// The keys of a mapping so far. Nearly all have a handful, which is looked through quicker than it is hashed.
#[derive(Default)]
struct Seen<'t> {
    few: Vec<&'t str>,
    many: FxHashSet<&'t str>,
}

/// Keys up to which they are looked through.
const FEW: usize = 16;

impl<'t> Seen<'t> {
    fn is_new(&mut self, key: &'t str) -> bool {
        if self.few.contains(&key) {
            return false;
        }
        if self.few.len() < FEW {
            self.few.push(key);
            return true;
        }
        self.many.insert(key)
    }
}
