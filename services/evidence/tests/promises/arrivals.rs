use chrono::TimeDelta;
use domain::start::Identity;
use evidence::identity::{self, Expected};
use evidence::intake::fault::Refusal;
use evidence::intake::{Given, Instrument, Limits, examine, examine_all, finite, word};
use evidence::sample::{Code, CodeList, Kind, Mark, Sample};

use crate::scene::*;

fn limits() -> Limits {
    Limits {
        now: at(100),
        client_clock: None,
        attempt_from: at(0),
        lease_until: at(1000),
        asked: ["engine_coolant_temperature".to_owned(), "parking_brake".to_owned()].into(),
        vin: Some("1G4AH59H45G118341".to_owned()),
    }
}

fn given(sample: Sample) -> Given {
    Given { taken_at: Some(sample.taken_at), kind: sample.kind, instrument: Instrument::None }
}

fn marks(item: &Given, limits: &Limits) -> Vec<Mark> {
    examine(item, limits).unwrap().marks.into_iter().collect()
}

fn refusal(sample: Sample) -> Refusal {
    examine(&given(sample), &limits()).unwrap_err()
}

#[test]
fn what_says_nothing_is_refused_with_what_would_fit() {
    let number = |signal, value, unit| number(50, signal, value, unit);
    assert_eq!(refusal(number("warp_speed", "1", "V")).code(), "unknown_signal");
    assert_eq!(
        refusal(number("engine_coolant_temperature", "95", "degF")).to_string(),
        "`degF` is not a unit that is known; engine_coolant_temperature is read in one of Cel, [degF], K"
    );
    assert_eq!(
        refusal(number("engine_coolant_temperature", "95", "V")).to_string(),
        "V does not measure engine_coolant_temperature, which is read in one of Cel, [degF], K"
    );
    assert_eq!(refusal(number("parking_brake", "1", "1")).code(), "not_a_number");
    assert_eq!(refusal(state(50, "engine_speed", "high")).code(), "not_a_state");
    assert_eq!(
        refusal(state(50, "parking_brake", "on")).to_string(),
        "`on` is not a state of parking_brake, which is one of released, applied"
    );
    assert_eq!(refusal(number("tire_pressure", "230", "kPa")).code(), "wrong_place");
    let spare = at_place(50, "tire_pressure", Some("spare"), "230", "kPa");
    assert_eq!(refusal(spare).code(), "wrong_place");
    assert_eq!(finite(f64::NAN), Err(Refusal::NotFinite));
    assert_eq!(finite(f64::NEG_INFINITY), Err(Refusal::NotFinite));
    assert_eq!(finite(1e300), Err(Refusal::NotFinite));
    for kind in [
        Kind::Vin { vin: "IOQ4AH59H45G11834".to_owned() },
        Kind::TypedIdentity { last_six: "18-341".to_owned() },
        Kind::Attested {
            statement: "Calipers!".to_owned(),
            holds: true,
            by: String::new(),
            second_person: false,
        },
        Kind::Attachment { shows: "photo".to_owned(), sha256: "00".to_owned() },
        Kind::CodesNotReadable { reason: " ".to_owned() },
        Kind::Codes {
            list: CodeList::Stored,
            codes: vec![Code { code: "X0420".to_owned(), status: None }],
        },
        Kind::Routine {
            identifier: "23".to_owned(),
            sub: evidence::sample::RoutineAnswer::Results,
            status: String::new(),
        },
    ] {
        assert_eq!(refusal(sample(50, kind.clone())).code(), "malformed", "{kind:?}");
    }
}

#[test]
fn a_reading_that_a_working_sensor_cannot_give_is_kept_and_marked() {
    let mark = |celsius: &str| marks(&given(coolant(50, celsius)), &limits());
    assert_eq!(mark("95"), []);
    assert_eq!(mark("-40"), []);
    assert_eq!(mark("215"), []);
    assert_eq!(mark("215.001"), [Mark::Implausible]);
    assert_eq!(mark("999999999999999999"), [Mark::Implausible]);
    let fahrenheit = number(50, "engine_coolant_temperature", "419", "[degF]");
    assert_eq!(marks(&given(fahrenheit), &limits()), [], "419 [degF] is 215 Cel");
}

#[test]
fn times_are_clamped_within_the_tolerance_and_marked_beyond() {
    let taken = |seconds: i64| examine(&given(coolant(seconds, "95")), &limits()).unwrap();
    assert_eq!((taken(50).taken_at, taken(50).marks.len()), (at(50), 0));
    assert_eq!((taken(105).taken_at, taken(105).marks.len()), (at(100), 0));
    assert_eq!(taken(106).taken_at, at(100));
    assert_eq!(taken(106).marks, [Mark::ClockOff, Mark::Future].into());
    assert_eq!((taken(-5).taken_at, taken(-5).marks.len()), (at(0), 0));
    assert_eq!((taken(-6).taken_at, taken(-6).marks), (at(-6), [Mark::BeforeAttempt].into()));
    let untold = Given { taken_at: None, ..given(coolant(0, "95")) };
    assert_eq!(examine(&untold, &limits()).unwrap().taken_at, at(100));
}

