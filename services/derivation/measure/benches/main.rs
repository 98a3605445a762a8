//! How long deriving takes: a histogram over 100 000 mixed orders, growth with rules that don't concern the order,
//! and other ways of finding the rules that fire, side by side in the same run.
//! `cargo bench` in this folder prints all of it; `-- --quick` is enough for the ratios.

mod large;
mod orders;
mod others;

use std::hint::black_box;
use std::time::{Duration, Instant};

use criterion::{Criterion, criterion_group, criterion_main};
use derivation::check::check;
use derivation::derive::derive;
use derivation::document::{Limits, read};
use derivation::index::Compiled;
use derivation::starter;
use domain::catalogue::Catalogue;
use rustix::time::{ClockId, clock_gettime};

use crate::large::with_rules;
use crate::orders::{Order, mixed};
use crate::others::{Policy, Scan};

/// As the program has it.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

const DERIVATIONS: usize = 100_000;

fn starter() -> Catalogue {
    starter::catalogue().expect("the starter catalogue reads")
}

/// Single derivations in microseconds, by the clock and by the processor time of this thread: on a machine that does
/// other things as well only the second says what a derivation takes.
fn histogram(name: &str, compiled: &Compiled, orders: &[Order]) {
    let mut by_clock = Vec::with_capacity(DERIVATIONS);
    let mut by_processor = Vec::with_capacity(DERIVATIONS);
    for order in orders.iter().cycle().take(DERIVATIONS) {
        let order = black_box(order.clone()); // just read, as a request brings it
        let (begin, worked) = (Instant::now(), processor_time());
        black_box(derive(compiled, &order.repair()));
        by_processor.push(processor_time() - worked);
        by_clock.push(begin.elapsed());
    }
    for (kind, mut times) in [("by the clock", by_clock), ("processor time", by_processor)] {
        times.sort_unstable();
        let at = |per_mille: usize| times[times.len() * per_mille / 1000];
        println!(
            "{name}, {kind}: p50 {:.1?}, p90 {:.1?}, p99 {:.1?}, p99.9 {:.1?} over {DERIVATIONS} orders",
            at(500),
            at(900),
            at(990),
            at(999)
        );
    }
}

/// Processor time in seconds for all orders, the least of three rounds.
fn worked(orders: &[Order], mut work: impl FnMut(&Order)) -> f64 {
    let rounds = (0..3).map(|_| {
        let begin = processor_time();
        orders.iter().for_each(&mut work);
        (processor_time() - begin).as_secs_f64()
    });
    rounds.fold(f64::INFINITY, f64::min)
}

/// What this thread has worked.
fn processor_time() -> Duration {
    let time = clock_gettime(ClockId::ThreadCPUTime);
    Duration::new(time.tv_sec.unsigned_abs(), u32::try_from(time.tv_nsec).unwrap_or_default())
}

fn deriving(criterion: &mut Criterion) {
    let catalogue = starter();
    let compiled = Compiled::new(catalogue.clone());
    let known = mixed(&catalogue, 20_000, true);
    let unknown = mixed(&catalogue, 20_000, false);
    let tasks: usize = known.iter().map(|o| derive(&compiled, &o.repair()).tasks.len()).sum();
    println!(
        "starter catalogue: {} rules, {} tasks in {} orders",
        catalogue.rules.len(),
        tasks,
        known.len()
    );
    histogram("6 lines, features known", &compiled, &known);
    histogram("6 lines, half of the features unknown", &compiled, &unknown);
    let mut orders = known.iter().cycle();
    criterion.bench_function("derive/starter", |bench| {
        bench.iter(|| {
            let order = orders.next().expect("endless");
            black_box(derive(&compiled, &order.repair()));
        });
    });
}

fn growing(criterion: &mut Criterion) {
    let base = starter();
    let orders = mixed(&base, 1_000, true);
    let mut group = criterion.benchmark_group("derive/rules");
    for rules in [1_000, 100_000] {
        let compiled = Compiled::new(with_rules(&base, rules));
        histogram(&format!("{rules} rules"), &compiled, &orders);
        let mut next = orders.iter().cycle();
        group.bench_function(rules.to_string(), |bench| {
            bench.iter(|| {
                let order = next.next().expect("endless");
                black_box(derive(&compiled, &order.repair()));
            });
        });
    }
    group.finish();
}

/// Only which rules fire for what the lines say, which is less than a derivation. Ends with the ratios: processor time
/// of each for all orders, against whole derivations of the same orders.
fn others(criterion: &mut Criterion) {
    let base = starter();
    let orders = mixed(&base, 100, true);
    let mut group = criterion.benchmark_group("rules that fire");
    group.sample_size(20);
    for rules in [base.rules.len(), 1_000] {
        let catalogue = with_rules(&base, rules);
        let scan = Scan::new(&catalogue);
        let mut policy = Policy::new(&catalogue);
        for order in &orders {
            assert_eq!(scan.fire(order), policy.fire(order), "both find the same rules");
        }
        let compiled = Compiled::new(catalogue.clone());
        let derived = worked(&orders, |order| drop(black_box(derive(&compiled, &order.repair()))));
        let scanned = worked(&orders, |order| drop(black_box(scan.fire(order))));
        let decided = worked(&orders, |order| drop(black_box(policy.fire(order))));
        println!(
            "{rules} rules: a whole derivation 1, rules that fire by a scan of all {:.1}, by the policy engine {:.1}",
            scanned / derived,
            decided / derived
        );
        let mut next = orders.iter().cycle();
        group.bench_function(format!("naive scan/{rules}"), |bench| {
            bench.iter(|| black_box(scan.fire(next.next().expect("endless"))));
        });
        let mut next = orders.iter().cycle();
        group.bench_function(format!("policy engine/{rules}"), |bench| {
            bench.iter(|| black_box(policy.fire(next.next().expect("endless"))));
        });
    }
    group.finish();
}

/// Reading and checking 100 000 rules, once each: seconds, not microseconds.
fn loading(_: &mut Criterion) {
    let catalogue = with_rules(&starter(), 100_000);
    let json = serde_json::to_vec(&catalogue).expect("writes");
    let yaml = large::yaml(&catalogue);
    for (name, document) in [("JSON", &json[..]), ("YAML", yaml.as_bytes())] {
        let (begin, worked) = (Instant::now(), processor_time());
        let read = read(document, Limits::default()).expect("reads");
        let after_reading = begin.elapsed();
        let report = check(&read.catalogue, &read.positions);
        assert!(report.faults.is_empty(), "{}", report.faults[0]);
        println!(
            "100000 rules as {name} ({} MB): read {after_reading:.2?}, with the check {:.2?} ({:.2?} of processor time); {} MB at most so far",
            document.len() >> 20,
            begin.elapsed(),
            processor_time() - worked,
            large::most_memory()
        );
    }
}

criterion_group!(benches, deriving, growing, others, loading);
criterion_main!(benches);
