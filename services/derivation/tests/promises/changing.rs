//! What an amendment, a draft and a "why not" promise.

use derivation::compare::{Begun, Held, Key, compare};
use derivation::derive::derive;
use derivation::document::{Limits, read};
use derivation::facts::Truth;
use derivation::impact::{OpenOrder, impact};
use derivation::index::Compiled;
use derivation::why_not::why_not;

use crate::shop::{CATALOGUE, Order, compiled, operation};

fn key(procedure: &str) -> Key {
    Key { procedure: procedure.to_owned(), place: None }
}

fn held(procedure: &str, passed_at: Option<u32>) -> Held<u32> {
    Held { key: key(procedure), passed_at }
}

#[test]
fn an_amendment_keeps_adds_and_withdraws() {
    let catalogue = compiled();
    let order = Order::with(&[]).line(&["replace throttle_body"]);
    let derivation = derive(&catalogue, &order.repair());
    let before = [
        held("record_codes", Some(1)),
        held("steering_angle_zero", None),
        held("parking_brake_test", Some(2)),
    ];
    let changes = compare(&catalogue, &before, &derivation, &[]);
    assert_eq!(changes.kept, [key("parking_brake_test"), key("record_codes")]);
    assert_eq!(changes.added, [key("throttle_relearn")]);
    assert_eq!(changes.withdrawn, [key("steering_angle_zero")]);
    assert_eq!(changes.disturbed, []);
}

#[test]
fn a_passed_task_is_disturbed_by_what_starts_later_and_not_by_what_started_before() {
    let catalogue = compiled();
    let order = Order::with(&[]).line(&["replace throttle_body", "disconnect battery"]);
    let derivation = derive(&catalogue, &order.repair());
    let disconnect =
        |at| Begun { at, task: None, operations: vec![operation("disconnect battery")] };
    let before = [held("throttle_relearn", Some(5))];
    let early = compare(&catalogue, &before, &derivation, &[disconnect(4)]);
    assert_eq!(early.disturbed, []);
    let late = compare(&catalogue, &before, &derivation, &[disconnect(6)]);
    assert_eq!(late.disturbed, [key("throttle_relearn")]);
    assert!(!late.kept.contains(&key("throttle_relearn")));
}

#[test]
fn what_an_operation_amounts_to_disturbs_too() {
    let catalogue = compiled();
    let order =
        Order::with(&[("electronic_parking_brake", true)]).line(&["replace rear_brake_pads"]);
    let derivation = derive(&catalogue, &order.repair());
    let pads = Begun { at: 9, task: None, operations: vec![operation("replace rear_brake_pads")] };
    let before = [held("parking_brake_close", Some(5))];
    let changes = compare(&catalogue, &before, &derivation, &[pads]);
    assert_eq!(changes.disturbed, [key("parking_brake_close")]);
}

#[test]
fn a_draft_tells_which_orders_it_would_change_and_how() {
    let order = Order::with(&[]).line(&["replace throttle_body"]);
    let other = Order::with(&[]).line(&["align wheel_alignment"]);
    let text = CATALOGUE.replace(
        "require: [ steering_angle_zero ]",
        "require: [ steering_angle_zero, throttle_relearn ]",
    );
    let draft = Compiled::new(read(text.as_bytes(), Limits::default()).expect("reads").catalogue);
    let tasks = [held("record_codes", None), held("throttle_relearn", None)];
    let others = [held("record_codes", None), held("steering_angle_zero", None)];
    let open = [
        OpenOrder { id: "RO-1", repair: order.repair(), held: &tasks, begun: &[] },
        OpenOrder { id: "RO-2", repair: other.repair(), held: &others, begun: &[] },
    ];
    let impact = impact(&draft, open);
    assert_eq!(impact.len(), 1);
    assert_eq!(impact[0].0, "RO-2");
    assert!(impact[0].1.added.contains(&key("throttle_relearn")));
}

#[test]
fn why_not_names_what_is_lacking() {
    let catalogue = compiled();
    let order =
        Order::with(&[("electronic_parking_brake", false)]).line(&["replace rear_brake_pads"]);
    let repair = order.repair();
    let brake = why_not(&catalogue, &repair, "parking_brake_open").expect("known");
    assert_eq!((brake.required, brake.exists), (Truth::No, Truth::No));
    assert_eq!(
        brake.sentences()[..2],
        [
            "`parking_brake_open` is not required.",
            "This vehicle does not have it: features.electronic_parking_brake is no."
        ]
    );
    let relearn = why_not(&catalogue, &repair, "throttle_relearn").expect("known");
    assert_eq!(relearn.required, Truth::No);
    assert!(relearn.sentences().iter().any(|sentence| {
        sentence
            == "The rule `throttle_is_new` does not require it: nothing on the order sets it off."
    }));
    assert_eq!(why_not(&catalogue, &repair, "no_such_thing"), None);
}
