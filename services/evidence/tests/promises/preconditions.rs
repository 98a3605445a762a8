use domain::exact::Exact;
use domain::precondition::{Condition, Precondition, Range};
use domain::quantity::Decimal;
use domain::signal::{self, Values};
use domain::unit;
use domain::verdict::Verdict::{Met, Missing, Stale, Violated};
use evidence::judge::{Phase, asked, judge};
use evidence::sample::{Kind, Mark};
use proptest::prelude::*;

use crate::scene::*;

#[test]
fn a_limit_given_in_fahrenheit_is_compared_exactly_with_a_reading_in_celsius() {
    for (celsius, verdict) in [("93", Violated), ("94", Met), ("98", Met), ("99", Violated)] {
        assert_eq!(
            starting(precondition(warm()), &[coolant(1, celsius)], 5).verdict,
            verdict,
            "{celsius} Cel"
        );
    }
    // 93.33 Cel is 199.994 [degF]: rounding the limit would let it pass.
    assert_eq!(starting(precondition(warm()), &[coolant(1, "93.33")], 5).verdict, Violated);
    assert_eq!(starting(precondition(warm()), &[coolant(1, "280/3")], 5).verdict, Met);
    assert_eq!(starting(precondition(warm()), &[coolant(1, "890/9")], 5).verdict, Met);
}

#[test]
fn a_refusal_says_what_is_seen_what_is_needed_and_how_to_show_it() {
    let found = starting(precondition(warm()), &[coolant(1, "68")], 5);
    assert_eq!(
        found.detail,
        "engine coolant temperature is 68 Cel, needs 93.33 to 98.89 Cel (200 to 210 [degF])"
    );
    assert_eq!(
        found.accepts,
        [
            "reading of engine_coolant_temperature in one of Cel, [degF], K",
            "frame (obd) that begins 41 05"
        ]
    );
    assert_eq!(found.who, ["technician"]);
    assert_eq!(found.evidence.len(), 1);
}

#[test]
fn nothing_shown_is_missing_and_old_is_stale() {
    let fresh = || Precondition { max_age: Some(30), ..precondition(warm()) };
    assert_eq!(starting(fresh(), &[], 5).verdict, Missing);
    assert_eq!(starting(fresh(), &[coolant(1, "95")], 31).verdict, Met);
    let stale = starting(fresh(), &[coolant(1, "95")], 32);
    assert_eq!(stale.verdict, Stale);
    assert_eq!(
        stale.detail,
        "engine coolant temperature was 95 Cel 31 s ago, needs 93.33 to 98.89 Cel (200 to 210 [degF]) not older than 30 s"
    );
    // Without an age of its own, the evidence of the attempt counts.
    assert_eq!(starting(precondition(warm()), &[coolant(1, "95")], 4000).verdict, Met);
}

#[test]
fn a_marked_reading_proves_nothing_and_says_why() {
    let reading = || coolant(1, "95");
    for mark in [
        Mark::Late,
        Mark::Future,
        Mark::BeforeAttempt,
        Mark::CalibrationExpired,
        Mark::Unverified,
        Mark::WrongVehicle,
        Mark::Implausible,
    ] {
        let found = starting(precondition(warm()), &[marked(mark, reading())], 5);
        assert_eq!(found.verdict, Missing, "{mark:?}");
        assert!(found.detail.contains("does not count: "), "{}", found.detail);
    }
    for mark in [Mark::ClockOff, Mark::NotAsked] {
        let found = starting(precondition(warm()), &[marked(mark, reading())], 5);
        assert_eq!(found.verdict, Met, "{mark:?}");
    }
}

#[test]
fn an_unregistered_instrument_proves_only_where_the_entry_allows_it() {
    let readings = [marked(Mark::Unverified, coolant(1, "95"))];
    let allowed = Precondition { unverified_allowed: true, ..precondition(warm()) };
    assert_eq!(starting(allowed, &readings, 5).verdict, Met);
    assert_eq!(starting(precondition(warm()), &readings, 5).verdict, Missing);
}

#[test]
fn evidence_from_outside_the_attempt_or_after_now_does_not_count() {
    let samples = [coolant(-1, "95"), coolant(10, "95")];
    let found = starting(precondition(warm()), &samples, 5);
    assert_eq!(found.verdict, Missing);
    assert!(found.detail.ends_with("does not count: it was taken later than now"));
}

