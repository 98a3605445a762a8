//! Where the parts of a document stand. Looked up only when there is something to tell.

use std::collections::HashMap;

use serde_json::value::RawValue;

use crate::document::Step;
use crate::document::tree::Tree;

/// Where the parts of a document stand.
#[derive(Debug)]
pub struct Positions<'s>(pub(crate) Kind<'s>);

#[derive(Debug)]
pub(crate) enum Kind<'s> {
    Unknown,
    /// A JSON text that is in order.
    Json(&'s str),
    Tree(Tree<'s>),
}

impl Positions<'_> {
    /// The document is not at hand; every place is 0:0.
    pub const UNKNOWN: Self = Self(Kind::Unknown);

    /// The place (line, column) of each path's value, or of the nearest whole that the document has.
    pub(crate) fn locate(&self, paths: &[&[Step]]) -> Vec<(u64, u64)> {
        match &self.0 {
            Kind::Unknown => vec![(0, 0); paths.len()],
            Kind::Json(text) => lines(text, &offsets(text, paths)),
            Kind::Tree(tree) => paths.iter().map(|path| tree.place(path)).collect(),
        }
    }
}

/// The byte at which each path's value begins.
fn offsets(text: &str, paths: &[&[Step]]) -> Vec<usize> {
    let mut offsets = vec![0; paths.len()];
    let Ok(whole) = serde_json::from_str::<&RawValue>(text) else { return offsets };
    let mut sorted: Vec<usize> = (0..paths.len()).collect();
    sorted.sort_unstable_by_key(|path| paths[*path]);
    Search { text, paths, offsets: &mut offsets }.inside(whole, &sorted, 0);
    offsets
}

struct Search<'s, 'p> {
    text: &'s str,
    paths: &'p [&'p [Step]],
    offsets: &'p mut [usize],
}

impl<'s> Search<'s, '_> {
    /// The paths, sorted, agree in their first `depth` steps, which lead to `whole`.
    fn inside(&mut self, whole: &'s RawValue, sorted: &[usize], depth: usize) {
        for path in sorted {
            self.offsets[*path] = whole.get().as_ptr().addr() - self.text.as_ptr().addr();
        }
        let begin = sorted.partition_point(|path| self.paths[*path].len() <= depth);
        let deeper = &sorted[begin..];
        let Some(first) = deeper.first() else { return };
        match self.paths[*first][depth] {
            Step::Key(_) => {
                let Ok(parts) = serde_json::from_str::<HashMap<String, &RawValue>>(whole.get())
                else {
                    return;
                };
                self.parts(deeper, depth, |step| match step {
                    Step::Key(key) => parts.get(key).copied(),
                    Step::Item(_) => None,
                });
            }
            Step::Item(_) => {
                let Ok(parts) = serde_json::from_str::<Vec<&RawValue>>(whole.get()) else { return };
                self.parts(deeper, depth, |step| match step {
                    Step::Key(_) => None,
                    Step::Item(item) => parts.get(item).copied(),
                });
            }
        }
    }

    fn parts(
        &mut self,
        sorted: &[usize],
        depth: usize,
        part: impl Fn(Step) -> Option<&'s RawValue>,
    ) {
        let paths = self.paths;
        for same in sorted.chunk_by(|one, other| paths[*one][depth] == paths[*other][depth]) {
            if let Some(part) = part(paths[same[0]][depth]) {
                self.inside(part, same, depth + 1);
            }
        }
    }
}

/// Line and column, in characters, of each offset.
fn lines(text: &str, offsets: &[usize]) -> Vec<(u64, u64)> {
    let mut sorted: Vec<usize> = (0..offsets.len()).collect();
    sorted.sort_unstable_by_key(|one| offsets[*one]);
    let mut places = vec![(1, 1); offsets.len()];
    let (mut line, mut column, mut at) = (1_u64, 1_u64, 0);
    for one in sorted {
        let between = &text[at..offsets[one]];
        if let Some(last) = between.rfind('\n') {
            line += between.bytes().filter(|byte| *byte == b'\n').count() as u64;
            column = 1 + between[last + 1..].chars().count() as u64;
        } else {
            column += between.chars().count() as u64;
        }
        at = offsets[one];
        places[one] = (line, column);
    }
    places
}
