//! The unknown part of a graph from which a node can be reached, and in which cases it is.

use crate::derive::graph::{Condition, From, Graph, LinkId, NodeId};
use crate::derive::membership::{Incoming, Membership, Unknown};
use crate::derive::truth_table::{ROWS, Table};
use crate::facts::{AtomId, Logic, Truth, Value};

/// In how many cases a node is looked at at most; beyond that only facts that reach it in both polarities are tried.
const MOST_CASES: usize = 4_096;

pub(crate) struct Cone {
    /// Links that may lead to the node; nodes are numbered anew, the node itself is 0.
    steps: Vec<Step>,
    nodes: usize,
    variables: Vec<Variable>,
    /// Every link depends on one statement at most, and all on the same one.
    is_plain: bool,
}

struct Step {
    link: LinkId,
    from: Start,
    to: usize,
}

#[derive(Clone, Copy)]
enum Start {
    /// Whether it is there is known.
    Known(bool),
    Node(usize),
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
    /// Only what comes from `line` counts, if one is given.
    pub(crate) fn new(
        graph: &Graph<'_>,
        incoming: &Incoming,
        node: NodeId,
        line: Option<usize>,
    ) -> Self {
        let mut seen = vec![node];
        let mut steps = Vec::new();
        let mut literals: Vec<(Unknown, AtomId, bool)> = Vec::new();
        let mut to = 0;
        while to < seen.len() {
            for &id in incoming.of(seen[to]) {
                let link = &graph.links[id];
                collect(graph, &link.condition, &mut literals);
                let from = match (link.from, line) {
                    (From::Node(from), None) if graph.nodes[from].certain => Start::Known(true),
                    (From::Node(from), _) => {
                        let known = seen.iter().position(|one| *one == from);
                        Start::Node(known.unwrap_or_else(|| {
                            seen.push(from);
                            seen.len() - 1
                        }))
                    }
                    (From::Line(at, _), Some(line)) => Start::Known(at == line),
                    (from, line) => Start::Known(line.is_none() || from == From::EveryOrder),
                };
                steps.push(Step { link: id, from, to });
            }
            to += 1;
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
        Self { steps, nodes: seen.len(), variables, is_plain }
    }

    /// Whether some unknown occurs in more than one way: only then can Kleene's bounds be mistaken.
    pub(crate) fn may_be_mistaken(&self) -> bool {
        self.variables.iter().any(|variable| variable.mixed)
    }

    pub(crate) fn membership(&mut self, graph: &Graph<'_>) -> Membership {
        for variable in &mut self.variables {
            variable.classes = classes(graph, variable.what, &variable.atoms);
        }
        if let [Variable { what, classes, .. }] = &self.variables[..]
            && self.is_plain
            && classes.len() > 1
        {
            return Membership { truth: Truth::Unknown, depends_on: vec![*what] };
        }
        match self.cases(|_| true) {
            Some(cases) => self.try_all(graph, cases),
            None => self.bounds(graph),
        }
    }

    /// In how many cases these variables differ, if that is not too many.
    fn cases(&self, tried: impl Fn(&Variable) -> bool) -> Option<usize> {
        self.variables.iter().filter(|variable| tried(variable)).try_fold(1_usize, |cases, one| {
            cases.checked_mul(one.classes.len()).filter(|cases| *cases <= MOST_CASES)
        })
    }

    /// Looks at every case.
    fn try_all(&self, graph: &Graph<'_>, cases: usize) -> Membership {
        let tables = self.tables(graph, cases, |_| true);
        let reached = |case: usize| tables[case / ROWS].must(case % ROWS);
        let mut stride = 1;
        let mut depends_on = Vec::new();
        for variable in &self.variables {
            let size = variable.classes.len();
            let matters = (0..cases)
                .any(|case| case / stride % size > 0 && reached(case) != reached(case - stride));
            if matters {
                depends_on.push(variable.what);
            }
            stride *= size;
        }
        let somewhere = (0..cases).any(reached);
        let truth = match (somewhere, (0..cases).all(reached)) {
            (true, true) => Truth::Yes,
            (true, false) => Truth::Unknown,
            (false, _) => Truth::No,
        };
        Membership { truth, depends_on }
    }

    /// Too many cases: only facts that occur in more than one way are tried, with both bounds of the others. The
    /// facts asked for may then be more than the fewest.
    fn bounds(&self, graph: &Graph<'_>) -> Membership {
        let tried = self.cases(|variable| variable.mixed);
        let cases = tried.unwrap_or(1);
        let tables = self.tables(graph, cases, |variable| tried.is_some() && variable.mixed);
        if (0..cases).all(|case| tables[case / ROWS].must(case % ROWS)) {
            return Membership::certain();
        }
        if !(0..cases).any(|case| tables[case / ROWS].may(case % ROWS)) {
            return Membership { truth: Truth::No, depends_on: Vec::new() };
        }
        let depends_on = self.variables.iter().map(|variable| variable.what).collect();
        Membership { truth: Truth::Unknown, depends_on }
    }

    /// Whether the node is reached in each case. What is not tried is open; rows behind the last case mean nothing.
    fn tables(
        &self,
        graph: &Graph<'_>,
        cases: usize,
        tried: impl Fn(&Variable) -> bool,
    ) -> Vec<Table> {
        let tables = (0..cases).step_by(ROWS).map(|first| {
            let mut stride = 1;
            let mut supposed: Vec<(Unknown, AtomId, Table)> = Vec::new();
            for variable in &self.variables {
                let size = variable.classes.len();
                for (place, &atom) in variable.atoms.iter().enumerate() {
                    let holds = |row: usize| variable.classes[(first + row) / stride % size][place];
                    let table = if tried(variable) {
                        Table::of(ROWS.min(cases - first), holds)
                    } else {
                        Table::OPEN
                    };
                    supposed.push((variable.what, atom, table));
                }
                if tried(variable) {
                    stride *= size;
                }
            }
            self.table(graph, &supposed)
        });
        tables.collect()
    }

    fn table(&self, graph: &Graph<'_>, supposed: &[(Unknown, AtomId, Table)]) -> Table {
        let facts = &graph.compiled.facts;
        let value = |what: Unknown, atom: AtomId| {
            let found = supposed.iter().find(|(one, of, _)| (*one, *of) == (what, atom));
            found.map_or(Table::OPEN, |(_, _, table)| *table)
        };
        let atom = |atom: AtomId| match graph.known.atom(facts, atom) {
            Truth::Yes => Table::YES,
            Truth::No => Table::NO,
            Truth::Unknown => value(Unknown::Fact(facts.atoms[atom].fact), atom),
        };
        let holds = |condition: &Condition<'_>| {
            let formulas = [condition.on, condition.exists].into_iter().flatten();
            let doubt = condition.doubt.map(|(line, which)| value(Unknown::Line(line, which), 0));
            formulas.map(|formula| formula.value(&atom)).chain(doubt).fold(Table::YES, Table::and)
        };
        let conditions: Vec<Table> = self
            .steps
            .iter()
            .map(|step| match &graph.links[step.link] {
                link if link.truth == Truth::Yes => Table::YES,
                link => holds(&link.condition),
            })
            .collect();
        let mut reached = vec![Table::NO; self.nodes];
        loop {
            let mut grew = false;
            // The nodes furthest from the one in question first, as they were found last.
            for (step, condition) in self.steps.iter().zip(&conditions).rev() {
                let from = match step.from {
                    Start::Known(there) => Table::from(there),
                    Start::Node(from) => reached[from],
                };
                let with = reached[step.to].or(from.and(*condition));
                grew |= with != reached[step.to];
                reached[step.to] = with;
            }
            if !grew {
                return reached[0];
            }
        }
    }
}

pub(crate) fn collect(
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
