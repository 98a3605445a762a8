//! What can be measured or observed on a vehicle.
//!
//! Names follow SAE J1979 where it has one. Plausible ranges are what a working sensor of a vehicle can say (the
//! encodable range of the parameter, or wide limits of the trade: common practice, no source), not what is
//! healthy. Allowed gaps are common practice, no source: what moves fast is known for seconds, what only people
//! move for minutes, what needs a tool to change for an hour.

/// A signal: numeric with a unit, or with a few states.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Signal {
    /// `snake_case` name; SAE J1979's name where it has one.
    pub name: &'static str,
    /// What its values are.
    pub values: Values,
    /// Longest time between two readings over which the signal still counts as known, in seconds.
    pub allowed_gap: u32,
    /// It is read per place (wheel, corner).
    pub per_place: bool,
}

/// The values of a signal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Values {
    /// A number in a base unit, plausible between two values of it (inclusive).
    Number {
        /// UCUM code of the base unit.
        unit: &'static str,
        /// Lowest plausible value.
        least: i64,
        /// Highest plausible value.
        most: i64,
    },
    /// One of these words.
    Words(&'static [&'static str]),
}

impl Signal {
    /// The signal of this name.
    pub fn of_name(name: &str) -> Option<&'static Self> {
        TABLE.iter().find(|signal| signal.name == name)
    }

    /// The places at which it is read; empty when it is one for the vehicle.
    pub fn places(&self) -> &'static [&'static str] {
        if self.per_place { WHEELS } else { &[] }
    }

    /// Its name in words, for sentences.
    pub fn title(&self) -> String {
        self.name.replace('_', " ")
    }
}

/// The wheels and corners of a vehicle.
pub const WHEELS: &[&str] = &["front_left", "front_right", "rear_left", "rear_right"];

/// Seconds over which what changes within a moment stays known.
const FAST: u32 = 5;
/// For what warms or drains.
const SLOW: u32 = 15;
/// For what a person switches.
const SWITCHED: u32 = 60;
/// For what a person must walk to and move.
const MOVED: u32 = 300;
/// For what needs a tool, or does not change while the vehicle stands.
const FIXED: u32 = 3_600;

const fn number(name: &'static str, unit: &'static str, least: i64, most: i64, gap: u32) -> Signal {
    let values = Values::Number { unit, least, most };
    Signal { name, values, allowed_gap: gap, per_place: false }
}

const fn at_each_wheel(signal: Signal) -> Signal {
    Signal { per_place: true, ..signal }
}

