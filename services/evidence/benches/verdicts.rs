//! A batch of 200 readings judged against 12 preconditions: pure time, to stay under 1 ms.

use std::hint::black_box;

use chrono::{DateTime, TimeDelta, Utc};
use criterion::{Criterion, criterion_group, criterion_main};
use domain::exact::Exact;
use domain::precondition::{Condition, Precondition, Range};
use domain::quantity::Decimal;
use evidence::judge::{Phase, Window, judge};
use evidence::sample::{Kind, Sample};
use uuid::Uuid;

/// Signal, unit of the readings, unit of the limits, limits.
const RANGES: [(&str, &str, &str, i64, i64); 8] = [
    ("engine_coolant_temperature", "Cel", "[degF]", 200, 210),
    ("engine_oil_temperature", "Cel", "Cel", 60, 120),
    ("engine_speed", "/min", "/min", 600, 900),
    ("vehicle_speed", "km/h", "[mi_i]/h", 0, 0),
    ("control_module_voltage", "V", "V", 12, 15),
    ("battery_voltage", "V", "mV", 12_900, 15_000),
    ("intake_air_temperature", "Cel", "K", 260, 330),
    ("relative_accelerator_pedal_position", "%", "%", 0, 1),
];
const STATES: [(&str, &str); 4] = [
    ("parking_brake", "applied"),
    ("gear_position", "park"),
    ("ignition", "on"),
    ("hood", "closed"),
];

fn at(milliseconds: i64) -> DateTime<Utc> {
    DateTime::UNIX_EPOCH + TimeDelta::milliseconds(1_800_000_000_000 + milliseconds)
}

fn preconditions() -> Vec<Precondition> {
    let ranges = RANGES.iter().map(|(signal, _, unit, least, most)| {
        Condition::Range(Range {
            signal: (*signal).to_owned(),
            at_least: Some(Decimal::whole(*least)),
            at_most: Some(Decimal::whole(*most)),
            unit: (*unit).to_owned(),
        })
    });
    let states = STATES.iter().map(|(signal, is)| Condition::State {
        signal: (*signal).to_owned(),
        is: (*is).to_owned(),
    });
    let one = |condition| Precondition {
        id: "one".to_owned(),
        text: "It must be so".to_owned(),
        condition,
        max_age: Some(30),
        hold_for: 5,
        throughout: true,
        while_running: None,
        unverified_allowed: false,
        may_differ: None,
        waiver: None,
        source: "common_practice".to_owned(),
    };
    ranges.chain(states).map(one).collect()
}

fn samples(count: i64) -> Vec<Sample> {
    let kind = |index: usize| match (RANGES.get(index % 12), STATES.get((index + 4) % 12)) {
        (Some((signal, unit, ..)), _) => Kind::Number {
            signal: (*signal).to_owned(),
            place: None,
            value: Exact::new(9_500 + i64::try_from(index).unwrap_or(0), 100)
                .unwrap_or(Exact::whole(95)),
            unit: (*unit).to_owned(),
        },
        (None, state) => {
            let (signal, is) = state.copied().unwrap_or(STATES[0]);
            Kind::State { signal: signal.to_owned(), is: is.to_owned() }
        }
    };
    let one = |index: i64| Sample {
        id: Uuid::from_u128(u128::try_from(index).unwrap_or(0)),
        taken_at: at(index * 100),
        received_at: at(index * 100),
        kind: kind(usize::try_from(index).unwrap_or(0)),
        marks: std::collections::BTreeSet::new(),
    };
    (0..count).map(one).collect()
}

fn verdicts(bench: &mut Criterion) {
    let preconditions = preconditions();
    for (name, phase) in [("starting", Phase::Starting), ("running", Phase::Running)] {
        let samples = samples(200);
        let window = Window {
            attempt_from: at(0),
            running_from: Some(at(2_000)),
            now: at(20_000),
            holder: None,
            place: None,
            routine: None,
        };
        bench.bench_function(&format!("200 readings, 12 preconditions, {name}"), |bench| {
            bench.iter(|| judge(black_box(&preconditions), black_box(&samples), &window, phase));
        });
    }
}

criterion_group!(benches, verdicts);
criterion_main!(benches);
