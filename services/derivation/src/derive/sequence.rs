//! A sequence that keeps every edge, and the circles that make one impossible.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use crate::derive::order::Point;
use crate::derive::raw_edge::RawEdge;

pub(crate) struct Sequence {
    /// Every point once.
    pub(crate) points: Vec<Point>,
    /// Circles of edges; each point comes before the next and the last before the first.
    pub(crate) circles: Vec<Vec<Point>>,
}

/// The edges are sorted. Among what may come next, the lowest rank comes first, then the lowest number. Where a circle stands in the way
/// it is told, and its lowest point comes next all the same.
pub(crate) fn sequence(ranks: &[u8], edges: &[RawEdge]) -> Sequence {
    let points = ranks.len();
    let mut begins = vec![0_usize; points + 1];
    let mut waits_for = vec![0_usize; points];
    for edge in edges {
        begins[edge.before() + 1] += 1;
        waits_for[edge.then()] += 1;
    }
    for point in 0..points {
        begins[point + 1] += begins[point];
    }
    let mut ready: BinaryHeap<Reverse<(u8, Point)>> = (0..points)
        .filter(|point| waits_for[*point] == 0)
        .map(|point| Reverse((ranks[point], point)))
        .collect();
    let mut placed = vec![false; points];
    let mut sequence = Sequence { points: Vec::with_capacity(points), circles: Vec::new() };
    while sequence.points.len() < points {
        let point = if let Some(Reverse((_, point))) = ready.pop() {
            point
        } else {
            let circle = circle(&placed, edges);
            let lowest = circle.iter().copied().min_by_key(|point| (ranks[*point], *point));
            sequence.circles.push(circle);
            lowest.unwrap_or_default()
        };
        if placed[point] {
            continue;
        }
        placed[point] = true;
        sequence.points.push(point);
        for after in edges[begins[point]..begins[point + 1]].iter().map(|edge| edge.then()) {
            waits_for[after] -= 1;
            if waits_for[after] == 0 && !placed[after] {
                ready.push(Reverse((ranks[after], after)));
            }
        }
    }
    sequence
}

/// A circle among the points that are not placed; each of them waits for another.
fn circle(placed: &[bool], edges: &[RawEdge]) -> Vec<Point> {
    let before = |point: Point| {
        edges.iter().find(|e| e.then() == point && !placed[e.before()]).map(|e| e.before())
    };
    let mut path: Vec<Point> = placed.iter().position(|placed| !placed).into_iter().collect();
    while let Some(earlier) = path.last().and_then(|point| before(*point)) {
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
