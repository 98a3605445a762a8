//! Parameters of SAE J1979 service 01: lengths, and scalings as exact fractions.

/// A parameter of service 01.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Parameter {
    /// Its identifier.
    pub pid: u8,
    /// How many data bytes it has.
    pub length: u8,
    /// What they measure, where a precondition can use it.
    pub measures: Option<Scaling>,
}

/// How the data bytes, read as one big-endian number, become a value: `raw * over / under + add`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Scaling {
    /// The signal.
    pub signal: &'static str,
    /// UCUM code.
    pub unit: &'static str,
    /// Numerator.
    pub over: i64,
    /// Denominator.
    pub under: i64,
    /// Added after scaling.
    pub add: i64,
}

/// The parameter of this identifier.
pub fn of_pid(pid: u8) -> Option<&'static Parameter> {
    TABLE.iter().find(|parameter| parameter.pid == pid)
}

/// The parameters that measure a signal.
pub fn measuring(signal: &str) -> impl Iterator<Item = &'static Parameter> {
    TABLE.iter().filter(move |one| one.measures.is_some_and(|scaling| scaling.signal == signal))
}

/// A parameter that no precondition can use; its length is needed to read what follows it.
const fn other(pid: u8, length: u8) -> Parameter {
    Parameter { pid, length, measures: None }
}

const fn scaled(
    pid: u8,
    length: u8,
    signal: &'static str,
    unit: &'static str,
    (over, under, add): (i64, i64, i64),
) -> Parameter {
    Parameter { pid, length, measures: Some(Scaling { signal, unit, over, under, add }) }
}

/// One byte from -40 Cel.
const fn temperature(pid: u8, signal: &'static str) -> Parameter {
    scaled(pid, 1, signal, "Cel", (1, 1, -40))
}

/// One byte over 0 to 100 %.
const fn share(pid: u8, signal: &'static str) -> Parameter {
    scaled(pid, 1, signal, "%", (100, 255, 0))
}

/// One byte over -100 to 99.2 %.
const fn trim(pid: u8, signal: &'static str) -> Parameter {
    scaled(pid, 1, signal, "%", (100, 128, -100))
}

/// Parameters 00 to 5E and the odometer.
pub const TABLE: &[Parameter] = &[
    other(0x00, 4),
    other(0x01, 4), // status since codes were cleared: see `obd::status`
    other(0x02, 2),
    other(0x03, 2),
    share(0x04, "engine_load"),
    temperature(0x05, "engine_coolant_temperature"),
    trim(0x06, "short_term_fuel_trim"),
    trim(0x07, "long_term_fuel_trim"),
    other(0x08, 1), // the second bank's trims are not the first's
    other(0x09, 1),
    scaled(0x0A, 1, "fuel_rail_pressure", "kPa", (3, 1, 0)),
    scaled(0x0B, 1, "intake_manifold_pressure", "kPa", (1, 1, 0)),
    scaled(0x0C, 2, "engine_speed", "/min", (1, 4, 0)),
    scaled(0x0D, 1, "vehicle_speed", "km/h", (1, 1, 0)),
    scaled(0x0E, 1, "timing_advance", "deg", (1, 2, -64)),
    temperature(0x0F, "intake_air_temperature"),
    scaled(0x10, 2, "mass_air_flow", "g/s", (1, 100, 0)),
    share(0x11, "throttle_position"),
    other(0x12, 1),
    other(0x13, 1),
    other(0x14, 2),
    other(0x15, 2),
    other(0x16, 2),
    other(0x17, 2),
    other(0x18, 2),
    other(0x19, 2),
    other(0x1A, 2),
    other(0x1B, 2),
    other(0x1C, 1),
    other(0x1D, 1),
    other(0x1E, 1),
    scaled(0x1F, 2, "engine_run_time", "s", (1, 1, 0)),
    other(0x20, 4),
    scaled(0x21, 2, "distance_with_malfunction_lamp_on", "km", (1, 1, 0)),
    scaled(0x22, 2, "fuel_rail_pressure_to_manifold", "kPa", (79, 1_000, 0)),
    scaled(0x23, 2, "fuel_rail_pressure", "kPa", (10, 1, 0)),
    other(0x24, 4),
    other(0x25, 4),
    other(0x26, 4),
    other(0x27, 4),
    other(0x28, 4),
    other(0x29, 4),
    other(0x2A, 4),
    other(0x2B, 4),
    other(0x2C, 1),
    other(0x2D, 1),
    other(0x2E, 1),
    share(0x2F, "fuel_tank_level"),
    scaled(0x30, 1, "warm_ups_since_codes_cleared", "1", (1, 1, 0)),
    scaled(0x31, 2, "distance_since_codes_cleared", "km", (1, 1, 0)),
    other(0x32, 2),
    scaled(0x33, 1, "barometric_pressure", "kPa", (1, 1, 0)),
    other(0x34, 4),
    other(0x35, 4),
    other(0x36, 4),
    other(0x37, 4),
    other(0x38, 4),
    other(0x39, 4),
    other(0x3A, 4),
    other(0x3B, 4),
    scaled(0x3C, 2, "catalyst_temperature", "Cel", (1, 10, -40)),
    other(0x3D, 2), // further catalysts are not the first
    other(0x3E, 2),
    other(0x3F, 2),
    other(0x40, 4),
    other(0x41, 4),
    scaled(0x42, 2, "control_module_voltage", "V", (1, 1_000, 0)),
    scaled(0x43, 2, "absolute_load", "%", (100, 255, 0)),
    other(0x44, 2),
    share(0x45, "relative_throttle_position"),
    temperature(0x46, "ambient_air_temperature"),
    share(0x47, "throttle_position_second_track"),
    other(0x48, 1),
    share(0x49, "accelerator_pedal_position"),
    share(0x4A, "accelerator_pedal_position_second_track"),
    other(0x4B, 1),
    share(0x4C, "commanded_throttle_position"),
    scaled(0x4D, 2, "time_with_malfunction_lamp_on", "min", (1, 1, 0)),
    scaled(0x4E, 2, "time_since_codes_cleared", "min", (1, 1, 0)),
    other(0x4F, 4),
    other(0x50, 4),
    other(0x51, 1),
    other(0x52, 1),
    other(0x53, 2),
    other(0x54, 2),
    scaled(0x59, 2, "fuel_rail_absolute_pressure", "kPa", (10, 1, 0)),
    share(0x5A, "relative_accelerator_pedal_position"),
    share(0x5B, "high_voltage_battery_charge"),
    temperature(0x5C, "engine_oil_temperature"),
    other(0x5D, 2),
    scaled(0x5E, 2, "engine_fuel_rate", "L/h", (1, 20, 0)),
    // From memory: in the editions since 2019.
    scaled(0xA6, 4, "odometer", "km", (1, 10, 0)),
];
