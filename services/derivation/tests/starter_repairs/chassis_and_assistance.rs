//! Chassis first, then what looks and aims from it, then the road.

use domain::vehicle::Powertrain::Combustion;

use crate::order::{Order, procedure, set};

#[test]
fn a_windshield_cures_before_the_camera_behind_it_is_calibrated() {
    let order = Order::on(Combustion, "front_camera camera_calibration=both rain_light_sensor")
        .line("replace windshield");
    let answer = order.derive();
    answer.in_order(&[
        "windshield_bonding_preparation",
        "line 1",
        "windshield_adhesive_cure",
        "front_camera_target_calibration",
        "front_camera_drive_calibration",
        "front_camera_calibration",
        "driver_assistance_road_check",
        "code_rescan_after_work",
    ]);
    for first in ["tire_pressure_setting", "vehicle_load_preparation"] {
        answer.in_order(&[first, "front_camera_target_calibration"]);
    }
    answer.in_order(&["windshield_adhesive_cure", "rain_light_sensor_initialisation"]);
    let opens = procedure("windshield_bonding_preparation").opens.as_ref().expect("opens");
    assert!(opens.must_not_move && opens.left_by == "windshield_adhesive_cure");
}

#[test]
fn how_the_camera_is_calibrated_is_asked_and_that_it_is_calibrated_is_certain() {
    let order = Order::on(Combustion, "front_camera").line("replace windshield");
    let answer = order.derive();
    assert!(answer.required().contains("front_camera_calibration"));
    assert_eq!(
        answer.undetermined(),
        set("front_camera_target_calibration front_camera_drive_calibration")
    );
    assert_eq!(answer.asks(), ["features.camera_calibration"]);
}

#[test]
fn a_windshield_without_camera_brings_glue_and_wipers_and_no_electronics() {
    let order = Order::on(Combustion, "electronic_throttle").line("replace windshield");
    assert_eq!(
        order.derive().required(),
        set("windshield_bonding_preparation windshield_adhesive_cure wiper_park_check")
    );
}

#[test]
fn an_alignment_moves_the_zero_and_with_it_what_camera_and_radar_aim_by() {
    let order = Order::on(
        Combustion,
        "front_camera camera_calibration=static front_radar radar_calibration=static",
    )
    .line("align wheel_alignment");
    let answer = order.derive();
    for aimed in ["front_camera_target_calibration", "front_radar_target_calibration"] {
        answer.in_order(&[
            "tire_pressure_setting",
            "wheel_alignment",
            "steering_angle_zero",
            aimed,
        ]);
    }
    let plain = Order::on(Combustion, "").line("align wheel_alignment");
    assert_eq!(
        plain.derive().required(),
        set("tire_pressure_setting wheel_alignment steering_angle_zero")
    );
}

#[test]
fn a_strut_brings_the_alignment_and_all_that_follows_it() {
    let order = Order::on(Combustion, "front_camera camera_calibration=static")
        .line("replace strut@front_left, replace strut@front_right");
    let answer = order.derive();
    answer.in_order(&[
        "line 1",
        "wheel_fastener_torque",
        "wheel_alignment",
        "steering_angle_zero",
        "front_camera_target_calibration",
    ]);
    answer.in_order(&["steering_angle_zero", "chassis_road_check"]);
}

#[test]
fn air_springs_are_filled_before_heights_are_stored_and_wheels_aligned() {
    let order = Order::on(Combustion, "air_suspension adaptive_headlamps")
        .line("replace air_spring@rear_left");
    let answer = order.derive();
    answer.in_order(&[
        "air_suspension_service_mode",
        "line 1",
        "wheel_fastener_torque",
        "air_suspension_leave_service_mode",
        "ride_height_calibration",
        "wheel_alignment",
        "headlamp_level_reference",
    ]);
    assert_eq!(answer.0.brackets.len(), 1);
}

#[test]
fn a_bumper_that_hides_a_radar_brings_its_calibration_and_one_that_does_not_brings_none() {
    let order = Order::on(Combustion, "front_radar radar_calibration=static parking_sensors")
        .line("remove_install front_bumper_cover");
    let answer = order.derive();
    assert_eq!(
        answer.required(),
        set("code_record_before_work clear_trouble_codes code_rescan_after_work \
             parking_sensor_check tire_pressure_setting vehicle_load_preparation \
             front_radar_target_calibration front_radar_calibration")
    );
    let plain = Order::on(Combustion, "").line("remove_install front_bumper_cover");
    assert!(plain.derive().required().is_empty());
    let rear = Order::on(Combustion, "corner_radar").line("replace rear_bumper_cover");
    assert!(rear.derive().required().contains("corner_radar_calibration"));
}

#[test]
fn a_part_that_was_worked_on_is_there_whatever_the_order_says_of_features() {
    for (work, needed) in [
        ("replace front_camera", "front_camera_calibration"),
        ("replace front_radar", "front_radar_calibration"),
        ("replace corner_radar", "corner_radar_calibration"),
        ("replace sunroof", "sunroof_initialisation"),
        ("replace parking_brake_actuator", "parking_brake_function_test"),
        ("replace rain_light_sensor", "rain_light_sensor_initialisation"),
        ("replace parking_sensor", "parking_sensor_check"),
        ("replace high_voltage_battery", "high_voltage_absence_proof"),
        ("replace air_spring", "air_suspension_service_mode"),
    ] {
        let order = Order::on_unknown().line(work);
        assert!(order.derive().required().contains(needed), "{work}");
    }
}

#[test]
fn a_front_collision_on_one_line_is_put_in_an_order_that_works() {
    let order = Order::on(
        Combustion,
        "front_camera camera_calibration=static front_radar radar_calibration=static parking_sensors \
         adaptive_headlamps electronic_throttle electric_power_steering air_suspension",
    )
    .line("repair body_structure, replace front_bumper_cover, replace headlamp@left, replace airbag")
    .line("remove_install front_radar, replace radiator, replace condenser");
    let answer = order.derive();
    assert!(answer.0.findings.is_empty(), "{:?}", answer.0.findings);
    answer.in_order(&[
        "restraint_power_down",
        "line 1",
        "restraint_power_up",
        "restraint_verification",
        "front_camera_target_calibration",
        "driver_assistance_road_check",
        "code_rescan_after_work",
    ]);
    answer.in_order(&["wheel_alignment", "headlamp_level_reference", "headlamp_aim"]);
    answer.in_order(&["refrigerant_recovery", "line 2", "air_conditioning_performance_check"]);
    assert!(answer.is_free("cooling_system_bleed", "headlamp_aim"));
}

#[test]
fn a_steering_rack_learns_its_ends_and_its_zero() {
    let order = Order::on(Combustion, "electric_power_steering").line("replace steering_rack");
    let answer = order.derive();
    answer.in_order(&["wheel_alignment", "steering_angle_zero", "steering_end_stop_learning"]);
    assert!(answer.required().contains("steering_torque_zero"));
}
