//! A sequence that keeps every edge, and the circles that make one impossible.

use crate::bits::WORD;
use crate::derive::order::Point;

pub(crate) struct Sequence {
    /// Every point once.
    pub(crate) points: Vec<Point>,
    /// Circles of edges; each point comes before the next and the last before the first.
    pub(crate) circles: Vec<Vec<Point>>,
}

/// `then` gives what a point comes before. Among what may come next, the lowest rank comes first, then the lowest number. Where a circle stands in the way it is
/// told, and its lowest point comes next all the same.
pub(crate) fn sequence<I>(ranks: &[u8], then: impl Fn(Point) -> I) -> Sequence
where
    I: Iterator<Item = Point>,
{
    let points = ranks.len();
    let mut waits_for = vec![0_u32; points];
    for point in 0..points {
        then(point).for_each(|then| waits_for[then] += 1);
    }
    let mut ready = Ready::new(ranks);
    (0..points).filter(|point| waits_for[*point] == 0).for_each(|point| ready.add(point));
    let mut placed = vec![false; points];
    let mut sequence = Sequence { points: Vec::with_capacity(points), circles: Vec::new() };
    while sequence.points.len() < points {
        let point = ready.take_first().unwrap_or_else(|| {
            let circle = circle(&placed, &then);
            let lowest = circle.iter().copied().min_by_key(|point| (ranks[*point], *point));
            sequence.circles.push(circle);
            lowest.unwrap_or_default()
        });
        if placed[point] {
            continue;
        }
        placed[point] = true;
        sequence.points.push(point);
        then(point).for_each(|after| {
            waits_for[after] -= 1;
            if waits_for[after] == 0 && !placed[after] {
                ready.add(after);
            }
        });
    }
    sequence
}

/// Points that may come next, as bits in the order in which they would.
struct Ready<'r> {
    ranks: &'r [u8],
    bits: Vec<u64>,
    /// No bit before this word is set.
    from: usize,
}

impl<'r> Ready<'r> {
    fn new(ranks: &'r [u8]) -> Self {
        let most = ranks.iter().max().map_or(0, |rank| usize::from(*rank) + 1);
        Self { ranks, bits: vec![0; (most * ranks.len()).div_ceil(WORD)], from: 0 }
    }

    fn add(&mut self, point: Point) {
        let place = usize::from(self.ranks[point]) * self.ranks.len() + point;
        self.bits[place / WORD] |= 1 << (place % WORD);
        self.from = self.from.min(place / WORD);
    }

    fn take_first(&mut self) -> Option<Point> {
        let skip = self.bits[self.from..].iter().position(|word| *word != 0)?;
        self.from += skip;
        let word = &mut self.bits[self.from];
        let place = self.from * WORD + word.trailing_zeros() as usize;
        *word &= *word - 1;
        Some(place % self.ranks.len())
    }
}

/// A circle among the points that are not placed; each of them waits for another.
fn circle<I>(placed: &[bool], then: &impl Fn(Point) -> I) -> Vec<Point>
where
    I: Iterator<Item = Point>,
{
    let mut waits_for = vec![None; placed.len()];
    for point in (0..placed.len()).rev().filter(|point| !placed[*point]) {
        then(point).for_each(|later| waits_for[later] = Some(point));
    }
    let mut path: Vec<Point> = placed.iter().position(|placed| !placed).into_iter().collect();
    while let Some(earlier) = path.last().and_then(|point| waits_for[*point]) {
        if let Some(at) = path.iter().position(|point| *point == earlier) {
            let mut circle = path.split_off(at);
            circle.reverse();
            let lowest = circle.iter().enumerate().min_by_key(|(_, point)| **point);
            let lowest = lowest.map_or(0, |(at, _)| at);
            circle.rotate_left(lowest);
            return circle;
        }
        path.push(earlier);
    }
    path
}
