use domain::exact::Exact;
use domain::precondition::{Condition, Range};
use domain::unit::Unit;
use evidence::frame::{self, FrameFault, Protocol, answer, decode, isotp};
use evidence::sample::{CodeList, Kind, Monitor, RoutineAnswer};
use evidence::{identity, refusal};
use proptest::prelude::*;
use serde_json::Value;

use crate::scene::*;

fn vectors(text: &str) -> Value {
    serde_json::from_str(text).unwrap()
}

fn rows<'a>(vectors: &'a Value, name: &str) -> &'a Vec<Value> {
    vectors[name].as_array().unwrap()
}

pub(crate) fn hex(text: &str) -> Vec<u8> {
    (0..text.len() / 2)
        .map(|at| u8::from_str_radix(&text[2 * at..2 * at + 2], 16).unwrap())
        .collect()
}

fn obd(text: &str) -> Result<Vec<Kind>, FrameFault> {
    decode(Protocol::Obd, &hex(text))
}

fn uds(text: &str) -> Result<Vec<Kind>, FrameFault> {
    decode(Protocol::Uds, &hex(text))
}

#[test]
fn every_published_value_is_decoded_exactly() {
    let vectors = vectors(include_str!("../vectors/obd.json"));
    for row in rows(&vectors, "values") {
        let said = obd(row[0].as_str().unwrap()).unwrap();
        let [Kind::Number { value, unit, .. }] = said.as_slice() else {
            panic!("{row}: {said:?}");
        };
        assert_eq!(unit, row[1].as_str().unwrap(), "{row}");
        assert_eq!(*value, row[2].as_str().unwrap().parse::<Exact>().unwrap(), "{row}");
    }
}

#[test]
fn limits_against_single_sensor_steps_are_exact() {
    let vectors = vectors(include_str!("../vectors/limits.json"));
    for row in rows(&vectors, "limits") {
        let said = obd(row[0].as_str().unwrap()).unwrap().remove(0);
        let Kind::Number { signal, .. } = &said else { panic!("{row}") };
        // The vectors give limits as fractions of their unit; fractions in Fahrenheit are the decimals they were.
        let limit = |text: &Value, unit: &str| {
            text.as_str().map(|text| {
                let exact = text.parse::<Exact>().unwrap();
                let from = Unit::of_code(row[3].as_str().unwrap()).unwrap();
                let shown = from.to(Unit::of_code(unit).unwrap(), exact.ratio()).unwrap();
                domain::exact::rounded(shown, 6)
            })
        };
        let fahrenheit = row[1] == "280/3";
        let miles = row[2] == "25146/3125";
        let unit = match row[3].as_str().unwrap() {
            _ if fahrenheit => "[degF]",
            _ if miles => "[mi_i]/h",
            unit => unit,
        };
        let condition = Condition::Range(Range {
            signal: signal.clone(),
            at_least: limit(&row[1], unit),
            at_most: limit(&row[2], unit),
            unit: unit.to_owned(),
        });
        let found = starting(precondition(condition), &[sample(1, said)], 2);
        let met = found.verdict == domain::verdict::Verdict::Met;
        assert_eq!(met, row[4].as_bool().unwrap(), "{row}: {}", found.detail);
    }
}

#[test]
fn what_looks_alike_is_kept_apart() {
    let signal = |text: &str| match obd(text).unwrap().remove(0) {
        Kind::Number { signal, .. } => signal,
        other => panic!("{other:?}"),
    };
    // The supply of a control module is not the battery's terminal voltage.
    assert_eq!(signal("41423264"), "control_module_voltage");
    let battery = precondition(range("battery_voltage", Some("12.9"), None, "V"));
    let supply = sample(1, obd("41423264").unwrap().remove(0));
    assert_eq!(starting(battery, &[supply], 2).verdict, domain::verdict::Verdict::Missing);
    // A released pedal reads some 15 % on its own track and 0 % only on the relative position.
    assert_eq!(signal("414926"), "accelerator_pedal_position");
    assert_eq!(signal("415A00"), "relative_accelerator_pedal_position");
}

#[test]
fn several_parameters_in_one_answer_are_all_read() {
    let said = obd("41058D0C0BB80D00").unwrap();
    assert_eq!(said.len(), 3);
    assert_eq!(obd("410080000000").unwrap(), []);
}

#[test]
fn the_status_tells_lamp_count_and_monitors() {
    let vectors = vectors(include_str!("../vectors/obd.json"));
    for row in rows(&vectors, "status") {
        let said = obd(row[0].as_str().unwrap()).unwrap();
        let [Kind::State { is, .. }, Kind::Number { value, .. }, Kind::Monitors { monitors }] =
            said.as_slice()
        else {
            panic!("{row}: {said:?}");
        };
        assert_eq!(is == "on", row[1].as_bool().unwrap(), "{row}");
        assert_eq!(*value, Exact::whole(row[2].as_i64().unwrap()), "{row}");
        let incomplete = monitors.iter().filter(|monitor| !monitor.complete).count();
        assert_eq!(incomplete, row[4].as_array().unwrap().len(), "{row}");
    }
    let said = obd("41010007E101").unwrap();
    let Kind::Monitors { monitors } = &said[2] else { panic!("{said:?}") };
    assert!(monitors.contains(&Monitor { name: "catalyst".to_owned(), complete: false }));
}

