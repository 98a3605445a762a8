//! What each operation undoes, worked out once for a catalogue: sets of procedures, by component and action.

use crate::by_operation::ByOperation;
use crate::index::{Interned, InternedPattern, ProcedureId};
use crate::procedure_set::ProcedureSet;
use crate::symbols::{Symbol, Symbols};

/// No action of a catalogue has this number: what only patterns for any action match.
const UNNAMED: Symbol = Symbol::MAX;

#[derive(Debug, Default)]
pub(crate) struct Disturbed {
    /// For each word the row that counts for it as a component; parts that add nothing share that of their parent.
    row_of: Vec<Option<usize>>,
    rows: Vec<Row>,
}

#[derive(Debug)]
struct Row {
    by_action: Vec<(Symbol, ProcedureSet)>,
    by_any_other: ProcedureSet,
}

impl Disturbed {
    /// `reacting` tells by what each procedure is disturbed, `survives` what leaves it valid all the same.
    pub(crate) fn new(
        symbols: &Symbols,
        reacting: &ByOperation<ProcedureId>,
        survives: &[(ProcedureId, &InternedPattern)],
    ) -> Self {
        let mut rows = Vec::new();
        let mut own = vec![None; symbols.len()];
        for component in symbols.all() {
            let survivors = survives.iter().any(|(_, pattern)| pattern.component == component);
            if survivors || reacting.names(component) {
                own[component as usize] = Some(rows.len());
                rows.push(Row::new(symbols, reacting, survives, component));
            }
        }
        let row_of = symbols
            .all()
            .map(|component| symbols.and_parents(component).find_map(|one| own[one as usize]))
            .collect();
        Self { row_of, rows }
    }

    /// What the operation undoes.
    pub(crate) fn by(&self, operation: Interned) -> &ProcedureSet {
        let row = self.row_of.get(operation.component as usize).copied().flatten();
        row.map_or(ProcedureSet::EMPTY, |row| {
            let row = &self.rows[row];
            let named = row.by_action.iter().find(|(action, _)| *action == operation.action);
            named.map_or(&row.by_any_other, |(_, set)| set)
        })
    }
}

impl Row {
    fn new(
        symbols: &Symbols,
        reacting: &ByOperation<ProcedureId>,
        survives: &[(ProcedureId, &InternedPattern)],
        component: Symbol,
    ) -> Self {
        let set = |action| {
            let operation = Interned { action, component, place: None };
            let survive = |procedure| {
                let own = survives.iter().filter(|(one, _)| *one == procedure);
                own.clone().any(|(_, pattern)| pattern.matches(symbols, operation))
            };
            let disturbed = reacting.of(symbols, operation).filter(|one| !survive(*one));
            disturbed.collect::<ProcedureSet>()
        };
        let mut actions: Vec<Symbol> = symbols
            .and_parents(component)
            .flat_map(|one| reacting.actions(one))
            .chain(survives.iter().flat_map(|(_, pattern)| pattern.actions.iter().copied()))
            .collect();
        actions.sort_unstable();
        actions.dedup();
        Self {
            by_action: actions.into_iter().map(|action| (action, set(action))).collect(),
            by_any_other: set(UNNAMED),
        }
    }
}
