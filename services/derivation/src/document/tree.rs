//! A document as a tree of values that know their place.

use std::borrow::Cow;

use crate::document::Step;

pub(crate) type Id = usize;

#[derive(Debug)]
pub(crate) struct Tree<'s> {
    pub(crate) values: Vec<Value<'s>>,
    pub(crate) root: Id,
}

#[derive(Debug)]
pub(crate) struct Value<'s> {
    pub(crate) line: u32,
    pub(crate) column: u32,
    pub(crate) what: What<'s>,
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) enum What<'s> {
    Null,
    Flag(bool),
    Whole(i64),
    Real(f64),
    Text(Cow<'s, str>),
    List(Box<[Id]>),
    /// Keys are texts.
    Map(Box<[(Id, Id)]>),
}

impl Tree<'_> {
    pub(crate) fn text(&self, id: Id) -> &str {
        match &self.values[id].what {
            What::Text(text) => text,
            _ => "",
        }
    }

    /// Takes entries out of the lists that the root holds.
    pub(crate) fn leave_out(&mut self, gone: impl Fn(Id) -> bool) {
        let What::Map(entries) = &self.values[self.root].what else { return };
        for list in entries.iter().map(|(_, list)| *list).collect::<Vec<_>>() {
            if let What::List(items) = &mut self.values[list].what {
                *items = items.iter().copied().filter(|item| !gone(*item)).collect();
            }
        }
    }

    pub(crate) fn place(&self, path: &[Step]) -> (u64, u64) {
        let mut at = self.root;
        for step in path {
            let part = match (step, &self.values[at].what) {
                (Step::Key(key), What::Map(entries)) => {
                    entries.iter().find(|(name, _)| self.text(*name) == *key).map(|entry| entry.1)
                }
                (Step::Item(item), What::List(items)) => items.get(*item).copied(),
                _ => None,
            };
            match part {
                Some(part) => at = part,
                None => break,
            }
        }
        (u64::from(self.values[at].line), u64::from(self.values[at].column))
    }
}

/// What a plain scalar means (YAML 1.2 core schema).
pub(crate) fn plain(text: Cow<'_, str>) -> What<'_> {
    match &*text {
        "" | "~" | "null" | "Null" | "NULL" => return What::Null,
        "true" | "True" | "TRUE" => return What::Flag(true),
        "false" | "False" | "FALSE" => return What::Flag(false),
        _ => {}
    }
    if !text.starts_with(|first: char| first.is_ascii_digit() || "+-.".contains(first)) {
        return What::Text(text);
    }
    let whole = match (text.strip_prefix("0x"), text.strip_prefix("0o")) {
        (Some(hex), _) => i64::from_str_radix(hex, 16).ok(),
        (_, Some(octal)) => i64::from_str_radix(octal, 8).ok(),
        _ => text.parse::<i64>().ok(),
    };
    if let Some(whole) = whole {
        return What::Whole(whole);
    }
    let numeric = text.bytes().all(|b| b.is_ascii_digit() || b"+-.eE".contains(&b));
    match text.parse::<f64>() {
        Ok(real) if numeric => What::Real(real),
        _ => What::Text(text),
    }
}
