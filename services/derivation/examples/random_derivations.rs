//! Writes random catalogues and orders with what is derived from them, one JSON object per line, for checks by
//! programs that know nothing of this crate. Arguments: how many, first seed.

use std::io::Write;

use derivation::derive::{Derivation, Node, derive};
use derivation::index::Compiled;
use serde_json::{Value, json};

#[path = "../tests/promises/random.rs"]
mod random;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut arguments = std::env::args().skip(1);
    let count: u64 = arguments.next().ok_or("how many?")?.parse()?;
    let first: u64 = arguments.next().map_or(Ok(1), |seed| seed.parse())?;
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    for seed in first..first + count {
        let numbers = numbers(seed);
        let mut choices = random::Choices::new(&numbers);
        let order = random::order(&mut choices);
        let catalogue = random::catalogue(&mut choices);
        let compiled = Compiled::new(catalogue);
        let result = result(&derive(&compiled, &order.repair()));
        let lines: Vec<Value> = order
            .lines
            .iter()
            .map(|line| {
                let operations: Vec<Value> = line
                    .operations
                    .iter()
                    .map(|stated| json!({ "operation": stated.operation, "sure": stated.sure }))
                    .collect();
                json!({ "line": line.line, "operations": operations })
            })
            .collect();
        let case = json!({
            "seed": seed,
            "catalogue": compiled.catalogue(),
            "vehicle": order.vehicle,
            "lines": lines,
            "trouble_codes": order.trouble_codes,
            "complaints": order.complaints,
            "result": result,
        });
        writeln!(out, "{case}")?;
    }
    Ok(())
}

/// 600 numbers from a seed (the generator known as splitmix64, public domain).
fn numbers(seed: u64) -> Vec<u32> {
    let mut state = seed;
    let next = || {
        state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = state;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        u32::try_from((mixed ^ (mixed >> 31)) >> 32).unwrap_or_default()
    };
    std::iter::repeat_with(next).take(600).collect()
}

fn result(derivation: &Derivation<'_>) -> Value {
    let task = |at: usize| {
        let task = &derivation.tasks[at];
        json!({ "procedure": task.procedure.id, "place": task.place })
    };
    let node = |node: Node| match node {
        Node::Task(at) => task(at),
        Node::Line(line) => json!({ "line": line }),
    };
    let tasks: Vec<Value> = (0..derivation.tasks.len())
        .map(|at| json!({ "task": task(at), "required": derivation.tasks[at].required }))
        .collect();
    let edges: Vec<Value> =
        derivation.edges.iter().map(|e| json!([node(e.before), node(e.then)])).collect();
    let either_or: Vec<Value> = derivation
        .either_or
        .iter()
        .map(|one| json!([node(one.enter), node(one.leave), node(one.disturber)]))
        .collect();
    let questions: Vec<Value> = derivation
        .questions
        .iter()
        .map(|question| json!({ "asks": question.asks, "decides": question.decides }))
        .collect();
    json!({
        "tasks": tasks,
        "edges": edges,
        "either_or": either_or,
        "questions": questions,
        "conflicts": derivation.findings.len(),
    })
}
