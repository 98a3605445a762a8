//! Whether there is a vehicle on which predicates hold together.

use crate::facts::{AtomId, Facts, Formula, Truth, Value};

/// With more cases than this the answer is yes without a look: only odd documents come here.
const MOST_CASES: usize = 4_096;

pub(super) fn satisfiable(facts: &Facts, formulas: &[&Formula]) -> bool {
    if formulas.iter().all(|formula| formula.is_always()) {
        return true;
    }
    let mut atoms: Vec<AtomId> = Vec::new();
    for formula in formulas {
        formula.literals(&|_| Truth::Unknown, true, &mut |atom, _| atoms.push(atom));
    }
    atoms.sort_unstable_by_key(|atom| (facts.atoms[*atom].fact, *atom));
    atoms.dedup();
    let choices: Vec<(Vec<AtomId>, Vec<Value<'_>>)> = atoms
        .chunk_by(|one, other| facts.atoms[*one].fact == facts.atoms[*other].fact)
        .map(|of_fact| {
            let fact = facts.atoms[of_fact[0]].fact;
            let mut values = facts.possible(fact, of_fact);
            if !facts.words(fact).is_empty() && values.len() > 1 {
                // A feature that takes words may also be known not to be there.
                values.push(Value::Flag(false));
            }
            (of_fact.to_vec(), values)
        })
        .collect();
    let cases = choices.iter().try_fold(1_usize, |cases, (_, values)| {
        cases.checked_mul(values.len()).filter(|cases| *cases <= MOST_CASES)
    });
    let Some(cases) = cases else { return true };
    (0..cases).any(|mut case| {
        let values: Vec<(usize, Value<'_>)> = choices
            .iter()
            .map(|(of_fact, values)| {
                let value = values[case % values.len()];
                case /= values.len();
                (facts.atoms[of_fact[0]].fact, value)
            })
            .collect();
        let truth = |atom: AtomId| {
            let atom = &facts.atoms[atom];
            let value = values.iter().find(|(fact, _)| *fact == atom.fact);
            value.map_or(Truth::Unknown, |(_, value)| atom.test.of(*value))
        };
        formulas.iter().all(|formula| formula.value(&truth) != Truth::No)
    })
}

/// Whether the second holds wherever the first does.
pub(super) fn implies(facts: &Facts, one: &Formula, other: &Formula) -> bool {
    other.is_always()
        || one == other
        || !satisfiable(facts, &[one, &Formula::Not(Box::new(other.clone()))])
}
