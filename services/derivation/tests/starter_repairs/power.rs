//! What loses power, learns again; what can kill, is dead first.

use domain::precondition::Condition;
use domain::procedure::{Ends, PlaceOfWork, SettleBlocks};
use domain::vehicle::Powertrain::{Combustion, Electric, Hybrid};

use crate::order::{Order, procedure, set};

const COMFORT: &str = "electronic_throttle battery_sensor electric_power_steering power_windows_one_touch sunroof \
                       power_liftgate";

#[test]
fn a_battery_swap_is_prepared_registered_and_closed_by_quick_checks() {
    let order = Order::on(Combustion, COMFORT).line("replace battery");
    let answer = order.derive();
    assert_eq!(
        answer.required(),
        set("code_record_before_work power_off_preparation battery_registration \
             settings_after_power_loss window_one_touch_initialisation sunroof_initialisation \
             liftgate_initialisation climate_flap_calibration throttle_position_relearn \
             idle_relearn steering_angle_zero steering_end_stop_learning clear_trouble_codes \
             code_rescan_after_work battery_sensor_rest_learning")
    );
    answer.in_order(&["code_record_before_work", "power_off_preparation", "line 1"]);
    answer.in_order(&["line 1", "battery_registration", "battery_sensor_rest_learning"]);
    for learning in [
        "window_one_touch_initialisation",
        "sunroof_initialisation",
        "liftgate_initialisation",
        "climate_flap_calibration",
        "throttle_position_relearn",
        "idle_relearn",
        "steering_angle_zero",
        "steering_end_stop_learning",
    ] {
        assert!(procedure(learning).quick_check.is_some(), "{learning}");
    }
    assert_eq!(procedure("battery_sensor_rest_learning").ends, Ends::AfterHandover);
}

#[test]
fn a_throttle_is_learned_with_the_engine_off_and_the_idle_after_it_with_extraction() {
    let order = Order::on(Combustion, "electronic_throttle")
        .trouble_code("P0507")
        .complaint("rough_idle")
        .line("disconnect battery, replace throttle_body");
    let answer = order.derive();
    answer.in_order(&[
        "code_record_before_work",
        "line 1",
        "throttle_position_relearn",
        "idle_relearn",
        "code_rescan_after_work",
    ]);
    let idle = procedure("idle_relearn");
    assert_eq!(idle.place_of_work, PlaceOfWork::Bay(vec!["exhaust_extraction".to_owned()]));
    let spared = idle.preconditions.iter().find_map(|one| match &one.condition {
        Condition::NoCode { except, .. } => Some(except.clone()),
        _ => None,
    });
    assert!(spared.expect("asks for codes").contains(&"P0507".to_owned()));
}

#[test]
fn a_throttle_body_needs_its_relearn_whatever_else_is_known() {
    let order = Order::on_unknown().line("replace throttle_body");
    let answer = order.derive();
    assert!(answer.undetermined().contains("throttle_position_relearn"));
    assert_eq!(answer.asks(), ["powertrain"], "only whether there is an engine");
    let order = Order::on(Combustion, "").line("replace throttle_body");
    assert!(order.derive().required().contains("throttle_position_relearn"));
}

#[test]
fn whatever_opens_a_restraint_connector_is_powered_down_up_and_verified() {
    for work in [
        "replace airbag@driver_side",
        "remove_install clock_spring",
        "replace steering_column",
        "remove_install seat@front_right",
        "replace seat_cover",
        "replace seat_occupancy_sensor",
        "replace seat_belt_pretensioner",
        "remove_install dashboard",
        "replace restraint_control_module",
    ] {
        let order = Order::on(Combustion, "occupant_sensing").line(work);
        order.derive().in_order(&[
            "code_record_before_work",
            "restraint_power_down",
            "line 1",
            "restraint_power_up",
            "restraint_verification",
        ]);
    }
    let down = procedure("restraint_power_down");
    assert!(down.settle.seconds >= 180 && down.settle.blocks == SettleBlocks::Vehicle);
    assert!(!procedure("restraint_verification").waiver.allowed);
}

#[test]
fn a_seat_on_a_scale_is_zeroed_where_it_sits() {
    let order = Order::on(Combustion, "occupant_sensing").line("remove_install seat@front_right");
    let answer = order.derive();
    answer.in_order(&["restraint_power_up", "occupant_sensing_zero", "restraint_verification"]);
    let zero = answer.0.tasks.iter().find(|task| task.procedure.id == "occupant_sensing_zero");
    assert_eq!(zero.expect("derived").place, Some("front_right"));
}

