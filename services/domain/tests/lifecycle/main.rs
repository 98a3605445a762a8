//! The lifecycle of a vehicle's tasks, checked in every way that clients, time and a crash can go.
//!
//! Steps decide by the table of transitions and by `may_start`, which the service goes by too; the database's guard has
//! the same table. With `LIFECYCLE=large` more attempts, crashes and handovers are gone through.

mod checked;
mod ending;
mod floor;
mod promises;
mod step;
mod work;

use std::sync::Mutex;
use std::time::Instant;

use checked::{Checked, Database};
use promises::{CAN_END, FREE, HELD, NOT_IN_THE_MIDDLE, ONE_RUNS};
use stateright::{Checker, HasDiscoveries, Model};
use step::{Rule, Rules};
use work::Work;

/// Three technicians, one vehicle, three tasks with two attempts each, one amendment, one crash, one handover.
fn checked(work: Work) -> Checked {
    let large = std::env::var("LIFECYCLE").is_ok_and(|size| size == "large");
    Checked {
        work,
        rules: Rules::ALL,
        database: Database::WHOLE,
        technicians: 3,
        attempts: if large { 4 } else { 2 },
        crashes: if large { 2 } else { 1 },
        handovers: if large { 4 } else { 1 },
        endings: Mutex::default(),
    }
}

#[track_caller]
fn holds(name: &str, model: Checked) {
    let began = Instant::now();
    let found = model.checker().spawn_bfs().join();
    println!(
        "{name}: {} states, {} of them different, {} steps deep, {:.1} s",
        found.state_count(),
        found.unique_state_count(),
        found.max_depth(),
        began.elapsed().as_secs_f64()
    );
    found.assert_properties();
}

/// The check finds a way to break one of these promises, and shows it.
#[track_caller]
fn breaks(name: &str, model: Checked, promises: &[&'static str]) {
    let sought = HasDiscoveries::AnyOf(promises.iter().copied().collect());
    let found = model.checker().finish_when(sought).spawn_bfs().join();
    let broken = promises.iter().find_map(|promise| Some((promise, found.discovery(promise)?)));
    let Some((promise, path)) = broken else {
        panic!("{name}: {} states, and none breaks {promises:?}", found.unique_state_count())
    };
    println!("{name}: `{promise}` is broken after {:?}", path.into_actions());
}

#[test]
fn a_chain_is_never_entered_in_the_middle_and_always_ends() {
    holds("a chain", checked(Work::CHAIN));
}

#[test]
fn of_tasks_that_know_nothing_of_each_other_one_runs_and_all_end() {
    holds("three apart", checked(Work::APART));
}

#[test]
fn a_late_finish_with_an_old_fence_would_pass_what_was_not_proven() {
    let rules = Rules { but: Some(Rule::Fence) };
    breaks("no fence", Checked { rules, ..checked(Work::CHAIN) }, &[HELD]);
}

#[test]
fn a_finish_of_another_person_would_pass_what_was_not_proven() {
    let rules = Rules { but: Some(Rule::Holder) };
    breaks("no holder", Checked { rules, ..checked(Work::CHAIN) }, &[HELD]);
}

#[test]
fn a_start_that_asks_for_nothing_would_begin_what_somebody_else_holds() {
    let rules = Rules { but: Some(Rule::MayStart) };
    breaks("no may_start", Checked { rules, ..checked(Work::CHAIN) }, &[HELD]);
}

#[test]
fn a_chain_begun_again_beside_one_that_is_held_would_go_on_in_the_middle() {
    let rules = Rules { but: Some(Rule::Alone) };
    breaks("not alone", Checked { rules, ..checked(Work::CHAIN) }, &[NOT_IN_THE_MIDDLE]);
}

#[test]
fn a_service_mode_that_was_left_could_not_be_entered_again_for_another_line() {
    let rules = Rules { but: Some(Rule::Again) };
    breaks("not again", Checked { rules, ..checked(Work::CHAIN) }, &[CAN_END]);
}

#[test]
fn what_is_not_freed_would_keep_the_vehicle() {
    let rules = Rules { but: Some(Rule::Frees) };
    breaks("not freed", Checked { rules, ..checked(Work::CHAIN) }, &[FREE]);
}

#[test]
fn without_the_lock_on_the_vehicle_two_steps_would_break_the_chain() {
    let database = Database { lock: false, ..Database::WHOLE };
    breaks("no lock", Checked { database, ..checked(Work::CHAIN) }, &[NOT_IN_THE_MIDDLE, CAN_END]);
}

#[test]
fn without_lock_and_unique_index_two_tasks_would_run() {
    let database = Database { lock: false, unique: false, ..Database::WHOLE };
    breaks("no lock, no index", Checked { database, ..checked(Work::APART) }, &[ONE_RUNS]);
}

#[test]
fn a_crash_between_statements_that_are_no_transaction_would_leave_half_a_step() {
    let database = Database { transaction: false, ..Database::WHOLE };
    breaks("no transaction", Checked { database, ..checked(Work::CHAIN) }, &[FREE, CAN_END]);
}
