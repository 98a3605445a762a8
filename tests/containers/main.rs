//! The service with a PostgreSQL in a container, and all of `docker-compose.yml`.
//!
//! Where something is missing (an engine, an image, a built binary), the tests are named as not
//! run, never as passed; with `CI=true` that is a failure.

mod compose;
mod engine;
mod order;
mod postgres;

use engine::Engine;
use libtest_mimic::{Arguments, Trial};

/// What the test promises, and the test.
type Test = (&'static str, fn(&Engine));

const TESTS: &[Test] = &[
    (
        "an_order_is_taken_in_on_a_postgresql_in_a_container",
        postgres::an_order_is_taken_in_on_a_postgresql_in_a_container,
    ),
    (
        "an_order_is_taken_in_by_the_service_that_compose_brings_up",
        compose::an_order_is_taken_in_by_the_service_that_compose_brings_up,
    ),
];

fn main() {
    let mut arguments = Arguments::from_args();
    arguments.test_threads = Some(1); // two PostgreSQLs and their builds at a time are no faster
    let engine = if arguments.list { Err(String::new()) } else { Engine::find() };
    let trials = TESTS.iter().map(|(name, test)| {
        let engine = engine.clone();
        Trial::test(*name, move || {
            test(&engine?);
            Ok(())
        })
    });
    match &engine {
        Err(missing) if !arguments.list => {
            for (name, _) in TESTS {
                println!("not run: {name} ({missing})");
            }
            let needed = std::env::var("CI").is_ok_and(|ci| ci == "true");
            std::process::exit(i32::from(needed));
        }
        _ => libtest_mimic::run(&arguments, trials.collect()).exit(),
    }
}
