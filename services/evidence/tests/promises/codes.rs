use domain::precondition::{Condition, Precondition};
use domain::verdict::Verdict::{Met, Missing, Stale, Violated};
use evidence::frame::{Protocol, decode};
use evidence::judge::codes::matches;
use evidence::sample::CodeList::{Pending, Permanent, Stored, WithStatus};
use evidence::sample::{Kind, Sample};
use proptest::prelude::*;

use crate::scene::*;

fn no(pattern: &str, except: &[&str]) -> Precondition {
    precondition(Condition::NoCode {
        pattern: pattern.to_owned(),
        except: except.iter().map(ToString::to_string).collect(),
    })
}

#[test]
fn a_pattern_leaves_places_open() {
    for (pattern, code, is) in [
        ("P0507", "P0507", true),
        ("P05xx", "P0507", true),
        ("P05xx", "P0607", false),
        ("xxxxx", "U0158", true),
        ("C00xx", "C0035-11", true),
        ("C0035-11", "C0035-11", true),
        ("C0035-11", "C0035-12", false),
        ("C0035-11", "C0035", false),
        ("", "P0507", false),
    ] {
        assert_eq!(matches(pattern, code), is, "{pattern} {code}");
    }
}

#[test]
fn a_code_that_this_task_cures_does_not_stand_in_its_way_and_another_does() {
    let list = [codes(1, Stored, &[("P0507", None)])];
    assert_eq!(starting(no("P05xx", &["P0507"]), &list, 5).verdict, Met);
    let list = [codes(1, Stored, &[("P0507", None), ("P0562", None)])];
    let found = starting(no("P05xx", &["P0507"]), &list, 5);
    assert_eq!(
        (found.verdict, found.detail.as_str()),
        (Violated, "P0562 is present, needs no P05xx")
    );
}

#[test]
fn no_list_is_not_an_empty_list() {
    assert_eq!(starting(no("xxxxx", &[]), &[], 5).verdict, Missing);
    assert_eq!(starting(no("xxxxx", &[]), &[codes(1, Pending, &[])], 5).verdict, Missing);
    let flat = sample(1, Kind::CodesNotReadable { reason: "battery flat".to_owned() });
    assert_eq!(starting(no("xxxxx", &[]), &[flat], 5).verdict, Missing);
    assert_eq!(starting(no("xxxxx", &[]), &[codes(1, Stored, &[])], 5).verdict, Met);
}

#[test]
fn lists_of_several_modules_are_one_reading_and_a_later_reading_replaces_them() {
    let engine = codes(10, Stored, &[("P0507", None)]);
    let brakes = codes(15, Stored, &[]);
    assert_eq!(starting(no("xxxxx", &[]), &[engine.clone(), brakes.clone()], 20).verdict, Violated);
    assert_eq!(
        starting(no("xxxxx", &[]), &[engine, brakes, codes(60, Stored, &[])], 70).verdict,
        Met
    );
}

#[test]
fn a_pending_code_counts_and_a_permanent_one_is_only_told() {
    let pending = [codes(10, Stored, &[]), codes(11, Pending, &[("P0420", None)])];
    assert_eq!(starting(no("xxxxx", &[]), &pending, 20).verdict, Violated);
    let permanent = [codes(10, Stored, &[]), codes(11, Permanent, &[("P0420", None)])];
    let found = starting(no("xxxxx", &[]), &permanent, 20);
    assert_eq!(found.verdict, Met);
    assert!(found.detail.ends_with("permanent until its monitor has run: P0420"));
}

#[test]
fn a_list_from_before_codes_were_cleared_no_longer_counts() {
    let samples = [codes(10, Stored, &[]), sample(11, Kind::CodesCleared)];
    assert_eq!(starting(no("xxxxx", &[]), &samples, 20).verdict, Stale);
}

/// Status bits of ISO 14229-1: repaired is bit 0 clear and bits 4 and 6 clear; 0x50 is not tested yet.
#[test]
fn a_code_that_is_merely_cleared_is_not_tested_yet_until_its_status_says_so() {
    for (status, verdict) in [
        (0x09, Violated),
        (0x2F, Violated),
        (0x04, Violated),
        (0x28, Violated),
        (0x50, Missing),
        (0x40, Missing),
        (0x00, Met),
        (0x20, Met),
    ] {
        let list = [codes(1, WithStatus, &[("C0035-11", Some(status))])];
        assert_eq!(starting(no("C0035", &[]), &list, 5).verdict, verdict, "{status:02X}");
    }
    // A module lists all it knows; a rescan for any code does not wait for every test.
    let list = [codes(1, WithStatus, &[("C0035-11", Some(0x50)), ("P0420-00", Some(0x00))])];
    let found = starting(no("xxxxx", &[]), &list, 5);
    assert_eq!(found.verdict, Met);
    assert_eq!(found.detail, "no code xxxxx was read; not tested yet: C0035-11");
}

fn cleared(seconds: i64) -> Sample {
    sample(seconds, Kind::CodesCleared)
}

/// Parameter 01 of a spark-ignition engine; the last byte holds the monitors that have yet to run.
fn monitors(seconds: i64, [b, c, d]: [u8; 3]) -> Sample {
    let said = decode(Protocol::Obd, &[0x41, 0x01, 0x00, b, c, d]).unwrap();
    let kind = said.into_iter().find(|kind| matches!(kind, Kind::Monitors { .. }));
    sample(seconds, kind.unwrap())
}

