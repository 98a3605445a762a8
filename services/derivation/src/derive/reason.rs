//! Why a task is there, as a chain: line and words -> operation -> rule -> procedure -> source.

use std::fmt;

use domain::catalogue::Rule;
use domain::operation::Operation;
use domain::procedure::Procedure;

use crate::derive::graph::{From, Graph, Kind, LinkId, NodeId, Why};
use crate::derive::membership::Incoming;
use crate::index::Interned;

/// One way in which a task became necessary.
#[derive(Debug, Clone, PartialEq)]
pub struct Reason<'a> {
    /// The line it comes from.
    pub line: Option<i32>,
    /// The line's words.
    pub words: Option<&'a str>,
    /// The operation that the rule matched, or that the chain began with.
    pub operation: Option<OperationRef<'a>>,
    /// The trouble code it comes from.
    pub trouble_code: Option<&'a str>,
    /// The complaint it comes from.
    pub complaint: Option<&'a str>,
    /// What led from there to here, in order, without the task itself.
    pub via: Vec<Via<'a>>,
    /// The rule that requires it.
    pub rule: Option<&'a Rule>,
    /// Without a rule: the procedure that needs it first, or that enters the mode it leaves.
    pub needed_by: Option<&'a Procedure>,
    /// The source of the rule, or of the procedure that needs it.
    pub source: &'a str,
}

/// An operation by its words.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct OperationRef<'a> {
    /// The action.
    pub action: &'a str,
    /// The component.
    pub component: &'a str,
    /// Where on the vehicle.
    pub place: Option<&'a str>,
}

/// A link of the chain.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Via<'a> {
    /// An operation that followed.
    Operation(OperationRef<'a>),
    /// A procedure that became necessary on the way.
    Procedure(&'a str),
}

impl Reason<'_> {
    /// Why, in words.
    pub fn why(&self) -> String {
        match (self.rule, self.needed_by) {
            (Some(rule), _) => rule.because.clone(),
            (None, Some(by)) if by.opens.is_some() => {
                format!("`{}` needs it, to begin or to end", by.title)
            }
            (None, Some(by)) => format!("`{}` needs it first", by.title),
            (None, None) => String::new(),
        }
    }
}

impl OperationRef<'_> {
    /// The operation with words of its own.
    pub fn to_operation(self) -> Operation {
        Operation {
            action: self.action.to_owned(),
            component: self.component.to_owned(),
            place: self.place.map(str::to_owned),
        }
    }
}

impl fmt::Display for OperationRef<'_> {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{} {}", self.action, self.component)?;
        match self.place {
            Some(place) => write!(out, " ({place})"),
            None => Ok(()),
        }
    }
}

impl fmt::Display for Via<'_> {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Operation(operation) => operation.fmt(out),
            Self::Procedure(procedure) => out.write_str(procedure),
        }
    }
}

impl<'a> Graph<'a> {
    /// Procedure and place of a task's node.
    pub(crate) fn task(&self, node: NodeId) -> (&'a Procedure, Option<&'a str>) {
        let compiled = self.compiled;
        match self.nodes[node].kind {
            Kind::Task { procedure, place, .. } => (
                &compiled.catalogue().procedures[procedure],
                place.map(|place| compiled.symbols.name(place)),
            ),
            Kind::Operation { .. } => unreachable!("a task's node"),
        }
    }

    pub(crate) fn operation_ref(&self, operation: Interned) -> OperationRef<'a> {
        let symbols = &self.compiled.symbols;
        OperationRef {
            action: symbols.name(operation.action),
            component: symbols.name(operation.component),
            place: operation.place.map(|place| symbols.name(place)),
        }
    }
}

/// What makes a reason the same as another: why, by which task, from where.
pub(crate) type Seen = Vec<(Why, Option<NodeId>, From)>;

/// Every way in which a task became necessary; the same rule for the same origin once, by its shortest chain.
/// `seen` is room to work in.
pub(crate) fn reasons<'a>(
    graph: &Graph<'a>,
    incoming: &Incoming,
    task: NodeId,
    seen: &mut Seen,
) -> Vec<Reason<'a>> {
    let links = incoming.of(task);
    seen.clear();
    let mut reasons = Vec::with_capacity(links.len());
    for &id in links {
        let link = &graph.links[id];
        let by = match (link.why, link.from) {
            (Why::Needed | Why::LeavesMode, From::Node(by)) => Some(by),
            _ => None,
        };
        let (root, steps) = trace(graph, id);
        let origin = match root {
            From::Line(at, _) => From::Line(at, 0),
            other => other,
        };
        if seen.contains(&(link.why, by, origin)) {
            continue;
        }
        seen.push((link.why, by, origin));
        reasons.push(reason(graph, id, root, steps));
    }
    reasons
}

/// The origin of a link's start, and how many nodes lead from there to it.
fn trace(graph: &Graph<'_>, id: LinkId) -> (From, usize) {
    let mut steps = 0;
    let mut from = graph.links[id].from;
    while let From::Node(node) = from {
        steps += 1;
        from = graph.links[graph.nodes[node].parent].from;
    }
    (from, steps)
}

/// The nodes that lead from an origin to a link's start, in order.
fn chain<'a>(graph: &Graph<'a>, id: LinkId, steps: usize) -> Vec<Via<'a>> {
    let mut via = Vec::with_capacity(steps);
    let mut from = graph.links[id].from;
    while let From::Node(node) = from {
        via.push(match graph.nodes[node].kind {
            Kind::Task { procedure, .. } => {
                Via::Procedure(&graph.compiled.catalogue().procedures[procedure].id)
            }
            Kind::Operation { operation, .. } => Via::Operation(graph.operation_ref(operation)),
        });
        from = graph.links[graph.nodes[node].parent].from;
    }
    via.reverse();
    via
}

fn reason<'a>(graph: &Graph<'a>, id: LinkId, root: From, steps: usize) -> Reason<'a> {
    let link = &graph.links[id];
    let repair = graph.repair;
    let catalogue = graph.compiled.catalogue();
    let alone = match link.from {
        From::Node(node) if steps == 1 => match graph.nodes[node].kind {
            Kind::Operation { operation, .. } => Some(graph.operation_ref(operation)),
            Kind::Task { .. } => None,
        },
        _ => None,
    };
    let via = if alone.is_some() { Vec::new() } else { chain(graph, id, steps) };
    let operation = alone.or_else(|| match (via.first(), via.last()) {
        (_, Some(Via::Operation(last))) => Some(*last),
        (Some(Via::Operation(first)), _) => Some(*first),
        _ => None,
    });
    let rule = match link.why {
        Why::Rule(rule) => Some(&catalogue.rules[rule]),
        _ => None,
    };
    let needed_by = match (link.why, link.from) {
        (Why::Needed | Why::LeavesMode, From::Node(by)) => Some(graph.task(by).0),
        _ => None,
    };
    let (number, words) = match root {
        From::Line(at, which) => {
            let stated = &repair.lines[at].operations[which];
            (Some(repair.lines[at].line), Some(stated.words.as_str()))
        }
        _ => (None, None),
    };
    Reason {
        line: number,
        words,
        operation,
        trouble_code: match root {
            From::TroubleCode(at) => Some(&repair.trouble_codes[at]),
            _ => None,
        },
        complaint: match root {
            From::Complaint(at) => Some(&repair.complaints[at]),
            _ => None,
        },
        via,
        rule,
        needed_by,
        source: rule
            .map(|rule| rule.source.as_str())
            .or_else(|| needed_by.map(|by| by.source.as_str()))
            .unwrap_or_default(),
    }
}
