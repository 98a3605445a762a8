//! Which points of a directed graph lead to which, over one or more edges.

use crate::bits::{WORD, ones};
use crate::derive::edges::Edges;

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
    pub(crate) fn new(edges: &Edges) -> Self {
        let mut reach = Self::of(edges.points());
        let rows = (0..edges.points()).flat_map(|point| edges.then(point));
        reach.next.iter_mut().zip(rows).for_each(|(next, bits)| *next = bits);
        reach
    }

    /// What leads to a point, instead of what it leads to.
    pub(crate) fn backwards(edges: &Edges) -> Self {
        let mut reach = Self::of(edges.points());
        for from in 0..edges.points() {
            for to in ones(edges.then(from)) {
                reach.next[to * reach.words + from / 64] |= 1 << (from % WORD);
            }
        }
        reach
    }

    fn of(points: usize) -> Self {
        let words = points.div_ceil(WORD);
        Self {
            words,
            next: vec![0; words * points],
            reached: vec![0; words * points],
            known: vec![false; points],
            todo: vec![0; words],
        }
    }

    /// Whether one leads to the other.
    pub(crate) fn leads(&mut self, from: usize, to: usize) -> bool {
        self.from(from)[to / 64] & (1 << (to % WORD)) != 0
    }

    /// Everything that a point leads to, as bits. It is found when it is first asked for.
    pub(crate) fn from(&mut self, point: usize) -> &[u64] {
        if !self.known[point] {
            self.known[point] = true;
            self.find(point);
        }
        &self.reached[point * self.words..(point + 1) * self.words]
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
            let point = word * WORD + bit;
            let next = &self.next[point * words..(point + 1) * words];
            for ((next, reached), todo) in next.iter().zip(&mut *reached).zip(&mut self.todo) {
                *todo |= next & !*reached;
                *reached |= next;
            }
        }
    }
}