#[test]
fn what_was_read_and_then_cleared_is_not_tested_yet_whatever_the_pattern() {
    let throttle = || [codes(1, WithStatus, &[("P2111-00", Some(0x09))]), cleared(2)];
    let after = |list: Sample| throttle().into_iter().chain([list]).collect::<Vec<_>>();
    let untested = "not tested yet since it was cleared: P2111-00; needs a status that says tested";
    for pattern in ["P2111", "P21xx", "xxxxx"] {
        for list in [
            codes(3, Stored, &[]),
            codes(3, WithStatus, &[]),
            codes(3, WithStatus, &[("P2111-00", Some(0x50))]),
        ] {
            let found = starting(no(pattern, &[]), &after(list), 5);
            assert_eq!((found.verdict, found.detail.as_str()), (Missing, untested), "{pattern}");
        }
        let tested = after(codes(3, WithStatus, &[("P2111-00", Some(0x00))]));
        assert_eq!(starting(no(pattern, &[]), &tested, 5).verdict, Met, "{pattern}");
    }
    let gone = after(codes(3, Stored, &[]));
    assert_eq!(starting(no("P05xx", &[]), &gone, 5).verdict, Met, "it was never read");
    assert_eq!(starting(no("P21xx", &["P2111"]), &gone, 5).verdict, Met, "this task cures it");
    let again = after(codes(3, Stored, &[("P2111", None)]));
    assert_eq!(starting(no("P21xx", &[]), &again, 5).verdict, Violated);
}

#[test]
fn a_proof_does_not_forget_what_was_read_before_the_start() {
    let read = codes(50, Stored, &[("P0507", None)]);
    let samples = [read.clone(), cleared(110), codes(120, Stored, &[])];
    assert_eq!(finishing(no("P050x", &[]), &samples, 130).verdict, Missing);
    let samples = [read, cleared(110), codes(120, WithStatus, &[("P0507-00", Some(0x00))])];
    assert_eq!(finishing(no("P050x", &[]), &samples, 130).verdict, Met);
}

/// SAE J1979 parameter 01: bits 4 to 6 of the second byte and the last byte are set while a monitor has not run.
#[test]
fn all_monitors_complete_since_the_clearing_tell_that_powertrain_codes_were_tested() {
    let judged = |status: Sample, code: &str| {
        let samples =
            [codes(1, Stored, &[(code, None)]), cleared(10), codes(30, Stored, &[]), status];
        starting(no("xxxxx", &[]), &samples, 40).verdict
    };
    assert_eq!(judged(monitors(20, [0x07, 0x65, 0x00]), "P0420"), Met);
    assert_eq!(judged(monitors(20, [0x07, 0x65, 0x01]), "P0420"), Missing, "the catalyst's is not");
    assert_eq!(judged(monitors(5, [0x07, 0x65, 0x00]), "P0420"), Missing, "before the clearing");
    assert_eq!(judged(monitors(20, [0x07, 0x00, 0x00]), "P0420"), Missing, "none that waits");
    assert_eq!(judged(monitors(20, [0x07, 0x65, 0x00]), "C0035"), Missing, "not a powertrain's");
}

proptest! {
    /// Whatever else was read: a code that was present and then cleared is proven gone only by what tells of its test.
    #[test]
    fn absence_after_clearing_proves_nothing(
        present in prop::collection::vec(0_u8..16, 1..6),
        later in prop::collection::vec(0_u8..16, 0..6),
        wild in 0_usize..4,
    ) {
        let name = |digit: &u8| format!("P21{digit:X}{digit:X}");
        let before: Vec<String> = present.iter().map(name).collect();
        let tested: Vec<String> = later.iter().map(|digit| format!("{}-00", name(digit))).collect();
        let list: Vec<_> = before.iter().map(|code| (code.as_str(), None)).collect();
        let rescan: Vec<_> = tested.iter().map(|code| (code.as_str(), Some(0x00))).collect();
        let samples = [codes(1, Stored, &list), cleared(2), codes(3, WithStatus, &rescan)];
        let pattern = ["P21xx", "P2xxx", "Pxxxx", "xxxxx"][wild];
        let all_tested = present.iter().all(|digit| later.contains(digit));
        let wanted = if all_tested { Met } else { Missing };
        prop_assert_eq!(starting(no(pattern, &[]), &samples, 5).verdict, wanted);
    }
}

#[test]
fn codes_are_on_record_whatever_they_are_and_a_flat_battery_is_a_reason_where_allowed() {
    let record = |or_not_readable| precondition(Condition::CodesRecorded { or_not_readable });
    let flat = || sample(1, Kind::CodesNotReadable { reason: "battery flat".to_owned() });
    assert_eq!(starting(record(false), &[codes(1, Stored, &[("P0420", None)])], 5).verdict, Met);
    assert_eq!(starting(record(false), &[codes(1, Permanent, &[])], 5).verdict, Missing);
    assert_eq!(starting(record(false), &[flat()], 5).verdict, Missing);
    assert_eq!(starting(record(true), &[flat()], 5).verdict, Met);
}

#[test]
fn proof_wants_a_list_read_after_the_start() {
    assert_eq!(finishing(no("xxxxx", &[]), &[codes(99, Stored, &[])], 120).verdict, Missing);
    assert_eq!(finishing(no("xxxxx", &[]), &[codes(101, Stored, &[])], 120).verdict, Met);
}

#[test]
fn a_fault_that_blocks_the_routine_violates_no_code_until_codes_are_read_again() {
    let samples = [codes(1, Stored, &[]), refused(3, 0x31, 0x26)];
    let found = starting(no("xxxxx", &[]), &samples, 5);
    assert_eq!(found.verdict, Violated);
    assert!(found.contradiction.is_some());
    let again: Vec<_> = samples.into_iter().chain([codes(9, Stored, &[])]).collect();
    assert_eq!(starting(no("xxxxx", &[]), &again, 20).verdict, Met);
}
