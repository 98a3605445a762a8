//! What a derivation promises.

use derivation::derive::{EdgeKind, derive};
use derivation::index::Compiled;
use domain::operation::OperationPattern;

use crate::shop::{Order, comes_before, compiled, name, names, node};

#[test]
fn pads_on_an_electric_parking_brake_bring_the_whole_chain_in_order() {
    let catalogue = compiled();
    let order =
        Order::with(&[("electronic_parking_brake", true)]).line(&["replace rear_brake_pads"]);
    let derivation = derive(&catalogue, &order.repair());
    assert_eq!(
        names(&derivation),
        ["record_codes", "parking_brake_open", "parking_brake_close", "parking_brake_test"]
    );
    assert!(comes_before(&derivation, "parking_brake_open", "line 1"));
    assert!(comes_before(&derivation, "line 1", "parking_brake_close"));
    assert!(comes_before(&derivation, "parking_brake_open", "parking_brake_close"));
    assert!(comes_before(&derivation, "parking_brake_close", "parking_brake_test"));
    assert_eq!(derivation.brackets.len(), 1);
    assert_eq!(derivation.brackets[0].mode, "calipers_open");
    assert!(derivation.questions.is_empty() && derivation.findings.is_empty());
}

#[test]
fn a_vehicle_without_the_feature_needs_none_of_it() {
    let catalogue = compiled();
    let order =
        Order::with(&[("electronic_parking_brake", false)]).line(&["replace rear_brake_pads"]);
    assert_eq!(names(&derive(&catalogue, &order.repair())), ["record_codes"]);
}

#[test]
fn an_unknown_feature_makes_a_task_undetermined_and_is_asked_for_once() {
    let catalogue = compiled();
    let order = Order::with(&[]).line(&["replace rear_brake_pads"]);
    let derivation = derive(&catalogue, &order.repair());
    assert!(names(&derivation).contains(&"parking_brake_close?".to_owned()));
    assert_eq!(derivation.questions.len(), 1);
    assert_eq!(derivation.questions[0].asks, "features.electronic_parking_brake");
    assert_eq!(
        derivation.questions[0].decides,
        ["parking_brake_close", "parking_brake_open", "parking_brake_test"]
    );
}

#[test]
fn a_camera_is_asked_for_together_with_how_it_is_calibrated() {
    let catalogue = compiled();
    let order = Order::with(&[]).line(&["replace windshield"]);
    let derivation = derive(&catalogue, &order.repair());
    let asks: Vec<&str> = derivation.questions.iter().map(|q| q.asks.as_str()).collect();
    assert_eq!(asks, ["features.front_camera", "features.camera_calibration"]);
    let order = Order::with(&[("front_camera", false)]).line(&["replace windshield"]);
    assert_eq!(names(&derive(&catalogue, &order.repair())), ["record_codes"]);
}

#[test]
fn what_a_task_does_is_followed_and_comes_first() {
    let catalogue = compiled();
    let mut order = Order::with(&[("front_camera", true)]).line(&["align wheel_alignment"]);
    order.vehicle.features.insert(
        "camera_calibration".to_owned(),
        domain::vehicle::FactValue::Word("static".to_owned()),
    );
    let derivation = derive(&catalogue, &order.repair());
    assert_eq!(names(&derivation), ["record_codes", "steering_angle_zero", "camera_static"]);
    assert!(comes_before(&derivation, "steering_angle_zero", "camera_static"));
    let camera = &derivation.tasks[2];
    assert_eq!(camera.lines, [1]);
    let reason = &camera.because[0];
    assert_eq!((reason.line, reason.words), (Some(1), Some("align wheel_alignment")));
    assert_eq!(reason.rule.map(|rule| rule.id.as_str()), Some("zero_moves_camera"));
    let via: Vec<String> = reason.via.iter().map(ToString::to_string).collect();
    assert_eq!(via, ["align wheel_alignment", "steering_angle_zero", "zero steering_angle"]);
}

#[test]
fn a_battery_disconnect_on_another_line_must_not_fall_while_the_calipers_stand_open() {
    let catalogue = compiled();
    let order = Order::with(&[("electronic_parking_brake", true), ("one_touch", false)])
        .line(&["replace rear_brake_pads"])
        .line(&["disconnect battery"]);
    let derivation = derive(&catalogue, &order.repair());
    let stretch = &derivation.either_or[..];
    assert_eq!(stretch.len(), 1, "{stretch:?}");
    assert_eq!(node(&derivation, stretch[0].enter), "parking_brake_open");
    assert_eq!(node(&derivation, stretch[0].leave), "parking_brake_close");
    assert_eq!(node(&derivation, stretch[0].disturber), "line 2");
    assert!(comes_before(&derivation, "record_codes", "line 2"), "codes are kept first");
}