#[test]
fn codes_are_spelled_as_published_and_padding_is_no_code() {
    let vectors = vectors(include_str!("../vectors/obd.json"));
    for row in rows(&vectors, "codes") {
        let [high, low] = hex(row[0].as_str().unwrap())[..] else { panic!("{row}") };
        assert_eq!(frame::codes::two_bytes(high, low).as_deref(), row[1].as_str(), "{row}");
    }
    for row in rows(&vectors, "lists") {
        let said = obd(row[0].as_str().unwrap()).unwrap();
        let [Kind::Codes { codes, .. }] = said.as_slice() else { panic!("{row}") };
        let codes: Vec<&str> = codes.iter().map(|code| code.code.as_str()).collect();
        let expected: Vec<&str> =
            row[1].as_array().unwrap().iter().map(|code| code.as_str().unwrap()).collect();
        assert_eq!(codes, expected, "{row}");
    }
    // Before CAN: three codes in seven bytes, filled with zeros.
    assert_eq!(obd("43013304200000"), Ok(vec![list(CodeList::Stored, &["P0133", "P0420"])]));
}

fn list(list: CodeList, codes: &[&str]) -> Kind {
    let code = |code: &&str| evidence::sample::Code { code: (*code).to_owned(), status: None };
    Kind::Codes { list, codes: codes.iter().map(code).collect() }
}

#[test]
fn an_answer_of_the_wrong_length_is_refused_and_never_padded() {
    for short_or_long in [
        "41",
        "4105",
        "410C1A",
        "41058D00",
        "410C0BB80D",
        "4101",
        "41010007E5",
        "43",
        "4302013304",
        "430101330420",
        "4301330420",
        "44AA",
        "4A",
        "7F31",
        "7F",
        "7F312200",
        "490201",
        "4902013147",
    ] {
        let fault = obd(short_or_long).unwrap_err();
        let refused = matches!(
            fault,
            FrameFault::WrongLength { .. }
                | FrameFault::NotPadding(_)
                | FrameFault::UnknownParameter(0)
        );
        assert!(refused || short_or_long == "41058D00", "{short_or_long}: {fault:?}");
    }
    for short_or_long in [
        "71",
        "7101",
        "710102",
        "5903",
        "590A",
        "590AFF4035",
        "50",
        "500300",
        "62F190",
        "62F19031",
        "5902FF4035",
        "5400",
    ] {
        assert!(uds(short_or_long).is_err(), "{short_or_long}");
    }
    assert_eq!(obd(""), Err(FrameFault::Empty));
    assert_eq!(obd("41FE00"), Err(FrameFault::UnknownParameter(0xFE)));
    assert_eq!(obd("71030203"), Err(FrameFault::UnknownService(0x71)));
    assert_eq!(uds("410500"), Err(FrameFault::UnknownService(0x41)));
}

#[test]
fn answers_of_routines_keep_the_status_record_as_it_is() {
    let vectors = vectors(include_str!("../vectors/uds.json"));
    for row in rows(&vectors, "routines") {
        let said = uds(row[0].as_str().unwrap()).unwrap();
        let [Kind::Routine { identifier, sub, status }] = said.as_slice() else { panic!("{row}") };
        let sub = match sub {
            RoutineAnswer::Started => 1,
            RoutineAnswer::Stopped => 2,
            RoutineAnswer::Results => 3,
        };
        let expected =
            (row[1].as_i64().unwrap(), row[2].as_str().unwrap(), row[3].as_str().unwrap());
        assert_eq!((sub, identifier.as_str(), status.as_str()), expected, "{row}");
    }
    // A sub-function with bit 7 set is a request that wants no answer, never an answer.
    assert_eq!(uds("71810203"), Err(FrameFault::UnknownSubFunction(0x71, 0x81)));
    for row in rows(&vectors, "malformed") {
        assert!(uds(row[0].as_str().unwrap()).is_err(), "{row}");
    }
}

#[test]
fn every_refusal_is_read_and_has_its_published_name() {
    let vectors = vectors(include_str!("../vectors/uds.json"));
    for row in rows(&vectors, "refusals") {
        let nrc = hex(row[0].as_str().unwrap())[0];
        assert_eq!(refusal::name(nrc), row[1].as_str().unwrap());
        let said = decode(Protocol::Uds, &[0x7F, 0x31, nrc]).unwrap();
        assert_eq!(said, [Kind::Refused { service: 0x31, nrc }]);
    }
    assert_eq!(obd("7F0422").unwrap(), [Kind::Refused { service: 0x04, nrc: 0x22 }]);
}

#[test]
fn codes_with_status_keep_failure_type_and_status() {
    let vectors = vectors(include_str!("../vectors/uds.json"));
    let said = uds(vectors["codes_with_status"][0].as_str().unwrap()).unwrap();
    let [Kind::Codes { list: CodeList::WithStatus, codes }] = said.as_slice() else { panic!() };
    let codes: Vec<_> = codes.iter().map(|code| (code.code.as_str(), code.status)).collect();
    assert_eq!(codes, [("C0035-11", Some(0x09)), ("U0100-00", Some(0x29))]);
}

