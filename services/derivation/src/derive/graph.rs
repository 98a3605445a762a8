//! Everything that may follow from an order, as one graph of links with their conditions.
//!
//! Built forwards from the order. Links whose condition is known to fail are left out; what remains is certain or
//! unknown. Membership in it is a least fixpoint, so the order of rules does not matter.

use domain::operation::Operation;

use crate::facts::{Formula, Known, Truth};
use crate::index::{Compiled, Interned, ProcedureId, RuleId};
use crate::procedure_set::Present;
use crate::repair::Repair;
use crate::symbols::Symbol;

pub(crate) type NodeId = usize;
pub(crate) type LinkId = usize;

/// A task, or an operation as one line, task or observation brings it about.
#[derive(Debug)]
pub(crate) struct Node {
    pub(crate) kind: Kind,
    /// Follows whatever the unknown facts are, as far as Kleene's lower bound sees.
    pub(crate) certain: bool,
    /// The link by which a reason is traced back; its start was reached before this node.
    pub(crate) parent: LinkId,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    Task { procedure: ProcedureId, place: Option<Symbol>, next: Option<NodeId> },
    Operation { by: Actor, operation: Interned },
}

/// Who or what brings an operation about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Actor {
    /// A line, by index.
    Line(usize),
    /// A task, by node.
    Task(NodeId),
    /// The floor, by index of the observation.
    Observed(usize),
}

/// One step of a derivation.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Link<'a> {
    pub(crate) from: From,
    pub(crate) to: NodeId,
    pub(crate) condition: Condition<'a>,
    /// `Yes` or `Unknown`.
    pub(crate) truth: Truth,
    pub(crate) why: Why,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum From {
    Node(NodeId),
    /// An operation of a line: indexes of both.
    Line(usize, usize),
    Observed(usize),
    TroubleCode(usize),
    Complaint(usize),
    EveryOrder,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Why {
    Stated,
    Implied,
    Emitted,
    Rule(RuleId),
    Needed,
    LeavesMode,
}

/// What a link depends on beside its start.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Condition<'a> {
    /// Predicate of the rule or implication.
    pub(crate) on: Option<&'a Formula>,
    /// Predicate of the vehicles on which the procedure exists.
    pub(crate) exists: Option<&'a Formula>,
    /// The candidate of a line that nobody understood for sure yet: indexes of line and operation.
    pub(crate) doubt: Option<(usize, usize)>,
}

const NO_CONDITION: Condition<'static> = Condition { on: None, exists: None, doubt: None };

#[derive(Debug)]
pub(crate) struct Graph<'a> {
    pub(crate) compiled: &'a Compiled,
    pub(crate) repair: Repair<'a>,
    pub(crate) known: Known<'a>,
    pub(crate) nodes: Vec<Node>,
    pub(crate) links: Vec<Link<'a>>,
    /// Where there is one.
    first_task: Vec<NodeId>,
    /// The procedures with a task.
    pub(crate) present: Present,
    /// Room to work in.
    fired: Vec<RuleId>,
    /// Operations of the order that the catalogue does not know.
    pub(crate) unknown: Vec<&'a Operation>,
}

impl<'a> Graph<'a> {
    pub(crate) fn new(compiled: &'a Compiled, repair: Repair<'a>) -> Self {
        let mut graph = Self {
            compiled,
            repair,
            known: compiled.facts.known(repair.vehicle),
            nodes: Vec::with_capacity(128),
            links: Vec::with_capacity(256),
            first_task: vec![0; compiled.procedures.len()],
            fired: Vec::with_capacity(32),
            present: Present::none_of(compiled.procedures.len()),
            unknown: Vec::new(),
        };
        graph.roots();
        let mut next = 0;
        while next < graph.nodes.len() {
            if let Kind::Task { procedure, place, .. } = graph.nodes[next].kind {
                graph.follow_task(next, procedure, place);
            }
            next += 1;
        }
        graph.mark_certain();
        graph
    }