#[test]
fn of_two_readings_at_one_moment_the_one_outside_counts() {
    for samples in [[coolant(1, "95"), coolant(1, "60")], [coolant(1, "60"), coolant(1, "95")]] {
        assert_eq!(starting(precondition(warm()), &samples, 5).verdict, Violated);
    }
}

proptest! {
    #[test]
    fn no_number_in_no_unit_makes_a_verdict_panic(
        over in any::<i64>(), under in any::<i64>(), unit in 0..unit::TABLE.len(), limit in any::<i64>(), scale in 0..30_u8,
    ) {
        let unit = &unit::TABLE[unit];
        for signal in signal::TABLE.iter().filter(|signal| matches!(signal.values, Values::Number { .. })) {
            let (Some(value), Some(limit)) = (Exact::new(over, under), Decimal::new(limit, scale)) else { return Ok(()) };
            let wanted = Condition::Range(Range {
                signal: signal.name.to_owned(), at_least: Some(limit), at_most: None, unit: unit.code.to_owned(),
            });
            let reading = sample(1, Kind::Number {
                signal: signal.name.to_owned(), place: signal.places().first().map(ToString::to_string), value, unit: unit.code.to_owned(),
            });
            starting(precondition(wanted), &[reading], 5);
        }
    }
}

#[test]
fn a_state_is_exact() {
    let applied = || precondition(is("parking_brake", "applied"));
    assert_eq!(starting(applied(), &[state(1, "parking_brake", "applied")], 5).verdict, Met);
    let found = starting(applied(), &[state(1, "parking_brake", "released")], 5);
    assert_eq!(found.verdict, Violated);
    assert_eq!(found.detail, "parking brake is released, needs applied");
    assert_eq!(found.accepts, ["reading of parking_brake: applied"]);
}

#[test]
fn a_reading_in_another_dimension_is_not_compared() {
    let found =
        starting(precondition(warm()), &[number(1, "engine_coolant_temperature", "95", "V")], 5);
    assert_eq!(found.verdict, Missing);
}

#[test]
fn every_wheel_must_be_shown_unless_the_task_is_for_one() {
    let full = || precondition(range("tire_pressure", Some("32"), Some("36"), "[psi]"));
    let wheel = |place, kpa| at_place(1, "tire_pressure", Some(place), kpa, "kPa");
    let three =
        [wheel("front_left", "230"), wheel("front_right", "230"), wheel("rear_left", "230")];
    let found = starting(full(), &three, 5);
    assert_eq!(found.verdict, Missing);
    assert_eq!(found.detail, "tire pressure rear_right was not shown, needs 32 to 36 [psi]");
    let four: Vec<_> = three.into_iter().chain([wheel("rear_right", "200")]).collect();
    let found = starting(full(), &four, 5);
    assert_eq!(
        found.detail,
        "tire pressure rear_right is 200 kPa, needs 220.63 to 248.21 kPa (32 to 36 [psi])"
    );
    let mut one = window(None, 5);
    one.place = Some("front_left".to_owned());
    assert_eq!(judge(&[full()], &four, &one, Phase::Starting)[0].verdict, Met);
}

#[test]
fn the_last_word_of_a_person_counts_and_a_second_person_must_be_a_second_person() {
    let bolted = |second_person| {
        precondition(Condition::Attested { statement: "calipers_bolted".to_owned(), second_person })
    };
    let yes = word(1, "calipers_bolted", true, false);
    assert_eq!(starting(bolted(false), std::slice::from_ref(&yes), 5).verdict, Met);
    let found = starting(bolted(true), std::slice::from_ref(&yes), 5);
    assert_eq!((found.verdict, found.who), (Missing, vec!["second_person".to_owned()]));
    let second = word(2, "calipers_bolted", true, true);
    assert_eq!(starting(bolted(true), &[yes.clone(), second.clone()], 5).verdict, Met);
    let no = word(3, "calipers_bolted", false, false);
    assert_eq!(starting(bolted(true), &[yes, second, no], 5).verdict, Violated);
}

#[test]
fn a_file_that_shows_something_else_is_no_proof() {
    let printout =
        || precondition(Condition::Attachment { shows: "alignment_printout".to_owned() });
    let file = |shows: &str| {
        sample(1, Kind::Attachment { shows: shows.to_owned(), sha256: "00".repeat(32) })
    };
    assert_eq!(starting(printout(), &[file("target_photo")], 5).verdict, Missing);
    assert_eq!(starting(printout(), &[file("alignment_printout")], 5).verdict, Met);
}

