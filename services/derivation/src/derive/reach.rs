//! Which points of a directed graph lead to which, over one or more edges.

#[derive(Debug)]
pub(crate) struct Reach {
    words: usize,
    bits: Vec<u64>,
}

impl Reach {
    pub(crate) fn new(points: usize, edges: impl Iterator<Item = (usize, usize)>) -> Self {
        let words = points.div_ceil(64).max(1);
        let mut next = vec![Vec::new(); points];
        for (from, to) in edges {
            next[from].push(to);
        }
        let mut reach = Self { words, bits: vec![0; words * points] };
        let mut stack = Vec::new();
        for from in 0..points {
            stack.extend_from_slice(&next[from]);
            while let Some(to) = stack.pop() {
                if !reach.leads(from, to) {
                    reach.bits[from * words + to / 64] |= 1 << (to % 64);
                    stack.extend_from_slice(&next[to]);
                }
            }
        }
        reach
    }

    pub(crate) fn leads(&self, from: usize, to: usize) -> bool {
        self.bits[from * self.words + to / 64] & (1 << (to % 64)) != 0
    }
}