#[test]
fn what_must_come_before_the_calipers_are_closed_comes_before_they_are_opened() {
    let mut catalogue = compiled().catalogue().clone();
    let procedure = |id: &str| catalogue.procedures.iter().position(|one| one.id == id);
    let (test, close) = (procedure("parking_brake_test"), procedure("parking_brake_close"));
    let (test, close) = (test.expect("known"), close.expect("known"));
    let battery = OperationPattern { component: "battery".to_owned(), actions: Vec::new() };
    catalogue.procedures[close].disturbed_by.push(battery.clone());
    catalogue.procedures[test].disturbed_by.push(battery);
    let catalogue = Compiled::new(catalogue);
    let order = Order::with(&[("electronic_parking_brake", true), ("one_touch", false)])
        .line(&["replace rear_brake_pads"])
        .line(&["disconnect battery"]);
    let derivation = derive(&catalogue, &order.repair());
    assert!(comes_before(&derivation, "line 2", "parking_brake_close"), "the battery undoes it");
    assert!(comes_before(&derivation, "line 2", "parking_brake_open"), "or nothing could go on");
    assert!(derivation.either_or.is_empty() && derivation.findings.is_empty());
}

#[test]
fn a_disturber_comes_before_what_it_disturbs() {
    let catalogue = compiled();
    let order = Order::with(&[("one_touch", false)])
        .line(&["replace throttle_body"])
        .line(&["disconnect battery"])
        .line(&["align wheel_alignment"]);
    let derivation = derive(&catalogue, &order.repair());
    assert!(comes_before(&derivation, "line 2", "throttle_relearn"));
    let edge = derivation
        .edges
        .iter()
        .find(|edge| {
            node(&derivation, edge.before) == "line 2"
                && node(&derivation, edge.then) == "steering_angle_zero"
        })
        .expect("the battery forgets the zero");
    assert_eq!(edge.kind, EdgeKind::Disturbs);
}

#[test]
fn a_preparation_that_is_itself_an_operation_brings_what_that_makes_necessary() {
    let catalogue = compiled();
    let order = Order::with(&[("one_touch", true)]).line(&["replace clock_spring"]);
    let derivation = derive(&catalogue, &order.repair());
    assert_eq!(
        names(&derivation),
        ["record_codes", "restraint_power_down", "throttle_relearn", "window_initialise"]
    );
    assert!(comes_before(&derivation, "record_codes", "line 1"));
    assert!(comes_before(&derivation, "restraint_power_down", "throttle_relearn"));
}

#[test]
fn either_answer_leads_to_one_of_two_tasks_and_both_stay_undetermined_until_then() {
    let catalogue = compiled();
    let order = Order::with(&[]).line(&["replace battery"]);
    let derivation = derive(&catalogue, &order.repair());
    assert_eq!(
        names(&derivation),
        ["record_codes", "throttle_relearn", "window_initialise?", "window_by_hand?"]
    );
    assert_eq!(derivation.questions[0].decides, ["window_by_hand", "window_initialise"]);
}

#[test]
fn one_task_per_place_where_the_procedure_says_so() {
    let catalogue = compiled();
    let order = Order::with(&[("one_touch", true)])
        .line(&["replace window_motor@front_left"])
        .line(&["replace window_motor@front_right", "replace window_motor@front_left"]);
    let derivation = derive(&catalogue, &order.repair());
    assert_eq!(
        names(&derivation),
        ["record_codes", "window_initialise@front_left", "window_initialise@front_right"]
    );
    assert_eq!(derivation.tasks[1].lines, [1, 2]);
    assert_eq!(derivation.tasks[2].lines, [2]);
}

#[test]
fn trouble_codes_and_complaints_require_too() {
    let catalogue = compiled();
    let mut order = Order::with(&[]);
    order.trouble_codes.push("p0507".to_owned());
    order.complaints.push("idle rough when WARM".to_owned());
    let derivation = derive(&catalogue, &order.repair());
    let task = &derivation.tasks[1];
    assert_eq!(name(task), "throttle_relearn");
    assert_eq!(task.because.len(), 2);
    assert_eq!(task.because[0].trouble_code, Some("p0507"));
    assert_eq!(task.because[1].complaint, Some("idle rough when WARM"));
}

#[test]
fn an_unsure_line_is_a_question_and_its_candidates_undetermined() {
    let catalogue = compiled();
    let order =
        Order::with(&[]).line(&["replace throttle_body"]).unsure_line(&["align wheel_alignment"]);
    let derivation = derive(&catalogue, &order.repair());
    let found = names(&derivation);
    assert!(found.contains(&"steering_angle_zero?".to_owned()), "{found:?}");
    assert!(found.contains(&"throttle_relearn".to_owned()), "{found:?}");
    let question = derivation.questions.iter().find(|q| q.asks == "lines.2").expect("asked");
    assert!(question.decides.contains(&"steering_angle_zero"));
}
