//! Whether a catalogue can be used: what keeps it from being put in force, and what a keeper should look at.

mod conditions;
mod engines;
mod names;
mod order;
mod reach;
mod rules;
mod satisfiable;

use std::panic::resume_unwind;
use std::thread;

use domain::catalogue::Catalogue;

use crate::document::places::Positions;
use crate::document::{Document, Fault, Limits, Step, read_far};
use crate::index::Compiled;

/// The result of a check, each list in the order of the places.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Report {
    /// What keeps the catalogue from being used.
    pub faults: Vec<Fault>,
    /// What a keeper should look at.
    pub notes: Vec<Fault>,
}

/// Faults that may only follow from what could not be read.
const FOLLOWING: [&str; 3] = ["unknown_name", "bracket_without_leaving", "unknown_source"];

/// Reads a document and checks it: all that is wrong with its shape and with what it says, at once. There is a document
/// if its shape is in order; otherwise what could be read of it is checked.
pub fn examine(bytes: &[u8], limits: Limits) -> (Option<Document<'_>>, Report) {
    let (mut faults, document) = read_far(bytes, limits);
    let report = document.as_ref().map(|read| check(&read.catalogue, &read.positions));
    let report = report.unwrap_or_default();
    if faults.is_empty() {
        return (document, report);
    }
    faults.extend(report.faults.into_iter().filter(|one| !FOLLOWING.contains(&one.code)));
    faults.sort_unstable();
    (None, Report { faults, notes: Vec::new() })
}

/// Checks a catalogue. The positions are those of the document that it was read from.
pub fn check(catalogue: &Catalogue, positions: &Positions<'_>) -> Report {
    // A large catalogue is looked at from two sides at once: by its words, and by what follows from it.
    let (mut found, followed) = thread::scope(|scope| {
        let followed = scope.spawn(|| what_follows(catalogue));
        (words(catalogue), followed.join().unwrap_or_else(|panic| resume_unwind(panic)))
    });
    found.faults.extend(followed.faults);
    found.notes.extend(followed.notes);
    Report { faults: placed(found.faults, positions), notes: placed(found.notes, positions) }
}

fn words(catalogue: &Catalogue) -> Found {
    let mut found = Found::default();
    names::check(catalogue, &mut found);
    conditions::check(catalogue, &mut found);
    order::check(catalogue, &mut found);
    engines::check(catalogue, &mut found);
    found
}

fn what_follows(catalogue: &Catalogue) -> Found {
    let mut found = Found::default();
    let compiled = Compiled::new(catalogue.clone());
    rules::check(&compiled, &mut found);
    reach::check(&compiled, &mut found);
    found
}

fn placed(found: Vec<Remark>, positions: &Positions<'_>) -> Vec<Fault> {
    if found.is_empty() {
        return Vec::new();
    }
    let paths: Vec<&[Step]> = found.iter().map(|remark| &remark.path[..]).collect();
    let places = positions.locate(&paths);
    let mut placed: Vec<Fault> = places
        .into_iter()
        .zip(found)
        .map(|((line, column), remark)| Fault {
            line,
            column,
            code: remark.code,
            detail: remark.detail,
        })
        .collect();
    placed.sort();
    placed.dedup();
    placed
}

struct Remark {
    path: Vec<Step>,
    code: &'static str,
    detail: String,
}

#[derive(Default)]
struct Found {
    faults: Vec<Remark>,
    notes: Vec<Remark>,
}

impl Found {
    fn fault(&mut self, at: &At<'_>, code: &'static str, detail: String) {
        self.faults.push(Remark { path: at.path(), code, detail });
    }

    fn note(&mut self, at: &At<'_>, code: &'static str, detail: String) {
        self.notes.push(Remark { path: at.path(), code, detail });
    }
}

/// A place in the document, built only when it is told.
#[derive(Clone, Copy)]
enum At<'a> {
    Root,
    In(&'a At<'a>, Step),
}

impl At<'_> {
    fn key(&self, key: &'static str) -> At<'_> {
        At::In(self, Step::Key(key))
    }

    fn item(&self, item: usize) -> At<'_> {
        At::In(self, Step::Item(item))
    }

    fn path(&self) -> Vec<Step> {
        match self {
            At::Root => Vec::new(),
            At::In(whole, step) => {
                let mut path = whole.path();
                path.push(*step);
                path
            }
        }
    }
}

/// Calls `visit` for each item of a list of the document's root.
fn each<'c, T>(list: &'c [T], key: &'static str, mut visit: impl FnMut(&At<'_>, &'c T)) {
    let whole = At::Root.key(key);
    for (index, item) in list.iter().enumerate() {
        visit(&whole.item(index), item);
    }
}
