//! Which points of a directed graph lead to which, over one or more edges.

use crate::derive::raw_edge::RawEdge;

/// Bit sets, one row for each point.
#[derive(Debug)]
pub(crate) struct Reach {
    words: usize,
    next: Vec<u64>,
    reached: Vec<u64>,
    known: Vec<bool>,
    todo: Vec<u64>,
}

impl Reach {
    pub(crate) fn new(points: usize, edges: &[RawEdge]) -> Self {
        Self::along(points, edges.iter().map(|edge| (edge.before(), edge.then())))
    }

    /// What leads to a point, instead of what it leads to.
    pub(crate) fn backwards(points: usize, edges: &[RawEdge]) -> Self {
        Self::along(points, edges.iter().map(|edge| (edge.then(), edge.before())))
    }

    fn along(points: usize, steps: impl Iterator<Item = (usize, usize)>) -> Self {
        let words = points.div_ceil(64).max(1);
        let mut next = vec![0; words * points];
        for (from, to) in steps {
            next[from * words + to / 64] |= 1 << (to % 64);
        }
        let reached = vec![0; words * points];
        Self { words, next, reached, known: vec![false; points], todo: vec![0; words] }
    }

    /// Whether one leads to the other. What a point leads to is found when it is first asked for.
    pub(crate) fn leads(&mut self, from: usize, to: usize) -> bool {
        if !self.known[from] {
            self.known[from] = true;
            self.find(from);
        }
        self.reached[from * self.words + to / 64] & (1 << (to % 64)) != 0
    }

    fn find(&mut self, from: usize) {
        let words = self.words;
        let row = from * words..(from + 1) * words;
        self.todo.copy_from_slice(&self.next[row.clone()]);
        let reached = &mut self.reached[row];
        reached.copy_from_slice(&self.todo);
        while let Some(word) = self.todo.iter().position(|bits| *bits != 0) {
            let bit = self.todo[word].trailing_zeros() as usize;
            self.todo[word] &= self.todo[word] - 1;
            let point = word * 64 + bit;
            let next = &self.next[point * words..(point + 1) * words];
            for ((next, reached), todo) in next.iter().zip(&mut *reached).zip(&mut self.todo) {
                *todo |= next & !*reached;
                *reached |= next;
            }
        }
    }
}
