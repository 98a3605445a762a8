//! How much of a pool of equipment is in use, over time.

use crate::calendar::NEVER;
use crate::model::Ticks;
use crate::undo::Undo;

/// Steps up and down in time order, in chunks of equal length so that each stays short.
#[derive(Debug, Clone)]
pub(crate) struct Uses {
    capacity: i64,
    origin: Ticks,
    /// A chunk is two to this power ticks long.
    shift: u32,
    chunks: Vec<Chunk>,
}

#[derive(Debug, Default)]
pub(crate) struct Chunk {
    /// In use at its beginning.
    base: i64,
    /// By time, each moment once.
    steps: Vec<(Ticks, i64)>,
}

/// As derived, but for the memory that is used again.
impl Clone for Chunk {
    fn clone(&self) -> Self {
        Self { base: self.base, steps: self.steps.clone() }
    }

    fn clone_from(&mut self, source: &Self) {
        self.base = source.base;
        self.steps.clone_from(&source.steps);
    }
}

impl Uses {
    /// Nothing in use of that many units, between two moments.
    pub(crate) fn new(capacity: u32, from: Ticks, until: Ticks) -> Self {
        let span = (until - from).max(1).unsigned_abs();
        let shift = (span / 128).max(1).next_power_of_two().trailing_zeros();
        let count = usize::try_from(span >> shift).unwrap_or(0) + 1;
        Self {
            capacity: i64::from(capacity),
            origin: from,
            shift,
            chunks: vec![Chunk::default(); count],
        }
    }

    /// How many units there are.
    pub(crate) const fn capacity(&self) -> i64 {
        self.capacity
    }

    #[inline]
    fn chunk(&self, at: Ticks) -> usize {
        let number = usize::try_from((at - self.origin).max(0) >> self.shift).unwrap_or(0);
        number.min(self.chunks.len() - 1)
    }

    /// For what is taken to be given back at once.
    pub(crate) fn undo(&self) -> Undo<Chunk> {
        Undo::new(self.chunks.len())
    }

    /// Some use is about to change between two moments.
    pub(crate) fn note(&self, undo: &mut Undo<Chunk>, from: Ticks, until: Ticks) {
        for chunk in self.chunk(from)..=self.chunk(until) {
            undo.note(&self.chunks, chunk);
        }
    }

    /// What changed since the last time is as before.
    pub(crate) fn take_back(&mut self, undo: &mut Undo<Chunk>) {
        undo.take_back(&mut self.chunks);
    }

    /// Takes units for a time (gives them back if negative).
    pub(crate) fn take(&mut self, from: Ticks, until: Ticks, units: i64) {
        let (first, last) = (self.chunk(from), self.chunk(until));
        self.chunks[first].step(from, units);
        self.chunks[last].step(until, -units);
        for chunk in &mut self.chunks[first + 1..=last] {
            chunk.base += units;
        }
    }

    /// The first moment from which that many units are free for the length.
    pub(crate) fn room(&self, at: Ticks, length: Ticks, units: i64) -> Ticks {
        let limit = self.capacity - units;
        if limit < 0 {
            return NEVER;
        }
        let first = self.chunk(at);
        let here = &self.chunks[first];
        let passed = here.steps.partition_point(|step| step.0 <= at);
        let mut level = here.base + here.steps[..passed].iter().map(|step| step.1).sum::<i64>();
        let mut start = (level <= limit).then_some(at);
        let mut skip = passed;
        for chunk in first..self.chunks.len() {
            for &(time, change) in &self.chunks[chunk].steps[skip..] {
                if let Some(start) = start.filter(|start| time >= start + length) {
                    return start;
                }
                level += change;
                start = if level > limit { None } else { start.or(Some(time)) };
            }
            skip = 0;
            let end = self.origin + (Ticks::try_from(chunk + 1).unwrap_or(NEVER) << self.shift);
            if let Some(start) = start.filter(|start| end >= start + length) {
                return start;
            }
        }
        start.unwrap_or(NEVER)
    }
}

impl Chunk {
    fn step(&mut self, at: Ticks, change: i64) {
        let place = self.steps.partition_point(|step| step.0 < at);
        match self.steps.get_mut(place) {
            Some(step) if step.0 == at && step.1 == -change => {
                self.steps.remove(place);
            }
            Some(step) if step.0 == at => step.1 += change,
            _ => self.steps.insert(place, (at, change)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Uses;
    use crate::calendar::NEVER;

    #[test]
    fn units_are_free_where_fewer_are_in_use_than_there_are() {
        let mut uses = Uses::new(2, 0, 1_000);
        uses.take(100, 200, 1);
        uses.take(150, 400, 1);
        assert_eq!(uses.room(0, 150, 1), 0);
        assert_eq!(uses.room(0, 151, 1), 200);
        assert_eq!(uses.room(120, 30, 1), 120);
        assert_eq!(uses.room(0, 101, 2), 400);
        assert_eq!(uses.room(0, 10, 3), NEVER);
        uses.take(150, 400, -1);
        assert_eq!(uses.room(0, 1_000, 1), 0);
        assert_eq!(uses.room(110, 50, 2), 200);
    }
}
