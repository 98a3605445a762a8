use domain::precondition::{Condition, Precondition};
use domain::verdict::Verdict::{Met, Stale, Violated};
use evidence::judge::confront;
use evidence::refusal::{self, Speaks};
use evidence::sample::CodeList::Stored;
use evidence::sample::RoutineAnswer;

use crate::scene::*;

#[test]
fn a_named_refusal_violates_its_condition_until_that_is_read_again() {
    let samples = [coolant(1, "95"), refused(3, 0x31, 0x87)];
    let found = starting(precondition(warm()), &samples, 5);
    assert_eq!(found.verdict, Violated);
    assert!(
        found
            .detail
            .starts_with("the control module refused with temperatureTooLow (7F 31 87) at ")
    );
    assert_eq!(
        found.contradiction.as_deref(),
        Some(
            "the control module refused with temperatureTooLow (7F 31 87) at 2027-01-15 08:00:03 UTC although engine coolant temperature read 95 Cel"
        )
    );
    assert_eq!(found.evidence, [samples[1].id, samples[0].id]);
    let at_once = [samples[0].clone(), samples[1].clone(), coolant(3, "96")];
    assert_eq!(starting(precondition(warm()), &at_once, 5).verdict, Violated, "not read after it");
    let again: Vec<_> = samples.into_iter().chain([coolant(4, "96")]).collect();
    let found = starting(precondition(warm()), &again, 5);
    assert_eq!(found.verdict, Met);
    assert!(found.contradiction.is_some(), "it is shown, not resolved");
}

#[test]
fn a_refusal_speaks_of_the_limit_that_it_names_and_of_no_other() {
    let supply = || precondition(range("battery_voltage", Some("12.9"), None, "V"));
    let battery = || number(1, "battery_voltage", "13", "V");
    assert_eq!(starting(supply(), &[battery(), refused(3, 0x31, 0x93)], 5).verdict, Violated);
    assert_eq!(starting(supply(), &[battery(), refused(3, 0x31, 0x92)], 5).verdict, Met);
    assert_eq!(starting(supply(), &[battery(), refused(3, 0x31, 0x88)], 5).verdict, Met);
    let park = || precondition(is("gear_position", "park"));
    let samples = [state(1, "gear_position", "park"), refused(3, 0x31, 0x90)];
    assert_eq!(starting(park(), &samples, 5).verdict, Violated);
    let off = || precondition(is("engine", "off"));
    let samples = [state(1, "engine", "off"), refused(3, 0x31, 0x83)];
    assert_eq!(starting(off(), &samples, 5).verdict, Violated);
}

/// What each code speaks of, as ISO 14229-1 names it: a condition that was met is violated, its opposite is not.
#[test]
fn every_code_that_names_a_condition_violates_it_and_not_its_opposite() {
    let upper = |signal: &str, unit: &str| range(signal, None, Some("50"), unit);
    let lower = |signal: &str, unit: &str| range(signal, Some("5"), None, unit);
    let named = |nrc: u8, signal: &str, unit: &str, high: bool| {
        let (hit, spared) = (upper(signal, unit), lower(signal, unit));
        let (hit, spared) = if high { (hit, spared) } else { (spared, hit) };
        (nrc, hit, spared, number(1, signal, "20", unit))
    };
    let mut cases = vec![
        named(0x81, "engine_speed", "/min", true),
        named(0x82, "engine_speed", "/min", false),
        named(0x83, "engine_speed", "/min", true),
        named(0x84, "engine_speed", "/min", false),
        named(0x88, "vehicle_speed", "km/h", true),
        named(0x89, "vehicle_speed", "km/h", false),
        named(0x92, "control_module_voltage", "V", true),
        named(0x93, "control_module_voltage", "V", false),
        named(0x8A, "relative_accelerator_pedal_position", "%", true),
        named(0x8B, "relative_accelerator_pedal_position", "%", false),
    ];
    for temperature in ["engine_oil_temperature", "transmission_fluid_temperature"] {
        cases.push(named(0x86, temperature, "Cel", true));
        cases.push(named(0x87, temperature, "Cel", false));
    }
    let words = [
        (0x83, "engine", "off", "running"),
        (0x84, "engine", "running", "off"),
        (0x88, "vehicle_motion", "still", "moving"),
        (0x89, "vehicle_motion", "moving", "still"),
        (0x8A, "accelerator_pedal", "released", "pressed"),
        (0x8B, "accelerator_pedal", "pressed", "released"),
        (0x8C, "gear_position", "neutral", "park"),
        (0x8D, "gear_position", "drive", "neutral"),
        (0x8D, "gear_position", "reverse", "park"),
        (0x8F, "brake_pedal", "pressed", "released"),
        (0x90, "gear_position", "park", "neutral"),
        (0x91, "torque_converter_clutch", "unlocked", "locked"),
    ];
    for (nrc, signal, hit, spared) in words {
        let samples = [state(1, signal, hit), refused(3, 0x31, nrc)];
        assert_eq!(
            starting(precondition(is(signal, hit)), &samples, 4).verdict,
            Violated,
            "{nrc:02X}"
        );
        let samples = [state(1, signal, spared), refused(3, 0x31, nrc)];
        assert_eq!(
            starting(precondition(is(signal, spared)), &samples, 4).verdict,
            Met,
            "{nrc:02X}"
        );
    }
    for (nrc, hit, spared, reading) in cases {
        let samples = [reading, refused(3, 0x31, nrc)];
        assert_eq!(starting(precondition(hit), &samples, 4).verdict, Violated, "{nrc:02X}");
        assert_eq!(starting(precondition(spared), &samples, 4).verdict, Met, "{nrc:02X}");
    }
}

