//! Example orders beside the tasks that an independent resolver derives from another table of trade facts, under that
//! table's names, and the order in which it wants them (common practice, no source). Names are mapped once; where this
//! catalogue differs, it says why.

use std::collections::BTreeSet;

use domain::vehicle::Powertrain::{self, Combustion, Electric};

use crate::order::{Order, set};

/// Their name, our procedures.
const NAMES: [(&str, &str); 51] = [
    ("pre_repair_code_record", "code_record_before_work"),
    ("clear_codes_and_rescan", "clear_trouble_codes code_rescan_after_work"),
    ("emission_readiness_drive", "readiness_drive"),
    ("final_road_check", "brake_road_check"),
    ("stability_function_drive", "chassis_road_check"),
    ("parking_brake_service_retract", "parking_brake_open_for_service"),
    ("parking_brake_close_calibrate", "parking_brake_close_and_calibrate"),
    ("parking_brake_cycle_test", "parking_brake_function_test"),
    ("abs_module_configure", "abs_control_unit_setup"),
    ("new_friction_bedding", "brake_lining_bedding"),
    ("pad_wear_indicator_reset", "pad_wear_reset"),
    ("wheel_alignment_set", "wheel_alignment"),
    ("steering_end_stop_learn", "steering_end_stop_learning"),
    ("suspension_service_mode", "air_suspension_service_mode"),
    ("suspension_service_mode_exit", "air_suspension_leave_service_mode"),
    ("forward_camera_static", "front_camera_target_calibration front_camera_calibration"),
    ("forward_camera_dynamic", "front_camera_drive_calibration front_camera_calibration"),
    ("front_radar_align_static", "front_radar_target_calibration front_radar_calibration"),
    ("rain_light_sensor_initialise", "rain_light_sensor_initialisation"),
    ("head_up_display_align", "head_up_display_check"),
    ("parking_sensor_learn", "parking_sensor_check"),
    ("tyre_sensor_register", "tire_pressure_monitor_reset"),
    ("tyre_indirect_reset", "tire_pressure_monitor_reset"),
    ("module_configuration_coding", "module_configuration"),
    ("key_immobiliser_learn", "key_learning"),
    ("battery_replacement_register", "battery_registration"),
    ("battery_sensor_rest_learn", "battery_sensor_rest_learning"),
    ("power_restore_setup", "settings_after_power_loss"),
    ("window_endstop_initialise", "window_one_touch_initialisation"),
    ("sunroof_initialise", "sunroof_initialisation"),
    ("power_tailgate_initialise", "liftgate_initialisation"),
    ("seat_endstop_initialise", "seat_position_initialisation"),
    ("hvac_flap_calibrate", "climate_flap_calibration"),
    ("restraint_power_down_wait", "restraint_power_down"),
    ("occupant_classification_zero", "occupant_sensing_zero"),
    ("throttle_body_adapt", "throttle_position_relearn"),
    ("idle_speed_relearn", "idle_relearn"),
    ("accelerator_pedal_learn", "accelerator_pedal_relearn"),
    ("crank_variation_learn", "crankshaft_variation_relearn"),
    ("egr_valve_learn", "egr_valve_learning"),
    ("high_pressure_pump_learn", "high_pressure_pump_learning"),
    ("injector_trim_coding", "fuel_injector_coding"),
    ("particle_filter_replace_reset", "particulate_counter_reset"),
    ("particle_filter_service_regeneration", "particulate_filter_regeneration"),
    ("transmission_adapt", "transmission_adaptation"),
    ("clutch_touch_point_learn", "clutch_touch_point_learning"),
    ("hv_isolate", "high_voltage_isolation high_voltage_absence_proof"),
    ("hv_reenergise_insulation_test", "high_voltage_re_energise"),
    ("hv_battery_initialise", "high_voltage_battery_initialisation"),
    ("hv_coolant_bleed", "high_voltage_cooling_bleed"),
    ("charge_function_check", "charging_check"),
];

