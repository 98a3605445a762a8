//! Random catalogues and orders, drawn from a list of numbers so that they shrink with it.

use std::collections::BTreeMap;

use derivation::repair::{Repair, RepairLine, StatedOperation};
use domain::catalogue::{
    Catalogue, Component, Feature, Implication, Rule, Source, Trigger, Vocabulary, Word,
};
use domain::operation::{Operation, OperationPattern};
use domain::order::{Authorisation, Done, Reading};
use domain::precondition::{Condition, Precondition};
use domain::predicate::Predicate;
use domain::procedure::{
    AfterFailure, Ends, Minutes, Opens, Phase, PlaceOfWork, Procedure, ProcedureKind, Settle,
    WaiverRule,
};
use domain::vehicle::{FactValue, Powertrain, VehicleFacts};

pub(crate) const FLAGS: [&str; 3] = ["f0", "f1", "f2"];
pub(crate) const WORDS: [&str; 3] = ["a", "b", "c"];
pub(crate) const MAKES: [&str; 2] = ["m0", "m1"];
pub(crate) const YEARS: [i32; 3] = [2001, 2002, 2003];
const ACTIONS: [&str; 2] = ["do", "undo"];
const COMPONENTS: [&str; 5] = ["c0", "c1", "c2", "c3", "c4"];
const PLACES: [&str; 2] = ["left", "right"];

/// A source of choices; zeros when it runs dry.
pub(crate) struct Choices<'a>(std::slice::Iter<'a, u32>);

impl<'a> Choices<'a> {
    pub(crate) fn new(numbers: &'a [u32]) -> Self {
        Self(numbers.iter())
    }

    /// A number below `end`.
    fn below(&mut self, end: usize) -> usize {
        self.0.next().map_or(0, |number| *number as usize % end)
    }

    fn chance(&mut self, in_a_hundred: usize) -> bool {
        self.below(100) >= 100 - in_a_hundred
    }

    fn one<T: Clone>(&mut self, list: &[T]) -> T {
        list[self.below(list.len())].clone()
    }
}

/// An order that owns what a derivation borrows.
#[derive(Debug, Clone)]
pub(crate) struct RandomOrder {
    pub(crate) vehicle: VehicleFacts,
    pub(crate) lines: Vec<RepairLine>,
    pub(crate) trouble_codes: Vec<String>,
    pub(crate) complaints: Vec<String>,
}

impl RandomOrder {
    pub(crate) fn repair(&self) -> Repair<'_> {
        Repair {
            vehicle: &self.vehicle,
            lines: &self.lines,
            trouble_codes: &self.trouble_codes,
            complaints: &self.complaints,
            observed: &[],
        }
    }
}

fn word(id: &str) -> Word {
    Word { id: id.to_owned(), title: id.to_owned() }
}

fn predicate(choices: &mut Choices<'_>, depth: usize) -> Predicate {
    let parts = |choices: &mut Choices<'_>| {
        (0..=choices.below(2)).map(|_| predicate(choices, depth - 1)).collect()
    };
    match choices.below(if depth == 0 { 15 } else { 19 }) {
        0..=7 => Predicate::default(),
        8..=10 => Predicate::Has(choices.one(&FLAGS).to_owned()),
        11 | 12 => Predicate::Lacks(choices.one(&FLAGS).to_owned()),
        13 => {
            let (fact, words): (&str, &[&str]) =
                choices.one(&[("w", &WORDS[..]), ("make", &MAKES[..])]);
            let one_of = (0..=choices.below(2)).map(|_| choices.one(words).to_owned()).collect();
            Predicate::Is { fact: fact.to_owned(), one_of }
        }
        14 => {
            let year = choices.one(&YEARS);
            if choices.chance(50) {
                Predicate::ModelYear { from: Some(year), to: None }
            } else {
                Predicate::ModelYear { from: None, to: Some(year) }
            }
        }
        15 | 16 => Predicate::All(parts(choices)),
        17 => Predicate::Any(parts(choices)),
        _ => Predicate::Not(Box::new(predicate(choices, depth - 1))),
    }
}

