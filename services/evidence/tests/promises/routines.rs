use domain::precondition::Condition;
use domain::verdict::Verdict::{Met, Missing, Violated};
use evidence::judge::routine::STATUS_ATTESTATION;
use evidence::judge::{Phase, judge};
use evidence::sample::RoutineAnswer::{Results, Started, Stopped};

use crate::scene::*;

fn ended(identifier: Option<&str>, passes: Option<&str>) -> domain::precondition::Precondition {
    precondition(Condition::Routine {
        identifier: identifier.map(str::to_owned),
        passes: passes.map(str::to_owned),
    })
}

#[test]
fn only_the_results_of_the_routine_that_was_asked_for_prove_its_end() {
    let proof = || ended(Some("0203"), Some("00"));
    let found = finishing(proof(), &[], 120);
    assert_eq!(found.verdict, Missing);
    assert_eq!(found.accepts, ["frame (uds) that begins 71 03 02 03, then 00"]);
    assert_eq!(finishing(proof(), &[routine(101, "0203", Started, "00")], 120).verdict, Missing);
    assert_eq!(finishing(proof(), &[routine(101, "0203", Stopped, "")], 120).verdict, Missing);
    assert_eq!(finishing(proof(), &[routine(101, "0204", Results, "00")], 120).verdict, Missing);
    assert_eq!(finishing(proof(), &[routine(101, "0203", Results, "01")], 120).verdict, Violated);
    assert_eq!(finishing(proof(), &[routine(101, "0203", Results, "00")], 120).verdict, Met);
    assert_eq!(finishing(proof(), &[routine(101, "0203", Results, "")], 120).verdict, Violated);
}

#[test]
fn results_from_before_the_start_or_before_a_new_run_prove_nothing() {
    let proof = || ended(Some("0203"), Some("00"));
    assert_eq!(finishing(proof(), &[routine(99, "0203", Results, "00")], 120).verdict, Missing);
    let again = [routine(101, "0203", Results, "00"), routine(102, "0203", Started, "")];
    assert_eq!(finishing(proof(), &again, 120).verdict, Missing);
}

#[test]
fn a_pending_answer_is_never_an_end_and_a_later_refusal_counts() {
    let proof = || ended(Some("0203"), Some("00"));
    let samples = [routine(101, "0203", Started, ""), refused(102, 0x31, 0x78)];
    let found = finishing(proof(), &samples, 120);
    assert_eq!(found.verdict, Missing);
    assert!(found.detail.starts_with("the routine still runs"));
    let samples = [routine(101, "0203", Results, "00"), refused(102, 0x31, 0x72)];
    assert_eq!(finishing(proof(), &samples, 120).verdict, Violated);
    let pending = [routine(101, "0203", Results, "00"), refused(101, 0x31, 0x78)];
    assert_eq!(finishing(proof(), &pending, 120).verdict, Met, "within one moment");
    let against = [refused(101, 0x31, 0x72), routine(101, "0203", Results, "00")];
    assert_eq!(finishing(proof(), &against, 120).verdict, Violated, "within one moment");
    let other = [routine(101, "0203", Results, "00"), refused(102, 0x22, 0x22)];
    assert_eq!(finishing(proof(), &other, 120).verdict, Met, "another service was refused");
}

#[test]
fn a_pattern_may_leave_bytes_open_and_ignore_what_follows() {
    let proof = || ended(Some("F000"), Some("02..C8"));
    assert_eq!(finishing(proof(), &[routine(101, "F000", Results, "0200C8FF")], 120).verdict, Met);
    assert_eq!(
        finishing(proof(), &[routine(101, "F000", Results, "0300C8")], 120).verdict,
        Violated
    );
}

#[test]
fn without_a_pattern_a_person_reads_the_status_and_says_so() {
    let proof = || ended(None, None);
    let results = routine(101, "0203", Results, "017F");
    let found = finishing(proof(), std::slice::from_ref(&results), 120);
    assert_eq!((found.verdict, found.accepts.len()), (Missing, 2));
    let yes = word(102, STATUS_ATTESTATION, true, false);
    assert_eq!(finishing(proof(), &[results.clone(), yes], 120).verdict, Met);
    let before = word(100, STATUS_ATTESTATION, true, false);
    assert_eq!(finishing(proof(), &[before, results.clone()], 120).verdict, Missing);
    let no = word(103, STATUS_ATTESTATION, false, false);
    assert_eq!(finishing(proof(), &[results, no], 120).verdict, Violated);
}

#[test]
fn a_proof_that_names_no_routine_takes_the_one_that_the_technician_named() {
    let proof = ended(None, Some("00"));
    let mut named = window(Some(100), 120);
    named.routine = Some("0203".to_owned());
    let other = [routine(101, "0204", Results, "00")];
    let found = judge(std::slice::from_ref(&proof), &other, &named, Phase::Finishing).remove(0);
    assert_eq!(found.verdict, Missing);
    assert_eq!(found.detail, "only routine 0204 answered, needs the results of routine 0203");
    assert_eq!(finishing(proof, &other, 120).verdict, Met);
}
