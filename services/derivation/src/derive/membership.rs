//! What is a member under every completion of the unknown facts, under some, under none; and which facts decide.
//!
//! Kleene's bounds in the graph are exact where each fact reaches a node in one polarity. Everything else is tried:
//! the unknown facts that can reach a node are enumerated, as far as the statements on its way tell their values
//! apart. Facts that only occur in one way need no trying to know whether the node is undetermined.

use std::cell::OnceCell;

use crate::derive::cone::{Cone, collect};
use crate::derive::graph::{From, Graph, Kind, Link, LinkId, NodeId};
use crate::facts::{FactId, Truth};

/// What decides a node: a vehicle fact, or whether a line really means a candidate (indexes of both).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) enum Unknown {
    Fact(FactId),
    Line(usize, usize),
}

/// Whether a node is a member, and what it depends on while that is unknown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Membership {
    pub(crate) truth: Truth,
    pub(crate) depends_on: Vec<Unknown>,
}

impl Membership {
    /// What follows whatever the unknown facts are.
    pub(crate) const fn certain() -> Self {
        Self { truth: Truth::Yes, depends_on: Vec::new() }
    }
}

static CERTAIN: Membership = Membership::certain();

/// The membership of each node, worked out when it is first asked for.
pub(crate) struct Members<'g, 'a> {
    graph: &'g Graph<'a>,
    incoming: &'g Incoming,
    found: Vec<OnceCell<Membership>>,
}

impl<'g, 'a> Members<'g, 'a> {
    pub(crate) fn new(graph: &'g Graph<'a>, incoming: &'g Incoming) -> Self {
        Self { graph, incoming, found: vec![const { OnceCell::new() }; graph.nodes.len()] }
    }

    pub(crate) fn of(&self, node: NodeId) -> &Membership {
        if self.graph.nodes[node].certain {
            return &CERTAIN;
        }
        let node = self.incoming.begin_of(self.graph, node);
        self.found[node].get_or_init(|| self.find(node))
    }

    fn find(&self, node: NodeId) -> Membership {
        Cone::new(self.graph, self.incoming, node, None).membership(self.graph)
    }
}

/// Whether some unknown occurs in more than one way: only then can Kleene's bounds be mistaken.
pub(crate) fn may_be_mistaken(graph: &Graph<'_>) -> bool {
    let mut literals = Vec::new();
    for link in graph.links.iter().filter(|link| link.truth == Truth::Unknown) {
        collect(graph, &link.condition, &mut literals);
    }
    literals.sort_unstable();
    literals.dedup();
    literals.windows(2).any(|pair| pair[0].0 == pair[1].0)
}

/// Whether a node comes from a line on some vehicle.
pub(crate) fn comes_from(
    graph: &Graph<'_>,
    incoming: &Incoming,
    node: NodeId,
    line: usize,
) -> bool {
    let mut cone = Cone::new(graph, incoming, incoming.begin_of(graph, node), Some(line));
    !cone.may_be_mistaken() || cone.membership(graph).truth != Truth::No
}

/// The links that lead to each node.
#[derive(Debug)]
pub(crate) struct Incoming {
    begins: Vec<usize>,
    links: Vec<LinkId>,
}

impl Incoming {
    pub(crate) fn new(graph: &Graph<'_>) -> Self {
        let mut begins = vec![0; graph.nodes.len() + 1];
        for link in &graph.links {
            begins[link.to + 1] += 1;
        }
        for node in 0..graph.nodes.len() {
            begins[node + 1] += begins[node];
        }
        let mut next = begins.clone();
        let mut links = vec![0; graph.links.len()];
        for (id, link) in graph.links.iter().enumerate() {
            links[next[link.to]] = id;
            next[link.to] += 1;
        }
        Self { begins, links }
    }

    pub(crate) fn of(&self, node: NodeId) -> &[LinkId] {
        &self.links[self.begins[node]..self.begins[node + 1]]
    }

    /// What is a member whenever this node is, and never without it: a node that follows from another one alone, on every
    /// vehicle, stands and falls with it. Found earlier than the node, so that the way back ends.
    fn begin_of(&self, graph: &Graph<'_>, mut node: NodeId) -> NodeId {
        while let [only] = self.of(node)
            && let Link { truth: Truth::Yes, from: From::Node(from), .. } = graph.links[*only]
        {
            node = from;
        }
        node
    }
}

/// Whether a node is a task.
pub(crate) fn is_task(graph: &Graph<'_>, node: NodeId) -> bool {
    matches!(graph.nodes[node].kind, Kind::Task { .. })
}