fn pattern(choices: &mut Choices<'_>) -> OperationPattern {
    let actions =
        if choices.chance(60) { vec![choices.one(&ACTIONS).to_owned()] } else { Vec::new() };
    OperationPattern { component: choices.one(&COMPONENTS).to_owned(), actions }
}

fn operation(choices: &mut Choices<'_>) -> Operation {
    let place = choices.chance(25).then(|| choices.one(&PLACES).to_owned());
    Operation { place, ..Operation::new(choices.one(&ACTIONS), choices.one(&COMPONENTS)) }
}

fn several<T>(
    choices: &mut Choices<'_>,
    most: usize,
    mut one: impl FnMut(&mut Choices<'_>) -> T,
) -> Vec<T> {
    (0..choices.below(most + 1)).map(|_| one(choices)).collect()
}

fn vocabulary(choices: &mut Choices<'_>) -> Vocabulary {
    let feature = |id: &str, words: &[&str]| Feature {
        id: id.to_owned(),
        title: id.to_owned(),
        question: format!("{id}?"),
        one_of: words.iter().map(|word| (*word).to_owned()).collect(),
    };
    let components = COMPONENTS
        .iter()
        .enumerate()
        .map(|(at, id)| Component {
            id: (*id).to_owned(),
            title: (*id).to_owned(),
            parent: (at > 0 && choices.chance(40))
                .then(|| COMPONENTS[choices.below(at)].to_owned()),
            needs_nothing_because: None,
        })
        .collect();
    Vocabulary {
        actions: ACTIONS.map(word).to_vec(),
        components,
        features: FLAGS.iter().map(|id| feature(id, &[])).chain([feature("w", &WORDS)]).collect(),
        complaints: vec![word("noise")],
        places: PLACES.map(word).to_vec(),
        systems: vec![word("s")],
        ..Vocabulary::default()
    }
}

fn procedure(choices: &mut Choices<'_>, at: usize, earlier: &[Procedure]) -> Procedure {
    let phase = if choices.chance(30) { Phase::Before } else { Phase::After };
    let fits = |one: &&Procedure| phase == Phase::After || one.phase == Phase::Before;
    let may_need: Vec<String> = earlier.iter().filter(fits).map(|one| one.id.clone()).collect();
    let names = |choices: &mut Choices<'_>, chance: usize| -> Vec<String> {
        if may_need.is_empty() || !choices.chance(chance) {
            return Vec::new();
        }
        vec![choices.one(&may_need)]
    };
    Procedure {
        id: format!("p{at}"),
        title: format!("P {at}"),
        kind: ProcedureKind::Calibration,
        system: "s".to_owned(),
        exists_on: predicate(choices, 1),
        phase,
        needs: names(choices, 30),
        after: names(choices, 30),
        per_place: choices.chance(30),
        emits: several(choices, 1, operation),
        disturbed_by: several(choices, 2, pattern),
        survives: Vec::new(),
        opens: None,
        closes: None,
        before_moving: false,
        cautions: Vec::new(),
        preconditions: Vec::new(),
        steps: Vec::new(),
        proof: vec![Precondition {
            id: "done".to_owned(),
            text: "Done".to_owned(),
            condition: Condition::Routine { identifier: None, passes: None },
            max_age: None,
            hold_for: 0,
            throughout: false,
            while_running: None,
            unverified_allowed: false,
            may_differ: None,
            waiver: None,
            source: "practice".to_owned(),
        }],
        quick_check: None,
        settle: Settle::NONE,
        place_of_work: PlaceOfWork::Bay(Vec::new()),
        equipment: BTreeMap::new(),
        skills: Vec::new(),
        people: 1,
        minutes: Minutes { least: 1, likely: 2, most: 3 },
        waiver: WaiverRule::default(),
        after_failure: AfterFailure::default(),
        ends: Ends::InShop,
        source: "practice".to_owned(),
    }
}

