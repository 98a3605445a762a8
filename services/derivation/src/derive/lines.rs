//! Which lines each task and operation comes from, through however many steps.

use crate::derive::graph::{From, Graph, NodeId};

/// For each node of the graph, a set of lines (by index).
#[derive(Debug)]
pub(crate) struct LineSets {
    words: usize,
    bits: Vec<u64>,
}

impl LineSets {
    pub(crate) fn new(graph: &Graph<'_>) -> Self {
        let words = graph.repair.lines.len().div_ceil(64).max(1);
        let mut sets = Self { words, bits: vec![0; words * graph.nodes.len()] };
        for link in &graph.links {
            match link.from {
                From::Line(line, _) => sets.insert(link.to, line),
                From::EveryOrder => {
                    for line in 0..graph.repair.lines.len() {
                        sets.insert(link.to, line);
                    }
                }
                _ => {}
            }
        }
        let mut again = true;
        while again {
            again = false;
            for link in &graph.links {
                if let From::Node(from) = link.from {
                    again |= sets.add_all(from, link.to);
                }
            }
        }
        sets
    }

    /// The lines of a node by index, ascending.
    pub(crate) fn of(&self, node: NodeId) -> impl Iterator<Item = usize> + '_ {
        let words = &self.bits[node * self.words..(node + 1) * self.words];
        words.iter().enumerate().flat_map(|(at, word)| {
            let mut rest = *word;
            std::iter::from_fn(move || {
                (rest != 0).then(|| {
                    let bit = rest.trailing_zeros() as usize;
                    rest &= rest - 1;
                    at * 64 + bit
                })
            })
        })
    }

    fn insert(&mut self, node: NodeId, line: usize) {
        self.bits[node * self.words + line / 64] |= 1 << (line % 64);
    }

    fn add_all(&mut self, from: NodeId, to: NodeId) -> bool {
        let mut grew = false;
        for word in 0..self.words {
            let add = self.bits[from * self.words + word];
            let here = &mut self.bits[to * self.words + word];
            grew |= add & !*here != 0;
            *here |= add;
        }
        grew
    }
}
