//! From an order to what it makes necessary: tasks with their reasons, their order, and what must be asked.

mod cone;
mod edges;
pub(crate) mod graph;
mod lines;
pub(crate) mod membership;
mod order;
pub mod questions;
mod reach;
pub mod reason;
pub(crate) mod sequence;
mod stretches;
mod truth_table;

use domain::procedure::{Phase, Procedure};

use crate::derive::graph::{Graph, NodeId};
use crate::derive::lines::LineSets;
use crate::derive::membership::{Incoming, Members};
use crate::derive::questions::Question;
use crate::derive::reason::Reason;
use crate::facts::Truth;
use crate::index::Compiled;
use crate::repair::Repair;

/// What a repair makes necessary. It borrows from the catalogue and the order.
#[derive(Debug, Clone, PartialEq)]
pub struct Derivation<'a> {
    /// The tasks, in an order in which they can be worked.
    pub tasks: Vec<DerivedTask<'a>>,
    /// What comes before what, each pair once.
    pub edges: Vec<Edge>,
    /// What must not fall between two things.
    pub either_or: Vec<EitherOr>,
    /// The service modes that are entered and left.
    pub brackets: Vec<Bracket<'a>>,
    /// What must be asked, by what it asks for.
    pub questions: Vec<Question<'a>>,
    /// What a person should see.
    pub findings: Vec<Finding>,
}

/// One procedure at one place of the vehicle.
#[derive(Debug, Clone, PartialEq)]
pub struct DerivedTask<'a> {
    /// The procedure.
    pub procedure: &'a Procedure,
    /// Where on the vehicle, for procedures that are done per place.
    pub place: Option<&'a str>,
    /// Required whatever the unknown facts are; otherwise undetermined until the questions are answered.
    pub required: bool,
    /// Before or after the mechanical work of `lines`.
    pub phase: Phase,
    /// The lines that it belongs to, ascending.
    pub lines: Vec<i32>,
    /// Why, each way once.
    pub because: Vec<Reason<'a>>,
}

/// A task (by index in `tasks`) or a line (by number).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Node {
    /// Index in [`Derivation::tasks`].
    Task(usize),
    /// Number of the line.
    Line(i32),
}

/// One comes before the other, if both are there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Edge {
    /// What is over first.
    pub before: Node,
    /// What may start then.
    pub then: Node,
    /// Why.
    pub kind: EdgeKind,
}

/// Why one comes before the other; the first that applies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum EdgeKind {
    /// The task is before or after the line's mechanical work.
    Phase,
    /// It is needed, or it enters the mode that the other leaves.
    Needs,
    /// The procedure comes after the other when both are required.
    After,
    /// One undoes the other, or would fall into the service mode that the other enters or leaves.
    Disturbs,
}

/// The disturber is over before `enter` starts, or starts after `leave` is over; both are still possible. Where other
/// edges decide which, there is an edge instead.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct EitherOr {
    /// What begins the stretch.
    pub enter: Node,
    /// What ends it.
    pub leave: Node,
    /// What must not fall into it.
    pub disturber: Node,
}

/// A service mode on this order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bracket<'a> {
    /// Its name.
    pub mode: &'a str,
    /// The task that enters it, by index.
    pub enter: usize,
    /// The task that leaves it, by index.
    pub leave: usize,
    /// What belongs inside, lines and tasks, ascending.
    pub inside: Vec<Node>,
}

/// Something noticed.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Finding {
    /// Stable word: `order_conflict`, `unknown_operation`.
    pub code: &'static str,
    /// In words.
    pub detail: String,
    /// For an `order_conflict`: the circle, each before the next, the last before the first.
    pub path: Vec<Node>,
}

/// Derives. The same catalogue and order give the same answer, whatever order rules and facts are written in
/// within their lists of equals.
pub fn derive<'a>(compiled: &'a Compiled, repair: &Repair<'a>) -> Derivation<'a> {
    let graph = Graph::new(compiled, *repair);
    let incoming = Incoming::new(&graph);
    let members = Members::new(&graph, &incoming);
    let lines = LineSets::new(&graph, &incoming);
    let mut tasks: Vec<NodeId> = Vec::with_capacity(graph.nodes.len());
    for procedure in graph.present.all() {
        let begin = tasks.len();
        tasks.extend(graph.tasks_of(procedure).filter(|task| members.of(*task).truth != Truth::No));
        tasks[begin..].sort_unstable_by_key(|task| graph.task(*task).1);
    }
    let arranged = order::arrange(&graph, &members, &tasks, &lines);
    let mut seen = reason::Seen::with_capacity(16);
    let derived = arranged
        .tasks
        .iter()
        .map(|&node| {
            let (procedure, place) = graph.task(node);
            DerivedTask {
                procedure,
                place,
                required: members.of(node).truth == Truth::Yes,
                phase: procedure.phase,
                lines: lines.of(node).map(|line| repair.lines[line].line).collect(),
                because: reason::reasons(&graph, &incoming, node, &mut seen),
            }
        })
        .collect();
    let questions = questions::questions(&graph, &members, &arranged.tasks);
    let mut findings = arranged.findings;
    findings.extend(graph.unknown.iter().map(|operation| Finding {
        code: "unknown_operation",
        detail: format!(
            "the catalogue does not know `{} {}`{}",
            operation.action,
            operation.component,
            operation.place.as_ref().map(|place| format!(" at `{place}`")).unwrap_or_default()
        ),
        path: Vec::new(),
    }));
    Derivation {
        tasks: derived,
        edges: arranged.edges,
        either_or: arranged.either_or,
        brackets: arranged.brackets,
        questions,
        findings,
    }
}