#[test]
fn a_late_item_a_clock_that_is_off_and_what_nobody_asked_for_are_marked() {
    let item = given(coolant(50, "95"));
    let late = Limits { now: at(1001), ..limits() };
    assert_eq!(marks(&item, &late), [Mark::Late]);
    let off = Limits { client_clock: Some(at(100) - TimeDelta::seconds(6)), ..limits() };
    assert_eq!(marks(&item, &off), [Mark::ClockOff]);
    assert_eq!(marks(&given(state(50, "hood", "open")), &limits()), [Mark::NotAsked]);
}

#[test]
fn an_instrument_whose_calibration_has_run_out_or_that_nobody_registered_is_marked() {
    let with = |instrument| Given { instrument, ..given(coolant(50, "95")) };
    let until = |seconds| Instrument::Registered { calibrated_until: Some(at(seconds)) };
    assert_eq!(marks(&with(until(50)), &limits()), []);
    assert_eq!(marks(&with(until(49)), &limits()), [Mark::CalibrationExpired]);
    assert_eq!(marks(&with(Instrument::Unregistered), &limits()), [Mark::Unverified]);
}

#[test]
fn a_batch_is_answered_item_by_item_and_good_items_are_kept() {
    let mut items: Vec<Given> = (0..10_000)
        .map(|index| Given {
            taken_at: Some(at(50) + TimeDelta::milliseconds(index)),
            ..given(coolant(0, "95"))
        })
        .collect();
    items[17] = items[3].clone();
    items[18] = given(number(50, "warp_speed", "1", "V"));
    let answers = examine_all(&items, &limits());
    assert_eq!(answers.len(), 10_000);
    assert_eq!(answers[17], Err(Refusal::Duplicate { of: 3 }));
    assert_eq!(answers.iter().filter(|answer| answer.is_ok()).count(), 9_998);
}

#[test]
fn another_vehicles_number_is_marked_and_stands_for_what_was_seen() {
    let vin = |seconds, vin: &str| sample(seconds, Kind::Vin { vin: vin.to_owned() });
    let other = vin(10, "1J9RP1A36A1644345");
    assert_eq!(marks(&given(other.clone()), &limits()), [Mark::WrongVehicle]);

    let expected = Expected { vin: limits().vin, plate: Some("AB-123 CD".to_owned()) };
    let judge = |samples: &[Sample]| identity::judge(&expected, samples, at(0), at(100));
    let own = vin(20, "1g4ah59h45g118341");
    assert_eq!(judge(&[]), Identity::Missing);
    assert_eq!(judge(std::slice::from_ref(&own)), Identity::Matches);
    assert_eq!(
        judge(&[marked(Mark::WrongVehicle, other.clone())]),
        Identity::Mismatch("1G4AH59H45G118341".to_owned(), "1J9RP1A36A1644345".to_owned())
    );
    assert_eq!(
        judge(&[other.clone(), own.clone()]),
        Identity::Matches,
        "the right one was brought"
    );
    assert_eq!(judge(&[marked(Mark::Late, own.clone())]), Identity::Missing);
    assert_eq!(judge(&[marked(Mark::BeforeAttempt, own.clone())]), Identity::Missing);

    let reading = coolant(15, "95");
    let after = coolant(25, "95");
    let foreign = identity::foreign(&expected, &[other.clone(), reading.clone(), own, after]);
    assert_eq!(foreign, [other.id, reading.id]);
}

#[test]
fn a_word_with_a_text_is_evidence_of_its_own_kind() {
    let word = |statement, holds, text| word(statement, holds, text, "a person", false);
    assert_eq!(
        word("vehicle_identity", true, " 118341 "),
        Kind::TypedIdentity { last_six: "118341".to_owned() }
    );
    assert_eq!(
        word("codes_not_readable", true, "battery flat"),
        Kind::CodesNotReadable { reason: "battery flat".to_owned() }
    );
    assert!(matches!(word("vehicle_identity", false, ""), Kind::Attested { holds: false, .. }));
    assert!(matches!(word("wheels_chocked", true, ""), Kind::Attested { holds: true, .. }));
    assert!(Mark::ALL.into_iter().all(|mark| Mark::of_word(mark.word()) == Some(mark)));
}

#[test]
fn typed_characters_show_the_vehicle_only_beside_a_photo() {
    let typed = |six: &str| sample(10, Kind::TypedIdentity { last_six: six.to_owned() });
    let photo = || {
        let kind = Kind::Attachment { shows: "vin_photo".to_owned(), sha256: "00".repeat(32) };
        sample(9, kind)
    };
    let expected = Expected { vin: limits().vin, plate: Some("AB-123 CD".to_owned()) };
    let judge = |samples: &[Sample]| identity::judge(&expected, samples, at(0), at(100));
    assert_eq!(judge(&[typed("118341")]), Identity::Missing);
    assert_eq!(judge(&[photo(), typed("118341")]), Identity::Matches);
    assert_eq!(judge(&[photo(), typed("b123cd")]), Identity::Matches);
    assert_eq!(
        judge(&[photo(), typed("644345")]),
        Identity::Mismatch("118341 or B123CD".to_owned(), "644345".to_owned())
    );
    let unknown = Expected::default();
    let seen = [photo(), typed("118341")];
    assert_eq!(identity::judge(&unknown, &seen, at(0), at(100)), Identity::Matches);
}
