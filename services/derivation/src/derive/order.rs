//! What comes before what. These edges are between members; they never add members.

use domain::procedure::Phase;

use crate::bits::ones;
use crate::derive::edges::Edges;
use crate::derive::graph::{Actor, From, Graph, Kind, NodeId, Why};
use crate::derive::lines::LineSets;
use crate::derive::membership::Members;
use crate::derive::reach::Reach;
use crate::derive::sequence;
use crate::derive::stretches::{self, Stretch};
use crate::derive::{Bracket, Edge, EdgeKind, EitherOr, Finding, Node};
use crate::facts::Truth;
use crate::symbols::Symbol;

/// Tasks in a workable order, and everything said about order; task indexes are places in `tasks`.
pub(crate) struct Arranged<'a> {
    pub(crate) tasks: Vec<NodeId>,
    pub(crate) edges: Vec<Edge>,
    pub(crate) either_or: Vec<EitherOr>,
    pub(crate) brackets: Vec<Bracket<'a>>,
    pub(crate) findings: Vec<Finding>,
}

/// A task by its place in the given list, or a line by index behind all tasks.
pub(crate) type Point = usize;

pub(crate) fn arrange<'a>(
    graph: &Graph<'a>,
    members: &Members<'_, 'a>,
    tasks: &[NodeId],
    lines: &LineSets,
) -> Arranged<'a> {
    let mut point_of = vec![None; graph.nodes.len()];
    for (point, node) in tasks.iter().enumerate() {
        point_of[*node] = Some(point);
    }
    let order = Order { graph, members, tasks, lines, point_of };
    let mut edges = order.fixed();
    let spans = order.spans(&edges);
    let (disturbing, mut stretches) = order.disturbances(&spans);
    stretches::leave_out_what_belongs_inside(&edges, &mut stretches);
    for (by, task) in disturbing {
        edges.add(by, task, EdgeKind::Disturbs);
    }
    let either_or = stretches::settle(&mut edges, stretches);
    let sequence = sequence::sequence(&order.ranks(), |point| ones(edges.then(point)));
    order.numbered(&sequence, &edges, &either_or, &spans)
}

/// A service mode: what enters and leaves it, and what belongs inside.
struct Span<'a> {
    mode: &'a str,
    enter: Point,
    leave: Point,
    inside: Vec<Point>,
}

struct Order<'g, 'a> {
    graph: &'g Graph<'a>,
    members: &'g Members<'g, 'a>,
    tasks: &'g [NodeId],
    lines: &'g LineSets,
    point_of: Vec<Option<Point>>,
}