/// What differs, and why.
struct Difference {
    /// Ours beside theirs.
    more: &'static str,
    /// Theirs that are left out.
    fewer: &'static str,
    /// Why, for the reader.
    #[expect(dead_code, reason = "it is there to be read")]
    why: &'static str,
}

struct Example {
    name: &'static str,
    powertrain: Powertrain,
    features: &'static str,
    line: &'static str,
    trouble_code: Option<&'static str>,
    theirs: &'static str,
    /// What comes right before what.
    their_order: &'static str,
    differences: &'static [Difference],
}

const EXAMPLES: &[Example] = &[
    Example {
        name: "rear pads on an electronic parking brake",
        powertrain: Combustion,
        features: "electronic_parking_brake electric_power_steering electronic_throttle",
        line: "replace rear_brake_pads",
        trouble_code: None,
        theirs: "new_friction_bedding pad_wear_indicator_reset parking_brake_close_calibrate parking_brake_cycle_test parking_brake_service_retract",
        their_order: "parking_brake_close_calibrate>pad_wear_indicator_reset parking_brake_close_calibrate>parking_brake_cycle_test parking_brake_cycle_test>new_friction_bedding parking_brake_service_retract>parking_brake_close_calibrate",
        differences: &[Difference {
            more: "firm_pedal_check wheel_fastener_torque brake_road_check",
            fewer: "",
            why: "wheels were off and pistons pushed back; they leave this to the mechanic",
        }],
    },
    Example {
        name: "rear pads without electronic parking brake",
        powertrain: Combustion,
        features: "electric_power_steering electronic_throttle",
        line: "replace rear_brake_pads",
        trouble_code: None,
        theirs: "new_friction_bedding",
        their_order: "",
        differences: &[
            Difference {
                more: "firm_pedal_check wheel_fastener_torque brake_road_check",
                fewer: "",
                why: "wheels were off and pistons pushed back; they leave this to the mechanic",
            },
            Difference {
                more: "pad_wear_reset",
                fewer: "",
                why: "whether there is an estimate is seen at the vehicle; a quick check closes it",
            },
        ],
    },
    Example {
        name: "windshield before a camera",
        powertrain: Combustion,
        features: "front_camera camera_calibration=both head_up_display rain_light_sensor electric_power_steering electronic_throttle",
        line: "replace windshield",
        trouble_code: None,
        theirs: "driver_assistance_road_check forward_camera_dynamic forward_camera_static head_up_display_align pre_repair_code_record rain_light_sensor_initialise",
        their_order: "forward_camera_dynamic>driver_assistance_road_check forward_camera_static>driver_assistance_road_check forward_camera_static>forward_camera_dynamic",
        differences: &[
            Difference {
                more: "windshield_bonding_preparation windshield_adhesive_cure",
                fewer: "",
                why: "curing is a task with a hold on the vehicle, not a precondition alone",
            },
            Difference {
                more: "tire_pressure_setting vehicle_load_preparation",
                fewer: "",
                why: "pressures and weight are set once and shared by all calibrations",
            },
            Difference {
                more: "clear_trouble_codes code_rescan_after_work",
                fewer: "",
                why: "the camera was unplugged",
            },
            Difference { more: "wiper_park_check", fewer: "", why: "the arms were off" },
        ],
    },
    Example {
        name: "windshield of a plain car",
        powertrain: Combustion,
        features: "electric_power_steering electronic_throttle",
        line: "replace windshield",
        trouble_code: None,
        theirs: "",
        their_order: "",
        differences: &[Difference {
            more: "windshield_bonding_preparation windshield_adhesive_cure wiper_park_check",
            fewer: "",
            why: "adhesive cures behind plain glass too",
        }],
    },
    Example {
        name: "tie rod on a car with assistance",
        powertrain: Combustion,
        features: "corner_radar front_camera camera_calibration=static front_radar radar_calibration=static electric_power_steering electronic_throttle",
        line: "replace tie_rod",
        trouble_code: None,
        theirs: "forward_camera_static front_radar_align_static pre_repair_code_record steering_angle_zero wheel_alignment_set",
        their_order: "steering_angle_zero>forward_camera_static steering_angle_zero>front_radar_align_static wheel_alignment_set>forward_camera_static wheel_alignment_set>front_radar_align_static wheel_alignment_set>steering_angle_zero",
        differences: &[
            Difference {
                more: "tire_pressure_setting vehicle_load_preparation",
                fewer: "",
                why: "pressures and weight are set once and shared by all calibrations",
            },
            Difference {
                more: "chassis_road_check",
                fewer: "",
                why: "what guides the wheels was loose",
            },
            Difference {
                more: "",
                fewer: "code_record_before_work",
                why: "nothing is unplugged and nothing is cleared",
            },
        ],
    },
    Example {
        name: "battery of a comfortable car",
        powertrain: Combustion,
        features: "power_windows_one_touch battery_sensor electronic_parking_brake memory_seats sunroof power_liftgate tire_pressure_monitoring electric_power_steering electronic_throttle",
        line: "replace battery",
        trouble_code: None,
        theirs: "battery_replacement_register battery_sensor_rest_learn clear_codes_and_rescan emission_readiness_drive hvac_flap_calibrate idle_speed_relearn parking_brake_cycle_test power_restore_setup power_tailgate_initialise pre_repair_code_record seat_endstop_initialise steering_angle_zero steering_end_stop_learn sunroof_initialise throttle_body_adapt tyre_indirect_reset window_endstop_initialise",
        their_order: "battery_replacement_register>battery_sensor_rest_learn clear_codes_and_rescan>emission_readiness_drive parking_brake_cycle_test>idle_speed_relearn pre_repair_code_record>clear_codes_and_rescan steering_angle_zero>idle_speed_relearn steering_angle_zero>steering_end_stop_learn throttle_body_adapt>idle_speed_relearn",
        differences: &[
            Difference {
                more: "power_off_preparation",
                fewer: "",
                why: "the loss of power is prepared: key outside, access kept",
            },
            Difference {
                more: "",
                fewer: "readiness_drive",
                why: "a readiness drive is for emission repairs, not for every cleared code",
            },
            Difference {
                more: "",
                fewer: "parking_brake_function_test",
                why: "one application and release is a step of settings_after_power_loss; three cycles follow work on the brake",
            },
            Difference {
                more: "",
                fewer: "seat_position_initialisation",
                why: "stored positions are tried with the other settings; the seat itself was not out",
            },
            Difference {
                more: "",
                fewer: "tire_pressure_monitor_reset",
                why: "pressures did not change; a monitor that asks for it is reset on its lamp",
            },
        ],
    },
    Example {
        name: "throttle body cleaned",
        powertrain: Combustion,
        features: "electric_power_steering electronic_throttle",
        line: "clean throttle_body",
        trouble_code: None,
        theirs: "idle_speed_relearn throttle_body_adapt",
        their_order: "throttle_body_adapt>idle_speed_relearn",
        differences: &[Difference {
            more: "code_record_before_work clear_trouble_codes code_rescan_after_work",
            fewer: "",
            why: "the throttle was unplugged",
        }],
    },
    Example {
        name: "front collision",
        powertrain: Combustion,
        features: "adaptive_headlamps front_camera camera_calibration=static front_radar radar_calibration=static parking_sensors electric_power_steering electronic_throttle",
        line: "repair body_structure, replace front_bumper_cover, replace headlamp, remove_install front_radar",
        trouble_code: None,
        theirs: "driver_assistance_road_check forward_camera_static front_radar_align_static headlamp_aim headlamp_level_reference parking_sensor_learn pre_repair_code_record ride_height_calibration steering_angle_zero wheel_alignment_set",
        their_order: "forward_camera_static>driver_assistance_road_check front_radar_align_static>driver_assistance_road_check headlamp_level_reference>headlamp_aim ride_height_calibration>forward_camera_static ride_height_calibration>front_radar_align_static ride_height_calibration>headlamp_aim ride_height_calibration>headlamp_level_reference ride_height_calibration>wheel_alignment_set steering_angle_zero>forward_camera_static steering_angle_zero>front_radar_align_static wheel_alignment_set>forward_camera_static wheel_alignment_set>front_radar_align_static wheel_alignment_set>headlamp_aim wheel_alignment_set>headlamp_level_reference wheel_alignment_set>steering_angle_zero",
        differences: &[
            Difference {
                more: "tire_pressure_setting vehicle_load_preparation",
                fewer: "",
                why: "pressures and weight are set once and shared by all calibrations",
            },
            Difference {
                more: "clear_trouble_codes code_rescan_after_work",
                fewer: "",
                why: "sensors were unplugged and power was off",
            },
            Difference {
                more: "",
                fewer: "ride_height_calibration",
                why: "follows work on a height sensor or air spring, which would be operations of their own",
            },
            Difference {
                more: "restraint_power_down restraint_power_up restraint_verification",
                fewer: "",
                why: "welding and straightening is done with restraints powered down",
            },
            Difference {
                more: "power_off_preparation settings_after_power_loss climate_flap_calibration throttle_position_relearn idle_relearn steering_end_stop_learning",
                fewer: "",
                why: "power is off while the body is repaired, and what forgets is learned",
            },
            Difference {
                more: "headlamp_module_setup yaw_rate_zero chassis_road_check",
                fewer: "",
                why: "a new adaptive lamp is told its side; sensors on the body and the drive itself are checked",
            },
        ],
    },
    Example {
        name: "air spring",
        powertrain: Combustion,
        features: "air_suspension adaptive_headlamps electric_power_steering electronic_throttle",
        line: "replace air_spring",
        trouble_code: None,
        theirs: "ride_height_calibration suspension_service_mode suspension_service_mode_exit",
        their_order: "suspension_service_mode>suspension_service_mode_exit suspension_service_mode_exit>ride_height_calibration",
        differences: &[
            Difference {
                more: "code_record_before_work clear_trouble_codes code_rescan_after_work",
                fewer: "",
                why: "the height sensors were moved",
            },
            Difference {
                more: "wheel_fastener_torque tire_pressure_setting wheel_alignment steering_angle_zero headlamp_level_reference chassis_road_check",
                fewer: "",
                why: "a new height is aligned, and lamps follow it",
            },
        ],
    },
    Example {
        name: "passenger seat",
        powertrain: Combustion,
        features: "occupant_sensing memory_seats electric_power_steering electronic_throttle",
        line: "remove_install seat@front_right",
        trouble_code: None,
        theirs: "clear_codes_and_rescan emission_readiness_drive idle_speed_relearn occupant_classification_zero power_restore_setup pre_repair_code_record restraint_power_down_wait seat_endstop_initialise steering_angle_zero steering_end_stop_learn throttle_body_adapt",
        their_order: "clear_codes_and_rescan>emission_readiness_drive pre_repair_code_record>clear_codes_and_rescan restraint_power_down_wait>emission_readiness_drive restraint_power_down_wait>idle_speed_relearn restraint_power_down_wait>occupant_classification_zero restraint_power_down_wait>power_restore_setup restraint_power_down_wait>seat_endstop_initialise restraint_power_down_wait>steering_angle_zero restraint_power_down_wait>steering_end_stop_learn restraint_power_down_wait>throttle_body_adapt steering_angle_zero>idle_speed_relearn steering_angle_zero>steering_end_stop_learn throttle_body_adapt>idle_speed_relearn",
        differences: &[
            Difference {
                more: "power_off_preparation",
                fewer: "",
                why: "the loss of power is prepared: key outside, access kept",
            },
            Difference {
                more: "",
                fewer: "readiness_drive",
                why: "a readiness drive is for emission repairs, not for every cleared code",
            },
            Difference {
                more: "climate_flap_calibration",
                fewer: "",
                why: "flaps may forget as windows do; a quick check closes it",
            },
            Difference {
                more: "restraint_power_up restraint_verification",
                fewer: "",
                why: "a mode that is entered is left, and what was unplugged is verified",
            },
        ],
    },
    Example {
        name: "engine control module of an automatic diesel",
        powertrain: Combustion,
        features: "automatic_transmission particulate_filter electric_power_steering electronic_throttle",
        line: "replace engine_control_module",
        trouble_code: None,
        theirs: "accelerator_pedal_learn clear_codes_and_rescan crank_variation_learn egr_valve_learn emission_readiness_drive high_pressure_pump_learn idle_speed_relearn injector_trim_coding key_immobiliser_learn module_configuration_coding module_software_update particle_filter_replace_reset pre_repair_code_record throttle_body_adapt transmission_adapt",
        their_order: "accelerator_pedal_learn>idle_speed_relearn accelerator_pedal_learn>throttle_body_adapt clear_codes_and_rescan>emission_readiness_drive idle_speed_relearn>crank_variation_learn idle_speed_relearn>transmission_adapt injector_trim_coding>high_pressure_pump_learn injector_trim_coding>idle_speed_relearn module_configuration_coding>injector_trim_coding module_configuration_coding>key_immobiliser_learn module_software_update>clear_codes_and_rescan module_software_update>module_configuration_coding module_software_update>throttle_body_adapt module_software_update>transmission_adapt pre_repair_code_record>clear_codes_and_rescan pre_repair_code_record>module_configuration_coding pre_repair_code_record>module_software_update throttle_body_adapt>idle_speed_relearn throttle_body_adapt>transmission_adapt transmission_adapt>crank_variation_learn",
        differences: &[
            Difference {
                more: "",
                fewer: "module_software_update",
                why: "an update is a line of its own when it is due",
            },
            Difference {
                more: "camshaft_reference_relearn",
                fewer: "",
                why: "the new module holds no reference of the camshafts",
            },
        ],
    },
    Example {
        name: "dual clutch",
        powertrain: Combustion,
        features: "dual_clutch automatic_transmission electric_power_steering electronic_throttle",
        line: "replace clutch, replace flywheel",
        trouble_code: None,
        theirs: "clutch_touch_point_learn crank_variation_learn",
        their_order: "crank_variation_learn>clutch_touch_point_learn",
        differences: &[Difference {
            more: "code_record_before_work clear_trouble_codes code_rescan_after_work chassis_road_check",
            fewer: "",
            why: "the transmission was out",
        }],
    },
    Example {
        name: "traction battery",
        powertrain: Electric,
        features: "power_windows_one_touch battery_sensor high_voltage plug_in",
        line: "replace high_voltage_battery",
        trouble_code: None,
        theirs: "battery_sensor_rest_learn charge_function_check clear_codes_and_rescan emission_readiness_drive hv_battery_initialise hv_coolant_bleed hv_isolate hv_reenergise_insulation_test module_configuration_coding module_software_update power_restore_setup pre_repair_code_record steering_angle_zero window_endstop_initialise",
        their_order: "clear_codes_and_rescan>emission_readiness_drive hv_battery_initialise>charge_function_check hv_coolant_bleed>charge_function_check hv_isolate>battery_sensor_rest_learn hv_isolate>emission_readiness_drive hv_isolate>hv_reenergise_insulation_test hv_isolate>power_restore_setup hv_isolate>steering_angle_zero hv_isolate>window_endstop_initialise hv_reenergise_insulation_test>charge_function_check hv_reenergise_insulation_test>hv_battery_initialise hv_reenergise_insulation_test>hv_coolant_bleed module_configuration_coding>hv_battery_initialise module_software_update>clear_codes_and_rescan module_software_update>module_configuration_coding pre_repair_code_record>clear_codes_and_rescan pre_repair_code_record>module_configuration_coding pre_repair_code_record>module_software_update",
        differences: &[
            Difference {
                more: "power_off_preparation",
                fewer: "",
                why: "the loss of power is prepared: key outside, access kept",
            },
            Difference {
                more: "",
                fewer: "readiness_drive",
                why: "a readiness drive is for emission repairs, not for every cleared code",
            },
            Difference {
                more: "climate_flap_calibration",
                fewer: "",
                why: "flaps may forget as windows do; a quick check closes it",
            },
            Difference {
                more: "",
                fewer: "module_software_update",
                why: "an update is a line of its own when it is due",
            },
            Difference {
                more: "",
                fewer: "module_configuration",
                why: "the data of the pack are written by high_voltage_battery_initialisation",
            },
        ],
    },
    Example {
        name: "brake control unit",
        powertrain: Combustion,
        features: "electronic_parking_brake electric_power_steering electronic_throttle",
        line: "replace abs_control_unit",
        trouble_code: None,
        theirs: "abs_hydraulic_bleed abs_module_configure brake_hydraulic_bleed clear_codes_and_rescan emission_readiness_drive final_road_check module_configuration_coding module_software_update pre_repair_code_record stability_function_drive steering_angle_zero",
        their_order: "abs_hydraulic_bleed>final_road_check abs_hydraulic_bleed>stability_function_drive abs_module_configure>steering_angle_zero brake_hydraulic_bleed>abs_hydraulic_bleed clear_codes_and_rescan>emission_readiness_drive module_software_update>clear_codes_and_rescan module_software_update>module_configuration_coding pre_repair_code_record>abs_module_configure pre_repair_code_record>clear_codes_and_rescan pre_repair_code_record>module_configuration_coding pre_repair_code_record>module_software_update steering_angle_zero>stability_function_drive",
        differences: &[
            Difference {
                more: "",
                fewer: "readiness_drive",
                why: "a readiness drive is for emission repairs, not for every cleared code",
            },
            Difference {
                more: "",
                fewer: "module_software_update",
                why: "an update is a line of its own when it is due",
            },
            Difference {
                more: "",
                fewer: "module_configuration",
                why: "setting the unit up is abs_control_unit_setup, once",
            },
            Difference {
                more: "firm_pedal_check yaw_rate_zero",
                fewer: "",
                why: "the pedal is firm before anything rolls; the new unit holds no zero of its sensors",
            },
        ],
    },
    Example {
        name: "tires rotated",
        powertrain: Combustion,
        features: "tire_pressure_monitoring electric_power_steering electronic_throttle",
        line: "rotate tire",
        trouble_code: None,
        theirs: "tyre_sensor_register",
        their_order: "",
        differences: &[Difference {
            more: "wheel_fastener_torque tire_pressure_setting",
            fewer: "",
            why: "wheels were off, and axles differ in pressure",
        }],
    },
    Example {
        name: "oil change",
        powertrain: Combustion,
        features: "electric_power_steering electronic_throttle",
        line: "refill engine_oil",
        trouble_code: None,
        theirs: "oil_service_reset",
        their_order: "",
        differences: &[],
    },
    Example {
        name: "software of any module",
        powertrain: Combustion,
        features: "front_camera occupant_sensing electric_power_steering electronic_throttle",
        line: "program control_module",
        trouble_code: None,
        theirs: "clear_codes_and_rescan emission_readiness_drive module_software_update pre_repair_code_record",
        their_order: "clear_codes_and_rescan>emission_readiness_drive module_software_update>clear_codes_and_rescan pre_repair_code_record>clear_codes_and_rescan pre_repair_code_record>module_software_update",
        differences: &[Difference {
            more: "",
            fewer: "readiness_drive",
            why: "a readiness drive is for emission repairs, not for every cleared code",
        }],
    },
    Example {
        name: "loaded particulate filter",
        powertrain: Combustion,
        features: "particulate_filter electric_power_steering electronic_throttle",
        line: "inspect particulate_filter",
        trouble_code: Some("P2463"),
        theirs: "particle_filter_service_regeneration pre_repair_code_record",
        their_order: "pre_repair_code_record>particle_filter_service_regeneration",
        differences: &[Difference {
            more: "clear_trouble_codes code_rescan_after_work readiness_drive",
            fewer: "",
            why: "the code is shown to be gone, by the monitor that set it",
        }],
    },
    Example {
        name: "nothing to do",
        powertrain: Combustion,
        features: "electric_power_steering electronic_throttle",
        line: "inspect brake_system",
        trouble_code: None,
        theirs: "",
        their_order: "",
        differences: &[],
    },
];