pub(crate) fn catalogue(choices: &mut Choices<'_>) -> Catalogue {
    let vocabulary = vocabulary(choices);
    let implications = several(choices, 3, |choices| Implication {
        when: vec![pattern(choices)],
        on: predicate(choices, 1),
        emits: vec![operation(choices)],
    });
    let mut procedures: Vec<Procedure> = Vec::new();
    for at in 0..3 + choices.below(5) {
        let next = procedure(choices, at, &procedures);
        procedures.push(next);
    }
    // A mode: a preparation enters it, what comes later in the list leaves it.
    let enter = procedures.iter().position(|one| one.phase == Phase::Before);
    let leave = procedures.iter().rposition(|one| one.phase == Phase::After);
    if let (Some(enter), Some(leave)) = (enter, leave)
        && enter < leave
        && choices.chance(60)
    {
        procedures[leave].closes = Some("open".to_owned());
        procedures[enter].opens = Some(Opens {
            mode: "open".to_owned(),
            left_by: procedures[leave].id.clone(),
            recovered_by: None,
            must_not_move: false,
            no_handover: false,
            personal_lock: false,
            work_ends_with: Vec::new(),
        });
    }
    let ids: Vec<String> = procedures.iter().map(|one| one.id.clone()).collect();
    let rules = (0..3 + choices.below(6))
        .map(|at| Rule {
            id: format!("r{at}"),
            when: Trigger {
                operations: several(choices, 3, pattern),
                trouble_codes: several(choices, 1, |c| {
                    c.one(&["P050x", "P05xx", "P0507", "xxxxx"]).to_owned()
                }),
                complaints: if choices.chance(10) { vec!["noise".to_owned()] } else { Vec::new() },
                every_order: choices.chance(5),
            },
            on: predicate(choices, 2),
            require: vec![choices.one(&ids), choices.one(&ids)],
            because: "so".to_owned(),
            source: "practice".to_owned(),
        })
        .collect();
    Catalogue {
        version: "random".to_owned(),
        notice: "random".to_owned(),
        sources: vec![Source { id: "practice".to_owned(), text: "none".to_owned() }],
        vocabulary,
        implications,
        procedures,
        rules,
    }
}

pub(crate) fn order(choices: &mut Choices<'_>) -> RandomOrder {
    let mut vehicle = VehicleFacts::default();
    for flag in FLAGS {
        match choices.below(3) {
            0 => {}
            value => {
                vehicle.features.insert(flag.to_owned(), FactValue::Flag(value == 1));
            }
        }
    }
    if choices.chance(60) {
        vehicle.features.insert("w".to_owned(), FactValue::Word(choices.one(&WORDS).to_owned()));
    }
    if choices.chance(60) {
        vehicle.make = Some(choices.one(&["m0", "m1", "m2"]).to_owned());
    }
    if choices.chance(60) {
        vehicle.model_year = Some(choices.one(&[2000, 2001, 2002, 2003, 2004]));
    }
    if choices.chance(50) {
        vehicle.powertrain = Some(Powertrain::Combustion);
    }
    let lines = (1..=1 + choices.below(3))
        .map(|line| {
            let unsure = choices.chance(20);
            RepairLine {
                line: i32::try_from(line).expect("few"),
                authorisation: Authorisation::Approved,
                begun: false,
                reading: if unsure { Reading::Unsure } else { Reading::Sure },
                operations: several(choices, 3, |choices| StatedOperation {
                    operation: operation(choices),
                    done: Done::Planned,
                    sure: !unsure,
                    words: String::new(),
                }),
            }
        })
        .collect();
    RandomOrder {
        vehicle,
        lines,
        trouble_codes: several(choices, 1, |c| c.one(&["P0507", "P0171", "P0501-00"]).to_owned()),
        complaints: if choices.chance(20) { vec!["noise".to_owned()] } else { Vec::new() },
    }
}
