//! Negative response codes of ISO 14229-1 by name, and what each says of the vehicle's condition.
//!
//! The standard is sold and was not opened: codes and names are common knowledge and agree with public decoders.

use domain::precondition::{Condition, Range};

/// What a negative response code speaks of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Speaks {
    /// One of these signals lies beyond its limit, or one of these states (signal and words) is not given.
    Of {
        /// Signals.
        signals: &'static [&'static str],
        /// Which limit of them.
        limit: Limit,
        /// States that the module wants.
        states: &'static [(&'static str, &'static str)],
    },
    /// A stored trouble code blocks the action.
    Codes,
    /// A wait has not ended.
    Wait,
    /// Some condition, not named: everything measured must be read again.
    Unnamed,
    /// Nothing that a precondition could say.
    Nothing,
}

/// Which end of a range.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Limit {
    /// The value is too high.
    Upper,
    /// The value is too low.
    Lower,
}

/// A negative response code.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Refusal {
    /// The code.
    pub nrc: u8,
    /// Its name in ISO 14229-1.
    pub name: &'static str,
    /// What it speaks of.
    pub speaks: Speaks,
}

/// `7F xx 78`: the request was received and still runs. Never an end.
pub const RESPONSE_PENDING: u8 = 0x78;

/// Services whose refusal speaks of the work itself: clearing codes, operating on-board systems, resetting, writing,
/// output control and routines. A refused read or session speaks of something else.
pub fn acts(service: u8) -> bool {
    matches!(service, 0x04 | 0x08 | 0x11 | 0x14 | 0x2E | 0x2F | 0x31)
}

/// Whether a refusal speaks of the vehicle's condition: one that names a condition does, whatever was asked for; one
/// that names none only where the service acts.
pub fn counts(service: u8, nrc: u8) -> bool {
    acts(service) || matches!(speaks(nrc), Speaks::Of { .. })
}

/// A negative response in words: which service was refused and why, or that it still works.
pub fn told(service: u8, nrc: u8) -> String {
    let asked = match service_name(service) {
        Some(name) => format!("{name} ({service:02X})"),
        None => format!("service {service:02X}"),
    };
    match nrc {
        RESPONSE_PENDING => format!("{asked} is still working, answer pending ({nrc:02X})"),
        _ => format!("{asked} was refused: {} ({nrc:02X})", name(nrc)),
    }
}

/// The name of a service in SAE J1979 (01 to 0A) or ISO 14229-1.
pub fn service_name(service: u8) -> Option<&'static str> {
    Some(match service {
        0x01 => "current powertrain data",
        0x02 => "freeze frame data",
        0x03 => "stored trouble codes",
        0x04 => "clear trouble codes",
        0x05 => "oxygen sensor test results",
        0x06 => "on-board test results",
        0x07 => "pending trouble codes",
        0x08 => "control of an on-board system",
        0x09 => "vehicle information",
        0x0A => "permanent trouble codes",
        0x10 => "DiagnosticSessionControl",
        0x11 => "ECUReset",
        0x14 => "ClearDiagnosticInformation",
        0x19 => "ReadDTCInformation",
        0x22 => "ReadDataByIdentifier",
        0x23 => "ReadMemoryByAddress",
        0x24 => "ReadScalingDataByIdentifier",
        0x27 => "SecurityAccess",
        0x28 => "CommunicationControl",
        0x29 => "Authentication",
        0x2A => "ReadDataByPeriodicIdentifier",
        0x2C => "DynamicallyDefineDataIdentifier",
        0x2E => "WriteDataByIdentifier",
        0x2F => "InputOutputControlByIdentifier",
        0x31 => "RoutineControl",
        0x34 => "RequestDownload",
        0x35 => "RequestUpload",
        0x36 => "TransferData",
        0x37 => "RequestTransferExit",
        0x38 => "RequestFileTransfer",
        0x3D => "WriteMemoryByAddress",
        0x3E => "TesterPresent",
        0x83 => "AccessTimingParameter",
        0x84 => "SecuredDataTransmission",
        0x85 => "ControlDTCSetting",
        0x86 => "ResponseOnEvent",
        0x87 => "LinkControl",
        _ => return None,
    })
}