/// Our procedures for one of theirs.
fn ours(theirs: &'static str) -> impl Iterator<Item = &'static str> {
    let mapped = NAMES.iter().find(|(name, _)| *name == theirs);
    mapped.map_or(theirs, |(_, ours)| ours).split_whitespace()
}

impl Example {
    fn order(&self) -> Order {
        let order = Order::on(self.powertrain, self.features).line(self.line);
        match self.trouble_code {
            Some(code) => order.trouble_code(code),
            None => order,
        }
    }
}

/// Pairs of ours that stand the other way round, and why.
const OTHER_WAY_ROUND: [(&str, &str, &str); 2] = [
    (
        "crankshaft_variation_relearn",
        "transmission_adaptation",
        "the engine learns first: a misfire that is not one spoils the shifts that are learned",
    ),
    (
        "high_voltage_cooling_bleed",
        "high_voltage_re_energise",
        "the circuit is closed and free of air before there is voltage that needs its cooling",
    ),
];

#[test]
fn another_table_has_the_same_order_but_for_named_pairs() {
    let mut other_way_round = BTreeSet::new();
    for example in EXAMPLES {
        let order = example.order();
        let answer = order.derive();
        let required = answer.required();
        let ours =
            |theirs| -> Vec<&str> { ours(theirs).filter(|name| required.contains(name)).collect() };
        for pair in example.their_order.split_whitespace() {
            let (before, then) = pair.split_once('>').expect("a pair");
            let (before, then) = (ours(before), ours(then));
            // One calibration of ours stands for both of theirs where the vehicle names its way.
            if before.iter().any(|one| then.contains(one)) {
                continue;
            }
            for (before, then) in before.iter().flat_map(|b| then.iter().map(move |t| (*b, *t))) {
                let known = OTHER_WAY_ROUND.iter().find(|(b, t, _)| (*b, *t) == (then, before));
                let (first, second) = known.map_or((before, then), |(b, t, _)| (*b, *t));
                other_way_round.extend(known.map(|(b, t, _)| (*b, *t)));
                answer.in_order(&[first, second]);
            }
        }
    }
    assert_eq!(other_way_round.len(), OTHER_WAY_ROUND.len(), "no difference is named in vain");
}

#[test]
fn another_table_asks_for_the_same_but_for_named_differences() {
    for example in EXAMPLES {
        let order = example.order();
        let answer = order.derive();
        let mut expected: BTreeSet<&str> = BTreeSet::new();
        for theirs in example.theirs.split_whitespace() {
            expected.extend(ours(theirs));
        }
        for difference in example.differences {
            for one in difference.fewer.split_whitespace() {
                assert!(expected.remove(one), "{}: `{one}` is not asked for", example.name);
            }
            for one in difference.more.split_whitespace() {
                assert!(expected.insert(one), "{}: `{one}` is no difference", example.name);
            }
        }
        assert_eq!(answer.required(), expected, "{}", example.name);
        assert_eq!(answer.undetermined(), set(""), "{}", example.name);
    }
}
