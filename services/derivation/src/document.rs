//! A catalogue document, YAML or JSON, read into the domain's types; all faults of its shape at once.
//!
//! JSON that is in order takes the short way. Everything else becomes a tree with places first, from which the
//! types are read piece by piece: a fault ends its piece, not the document.

pub mod places;
mod read;
mod tree;
mod yaml;

use std::fmt;

use domain::catalogue::Catalogue;

use crate::document::places::{Kind, Positions};
use crate::document::read::Pieces;
use crate::document::tree::Tree;

/// How large a document may be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Bytes.
    pub bytes: usize,
    /// Values, with aliases written out.
    pub values: u64,
    /// Lists and mappings inside each other.
    pub depth: usize,
    /// Faults told; the rest is only counted.
    pub faults: usize,
}

impl Default for Limits {
    /// 64 MB, 20 million values, 64 deep, 500 faults.
    fn default() -> Self {
        Self { bytes: 64 << 20, values: 20_000_000, depth: 64, faults: 500 }
    }
}

/// Something wrong with a document, and where.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fault {
    /// Line, from 1; 0 when the place is unknown.
    pub line: u64,
    /// Column in characters, from 1; 0 when the place is unknown.
    pub column: u64,
    /// Stable word for the sort of fault.
    pub code: &'static str,
    /// In words.
    pub detail: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{}:{}: {}: {}", self.line, self.column, self.code, self.detail)
    }
}

/// A document that was read.
#[derive(Debug)]
pub struct Document<'s> {
    /// What it says.
    pub catalogue: Catalogue,
    /// Where its parts stand.
    pub positions: Positions<'s>,
}

/// Reads a document; on failure every fault of its shape, in the order of their places.
pub fn read(bytes: &[u8], limits: Limits) -> Result<Document<'_>, Vec<Fault>> {
    match read_far(bytes, limits) {
        (faults, Some(document)) if faults.is_empty() => Ok(document),
        (faults, _) => Err(faults),
    }
}

/// Reads a document as far as it can be read: the faults of its shape, and what there is besides.
pub(crate) fn read_far(bytes: &[u8], limits: Limits) -> (Vec<Fault>, Option<Document<'_>>) {
    let text = match text(bytes, limits) {
        Ok(text) => text,
        Err(fault) => return (vec![fault], None),
    };
    if !is_json(text) {
        return read_tree(text, limits);
    }
    let refused = match serde_json::from_str(text) {
        Ok(catalogue) => {
            return (
                Vec::new(),
                Some(Document { catalogue, positions: Positions(Kind::Json(text)) }),
            );
        }
        Err(refused) => refused,
    };
    // Every JSON text is YAML too; the long way finds all faults, unless the fault is one that YAML allows.
    let (mut faults, rest) = read_tree(text, limits);
    if faults.is_empty() {
        faults.push(Fault {
            line: refused.line() as u64,
            column: refused.column() as u64,
            code: "not_json",
            detail: refused.to_string(),
        });
    }
    (faults, rest)
}

/// Reads one catalogue from several documents that each hold some of its lists. On failure each fault with the name
/// of its document; what no document holds is a fault of the first one.
pub fn read_parts(
    parts: &[(&str, &str)],
    limits: Limits,
) -> Result<Catalogue, Vec<(String, Fault)>> {
    let mut all = Pieces::default();
    let mut faults = Vec::new();
    for (name, text) in parts {
        let (found, read) = read_pieces(text, false, limits);
        faults.extend(found.into_iter().map(|one| ((*name).to_owned(), one)));
        if let Some((pieces, _)) = read {
            all.add(pieces);
        }
    }
    match all.whole() {
        Some(catalogue) if faults.is_empty() => Ok(catalogue),
        None if faults.is_empty() => {
            let name = parts.first().map_or("", |(name, _)| name).to_owned();
            let detail = "version, notice or vocabulary is missing".to_owned();
            Err(vec![(name, Fault { line: 1, column: 1, code: "missing_field", detail })])
        }
        _ => Err(faults),
    }
}

/// One step from a whole to a part of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Step {
    Key(&'static str),
    Item(usize),
}

fn read_tree(text: &str, limits: Limits) -> (Vec<Fault>, Option<Document<'_>>) {
    let (faults, read) = read_pieces(text, true, limits);
    let document = read.and_then(|(pieces, tree)| {
        let catalogue = pieces.whole()?;
        Some(Document { catalogue, positions: Positions(Kind::Tree(tree)) })
    });
    (faults, document)
}

fn read_pieces(
    text: &str,
    whole: bool,
    limits: Limits,
) -> (Vec<Fault>, Option<(Pieces, Tree<'_>)>) {
    let mut faults = Vec::new();
    let tree = yaml::tree(text, limits, &mut faults);
    let read = tree.and_then(|mut tree| {
        let pieces = read::read(&mut tree, whole, limits, &mut faults)?;
        Some((pieces, tree))
    });
    faults.sort_unstable();
    faults.dedup();
    (faults, read)
}

fn text(bytes: &[u8], limits: Limits) -> Result<&str, Fault> {
    if bytes.len() > limits.bytes {
        let detail = format!("{} bytes, at most {} are read", bytes.len(), limits.bytes);
        return Err(Fault { line: 1, column: 1, code: "too_large", detail });
    }
    std::str::from_utf8(bytes).map_err(|error| {
        let before = String::from_utf8_lossy(&bytes[..error.valid_up_to()]);
        let line = before.matches('\n').count() as u64 + 1;
        let column = before.rsplit('\n').next().unwrap_or_default().chars().count() as u64 + 1;
        Fault { line, column, code: "not_utf8", detail: "the text is not UTF-8".to_owned() }
    })
}

fn is_json(text: &str) -> bool {
    text.trim_start().starts_with('{')
}