#[test]
fn a_session_is_a_state_and_the_vin_is_an_identity() {
    let state = Kind::State { signal: "diagnostic_session".to_owned(), is: "extended".to_owned() };
    assert_eq!(uds("5003").unwrap(), std::slice::from_ref(&state));
    assert_eq!(uds("5003003201F4").unwrap(), [state]);
    assert_eq!(uds("5040").unwrap(), []);
    // The number is the worked example of 49 CFR 565.15, Table VI.
    let vin = [Kind::Vin { vin: "1G4AH59H45G118341".to_owned() }];
    assert_eq!(uds("62F1903147344148353948343547313138333431").unwrap(), vin);
    assert_eq!(obd("4902013147344148353948343547313138333431").unwrap(), vin);
    let five = "49020100000031490202473441484902033539483449020435473131490205383334310000";
    assert_eq!(obd(&five[..70]).unwrap(), vin);
    assert_eq!(obd(&five[..70].replace("490203", "490204")), Err(FrameFault::NotAVin));
    assert_eq!(uds("62F1904F47344148353948343547313138333431"), Err(FrameFault::NotAVin));
    assert!(identity::PHOTOS.contains(&"plate_photo"));
}

#[test]
fn frames_of_one_message_are_joined_and_disorder_is_refused() {
    let vectors = vectors(include_str!("../vectors/uds.json"));
    for row in rows(&vectors, "segmented") {
        let message = hex(row[0].as_str().unwrap());
        let frames: Vec<Vec<u8>> =
            row[1].as_array().unwrap().iter().map(|one| hex(one.as_str().unwrap())).collect();
        let join =
            |frames: &[Vec<u8>]| isotp::join(&frames.iter().map(Vec::as_slice).collect::<Vec<_>>());
        assert_eq!(join(&frames), Ok(message.clone()), "{row}");
        let mut padded = frames.clone();
        padded.last_mut().unwrap().resize(8, 0xAA);
        assert_eq!(join(&padded), Ok(message), "padding of the last frame is not content");
        if frames.len() > 2 {
            let mut swapped = frames.clone();
            swapped.swap(1, 2);
            assert!(join(&swapped).is_err());
            let mut lost = frames.clone();
            lost.remove(1);
            assert!(join(&lost).is_err());
        }
        let mut short = frames.clone();
        short.pop();
        assert!(join(&short).is_err());
        let mut doubled = frames.clone();
        doubled.push(frames.last().unwrap().clone());
        assert!(join(&doubled).is_err());
    }
    for bytes in ["1007010203040506", "0007", "0801020304050607", "30000000", "2101020304050607"] {
        assert!(decode(Protocol::IsoTpCan, &hex(bytes)).is_err(), "{bytes}");
    }
    let bytes = hex("101462F19031473421414835394834352247313138333431");
    assert_eq!(
        decode(Protocol::IsoTpCan, &bytes),
        Ok(vec![Kind::Vin { vin: "1G4AH59H45G118341".to_owned() }])
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(20_000))]

    #[test]
    fn no_bytes_make_a_decoder_panic_and_what_it_says_can_be_kept(
        head in prop::sample::select(vec![0x41_u8, 0x43, 0x47, 0x49, 0x4A, 0x50, 0x59, 0x62, 0x71, 0x7F, 0x10, 0x02]),
        tail in prop::collection::vec(any::<u8>(), 0..40),
    ) {
        let mut bytes = vec![head];
        bytes.extend(tail);
        for protocol in [Protocol::Obd, Protocol::Uds, Protocol::IsoTpCan] {
            if let Ok(said) = decode(protocol, &bytes) {
                for kind in said {
                    let text = serde_json::to_string(&kind).unwrap();
                    prop_assert_eq!(serde_json::from_str::<Kind>(&text).unwrap(), kind);
                }
            }
        }
        let _ = answer(&bytes);
    }
}

#[test]
fn an_answer_of_which_nothing_is_used_is_told_by_its_name() {
    let told = |protocol, bytes: &[u8]| {
        assert_eq!(evidence::frame::decode(protocol, bytes), Ok(Vec::new()));
        evidence::frame::unused(protocol, bytes)
    };
    let rest = ": kept, and nothing of it is used";
    for (protocol, bytes, what) in [
        (Protocol::Uds, &[0x7E, 0x00][..], "TesterPresent (3E)"),
        (Protocol::Uds, &[0x67, 0x02], "SecurityAccess (27)"),
        (Protocol::IsoTpCan, &[0x02, 0x67, 0x02], "SecurityAccess (27)"),
        (Protocol::Obd, &[0x41, 0x1C, 0x01], "current powertrain data (01), parameter 1C"),
        (
            Protocol::Obd,
            &[0x41, 0x1C, 0x01, 0x12, 0x00],
            "current powertrain data (01), parameter 1C, 12",
        ),
    ] {
        assert_eq!(told(protocol, bytes), format!("a positive answer to {what}{rest}"));
    }
}