/// The name of a code; codes without one are told by their range.
pub fn name(nrc: u8) -> &'static str {
    match nrc {
        0x95..=0xEF => "reservedForSpecificConditionsNotCorrect",
        0xF0..=0xFE => "vehicleManufacturerSpecificConditionsNotCorrect",
        _ => of_code(nrc).map_or("unknownResponseCode", |refusal| refusal.name),
    }
}

/// What a code speaks of.
pub fn speaks(nrc: u8) -> Speaks {
    match nrc {
        0x95..=0xFE => Speaks::Unnamed,
        _ => of_code(nrc).map_or(Speaks::Nothing, |refusal| refusal.speaks),
    }
}

/// The entry of a code.
pub fn of_code(nrc: u8) -> Option<&'static Refusal> {
    TABLE.iter().find(|refusal| refusal.nrc == nrc)
}

/// Whether the code names what this condition (not `all` or `any`) demands.
pub fn names(nrc: u8, condition: &Condition) -> bool {
    match (speaks(nrc), condition) {
        (Speaks::Of { signals, limit, .. }, Condition::Range(range)) => {
            signals.contains(&range.signal.as_str()) && has(range, limit)
        }
        (Speaks::Of { states, .. }, Condition::State { signal, is }) => {
            states.contains(&(signal.as_str(), is.as_str()))
        }
        (Speaks::Of { signals, .. }, Condition::Elapsed { since, .. }) => {
            signals.contains(&"engine_run_time") && since == "engine_running"
        }
        (Speaks::Wait, Condition::Elapsed { .. }) | (Speaks::Codes, Condition::NoCode { .. }) => {
            true
        }
        _ => false,
    }
}

/// Whether the code says that some condition is not given, without naming it.
pub fn leaves_unnamed(nrc: u8) -> bool {
    speaks(nrc) == Speaks::Unnamed
}

fn has(range: &Range, limit: Limit) -> bool {
    match limit {
        Limit::Upper => range.at_most.is_some(),
        Limit::Lower => range.at_least.is_some(),
    }
}

const TEMPERATURES: &[&str] = &[
    "engine_coolant_temperature",
    "engine_oil_temperature",
    "transmission_fluid_temperature",
    "intake_air_temperature",
    "ambient_air_temperature",
    "catalyst_temperature",
    "exhaust_temperature",
    "high_voltage_battery_temperature",
];
const PEDALS: &[&str] = &[
    "accelerator_pedal_position",
    "accelerator_pedal_position_second_track",
    "relative_accelerator_pedal_position",
    "throttle_position",
    "relative_throttle_position",
];
const SUPPLY: &[&str] = &["battery_voltage", "control_module_voltage"];

const fn nothing(nrc: u8, name: &'static str) -> Refusal {
    Refusal { nrc, name, speaks: Speaks::Nothing }
}

const fn upper(
    nrc: u8,
    name: &'static str,
    signals: &'static [&'static str],
    states: &'static [(&'static str, &'static str)],
) -> Refusal {
    Refusal { nrc, name, speaks: Speaks::Of { signals, limit: Limit::Upper, states } }
}

const fn lower(
    nrc: u8,
    name: &'static str,
    signals: &'static [&'static str],
    states: &'static [(&'static str, &'static str)],
) -> Refusal {
    Refusal { nrc, name, speaks: Speaks::Of { signals, limit: Limit::Lower, states } }
}

const fn wanting(
    nrc: u8,
    name: &'static str,
    states: &'static [(&'static str, &'static str)],
) -> Refusal {
    upper(nrc, name, &[], states)
}

