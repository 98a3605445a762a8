//! What is a member under every completion of the unknown facts, under some, under none; and which facts decide.
//!
//! Kleene's bounds in the graph are exact where each fact reaches a node in one polarity. Everything else is tried:
//! the unknown facts that can reach a node are enumerated, as far as the statements on its way tell their values
//! apart. Facts that only occur in one way need no trying to know whether the node is undetermined.

use std::cell::OnceCell;

use crate::derive::graph::{Condition, From, Graph, Kind, Link, LinkId, NodeId};
use crate::facts::{AtomId, FactId, Truth, Value};

/// What decides a node: a vehicle fact, or whether a line really means a candidate (indexes of both).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) enum Unknown {
    Fact(FactId),
    Line(usize, usize),
}

/// How often a node is evaluated at most; beyond that only facts that reach it in both polarities are tried.
const MOST_CASES: usize = 4_096;

/// Whether a node is a member, and what it depends on while that is unknown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Membership {
    pub(crate) truth: Truth,
    pub(crate) depends_on: Vec<Unknown>,
}

/// What follows whatever the unknown facts are.
static CERTAIN: Membership = Membership { truth: Truth::Yes, depends_on: Vec::new() };

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
        let mut cone = Cone::new(self.graph, self.incoming, node, None);
        cone.tell_values_apart(self.graph);
        if let [Variable { what, classes, .. }] = &cone.variables[..]
            && cone.is_plain
            && classes.len() > 1
        {
            return Membership { truth: Truth::Unknown, depends_on: vec![*what] };
        }
        cone.evaluate(self.graph)
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
    let may_be_mistaken = cone.variables.iter().any(|variable| variable.mixed);
    !may_be_mistaken || {
        cone.tell_values_apart(graph);
        cone.evaluate(graph).truth != Truth::No
    }
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

/// The unknown part of the graph from which a node can be reached.
struct Cone {
    node: NodeId,
    /// Only what comes from this line counts.
    line: Option<usize>,
    links: Vec<LinkId>,
    variables: Vec<Variable>,
    /// Every link depends on one statement at most, and all on the same one.
    is_plain: bool,
}

struct Variable {
    what: Unknown,
    atoms: Vec<AtomId>,
    /// It occurs in more than one way.
    mixed: bool,
    /// The values that can be told apart: the truth of each of `atoms`.
    classes: Vec<Vec<bool>>,
}

impl Cone {
    fn new(graph: &Graph<'_>, incoming: &Incoming, node: NodeId, line: Option<usize>) -> Self {
        let mut seen = vec![node];
        let mut links = Vec::new();
        let mut literals: Vec<(Unknown, AtomId, bool)> = Vec::new();
        let mut next = 0;
        while next < seen.len() {
            for &id in incoming.of(seen[next]) {
                links.push(id);
                let link = &graph.links[id];
                collect(graph, &link.condition, &mut literals);
                if let From::Node(from) = link.from
                    && (line.is_some() || !graph.nodes[from].certain)
                    && !seen.contains(&from)
                {
                    seen.push(from);
                }
            }
            next += 1;
        }
        literals.sort_unstable();
        literals.dedup();
        let is_plain = literals.len() == 1;
        let mut variables: Vec<Variable> = Vec::new();
        for &(what, atom, _) in &literals {
            match variables.last_mut() {
                Some(last) if last.what == what => {
                    last.mixed = true;
                    if last.atoms.last() != Some(&atom) {
                        last.atoms.push(atom);
                    }
                }
                _ => variables.push(Variable {
                    what,
                    atoms: vec![atom],
                    mixed: false,
                    classes: Vec::new(),
                }),
            }
        }
        Self { node, line, links, variables, is_plain }
    }

    /// Must come before it is evaluated.
    fn tell_values_apart(&mut self, graph: &Graph<'_>) {
        for variable in &mut self.variables {
            variable.classes = classes(graph, variable.what, &variable.atoms);
        }
    }

    fn evaluate(&self, graph: &Graph<'_>) -> Membership {
        let cases = self.variables.iter().try_fold(1_usize, |cases, variable| {
            cases.checked_mul(variable.classes.len()).filter(|cases| *cases <= MOST_CASES)
        });
        match cases {
            Some(cases) => self.try_all(graph, cases),
            None => self.bounds(graph),
        }
    }

    /// Evaluates every case.
    fn try_all(&self, graph: &Graph<'_>, cases: usize) -> Membership {
        let mut chosen = vec![0; self.variables.len()];
        let results: Vec<bool> = (0..cases)
            .map(|mut case| {
                for (choice, variable) in chosen.iter_mut().zip(&self.variables) {
                    *choice = case % variable.classes.len();
                    case /= variable.classes.len();
                }
                self.reaches(graph, &chosen.iter().copied().map(Some).collect::<Vec<_>>(), false)
            })
            .collect();
        let mut stride = 1;
        let mut depends_on = Vec::new();
        for variable in &self.variables {
            let size = variable.classes.len();
            let matters = (0..cases).any(|case| {
                let at = case / stride % size;
                at > 0 && results[case] != results[case - stride]
            });
            if matters {
                depends_on.push(variable.what);
            }
            stride *= size;
        }
        let truth = match (results.contains(&true), results.contains(&false)) {
            (true, true) => Truth::Unknown,
            (true, false) => Truth::Yes,
            (false, _) => Truth::No,
        };
        Membership { truth, depends_on }
    }