#[test]
fn high_voltage_is_proven_absent_by_two_before_the_work() {
    let order = Order::on(Electric, "high_voltage plug_in").line("replace high_voltage_battery");
    let answer = order.derive();
    answer.in_order(&[
        "code_record_before_work",
        "high_voltage_isolation",
        "high_voltage_absence_proof",
        "line 1",
        "high_voltage_re_energise",
        "high_voltage_battery_initialisation",
        "charging_check",
        "code_rescan_after_work",
    ]);
    answer.in_order(&["high_voltage_cooling_bleed", "high_voltage_re_energise"]);
    assert!(!answer.required().contains("idle_relearn"), "there is no engine");
    for step in ["high_voltage_isolation", "high_voltage_absence_proof", "high_voltage_re_energise"]
    {
        let step = procedure(step);
        assert!(step.people == 2 && !step.waiver.allowed, "{}", step.id);
        let watched = step.preconditions.iter().any(|one| {
            one.throughout
                && matches!(&one.condition, Condition::Attested { second_person: true, .. })
        });
        assert!(watched, "{}: the second person is there throughout", step.id);
    }
    let proof = procedure("high_voltage_absence_proof");
    let says =
        |list: &[domain::precondition::Precondition], id: &str| list.iter().any(|p| p.id == id);
    assert!(says(&proof.preconditions, "tester_proved_before"));
    assert!(says(&proof.proof, "bus_near_zero") && says(&proof.proof, "tester_proved_after"));
}

#[test]
fn a_regeneration_stands_where_heat_and_exhaust_can_go() {
    let order = Order::on(Combustion, "particulate_filter")
        .trouble_code("P2463")
        .complaint("warning_lamp_particulate_filter");
    assert!(order.derive().required().contains("particulate_filter_regeneration"));
    let regeneration = procedure("particulate_filter_regeneration");
    let place = PlaceOfWork::Bay(vec!["high_temperature_extraction".to_owned()]);
    assert_eq!(regeneration.place_of_work, place);
    assert!(regeneration.settle.seconds >= 600);
}

#[test]
fn a_new_engine_module_knows_its_keys_and_injectors_before_an_engine_runs() {
    let order = Order::on(Combustion, "electronic_throttle automatic_transmission")
        .line("replace engine_control_module");
    order.derive().in_order(&[
        "code_record_before_work",
        "line 1",
        "module_configuration",
        "key_learning",
        "camshaft_reference_relearn",
        "idle_relearn",
        "crankshaft_variation_relearn",
        "transmission_adaptation",
        "code_rescan_after_work",
        "readiness_drive",
    ]);
}

#[test]
fn transmission_fluid_is_levelled_at_its_temperature_before_the_shifts_are_learned() {
    let order = Order::on(Combustion, "automatic_transmission").line("refill transmission_fluid");
    let answer = order.derive();
    assert_eq!(answer.required(), set("transmission_fluid_level transmission_adaptation"));
    answer.in_order(&["line 1", "transmission_fluid_level", "transmission_adaptation"]);
    let manual = Order::on(Combustion, "").line("refill transmission_fluid");
    assert!(manual.derive().required().is_empty());
}

#[test]
fn a_new_key_is_learned_and_nothing_more() {
    let order = Order::on(Combustion, COMFORT).line("replace key");
    assert_eq!(order.derive().required(), set("key_learning"));
}

#[test]
fn nobody_connects_the_battery_while_others_rely_on_it_being_off() {
    let order = Order::on(Hybrid, "high_voltage")
        .line("replace inverter")
        .line("replace clock_spring")
        .line("replace battery");
    let answer = order.derive();
    let disturbed = |enter: &str, by: &str| {
        let (enter, by) = (answer.node(enter), answer.node(by));
        answer.0.either_or.iter().any(|one| one.enter == enter && one.disturber == by)
    };
    answer.in_order(&["restraint_power_up", "high_voltage_isolation"]);
    assert!(disturbed("high_voltage_isolation", "line 3"));
    assert!(disturbed("restraint_power_down", "line 3"));
    assert!(answer.0.findings.is_empty());
}

#[test]
fn one_line_with_restraints_and_high_voltage_has_an_order_that_works() {
    let order = Order::on(Hybrid, "high_voltage").line("replace inverter, replace clock_spring");
    let answer = order.derive();
    assert!(answer.0.findings.is_empty() && answer.0.either_or.is_empty());
    answer.in_order(&[
        "restraint_power_down",
        "high_voltage_isolation",
        "high_voltage_absence_proof",
        "line 1",
        "restraint_power_up",
        "high_voltage_re_energise",
    ]);
}
