//! What must not fall between two things: kept out by an edge where it is known on which side it falls.

use crate::derive::EdgeKind;
use crate::derive::edges::Edges;
use crate::derive::order::Point;
use crate::derive::reach::Reach;

/// What begins it, what ends it, and what must not fall into it.
pub(crate) type Stretch = (Point, Point, Point);

/// What comes between beginning and end by itself, without any disturbance, is no disturbance.
pub(crate) fn leave_out_what_belongs_inside(fixed: &Edges, stretches: &mut Vec<Stretch>) {
    if !stretches.is_empty() {
        let mut reach = Reach::new(fixed);
        stretches.retain(|&(enter, leave, by)| !(reach.leads(enter, by) && reach.leads(by, leave)));
    }
}

/// A disturber that must come before the end of a stretch comes before its beginning, and one that must come after the
/// beginning comes after the end: such a stretch becomes an edge. Gives the stretches of which that is not decided.
pub(crate) fn settle(edges: &mut Edges, mut stretches: Vec<Stretch>) -> Vec<Stretch> {
    stretches.sort_unstable();
    stretches.dedup();
    while !stretches.is_empty() {
        let mut reach = Reach::new(edges);
        let mut grew = false;
        for &(enter, leave, by) in &stretches {
            let mut add = |before, then| {
                if !edges.has(before, then) {
                    edges.add(before, then, EdgeKind::Disturbs);
                    grew = true;
                }
            };
            if reach.leads(by, leave) {
                add(by, enter);
            }
            if reach.leads(enter, by) {
                add(leave, by);
            }
        }
        if !grew {
            stretches
                .retain(|&(enter, leave, by)| !reach.leads(by, enter) && !reach.leads(leave, by));
            break;
        }
    }
    stretches
}
