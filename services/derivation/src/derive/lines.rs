//! Which lines each task and operation comes from, through however many steps.

use crate::bits::{WORD, ones};
use crate::derive::graph::{From, Graph, Link, NodeId};
use crate::derive::membership::{Incoming, comes_from, is_task, may_be_mistaken};
use crate::facts::Truth;

/// For each node of the graph, a set of lines (by index).
#[derive(Debug)]
pub(crate) struct LineSets {
    words: usize,
    bits: Vec<u64>,
}

impl LineSets {
    /// The lines that a node may come from, whatever the unknown facts turn out to be.
    pub(crate) fn new(graph: &Graph<'_>, incoming: &Incoming) -> Self {
        let mut possible = Self::along(graph, |_| true);
        if graph.links.iter().all(|link| link.truth == Truth::Yes) {
            return possible;
        }
        if !may_be_mistaken(graph) {
            return possible;
        }
        let certain = Self::along(graph, |link| link.truth == Truth::Yes);
        for node in (0..graph.nodes.len()).filter(|node| is_task(graph, *node)) {
            let doubtful: Vec<usize> =
                possible.of(node).filter(|line| !certain.has(node, *line)).collect();
            for line in doubtful {
                if !comes_from(graph, incoming, node, line) {
                    possible.remove(node, line);
                }
            }
        }
        possible
    }

    fn along(graph: &Graph<'_>, counts: impl Fn(&Link<'_>) -> bool) -> Self {
        let words = graph.repair.lines.len().div_ceil(WORD).max(1);
        let mut sets = Self { words, bits: vec![0; words * graph.nodes.len()] };
        for link in graph.links.iter().filter(|link| counts(link)) {
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
            for link in graph.links.iter().filter(|link| counts(link)) {
                if let From::Node(from) = link.from {
                    again |= sets.add_all(from, link.to);
                }
            }
        }
        sets
    }

    /// The lines of a node by index, ascending.
    pub(crate) fn of(&self, node: NodeId) -> impl Iterator<Item = usize> + '_ {
        ones(self.bits[node * self.words..(node + 1) * self.words].iter().copied())
    }

    fn has(&self, node: NodeId, line: usize) -> bool {
        self.bits[node * self.words + line / 64] & (1 << (line % WORD)) != 0
    }

    fn remove(&mut self, node: NodeId, line: usize) {
        self.bits[node * self.words + line / 64] &= !(1 << (line % WORD));
    }

    fn insert(&mut self, node: NodeId, line: usize) {
        self.bits[node * self.words + line / 64] |= 1 << (line % WORD);
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