    /// The tasks of a procedure, the one found first in front.
    pub(crate) fn tasks_of(&self, procedure: ProcedureId) -> impl Iterator<Item = NodeId> + '_ {
        std::iter::successors(self.first_task(procedure), |task| match self.nodes[*task].kind {
            Kind::Task { next, .. } => next,
            Kind::Operation { .. } => None,
        })
    }

    fn first_task(&self, procedure: ProcedureId) -> Option<NodeId> {
        self.present.has(procedure).then(|| self.first_task[procedure])
    }

    /// Every operation, with who brings it about.
    pub(crate) fn operations(&self) -> impl Iterator<Item = (NodeId, Actor, Interned)> + '_ {
        self.nodes.iter().enumerate().filter_map(|(node, what)| match what.kind {
            Kind::Operation { by, operation } => Some((node, by, operation)),
            Kind::Task { .. } => None,
        })
    }

    fn roots(&mut self) {
        let repair = self.repair;
        for &rule in &self.compiled.rules_of_every_order {
            self.fire(rule, From::EveryOrder, None);
        }
        for (at, line) in repair.lines.iter().enumerate() {
            let begin = self.nodes.len();
            for (which, stated) in line.counted() {
                let doubt = (!stated.sure).then_some((at, which));
                let Some(operation) = self.intern(&stated.operation) else { continue };
                self.operation(begin, From::Line(at, which), Actor::Line(at), operation, doubt);
            }
            self.close(begin, Actor::Line(at));
        }
        for (at, observed) in repair.observed.iter().enumerate() {
            let begin = self.nodes.len();
            let Some(operation) = self.intern(observed) else { continue };
            self.operation(begin, From::Observed(at), Actor::Observed(at), operation, None);
            self.close(begin, Actor::Observed(at));
        }
        for (at, code) in repair.trouble_codes.iter().enumerate() {
            for rule in self.compiled.rules_by_code.of(code) {
                self.fire(rule, From::TroubleCode(at), None);
            }
        }
        for (at, complaint) in repair.complaints.iter().enumerate() {
            for &rule in self.compiled.rules_of_complaint(complaint) {
                self.fire(rule, From::Complaint(at), None);
            }
        }
    }

    fn intern(&mut self, operation: &'a Operation) -> Option<Interned> {
        let interned = self.compiled.symbols.intern(operation);
        if interned.is_none() {
            self.unknown.push(operation);
        }
        interned
    }

    /// Adds an operation of an actor whose operations begin at node `begin`.
    fn operation(
        &mut self,
        begin: NodeId,
        from: From,
        by: Actor,
        operation: Interned,
        doubt: Option<(usize, usize)>,
    ) {
        let condition = Condition { doubt, ..NO_CONDITION };
        let truth = if doubt.is_some() { Truth::Unknown } else { Truth::Yes };
        let why = if matches!(from, From::Node(_)) { Why::Emitted } else { Why::Stated };
        self.link_operation(begin, by, operation, (from, condition, truth, why));
    }

    fn link_operation(
        &mut self,
        begin: NodeId,
        by: Actor,
        operation: Interned,
        (from, condition, truth, why): (From, Condition<'a>, Truth, Why),
    ) {
        let kind = Kind::Operation { by, operation };
        let found = (begin..self.nodes.len()).find(|node| self.nodes[*node].kind == kind);
        let to = found.unwrap_or_else(|| self.node(kind));
        self.links.push(Link { from, to, condition, truth, why });
    }

    /// Follows implications among the operations of one actor, then the rules that they fire.
    fn close(&mut self, begin: NodeId, by: Actor) {
        let compiled = self.compiled;
        let mut next = begin;
        while next < self.nodes.len() {
            let Kind::Operation { operation, .. } = self.nodes[next].kind else { break };
            for id in compiled.implications_by_operation.of(&compiled.symbols, operation) {
                let implication = &compiled.implications[id];
                let truth = self.value(&implication.on);
                if truth == Truth::No {
                    continue;
                }
                let condition = Condition { on: Some(&implication.on), ..NO_CONDITION };
                for emitted in &implication.emits {
                    let emitted = Interned { place: emitted.place.or(operation.place), ..*emitted };
                    let step = (From::Node(next), condition, truth, Why::Implied);
                    self.link_operation(begin, by, emitted, step);
                }
            }
            next += 1;
        }
        let mut fired = std::mem::take(&mut self.fired);
        for node in begin..next {
            if let Kind::Operation { operation, .. } = self.nodes[node].kind {
                let index = &compiled.rules_by_operation;
                fired.extend(index.of(&compiled.symbols, operation, &self.known));
                for rule in fired.drain(..) {
                    self.fire(rule, From::Node(node), operation.place);
                }
            }
        }
        self.fired = fired;
    }

    fn fire(&mut self, rule: RuleId, from: From, place: Option<Symbol>) {
        let on = &self.compiled.rules[rule].on;
        let truth = self.value(on);
        if truth == Truth::No {
            return;
        }
        for &procedure in &self.compiled.rules[rule].require {
            self.require(procedure, place, from, Some((on, truth)), Why::Rule(rule));
        }
    }

    fn require(
        &mut self,
        procedure: ProcedureId,
        place: Option<Symbol>,
        from: From,
        on: Option<(&'a Formula, Truth)>,
        why: Why,
    ) {
        let exists = &self.compiled.procedures[procedure].exists_on;
        let truth = self.value(exists).min(on.map_or(Truth::Yes, |(_, truth)| truth));
        if truth == Truth::No {
            return;
        }
        let place = place.filter(|_| self.compiled.catalogue().procedures[procedure].per_place);
        let found = self.tasks_of(procedure).find(
            |task| matches!(self.nodes[*task].kind, Kind::Task { place: at, .. } if at == place),
        );
        let to = found.unwrap_or_else(|| {
            let next = self.first_task(procedure);
            let node = self.node(Kind::Task { procedure, place, next });
            self.first_task[procedure] = node;
            self.present.add(procedure);
            node
        });
        let condition = Condition { on: on.map(|(on, _)| on), exists: Some(exists), doubt: None };
        self.links.push(Link { from, to, condition, truth, why });
    }

    fn follow_task(&mut self, task: NodeId, procedure: ProcedureId, place: Option<Symbol>) {
        let compiled = self.compiled;
        let entry = &compiled.procedures[procedure];
        for &needed in &entry.needs {
            self.require(needed, place, From::Node(task), None, Why::Needed);
        }
        if let Some(leave) = entry.left_by {
            self.require(leave, place, From::Node(task), None, Why::LeavesMode);
        }
        if entry.emits.is_empty() {
            return;
        }
        let begin = self.nodes.len();
        for emitted in &entry.emits {
            let emitted = Interned { place: emitted.place.or(place), ..*emitted };
            self.operation(begin, From::Node(task), Actor::Task(task), emitted, None);
        }
        self.close(begin, Actor::Task(task));
    }

    fn node(&mut self, kind: Kind) -> NodeId {
        self.nodes.push(Node { kind, certain: false, parent: self.links.len() });
        self.nodes.len() - 1
    }

    pub(crate) fn value(&self, formula: &Formula) -> Truth {
        formula.value(&|atom| self.known.atom(&self.compiled.facts, atom))
    }

    fn mark_certain(&mut self) {
        let mut again = true;
        while again {
            again = false;
            for (at, link) in self.links.iter().enumerate() {
                if link.truth != Truth::Yes || self.nodes[link.to].certain {
                    continue;
                }
                let holds = match link.from {
                    From::Node(from) => self.nodes[from].certain,
                    _ => true,
                };
                if holds {
                    self.nodes[link.to].certain = true;
                    self.nodes[link.to].parent = at;
                    again = true;
                }
            }
        }
    }
}