    /// Too many cases: only facts that occur in more than one way are tried, with both bounds of the others. The
    /// facts asked for may then be more than the fewest.
    fn bounds(&self, graph: &Graph<'_>) -> Membership {
        let mixed: Vec<usize> =
            (0..self.variables.len()).filter(|v| self.variables[*v].mixed).collect();
        let cases = mixed
            .iter()
            .try_fold(1_usize, |cases, v| {
                cases.checked_mul(self.variables[*v].classes.len()).filter(|c| *c <= MOST_CASES)
            })
            .unwrap_or(1);
        let (mut always, mut sometimes) = (true, false);
        let mut chosen = vec![None; self.variables.len()];
        for case in 0..cases {
            let mut rest = case;
            for &v in mixed.iter().filter(|_| cases > 1) {
                let size = self.variables[v].classes.len();
                chosen[v] = Some(rest % size);
                rest /= size;
            }
            always &= self.reaches(graph, &chosen, false);
            sometimes |= self.reaches(graph, &chosen, true);
        }
        match (always, sometimes) {
            (true, _) => CERTAIN.clone(),
            (false, false) => Membership { truth: Truth::No, depends_on: Vec::new() },
            (false, true) => Membership {
                truth: Truth::Unknown,
                depends_on: self.variables.iter().map(|variable| variable.what).collect(),
            },
        }
    }

    /// Whether the node is reached with these choices; what is not chosen counts as `open`.
    fn reaches(&self, graph: &Graph<'_>, chosen: &[Option<usize>], open: bool) -> bool {
        let enough = if open { Truth::Unknown } else { Truth::Yes };
        let atom = |atom: AtomId| {
            let known = graph.known.atom(&graph.compiled.facts, atom);
            if known != Truth::Unknown {
                return known;
            }
            let fact = Unknown::Fact(graph.compiled.facts.atoms[atom].fact);
            self.chosen(fact, atom, chosen)
        };
        let holds = |condition: &Condition<'_>| {
            let formulas = [condition.on, condition.exists];
            let doubt = condition
                .doubt
                .map(|(line, which)| self.chosen(Unknown::Line(line, which), 0, chosen));
            formulas
                .into_iter()
                .flatten()
                .map(|formula| formula.value(&atom))
                .chain(doubt)
                .all(|truth| truth >= enough)
        };
        let open_links: Vec<&Link<'_>> = self
            .links
            .iter()
            .map(|id| &graph.links[*id])
            .filter(|link| link.truth == Truth::Yes || holds(&link.condition))
            .collect();
        let mut reached: Vec<NodeId> = Vec::with_capacity(open_links.len());
        loop {
            let before = reached.len();
            for link in &open_links {
                let from = match (link.from, self.line) {
                    (From::Node(from), None) => {
                        graph.nodes[from].certain || reached.contains(&from)
                    }
                    (From::Node(from), Some(_)) => reached.contains(&from),
                    (From::Line(at, _), Some(line)) => at == line,
                    (from, line) => line.is_none() || from == From::EveryOrder,
                };
                if from && !reached.contains(&link.to) {
                    reached.push(link.to);
                }
            }
            if reached.contains(&self.node) {
                return true;
            }
            if reached.len() == before {
                return false;
            }
        }
    }

    fn chosen(&self, what: Unknown, atom: AtomId, chosen: &[Option<usize>]) -> Truth {
        let Some(at) = self.variables.iter().position(|variable| variable.what == what) else {
            return Truth::Unknown;
        };
        let variable = &self.variables[at];
        match (chosen[at], variable.atoms.iter().position(|one| *one == atom)) {
            (Some(class), Some(place)) => variable.classes[class][place].into(),
            _ => Truth::Unknown,
        }
    }
}

fn collect(
    graph: &Graph<'_>,
    condition: &Condition<'_>,
    literals: &mut Vec<(Unknown, AtomId, bool)>,
) {
    let facts = &graph.compiled.facts;
    let known = |atom| graph.known.atom(facts, atom);
    for formula in [condition.on, condition.exists].into_iter().flatten() {
        formula.literals(&known, true, &mut |atom, positive| {
            literals.push((Unknown::Fact(facts.atoms[atom].fact), atom, positive));
        });
    }
    if let Some((line, which)) = condition.doubt {
        literals.push((Unknown::Line(line, which), 0, true));
    }
}

/// The values of an unknown that these atoms tell apart, as the truth of each atom.
fn classes(graph: &Graph<'_>, what: Unknown, atoms: &[AtomId]) -> Vec<Vec<bool>> {
    let Unknown::Fact(fact) = what else {
        return vec![vec![false], vec![true]];
    };
    let facts = &graph.compiled.facts;
    let truths = |value: Value<'_>| -> Vec<bool> {
        atoms.iter().map(|atom| facts.atoms[*atom].test.of(value) == Truth::Yes).collect()
    };
    let mut classes: Vec<Vec<bool>> = facts.possible(fact, atoms).into_iter().map(truths).collect();
    classes.sort_unstable();
    classes.dedup();
    classes
}

/// Whether a node is a task.
pub(crate) fn is_task(graph: &Graph<'_>, node: NodeId) -> bool {
    matches!(graph.nodes[node].kind, Kind::Task { .. })
}