/// Every code that has a name.
pub const TABLE: &[Refusal] = &[
    nothing(0x10, "generalReject"),
    nothing(0x11, "serviceNotSupported"),
    nothing(0x12, "subFunctionNotSupported"),
    nothing(0x13, "incorrectMessageLengthOrInvalidFormat"),
    nothing(0x14, "responseTooLong"),
    nothing(0x21, "busyRepeatRequest"),
    Refusal { nrc: 0x22, name: "conditionsNotCorrect", speaks: Speaks::Unnamed },
    nothing(0x24, "requestSequenceError"),
    nothing(0x25, "noResponseFromSubnetComponent"),
    Refusal { nrc: 0x26, name: "failurePreventsExecutionOfRequestedAction", speaks: Speaks::Codes },
    nothing(0x31, "requestOutOfRange"),
    nothing(0x33, "securityAccessDenied"),
    nothing(0x34, "authenticationRequired"),
    nothing(0x35, "invalidKey"),
    Refusal { nrc: 0x36, name: "exceedNumberOfAttempts", speaks: Speaks::Wait },
    Refusal { nrc: 0x37, name: "requiredTimeDelayNotExpired", speaks: Speaks::Wait },
    nothing(0x38, "secureDataTransmissionRequired"),
    nothing(0x39, "secureDataTransmissionNotAllowed"),
    nothing(0x3A, "secureDataVerificationFailed"),
    nothing(0x50, "certificateVerificationFailed-InvalidTimePeriod"),
    nothing(0x51, "certificateVerificationFailed-InvalidSignature"),
    nothing(0x52, "certificateVerificationFailed-InvalidChainOfTrust"),
    nothing(0x53, "certificateVerificationFailed-InvalidType"),
    nothing(0x54, "certificateVerificationFailed-InvalidFormat"),
    nothing(0x55, "certificateVerificationFailed-InvalidContent"),
    nothing(0x56, "certificateVerificationFailed-InvalidScope"),
    nothing(0x57, "certificateVerificationFailed-InvalidCertificate"),
    nothing(0x58, "ownershipVerificationFailed"),
    nothing(0x59, "challengeCalculationFailed"),
    nothing(0x5A, "settingAccessRightsFailed"),
    nothing(0x5B, "sessionKeyCreation/DerivationFailed"),
    nothing(0x5C, "configurationDataUsageFailed"),
    nothing(0x5D, "deAuthenticationFailed"),
    nothing(0x70, "uploadDownloadNotAccepted"),
    nothing(0x71, "transferDataSuspended"),
    nothing(0x72, "generalProgrammingFailure"),
    nothing(0x73, "wrongBlockSequenceCounter"),
    nothing(RESPONSE_PENDING, "requestCorrectlyReceived-ResponsePending"),
    nothing(0x7E, "subFunctionNotSupportedInActiveSession"),
    nothing(0x7F, "serviceNotSupportedInActiveSession"),
    upper(0x81, "rpmTooHigh", &["engine_speed"], &[]),
    lower(0x82, "rpmTooLow", &["engine_speed"], &[("engine", "running")]),
    upper(0x83, "engineIsRunning", &["engine_speed"], &[("engine", "off")]),
    lower(0x84, "engineIsNotRunning", &["engine_speed"], &[("engine", "running")]),
    lower(0x85, "engineRunTimeTooLow", &["engine_run_time"], &[]),
    upper(0x86, "temperatureTooHigh", TEMPERATURES, &[]),
    lower(0x87, "temperatureTooLow", TEMPERATURES, &[]),
    upper(0x88, "vehicleSpeedTooHigh", &["vehicle_speed"], &[("vehicle_motion", "still")]),
    lower(0x89, "vehicleSpeedTooLow", &["vehicle_speed"], &[("vehicle_motion", "moving")]),
    upper(0x8A, "throttle/PedalTooHigh", PEDALS, &[("accelerator_pedal", "released")]),
    lower(0x8B, "throttle/PedalTooLow", PEDALS, &[("accelerator_pedal", "pressed")]),
    wanting(0x8C, "transmissionRangeNotInNeutral", &[("gear_position", "neutral")]),
    wanting(
        0x8D,
        "transmissionRangeNotInGear",
        &[("gear_position", "drive"), ("gear_position", "reverse")],
    ),
    wanting(0x8F, "brakeSwitch(es)NotClosed", &[("brake_pedal", "pressed")]),
    wanting(0x90, "shifterLeverNotInPark", &[("gear_position", "park")]),
    wanting(0x91, "torqueConverterClutchLocked", &[("torque_converter_clutch", "unlocked")]),
    upper(0x92, "voltageTooHigh", SUPPLY, &[]),
    lower(0x93, "voltageTooLow", SUPPLY, &[("battery_support", "connected")]),
    nothing(0x94, "resourceTemporarilyNotAvailable"),
];
