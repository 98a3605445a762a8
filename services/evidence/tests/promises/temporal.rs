use chrono::TimeDelta;
use domain::precondition::Precondition;
use domain::verdict::Verdict::{Met, Missing, Stale, Violated};
use evidence::judge::series::{Demand, Reading, Standing, as_of, throughout};
use evidence::judge::{Phase, horizon, judge};
use proptest::prelude::*;

use crate::scene::*;

fn held(seconds: u32) -> Precondition {
    Precondition { hold_for: seconds, ..precondition(warm()) }
}

fn every(step: usize, until: i64) -> Vec<evidence::sample::Sample> {
    (0..=until).step_by(step).map(|second| coolant(second, "95")).collect()
}

#[test]
fn a_hold_is_shown_from_reading_to_reading() {
    assert_eq!(starting(held(60), &every(15, 60), 60).verdict, Met);
    let short = starting(held(60), &every(15, 45), 50);
    assert_eq!((short.verdict, short.wait_seconds), (Missing, Some(10)));
    assert_eq!(
        starting(held(60), &[coolant(0, "95")], 60).verdict,
        Stale,
        "one reading is no hold"
    );
}

#[test]
fn a_gap_longer_than_allowed_starts_the_hold_anew() {
    let samples = [0, 15, 30, 46, 61].map(|second| coolant(second, "95"));
    let found = starting(held(60), &samples, 61);
    assert_eq!((found.verdict, found.wait_seconds), (Missing, Some(45)));
    assert!(
        found.detail.contains("has held 93.33 to 98.89 Cel (200 to 210 [degF]) for 15 s of 60 s")
    );
}

#[test]
fn a_reading_outside_within_the_hold_violates_it() {
    let samples = [(0, "95"), (15, "92"), (30, "95"), (45, "95"), (60, "95")]
        .map(|(second, value)| coolant(second, value));
    let found = starting(held(60), &samples, 60);
    assert_eq!((found.verdict, found.wait_seconds), (Violated, Some(30)));
    assert_eq!(starting(held(30), &samples, 60).verdict, Met);
}

#[test]
fn going_on_throughout_is_not_proven_by_a_pair_of_readings() {
    let throughout = || Precondition { throughout: true, ..precondition(warm()) };
    let pair = [coolant(99, "95"), coolant(160, "95")];
    let found = running(throughout(), &pair, 160).unwrap();
    assert_eq!(found.verdict, Missing);
    assert!(found.detail.contains("is unknown between 2027-01-15 08:01:39 UTC and"));
    let all: Vec<_> = (95..=160).step_by(5).map(|second| coolant(second, "95")).collect();
    assert_eq!(running(throughout(), &all, 160).unwrap().verdict, Met);
    assert_eq!(running(throughout(), &all, 176).unwrap().verdict, Stale);
    let mut broken = all.clone();
    broken.push(coolant(120, "92"));
    let found = running(throughout(), &broken, 160).unwrap();
    assert_eq!(found.verdict, Violated, "a violation is not healed by what follows");
}

#[test]
fn a_window_may_be_wider_while_it_runs_than_at_the_start() {
    let idle = Precondition {
        while_running: Some(range("engine_speed", Some("500"), Some("1200"), "/min")),
        ..precondition(range("engine_speed", Some("600"), Some("800"), "/min"))
    };
    let samples = [number(100, "engine_speed", "1000", "/min")];
    assert_eq!(starting(idle.clone(), &samples, 101).verdict, Violated);
    assert_eq!(running(idle, &samples, 101).unwrap().verdict, Met);
}

#[test]
fn a_word_holds_throughout_until_it_is_taken_back() {
    let present = || Precondition {
        throughout: true,
        ..precondition(domain::precondition::Condition::Attested {
            statement: "second_person_present".to_owned(),
            second_person: true,
        })
    };
    let yes = word(50, "second_person_present", true, true);
    assert_eq!(running(present(), std::slice::from_ref(&yes), 500).unwrap().verdict, Met);
    let back = [
        yes,
        word(150, "second_person_present", false, true),
        word(160, "second_person_present", true, true),
    ];
    assert_eq!(running(present(), &back, 500).unwrap().verdict, Violated);
}

const GAP: i64 = 5;

fn demand(max_age: Option<i64>, hold_for: i64) -> Demand {
    Demand {
        gap: TimeDelta::seconds(GAP),
        max_age: max_age.map(TimeDelta::seconds),
        hold_for: TimeDelta::seconds(hold_for),
    }
}

fn trace() -> impl Strategy<Value = Vec<(i64, bool)>> {
    prop::collection::btree_map(0..60_i64, prop::bool::weighted(0.8), 0..40)
        .prop_map(|map| map.into_iter().collect())
}