const fn state(name: &'static str, words: &'static [&'static str], gap: u32) -> Signal {
    Signal { name, values: Values::Words(words), allowed_gap: gap, per_place: false }
}

/// Every signal.
pub const TABLE: &[Signal] = &[
    // Temperatures. One byte with an offset of 40 reaches from -40 to 215 Cel (SAE J1979).
    number("engine_coolant_temperature", "Cel", -40, 215, SLOW),
    number("engine_oil_temperature", "Cel", -40, 215, SLOW),
    number("intake_air_temperature", "Cel", -40, 215, SLOW),
    number("ambient_air_temperature", "Cel", -60, 215, MOVED),
    number("transmission_fluid_temperature", "Cel", -60, 215, SLOW),
    number("catalyst_temperature", "Cel", -40, 1_300, FAST),
    number("exhaust_temperature", "Cel", -60, 1_300, FAST),
    number("high_voltage_battery_temperature", "Cel", -60, 150, SLOW),
    number("tire_temperature", "Cel", -60, 200, MOVED),
    // Engine and motion.
    number("engine_speed", "/min", 0, 16_384, FAST),
    number("vehicle_speed", "km/h", 0, 400, FAST),
    number("engine_load", "%", 0, 100, FAST),
    number("absolute_load", "%", 0, 25_700, FAST),
    number("engine_run_time", "s", 0, 65_535, SLOW),
    number("timing_advance", "deg", -64, 64, FAST),
    number("mass_air_flow", "g/s", 0, 656, FAST),
    number("intake_manifold_pressure", "kPa", 0, 700, FAST),
    number("barometric_pressure", "kPa", 0, 255, MOVED),
    number("fuel_rail_pressure", "kPa", 0, 700_000, FAST),
    number("fuel_rail_pressure_to_manifold", "kPa", 0, 5_200, FAST),
    number("fuel_rail_absolute_pressure", "kPa", 0, 700_000, FAST),
    number("engine_fuel_rate", "L/h", 0, 3_300, FAST),
    number("short_term_fuel_trim", "%", -100, 100, FAST),
    number("long_term_fuel_trim", "%", -100, 100, FAST),
    // Pedals and throttle. A released pedal does not read 0 % except on the relative position.
    number("throttle_position", "%", 0, 100, FAST),
    number("throttle_position_second_track", "%", 0, 100, FAST),
    number("relative_throttle_position", "%", 0, 100, FAST),
    number("commanded_throttle_position", "%", 0, 100, FAST),
    number("accelerator_pedal_position", "%", 0, 100, FAST),
    number("accelerator_pedal_position_second_track", "%", 0, 100, FAST),
    number("relative_accelerator_pedal_position", "%", 0, 100, FAST),
    // Electrical supply. The module's supply is not the battery's terminal voltage.
    number("control_module_voltage", "V", 0, 66, FAST),
    number("battery_voltage", "V", 0, 66, SLOW),
    number("battery_charge", "%", 0, 100, MOVED),
    number("battery_current", "A", -3_000, 3_000, FAST),
    number("battery_support_current", "A", 0, 1_000, SLOW),
    // High voltage.
    number("hv_bus_voltage", "V", -1_500, 1_500, SLOW),
    number("insulation_resistance_per_volt", "Ohm/V", 0, 1_000_000_000, FIXED),
    number("high_voltage_battery_charge", "%", 0, 100, SWITCHED),
    number("high_voltage_cell_voltage_spread", "V", 0, 5, SWITCHED),
    // Levels and loads.
    number("fuel_tank_level", "%", 0, 100, MOVED),
    number("reductant_level", "%", 0, 100, MOVED),
    number("brake_fluid_level", "%", 0, 100, FIXED),
    number("coolant_level", "%", 0, 100, FIXED),
    number("engine_oil_level", "%", 0, 200, FIXED),
    number("transmission_fluid_level", "mm", -200, 200, FIXED),
    number("refrigerant_charge", "kg", 0, 20, FIXED),
    number("soot_load", "%", 0, 300, SWITCHED),
    number("particulate_filter_differential_pressure", "kPa", -50, 700, FAST),
    number("passenger_seat_load", "kg", 0, 300, SWITCHED),
    // Steering, chassis and wheels.
    number("steering_wheel_angle", "deg", -2_000, 2_000, FAST),
    number("thrust_angle", "deg", -10, 10, FIXED),
    at_each_wheel(number("toe_angle", "deg", -10, 10, FIXED)),
    at_each_wheel(number("camber_angle", "deg", -20, 20, FIXED)),
    at_each_wheel(number("tire_pressure", "kPa", 0, 1_100, FIXED)),
    at_each_wheel(number("tire_pressure_deviation", "kPa", -1_100, 1_100, FIXED)),
    at_each_wheel(number("tire_tread_depth", "mm", 0, 40, FIXED)),
    at_each_wheel(number("ride_height", "mm", 0, 1_500, MOVED)),
    at_each_wheel(number("ride_height_deviation", "mm", -500, 500, MOVED)),
    at_each_wheel(number("brake_pad_thickness", "mm", 0, 40, FIXED)),
    at_each_wheel(number("wheel_fastener_torque", "N.m", 0, 1_500, FIXED)),
    // The floor, the targets and the light.
    number("floor_slope", "deg", -45, 45, FIXED),
    number("illuminance", "lx", 0, 200_000, MOVED),
    number("target_distance", "mm", 0, 50_000, FIXED),
    number("target_height", "mm", 0, 5_000, FIXED),
    number("target_lateral_offset", "mm", -10_000, 10_000, FIXED),
    number("headlamp_aim", "%", -20, 20, FIXED),
    number("obstruction_force", "N", 0, 1_000, FIXED),
    // Counters.
    number("odometer", "km", 0, 5_000_000, FIXED),
    number("stored_code_count", "1", 0, 127, SWITCHED),
    number("warm_ups_since_codes_cleared", "1", 0, 255, FIXED),
    number("distance_since_codes_cleared", "km", 0, 65_535, FIXED),
    number("time_since_codes_cleared", "min", 0, 65_535, SWITCHED),
    number("distance_with_malfunction_lamp_on", "km", 0, 65_535, FIXED),
    number("time_with_malfunction_lamp_on", "min", 0, 65_535, SWITCHED),
    // States of the driveline and the controls.
    state("ignition", &["off", "accessory", "on"], SWITCHED),
    state("engine", &["off", "running"], SWITCHED),
    state("vehicle_motion", &["still", "moving"], SLOW),
    state("gear_position", &["park", "reverse", "neutral", "drive"], SWITCHED),
    state("torque_converter_clutch", &["unlocked", "locked"], FAST),
    state("parking_brake", &["released", "applied"], MOVED),
    state("brake_pedal", &["released", "pressed"], SLOW),
    state("accelerator_pedal", &["released", "pressed"], SLOW),
    state("clutch_pedal", &["released", "pressed"], SLOW),
    state("steering", &["straight", "turned"], SWITCHED),
    state("steering_lock", &["unlocked", "locked"], MOVED),
    state("cruise_control", &["off", "on"], SWITCHED),
    state("malfunction_lamp", &["off", "on"], SWITCHED),
    state("diagnostic_session", &["default", "programming", "extended", "safety_system"], FAST),
    // States of the body and the loads.
    state("hood", &["closed", "open"], MOVED),
    state("doors", &["closed", "open"], MOVED),
    state("windows", &["closed", "open"], MOVED),
    state("sunroof", &["closed", "open"], MOVED),
    state("liftgate", &["closed", "open"], MOVED),
    state("key", &["outside", "inside"], MOVED),
    state("electrical_loads", &["off", "on"], SWITCHED),
    state("air_conditioning", &["off", "on"], SWITCHED),
    state("radiator_fan", &["off", "on"], SLOW),
    state("headlamps", &["off", "on"], SWITCHED),
    state("occupants", &["none", "driver_only", "several"], SWITCHED),
    state("passenger_seat", &["empty", "occupied"], SWITCHED),
    state("load_space", &["empty", "loaded"], FIXED),
    // States of the wheels, the suspension and the high-voltage system.
    state("wheels", &["on_ground", "raised"], MOVED),
    state("suspension", &["normal", "service_mode"], MOVED),
    state("calipers", &["bolted", "unbolted"], FIXED),
    state("charging_cable", &["unplugged", "plugged"], MOVED),
    state("hv_system", &["isolated", "energised"], FIXED),
    state("battery", &["connected", "disconnected"], FIXED),
    // States of the bay.
    state("battery_support", &["disconnected", "connected"], MOVED),
    state("exhaust_extraction", &["disconnected", "connected"], MOVED),
    state("surroundings", &["clear", "obstructed"], MOVED),
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::unit::Unit;

    #[test]
    fn every_signal_stands_once_and_can_be_read() {
        for (at, signal) in TABLE.iter().enumerate() {
            assert!(TABLE[..at].iter().all(|other| other.name != signal.name), "{}", signal.name);
            assert!(signal.allowed_gap > 0, "{}", signal.name);
            match signal.values {
                Values::Number { unit, least, most } => {
                    assert!(Unit::of_code(unit).is_some() && least < most, "{}", signal.name);
                }
                Values::Words(words) => assert!(words.len() > 1, "{}", signal.name),
            }
        }
    }

    #[test]
    fn a_wheel_signal_is_read_at_four_places() {
        assert_eq!(Signal::of_name("tire_pressure").map(|s| s.places().len()), Some(4));
        assert_eq!(Signal::of_name("odometer").map(|s| s.places().len()), Some(0));
    }
}
