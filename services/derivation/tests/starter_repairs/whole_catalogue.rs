//! What holds for every entry of the starter catalogue.

use std::collections::BTreeSet;

use derivation::derive::derive;
use derivation::repair::{Repair, RepairLine, StatedOperation};
use domain::operation::{Operation, OperationPattern};
use domain::order::{Authorisation, Done, Reading};
use domain::procedure::{Ends, Phase};
use domain::vehicle::{FactValue, Powertrain, VehicleFacts};

use crate::order::{STARTER, procedure};

#[test]
fn every_part_has_a_consequence_or_a_reason_for_having_none() {
    let catalogue = STARTER.catalogue();
    let rules = catalogue.rules.iter().flat_map(|rule| &rule.when.operations);
    let implied = catalogue.implications.iter().flat_map(|one| &one.when);
    let named: BTreeSet<&str> =
        rules.chain(implied).map(|pattern| pattern.component.as_str()).collect();
    let components = &catalogue.vocabulary.components;
    for component in components {
        let parents = std::iter::successors(Some(component), |one| {
            components.iter().find(|other| Some(&other.id) == one.parent.as_ref())
        });
        let has_consequence = parents.into_iter().any(|one| named.contains(one.id.as_str()));
        assert_eq!(has_consequence, component.needs_nothing_because.is_none(), "{}", component.id);
    }
}

#[test]
fn no_single_operation_puts_tasks_in_an_order_that_cannot_be() {
    let vocabulary = &STARTER.catalogue().vocabulary;
    for powertrain in [Powertrain::Combustion, Powertrain::Hybrid, Powertrain::Electric] {
        let mut vehicle = VehicleFacts { powertrain: Some(powertrain), ..VehicleFacts::default() };
        for feature in &vocabulary.features {
            let value = match feature.one_of.last() {
                Some(word) => FactValue::Word(word.clone()),
                None => FactValue::Flag(true),
            };
            vehicle.features.insert(feature.id.clone(), value);
        }
        for component in &vocabulary.components {
            for action in &vocabulary.actions {
                let lines = [line(&action.id, &component.id)];
                let repair = Repair {
                    vehicle: &vehicle,
                    lines: &lines,
                    trouble_codes: &[],
                    complaints: &[],
                    observed: &[],
                };
                let findings = derive(&STARTER, &repair).findings;
                assert!(findings.is_empty(), "{} {}: {findings:?}", action.id, component.id);
            }
        }
    }
}

fn line(action: &str, component: &str) -> RepairLine {
    RepairLine {
        line: 1,
        authorisation: Authorisation::Approved,
        begun: false,
        reading: Reading::Sure,
        operations: vec![StatedOperation {
            operation: Operation::new(action, component),
            done: Done::Planned,
            sure: true,
            words: String::new(),
        }],
    }
}

#[test]
fn work_inside_a_service_mode_ends_with_somebody_saying_that_all_is_fitted_again() {
    let catalogue = STARTER.catalogue();
    for procedure in &catalogue.procedures {
        let Some(opens) = &procedure.opens else { continue };
        assert!(!opens.work_ends_with.is_empty(), "{}", procedure.id);
    }
    let opens = procedure("parking_brake_open_for_service").opens.as_ref().expect("opens");
    assert_eq!(opens.work_ends_with, ["calipers_bolted"]);
}

#[test]
fn what_people_may_die_of_is_never_waived() {
    for id in [
        "firm_pedal_check",
        "wheel_fastener_torque",
        "brake_hydraulic_bleed",
        "parking_brake_function_test",
        "restraint_power_down",
        "restraint_power_up",
        "restraint_verification",
        "occupant_sensing_zero",
        "high_voltage_isolation",
        "high_voltage_absence_proof",
        "high_voltage_re_energise",
        "windshield_adhesive_cure",
        "fuel_pressure_relief",
        "fuel_system_leak_check",
        "air_suspension_leave_service_mode",
    ] {
        assert!(!procedure(id).waiver.allowed, "{id}");
    }
}

#[test]
fn every_caution_is_in_sight_at_a_step() {
    for entry in &STARTER.catalogue().procedures {
        let shown: BTreeSet<&String> = entry.steps.iter().flat_map(|step| &step.cautions).collect();
        for caution in &entry.cautions {
            assert!(shown.contains(&caution.id), "{}: {}", entry.id, caution.id);
        }
        assert!(!entry.steps.is_empty(), "{}", entry.id);
    }
}

#[test]
fn only_learning_at_rest_and_the_readiness_drive_end_after_handover() {
    let catalogue = STARTER.catalogue();
    let later = catalogue.procedures.iter().filter(|one| one.ends == Ends::AfterHandover);
    let later: Vec<&str> = later.map(|one| one.id.as_str()).collect();
    assert_eq!(later, ["battery_sensor_rest_learning", "readiness_drive"]);
}

#[test]
fn what_makes_a_task_necessary_after_the_work_also_undoes_it() {
    let catalogue = STARTER.catalogue();
    for rule in &catalogue.rules {
        for required in rule.require.iter().map(|id| procedure(id)) {
            if required.phase == Phase::Before || required.closes.is_some() {
                continue;
            }
            for pattern in &rule.when.operations {
                let undone = required
                    .disturbed_by
                    .iter()
                    .chain(required.survives.iter().map(|survives| &survives.operation));
                assert!(covers(undone, pattern), "{}: {pattern:?}", required.id);
            }
        }
    }
}

/// Whether every action of the pattern is among those of the others on the same component.
fn covers<'a>(
    others: impl Iterator<Item = &'a OperationPattern>,
    pattern: &OperationPattern,
) -> bool {
    let same: Vec<_> = others.filter(|other| other.component == pattern.component).collect();
    let all = same.iter().any(|other| other.actions.is_empty());
    all || (!pattern.actions.is_empty()
        && pattern.actions.iter().all(|one| same.iter().any(|other| other.actions.contains(one))))
}