impl<'a> Order<'_, 'a> {
    fn line(&self, index: usize) -> Point {
        self.tasks.len() + index
    }

    fn procedure(&self, point: Point) -> (usize, Option<Symbol>) {
        match self.graph.nodes[self.tasks[point]].kind {
            Kind::Task { procedure, place, .. } => (procedure, place),
            Kind::Operation { .. } => (usize::MAX, None),
        }
    }

    fn phase(&self, point: Point) -> Phase {
        self.graph.task(self.tasks[point]).0.phase
    }

    /// Edges by phase, need, mode and `after`.
    fn fixed(&self) -> Edges {
        let mut edges = Edges::none(self.tasks.len() + self.graph.repair.lines.len());
        for (point, node) in self.tasks.iter().enumerate() {
            let phase = self.phase(point);
            for line in self.lines.of(*node).map(|line| self.line(line)) {
                match phase {
                    Phase::Before => edges.add(point, line, EdgeKind::Phase),
                    Phase::After => edges.add(line, point, EdgeKind::Phase),
                }
            }
            let (procedure, place) = self.procedure(point);
            let after = &self.graph.compiled.procedures[procedure].after;
            for earlier in after.and(&self.graph.present) {
                for first in self.graph.tasks_of(earlier).filter_map(|node| self.point_of[node]) {
                    if first != point && meet(self.procedure(first).1, place) {
                        edges.add(first, point, EdgeKind::After);
                    }
                }
            }
        }
        for link in &self.graph.links {
            let From::Node(from) = link.from else { continue };
            let (Some(from), Some(to)) = (self.point_of[from], self.point_of[link.to]) else {
                continue;
            };
            match link.why {
                Why::Needed if from != to => edges.add(to, from, EdgeKind::Needs),
                Why::LeavesMode if from != to => edges.add(from, to, EdgeKind::Needs),
                _ => {}
            }
        }
        edges
    }

    fn spans(&self, edges: &Edges) -> Vec<Span<'a>> {
        let mut ends: Vec<(Point, Point)> = self
            .graph
            .links
            .iter()
            .filter(|link| link.why == Why::LeavesMode)
            .filter_map(|link| match link.from {
                From::Node(from) => Some((self.point_of[from]?, self.point_of[link.to]?)),
                _ => None,
            })
            .collect();
        if ends.is_empty() {
            return Vec::new();
        }
        ends.sort_unstable();
        ends.dedup();
        let mut later = Reach::new(edges);
        let mut earlier = Reach::backwards(edges);
        ends.into_iter()
            .filter_map(|(enter, leave)| {
                let opens = self.graph.task(self.tasks[enter]).0.opens.as_ref()?;
                let between = later.from(enter).iter().zip(earlier.from(leave));
                let inside = ones(between.map(|(later, earlier)| later & earlier))
                    .filter(|point| *point != enter && *point != leave)
                    .collect();
                Some(Span { mode: &opens.mode, enter, leave, inside })
            })
            .collect()
    }

    /// Edges from a disturber to what it disturbs, and stretches that it must not fall into.
    fn disturbances(&self, spans: &[Span<'_>]) -> (Vec<(Point, Point)>, Vec<Stretch>) {
        let graph = self.graph;
        let mut edges = Vec::with_capacity(self.tasks.len());
        let mut stretches = Vec::new();
        for (node, by, operation) in graph.operations() {
            let by = match by {
                Actor::Line(line) => self.line(line),
                Actor::Task(task) => match self.point_of[task] {
                    Some(point) => point,
                    None => continue,
                },
                Actor::Observed(_) => continue,
            };
            let mut happens = None;
            for procedure in graph.compiled.disturbed.by(operation).and(&graph.present) {
                for task in graph.tasks_of(procedure).filter_map(|task| self.point_of[task]) {
                    let own = by < self.tasks.len() && self.procedure(by).0 == procedure;
                    if own || !meet(self.procedure(task).1, operation.place) {
                        continue;
                    }
                    let happens =
                        *happens.get_or_insert_with(|| self.members.of(node).truth != Truth::No);
                    if happens {
                        self.disturbance(by, task, spans, &mut edges, &mut stretches);
                    }
                }
            }
        }
        (edges, stretches)
    }

    fn disturbance(
        &self,
        by: Point,
        task: Point,
        spans: &[Span<'_>],
        edges: &mut Vec<(Point, Point)>,
        stretches: &mut Vec<Stretch>,
    ) {
        let mut spanned = false;
        for span in spans.iter().filter(|span| span.enter == task || span.leave == task) {
            if by == span.enter || by == span.leave || span.inside.contains(&by) {
                return;
            }
            if span.enter == task {
                stretches.push((task, span.leave, by));
                spanned = true;
            }
        }
        if spanned {
            return;
        }
        let lines = || self.lines.of(self.tasks[task]).map(|line| self.line(line));
        if self.phase(task) == Phase::After || lines().next().is_none() {
            edges.push((by, task));
        } else if lines().all(|line| line != by) {
            // It has to hold until the lines begin that it is done for; what is one of them comes later anyway.
            stretches.extend(lines().map(|line| (task, line, by)));
        }
    }

    /// What comes first among what may come next: preparations, lines, the rest; each as the catalogue lists it.
    fn ranks(&self) -> Vec<u8> {
        let tasks = (0..self.tasks.len()).map(|point| match self.phase(point) {
            Phase::Before => 0,
            Phase::After => 2,
        });
        tasks.chain(std::iter::repeat_n(1, self.graph.repair.lines.len())).collect()
    }

    fn numbered(
        &self,
        sequence: &sequence::Sequence,
        edges: &Edges,
        either_or: &[Stretch],
        spans: &[Span<'a>],
    ) -> Arranged<'a> {
        let mut place = vec![0; self.tasks.len()];
        let mut in_order: Vec<Point> = Vec::with_capacity(sequence.points.len());
        in_order.extend(sequence.points.iter().filter(|point| **point < self.tasks.len()));
        for (at, point) in in_order.iter().enumerate() {
            place[*point] = at;
        }
        let node = |point: Point| match place.get(point) {
            Some(at) => Node::Task(*at),
            None => Node::Line(self.graph.repair.lines[point - self.tasks.len()].line),
        };
        let edges = self.edges(edges, &in_order);
        let mut either_or: Vec<EitherOr> = either_or
            .iter()
            .map(|&(enter, leave, by)| EitherOr {
                enter: node(enter),
                leave: node(leave),
                disturber: node(by),
            })
            .collect();
        either_or.sort_unstable();
        let mut brackets: Vec<Bracket<'a>> = spans
            .iter()
            .map(|span| {
                let mut inside: Vec<Node> = span.inside.iter().map(|point| node(*point)).collect();
                inside.sort_unstable();
                Bracket {
                    mode: span.mode,
                    enter: place[span.enter],
                    leave: place[span.leave],
                    inside,
                }
            })
            .collect();
        brackets.sort_unstable_by_key(|bracket| (bracket.enter, bracket.leave));
        let findings = sequence
            .circles
            .iter()
            .map(|circle| self.conflict(circle, circle.iter().map(|point| node(*point)).collect()))
            .collect();
        let tasks = in_order.iter().map(|point| self.tasks[*point]).collect();
        Arranged { tasks, edges, either_or, brackets, findings }
    }

    /// The edges of the answer: tasks by their places in it before lines by their numbers.
    fn edges(&self, edges: &Edges, in_order: &[Point]) -> Vec<Edge> {
        let tasks = self.tasks.len();
        let lines = self.graph.repair.lines;
        let mut points: Vec<Point> = Vec::with_capacity(tasks + lines.len());
        points.extend_from_slice(in_order);
        points.extend(tasks..tasks + lines.len());
        points[tasks..].sort_unstable_by_key(|line| lines[*line - tasks].line);
        let mut number_of = vec![0; points.len()];
        for (number, point) in points.iter().enumerate() {
            number_of[*point] = number;
        }
        let node = |number: usize| match points[number].checked_sub(tasks) {
            Some(line) => Node::Line(lines[line].line),
            None => Node::Task(number),
        };
        let edge = |(before, then, kind)| Edge { before: node(before), then: node(then), kind };
        let mut told = Vec::with_capacity(4 * points.len());
        edges.renumbered(&number_of).each().for_each(|pair| told.push(edge(pair)));
        told
    }

    fn conflict(&self, circle: &[Point], path: Vec<Node>) -> Finding {
        let name = |point: &Point| match self.tasks.get(*point) {
            Some(node) => {
                let (procedure, place) = self.graph.task(*node);
                match place {
                    Some(place) => format!("`{}` ({place})", procedure.id),
                    None => format!("`{}`", procedure.id),
                }
            }
            None => format!("line {}", self.graph.repair.lines[*point - self.tasks.len()].line),
        };
        let mut names: Vec<String> = circle.iter().map(name).collect();
        names.extend(circle.first().map(name));
        Finding {
            code: "order_conflict",
            detail: format!("each must come before the next: {}", names.join(" -> ")),
            path,
        }
    }
}

/// Whether two places can be the same spot: no place is the whole vehicle.
fn meet(one: Option<Symbol>, other: Option<Symbol>) -> bool {
    match (one, other) {
        (Some(one), Some(other)) => one == other,
        _ => true,
    }
}
