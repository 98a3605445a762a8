//! Reading a line of work, by its kind: to stay within tens of microseconds.

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use derivation::lexicon::Lexicon;
use derivation::reader::{self, own::OwnPhrases};

const LINES: [(&str, &str); 6] = [
    ("one job", "R&R throttle body"),
    ("two jobs", "Disconnect battery, replace throttle body"),
    ("a typing error", "replace windsheild and rear pads"),
    ("nothing", "wash and vacuum"),
    ("unknown words", "frobnicate the wug beside the snark"),
    (
        "a story",
        "C/S noise from rear. Found rear pads worn to 1mm, rotors scored. Replaced rear brake pads and rotors, \
         bled brakes, road tested OK.",
    ),
];

fn reading(criterion: &mut Criterion) {
    let lexicon = Lexicon::starter();
    let own = OwnPhrases::default();
    let mut group = criterion.benchmark_group("read a line");
    for (name, line) in LINES {
        group.bench_function(name, |bench| {
            bench.iter(|| reader::read(&lexicon, black_box(line), &own));
        });
    }
    group.finish();
    criterion.bench_function("load the lexicon", |bench| bench.iter(Lexicon::starter));
}

criterion_group!(benches, reading);
criterion_main!(benches);
