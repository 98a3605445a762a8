//! Brakes: what is open is closed, tried and firm before the vehicle moves.

use domain::procedure::{PlaceOfWork, Settle, SettleBlocks};
use domain::vehicle::Powertrain::Combustion;

use crate::order::{Order, STARTER, procedure, set};

#[test]
fn rear_pads_bring_the_whole_chain_of_the_electronic_parking_brake() {
    let order = Order::on(Combustion, "electronic_parking_brake").line("replace rear_brake_pads");
    let answer = order.derive();
    assert_eq!(
        answer.required(),
        set("parking_brake_open_for_service parking_brake_close_and_calibrate \
             parking_brake_function_test firm_pedal_check wheel_fastener_torque pad_wear_reset \
             brake_road_check brake_lining_bedding")
    );
    answer.in_order(&[
        "parking_brake_open_for_service",
        "line 1",
        "firm_pedal_check",
        "parking_brake_close_and_calibrate",
        "parking_brake_function_test",
        "brake_road_check",
        "brake_lining_bedding",
    ]);
    answer.in_order(&["line 1", "wheel_fastener_torque", "brake_road_check"]);
    assert!(answer.0.questions.is_empty() && answer.0.findings.is_empty());
    let [bracket] = &answer.0.brackets[..] else { panic!("one bracket") };
    assert_eq!(bracket.mode, "calipers_open");
    assert!(bracket.inside.contains(&answer.node("line 1")));
}

#[test]
fn every_step_of_the_parking_brake_waits_thirty_seconds_where_it_stands() {
    for step in [
        "parking_brake_open_for_service",
        "parking_brake_close_and_calibrate",
        "parking_brake_function_test",
        "parking_brake_recovery",
    ] {
        let wait = Settle { seconds: 30, blocks: SettleBlocks::Vehicle, keeps_bay: true };
        assert_eq!(procedure(step).settle, wait, "{step}");
        assert!(!procedure(step).waiver.allowed, "{step}");
    }
    let opens = procedure("parking_brake_open_for_service").opens.as_ref().expect("opens");
    assert!(opens.must_not_move && opens.no_handover);
    assert_eq!(opens.left_by, "parking_brake_close_and_calibrate");
    assert_eq!(opens.recovered_by.as_deref(), Some("parking_brake_recovery"));
}

#[test]
fn rear_pads_without_that_brake_bring_none_of_it() {
    let order = Order::on(Combustion, "").line("replace rear_brake_pads");
    let names = order.derive().required().into_iter().filter(|id| id.contains("parking")).count();
    assert_eq!(names, 0);
}

#[test]
fn a_battery_is_not_disconnected_while_calipers_stand_open() {
    let order = Order::on(Combustion, "electronic_parking_brake")
        .line("replace rear_brake_pads")
        .line("disconnect battery");
    let answer = order.derive();
    answer.in_order(&[
        "line 2",
        "parking_brake_open_for_service",
        "line 1",
        "parking_brake_close_and_calibrate",
        "parking_brake_function_test",
    ]);
    assert!(answer.0.either_or.is_empty() && answer.0.findings.is_empty());
}

#[test]
fn a_parking_brake_is_not_opened_on_a_vehicle_without_power() {
    let order = Order::on(Combustion, "electronic_parking_brake")
        .line("replace airbag")
        .line("replace rear_brake_pads");
    order.derive().in_order(&["restraint_power_up", "parking_brake_open_for_service", "line 2"]);
}

#[test]
fn an_opened_circuit_is_bled_and_the_pedal_is_firm_before_anything_rolls() {
    let order = Order::on(Combustion, "").line("replace abs_control_unit");
    order.derive().in_order(&[
        "line 1",
        "brake_hydraulic_bleed",
        "abs_hydraulic_bleed",
        "firm_pedal_check",
        "brake_road_check",
        "code_rescan_after_work",
    ]);
    let order = Order::on(Combustion, "").line("replace front_brake_caliper");
    let answer = order.derive();
    answer.in_order(&["brake_hydraulic_bleed", "firm_pedal_check", "brake_road_check"]);
    assert!(!answer.required().contains("abs_hydraulic_bleed"));
}

#[test]
fn nobody_drives_off_before_pedal_and_wheels_are_checked() {
    let roads = STARTER
        .catalogue()
        .procedures
        .iter()
        .filter(|one| one.place_of_work == PlaceOfWork::Road && one.id != "readiness_drive");
    for road in roads {
        for first in ["firm_pedal_check", "wheel_fastener_torque"] {
            let comes_first = road.after.iter().chain(&road.needs).any(|id| id == first);
            assert!(comes_first, "`{first}` before `{}`", road.id);
        }
    }
}