#[test]
fn time_runs_from_the_event_until_contrary_evidence_starts_it_anew() {
    let rest =
        || precondition(Condition::Elapsed { since: "ignition_off".to_owned(), at_least: 60 });
    let off = |seconds| state(seconds, "ignition", "off");
    let found = starting(rest(), &[off(10), off(40)], 50);
    assert_eq!((found.verdict, found.wait_seconds), (Violated, Some(20)));
    assert_eq!(starting(rest(), &[off(10), off(40)], 70).verdict, Met);
    let again = [off(10), state(30, "ignition", "on"), off(40)];
    assert_eq!(starting(rest(), &again, 70).wait_seconds, Some(30));
    assert_eq!(starting(rest(), &again[..2], 70).verdict, Violated);
    // An adhesive may have been applied before the task was taken.
    let cured = || {
        precondition(Condition::Elapsed { since: "adhesive_applied".to_owned(), at_least: 3600 })
    };
    let applied = marked(Mark::BeforeAttempt, word(-3600, "adhesive_applied", true, false));
    assert_eq!(starting(cured(), std::slice::from_ref(&applied), 0).verdict, Met);
    assert_eq!(starting(cured(), &[marked(Mark::WrongVehicle, applied)], 0).verdict, Missing);
}

#[test]
fn all_tells_everything_that_lacks_and_any_needs_one() {
    let level = range("fuel_tank_level", Some("75"), None, "%");
    let ballast =
        Condition::Attested { statement: "ballast_placed".to_owned(), second_person: false };
    let either = || precondition(Condition::Any(vec![level.clone(), ballast.clone()]));
    let found = starting(either(), &[number(1, "fuel_tank_level", "3820/51", "%")], 5);
    assert_eq!(found.verdict, Missing);
    assert_eq!(
        found.detail,
        "fuel tank level is 74.9 %, needs at least 75 %; or: `ballast_placed` is not attested"
    );
    let placed = [number(1, "fuel_tank_level", "20", "%"), word(2, "ballast_placed", true, false)];
    let found = starting(either(), &placed, 5);
    assert_eq!((found.verdict, found.detail.as_str()), (Met, "`ballast_placed` is attested"));

    let both = precondition(Condition::All(vec![level.clone(), ballast.clone()]));
    let found = starting(both, &[number(1, "fuel_tank_level", "20", "%")], 5);
    assert_eq!(found.verdict, Violated);
    assert_eq!((found.accepts.len(), found.detail.matches("; ").count()), (3, 1));
}

#[test]
fn the_names_of_all_that_a_procedure_asks_for_are_known() {
    let one = precondition(Condition::All(vec![
        warm(),
        is("ignition", "on"),
        Condition::Elapsed { since: "engine_off".to_owned(), at_least: 60 },
        Condition::Attested { statement: "wheels_chocked".to_owned(), second_person: false },
        Condition::Attachment { shows: "alignment_printout".to_owned() },
        Condition::Routine { identifier: None, passes: None },
    ]));
    let names = asked(&[one]);
    assert_eq!(
        names.into_iter().collect::<Vec<_>>(),
        [
            "alignment_printout",
            "engine",
            "engine_coolant_temperature",
            "engine_off",
            "ignition",
            "routine_status_passed",
            "wheels_chocked"
        ]
    );
}

/// 93.33 Cel is less than 200 [degF], which is 93.333... Cel (NIST SP 811, B.8): two decimals would not show it.
#[test]
fn what_breaks_a_limit_by_little_is_told_so_closely_that_it_shows() {
    let found = starting(precondition(warm()), &[coolant(1, "93.33")], 5);
    assert_eq!(found.verdict, Violated);
    assert!(
        found.detail.contains("is 93.33 Cel, needs 93.333 to 98.889 Cel (200 to 210 [degF])"),
        "{}",
        found.detail
    );
    let found = starting(precondition(warm()), &[coolant(1, "80")], 5);
    assert!(found.detail.contains("needs 93.33 to 98.89 Cel"), "{}", found.detail);
    let count = precondition(range("stored_code_count", None, Some("0"), "1"));
    let found = starting(count, &[number(1, "stored_code_count", "2", "1")], 5);
    assert!(found.detail.ends_with("is 2, needs at most 0"), "{}", found.detail);
}