/// An independent evaluator: what is known at each whole second, from the definition, with no runs or indices.
///
/// Second `t` lies within a pair of neighbouring readings that both satisfy and are at most one gap apart, or on
/// a satisfying reading: it holds at `t`.
fn holds_at(trace: &[(i64, bool)], t: i64) -> bool {
    trace.iter().any(|&(at, ok)| {
        let next = trace.iter().filter(|(other, _)| *other > at).map(|(other, _)| *other).min();
        let spans = next.filter(|&next| {
            next - at <= GAP && trace.iter().any(|&(other, ok)| other == next && ok)
        });
        ok && t >= at && t <= spans.unwrap_or(at)
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4_000))]

    #[test]
    fn a_naive_evaluator_agrees_on_holds(
        trace in trace(), now in 0..70_i64, hold in 0..30_i64, max_age in prop::option::of(0..20_i64),
    ) {
        let seen: Vec<(i64, bool)> = trace.into_iter().filter(|(at, _)| *at <= now).collect();
        let readings: Vec<Reading> =
            seen.iter().map(|&(second, satisfied)| Reading { at: at(second), satisfied }).collect();
        let standing = as_of(&readings, &demand(max_age, hold), at(now));
        let limit = max_age.or((hold > 0).then_some(GAP));
        let expected = match seen.iter().max_by_key(|(at, _)| *at) {
            None => Missing,
            Some((_, false)) => Violated,
            Some((last, true)) if limit.is_some_and(|limit| now - last > limit) => Stale,
            Some((last, true)) => {
                // Held at every second from `last - hold` on; readings lie on whole seconds.
                if (last - hold..=*last).all(|t| holds_at(&seen, t)) {
                    Met
                } else if seen.iter().any(|(t, ok)| !ok && *t >= last - hold) {
                    Violated
                } else {
                    Missing
                }
            }
        };
        let found = match standing {
            Standing::Met { .. } => Met,
            Standing::Missing | Standing::Short { broken_by: None, .. } | Standing::Hole { .. } => Missing,
            Standing::Violated { .. } | Standing::Short { .. } => Violated,
            Standing::Stale { .. } => Stale,
        };
        prop_assert_eq!(found, expected, "{:?}", standing);
    }

    #[test]
    fn a_naive_evaluator_agrees_on_what_must_hold_throughout(trace in trace(), from in 0..30_i64, length in 0..40_i64) {
        let now = from + length;
        let seen: Vec<(i64, bool)> = trace.into_iter().filter(|(at, _)| *at <= now).collect();
        let readings: Vec<Reading> =
            seen.iter().map(|&(second, satisfied)| Reading { at: at(second), satisfied }).collect();
        let standing = throughout(&readings, &demand(None, 0), at(from), at(now));
        let run = || seen.iter().filter(|(t, _)| *t >= from);
        let broken = run().any(|(_, ok)| !ok);
        let before = seen.iter().rfind(|(t, _)| *t < from).filter(|(t, ok)| *ok && from - t <= GAP);
        let speaking: Vec<i64> = before.into_iter().chain(run()).map(|(t, _)| *t).collect();
        let begin = before.map_or(from, |(t, _)| *t);
        // In half seconds, so that a gap that is just too long shows: every moment lies within one gap after the
        // begin or after a reading.
        let near = |half: i64, t: i64| half >= 2 * t && half - 2 * t <= 2 * GAP;
        let known = |half: i64| near(half, begin) || speaking.iter().any(|t| near(half, *t));
        let met = !broken && !speaking.is_empty() && (2 * from..=2 * now).all(known);
        prop_assert_eq!(matches!(standing, Standing::Met { .. }), met, "{:?}", standing);
        prop_assert_eq!(matches!(standing, Standing::Violated { .. }), broken);
    }

    #[test]
    fn a_run_judged_in_pieces_is_judged_as_a_whole(
        trace in trace(), from in 0..20_i64, mut moments in prop::collection::vec(0..40_i64, 1..6),
    ) {
        let readings: Vec<Reading> =
            trace.iter().map(|&(second, satisfied)| Reading { at: at(second), satisfied }).collect();
        moments.sort_unstable();
        let until = |now: i64| &readings[..readings.partition_point(|one| one.at <= at(now))];
        let met = |standing: Standing| matches!(standing, Standing::Met { .. });
        let mut begin = from;
        for now in moments.into_iter().map(|moment| from + moment) {
            let whole = throughout(until(now), &demand(None, 0), at(from), at(now));
            let piece = throughout(until(now), &demand(None, 0), at(begin), at(now));
            prop_assert_eq!(met(piece), met(whole));
            let broken = |standing| matches!(standing, Standing::Violated { .. });
            prop_assert_eq!(broken(piece), broken(whole));
            if met(whole) {
                begin = now;
            }
        }
    }

    #[test]
    fn what_lies_before_the_horizon_changes_nothing(trace in trace(), now in 20..70_i64, hold in 0..15_u32) {
        let one = Precondition { hold_for: hold, max_age: Some(10), ..precondition(warm()) };
        let samples: Vec<_> = trace
            .iter()
            .map(|&(second, ok)| coolant(second, if ok { "95" } else { "60" }))
            .collect();
        let from = horizon(std::slice::from_ref(&one), at(now));
        let mut kept: Vec<_> = samples.iter().filter(|s| s.taken_at >= from).cloned().collect();
        kept.extend(samples.iter().rfind(|s| s.taken_at < from).cloned());
        let verdict = |samples: &[evidence::sample::Sample]| {
            judge(std::slice::from_ref(&one), samples, &window(None, now), Phase::Starting)[0].verdict
        };
        prop_assert_eq!(verdict(&samples), verdict(&kept));
    }
}
