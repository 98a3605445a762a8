//! What must not fall between two things: kept out by an edge where it is known on which side it falls.

use crate::derive::EdgeKind;
use crate::derive::order::Point;
use crate::derive::raw_edge::RawEdge;
use crate::derive::reach::Reach;

/// What begins it, what ends it, and what must not fall into it.
pub(crate) type Stretch = (Point, Point, Point);

/// What comes between beginning and end by itself, without any disturbance, is no disturbance.
pub(crate) fn leave_out_what_belongs_inside(
    points: usize,
    fixed: &[RawEdge],
    stretches: &mut Vec<Stretch>,
) {
    if !stretches.is_empty() {
        let mut reach = Reach::new(points, fixed);
        stretches.retain(|&(enter, leave, by)| !(reach.leads(enter, by) && reach.leads(by, leave)));
    }
}

/// A disturber that must come before the end of a stretch comes before its beginning, and one that must come after the
/// beginning comes after the end: such a stretch becomes an edge. Gives the stretches of which that is not decided,
/// and leaves the edges sorted, each pair once.
pub(crate) fn settle(
    points: usize,
    edges: &mut Vec<RawEdge>,
    mut stretches: Vec<Stretch>,
) -> Vec<Stretch> {
    stretches.sort_unstable();
    stretches.dedup();
    loop {
        edges.sort_unstable();
        edges.dedup_by_key(|edge| edge.pair());
        if stretches.is_empty() {
            return stretches;
        }
        let mut reach = Reach::new(points, edges);
        let known = edges.len();
        for &(enter, leave, by) in &stretches {
            let mut add = |before, then| {
                let edge = RawEdge::new(before, then, EdgeKind::Disturbs);
                if edges[..known].binary_search_by_key(&edge.pair(), |e| e.pair()).is_err() {
                    edges.push(edge);
                }
            };
            if reach.leads(by, leave) {
                add(by, enter);
            }
            if reach.leads(enter, by) {
                add(leave, by);
            }
        }
        if edges.len() == known {
            stretches
                .retain(|&(enter, leave, by)| !reach.leads(by, enter) && !reach.leads(leave, by));
            return stretches;
        }
    }
}
