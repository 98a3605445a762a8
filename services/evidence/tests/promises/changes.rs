//! When time alone changes a verdict.

use domain::precondition::{Condition, Precondition};
use domain::verdict::Verdict::{Met, Missing, Stale, Violated};
use evidence::judge::{Phase, judge, next_change};
use proptest::prelude::*;

use crate::scene::*;

#[test]
fn the_moment_is_told_at_which_evidence_is_too_old_or_a_wait_ends() {
    let fresh = Precondition { max_age: Some(30), ..precondition(warm()) };
    let found = starting(fresh, &[coolant(10, "95")], 20);
    assert_eq!(found.verdict, Met);
    assert_eq!(found.changes_at, Some(at(40) + chrono::TimeDelta::microseconds(1)));

    let since = "ignition_off".to_owned();
    let rested = precondition(Condition::Elapsed { since, at_least: 60 });
    let found = starting(rested, &[state(10, "ignition", "off")], 20);
    assert_eq!((found.verdict, found.changes_at), (Violated, Some(at(70))));

    let found = starting(precondition(warm()), &[coolant(10, "95")], 20);
    assert_eq!((found.verdict, found.changes_at), (Met, None), "nothing but evidence changes it");
}

#[test]
fn an_alternative_that_nobody_showed_does_not_excuse_one_that_broke_while_it_ran() {
    let supply = |signal: &str| range(signal, Some("12.9"), None, "V");
    let either = Precondition {
        throughout: true,
        ..precondition(Condition::Any(vec![
            supply("control_module_voltage"),
            supply("battery_voltage"),
        ]))
    };
    let battery = |second, volts| number(second, "battery_voltage", volts, "V");
    let found = running(either.clone(), &[battery(98, "13"), battery(104, "11.8")], 105);
    assert_eq!(found.map(|f| f.verdict), Some(Violated));
    assert_eq!(running(either, &[], 105).map(|f| f.verdict), Some(Missing));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn until_the_next_change_nothing_changes_and_then_it_does(
        readings in prop::collection::vec((0_i64..100, 90_i64..100), 1..8),
        off in 0_i64..100,
        max_age in prop::option::of(1_u32..60),
        hold_for in 0_u32..40,
        throughout in any::<bool>(),
        together in any::<bool>(),
    ) {
        let mut samples: Vec<_> = readings.iter().map(|(second, value)| coolant(*second, &value.to_string())).collect();
        samples.push(state(off, "ignition", "off"));
        let parts = vec![warm(), Condition::Elapsed { since: "ignition_off".to_owned(), at_least: 50 }];
        let condition = if together { Condition::All(parts) } else { Condition::Any(parts) };
        let asked = [Precondition { max_age, hold_for, throughout, ..precondition(condition) }];
        for phase in [Phase::Starting, Phase::Running] {
            let window = |now| window((phase == Phase::Running).then_some(0), now);
            let verdicts = |now| judge(&asked, &samples, &window(now), phase).iter().map(|f| f.verdict).collect::<Vec<_>>();
            let next = next_change(&asked, &samples, &window(100), phase);
            let before = verdicts(100);
            for now in 101..400 {
                let told = next.is_some_and(|next| next <= at(now));
                if !told {
                    prop_assert_eq!(verdicts(now), before.clone(), "at {}", now);
                }
            }
            if let Some(next) = next {
                let then = judge(&asked, &samples, &evidence::judge::Window { now: next, ..window(100) }, phase);
                prop_assert_ne!(then.iter().map(|f| f.verdict).collect::<Vec<_>>(), before);
            }
        }
    }
}

#[test]
fn a_stale_verdict_waits_for_evidence_alone() {
    let fresh = Precondition { max_age: Some(30), ..precondition(warm()) };
    let found = starting(fresh, &[coolant(10, "95")], 60);
    assert_eq!((found.verdict, found.changes_at), (Stale, None));
}