#[test]
fn a_refused_read_says_nothing_of_the_work() {
    for nrc in [0x22, 0x26, 0x37, 0xF0] {
        let samples = [coolant(1, "95"), codes(1, Stored, &[]), refused(3, 0x22, nrc)];
        for wanted in [warm(), Condition::NoCode { pattern: "xxxxx".to_owned(), except: vec![] }] {
            let found = starting(precondition(wanted), &samples, 5);
            assert_eq!((found.verdict, found.contradiction), (Met, None), "{nrc:02X}");
        }
    }
}

#[test]
fn a_condition_that_is_named_is_violated_whatever_service_was_refused() {
    let off = || precondition(is("engine", "off"));
    for service in [0x10, 0x22, 0x27, 0x31, 0x34, 0x36, 0x37, 0xBA] {
        let samples = [state(1, "engine", "off"), refused(3, service, 0x83)];
        assert_eq!(starting(off(), &samples, 5).verdict, Violated, "{service:02X}");
        let pending = [state(1, "engine", "off"), refused(3, service, 0x78)];
        let found = starting(off(), &pending, 5);
        assert_eq!((found.verdict, found.contradiction), (Met, None), "{service:02X}");
    }
}

#[test]
fn a_refusal_is_told_with_the_service_that_was_refused_and_a_pending_answer_is_none() {
    let told = refusal::told;
    assert_eq!(told(0x27, 0x22), "SecurityAccess (27) was refused: conditionsNotCorrect (22)");
    assert_eq!(told(0xBA, 0x93), "service BA was refused: voltageTooLow (93)");
    assert_eq!(told(0x31, 0x78), "RoutineControl (31) is still working, answer pending (78)");
}

#[test]
fn an_unnamed_refusal_makes_everything_that_moves_be_read_again() {
    for nrc in [0x22, 0x95, 0xF0, 0xFE] {
        let samples = [coolant(1, "95"), refused(3, 0x31, nrc)];
        assert_eq!(starting(precondition(warm()), &samples, 5).verdict, Stale, "{nrc:02X}");
        let level = precondition(range("floor_slope", None, Some("0.5"), "deg"));
        let samples = [number(1, "floor_slope", "0.2", "deg"), refused(3, 0x31, nrc)];
        assert_eq!(starting(level, &samples, 5).verdict, Met, "a floor does not move");
    }
    // Busy, pending and applicability say nothing of a condition.
    for nrc in [0x21, 0x78, 0x94, 0x31, 0x33, 0x24] {
        let samples = [coolant(1, "95"), refused(3, 0x31, nrc)];
        assert_eq!(starting(precondition(warm()), &samples, 5).verdict, Met, "{nrc:02X}");
    }
}

#[test]
fn a_required_delay_that_the_module_still_counts_is_waited_for_again() {
    let rest = precondition(Condition::Elapsed { since: "ignition_off".to_owned(), at_least: 60 });
    let samples = [state(1, "ignition", "off"), refused(70, 0x31, 0x37)];
    let found = starting(rest.clone(), &samples, 80);
    assert_eq!((found.verdict, found.wait_seconds), (Violated, Some(50)));
    assert!(found.contradiction.is_some());
    assert_eq!(starting(rest, &samples, 130).verdict, Met);
}

#[test]
fn while_it_runs_a_refusal_is_shown_even_where_nothing_had_to_hold_throughout() {
    let start_only = || precondition(warm());
    assert_eq!(running(start_only(), &[coolant(99, "95")], 105), None);
    let found = running(start_only(), &[coolant(99, "95"), refused(101, 0x31, 0x87)], 105);
    assert_eq!(found.map(|found| found.verdict), Some(Violated));
}

#[test]
fn a_completion_although_a_condition_was_broken_is_a_contradiction_on_both_sides() {
    let supply = Precondition {
        throughout: true,
        ..precondition(range("battery_voltage", Some("12.9"), None, "V"))
    };
    let proof = precondition(Condition::Routine {
        identifier: Some("0203".to_owned()),
        passes: Some("00".to_owned()),
    });
    let samples = [
        number(101, "battery_voltage", "11.8", "V"),
        routine(110, "0203", RoutineAnswer::Results, "00"),
    ];
    let mut ran = vec![running(supply, &samples, 111).unwrap()];
    let mut passed = vec![finishing(proof, &samples, 111)];
    confront(&mut ran, &mut passed);
    assert_eq!((ran[0].verdict, passed[0].verdict), (Violated, Met));
    assert!(passed[0].contradiction.as_deref().unwrap().contains("battery voltage was 11.8 V"));
    assert!(ran[0].contradiction.as_deref().unwrap().contains("proof says passed"));
}

/// Names of ISO 14229-1 as public decoders spell them (the standard is sold and was not opened).
#[test]
fn every_code_has_its_name_once() {
    for (at, entry) in refusal::TABLE.iter().enumerate() {
        assert!(refusal::TABLE[..at].iter().all(|other| other.nrc < entry.nrc), "{}", entry.name);
    }
    for (nrc, name) in [
        (0x10, "generalReject"),
        (0x22, "conditionsNotCorrect"),
        (0x78, "requestCorrectlyReceived-ResponsePending"),
        (0x83, "engineIsRunning"),
        (0x8F, "brakeSwitch(es)NotClosed"),
        (0x93, "voltageTooLow"),
        (0xF7, "vehicleManufacturerSpecificConditionsNotCorrect"),
        (0x01, "unknownResponseCode"),
    ] {
        assert_eq!(refusal::name(nrc), name);
    }
    assert_eq!(refusal::speaks(0x8E), Speaks::Nothing, "0x8E is reserved");
}
