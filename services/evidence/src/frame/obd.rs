//! Answers of SAE J1979 / ISO 15031-5.

use domain::exact::Exact;

use super::parameter::{self, Parameter};
use super::{FrameFault, codes, negative, vin};
use crate::sample::{Code, CodeList, Kind, Monitor};

/// What an answer says.
///
/// # Errors
/// Says why the bytes cannot be evidence.
pub fn decode(bytes: &[u8]) -> Result<Vec<Kind>, FrameFault> {
    match bytes {
        [] => Err(FrameFault::Empty),
        [0x41, data @ ..] => current(data),
        [0x43, ..] => list(CodeList::Stored, bytes),
        [0x44] => Ok(vec![Kind::CodesCleared]),
        [0x44, ..] => Err(FrameFault::length("an answer to clearing codes", 1, bytes.len())),
        [0x47, ..] => list(CodeList::Pending, bytes),
        [0x49, ..] => vehicle(bytes),
        [0x4A, ..] => list(CodeList::Permanent, bytes),
        [0x7F, ..] => negative(bytes),
        [service, ..] => Err(FrameFault::UnknownService(*service)),
    }
}

/// One or several parameters, each with its data.
fn current(mut data: &[u8]) -> Result<Vec<Kind>, FrameFault> {
    let mut said = Vec::new();
    if data.is_empty() {
        return Err(FrameFault::length("an answer of service 01", "at least 3", 1));
    }
    while let Some((pid, rest)) = data.split_first() {
        let known = parameter::of_pid(*pid).ok_or(FrameFault::UnknownParameter(*pid))?;
        let length = usize::from(known.length);
        let Some((own, rest)) = rest.split_at_checked(length) else {
            return Err(FrameFault::length(format!("parameter {pid:02X}"), length, rest.len()));
        };
        match own {
            [a, b, c, d] if *pid == 0x01 => said.extend(status([*a, *b, *c, *d])),
            _ => said.extend(value(known, own)),
        }
        data = rest;
    }
    Ok(said)
}

/// The parameters of an answer that was decoded, without the service byte.
pub(super) fn pids(mut data: &[u8]) -> impl Iterator<Item = u8> {
    std::iter::from_fn(move || {
        let (pid, rest) = data.split_first()?;
        let known = parameter::of_pid(*pid)?;
        data = rest.get(usize::from(known.length)..)?;
        Some(*pid)
    })
}

fn value(known: &Parameter, data: &[u8]) -> Option<Kind> {
    let scaling = known.measures?;
    let raw = data.iter().fold(0_i64, |raw, byte| raw << 8 | i64::from(*byte));
    let value = Exact::new(raw * scaling.over + scaling.add * scaling.under, scaling.under)?;
    Some(Kind::Number {
        signal: scaling.signal.to_owned(),
        place: None,
        value,
        unit: scaling.unit.to_owned(),
    })
}

/// Monitors that run all the time, by bit of the second byte (incomplete: four bits higher).
const CONTINUOUS: [&str; 3] = ["misfire", "fuel_system", "comprehensive_components"];
/// Monitors of spark ignition, by bit of the third byte. Bit 4 meant the refrigerant in early editions.
const SPARK: [&str; 8] = [
    "catalyst",
    "heated_catalyst",
    "evaporative_system",
    "secondary_air",
    "gasoline_particulate_filter",
    "oxygen_sensor",
    "oxygen_sensor_heater",
    "egr_or_valve_timing",
];
/// Monitors of compression ignition, by bit of the third byte; two bits are reserved.
const COMPRESSION: [&str; 8] = [
    "nmhc_catalyst",
    "nox_aftertreatment",
    "",
    "boost_pressure",
    "",
    "exhaust_gas_sensor",
    "particulate_filter",
    "egr_or_valve_timing",
];

/// Parameter 01: lamp, number of stored codes, monitors.
pub fn status([a, b, c, d]: [u8; 4]) -> Vec<Kind> {
    let set = |byte: u8, bit: usize| byte >> bit & 1 == 1;
    let monitor =
        |name: &&str, incomplete: bool| Monitor { name: (*name).to_owned(), complete: !incomplete };
    let continuous = CONTINUOUS.iter().enumerate().filter(|(bit, _)| set(b, *bit));
    let of_trip = if set(b, 3) { &COMPRESSION } else { &SPARK };
    let of_trip = of_trip.iter().enumerate().filter(|(bit, name)| set(c, *bit) && !name.is_empty());
    let monitors = continuous
        .map(|(bit, name)| monitor(name, set(b, bit + 4)))
        .chain(of_trip.map(|(bit, name)| monitor(name, set(d, bit))))
        .collect();
    let lamp = if set(a, 7) { "on" } else { "off" };
    vec![
        Kind::State { signal: "malfunction_lamp".to_owned(), is: lamp.to_owned() },
        Kind::Number {
            signal: "stored_code_count".to_owned(),
            place: None,
            value: Exact::whole(i64::from(a & 0x7F)),
            unit: "1".to_owned(),
        },
        Kind::Monitors { monitors },
    ]
}

/// Whether all monitors have run since codes were cleared, those that wait for their conditions among them: a module
/// that has none of these is complete from the first moment on.
pub fn all_complete(monitors: &[Monitor]) -> bool {
    let waits = |monitor: &Monitor| !CONTINUOUS.contains(&monitor.name.as_str());
    monitors.iter().any(waits) && monitors.iter().all(|monitor| monitor.complete)
}

/// A list of codes: on CAN a count, then two bytes each (zeros may follow); before CAN three codes in seven bytes,
/// filled with zeros, as many such answers as it takes.
fn list(list: CodeList, bytes: &[u8]) -> Result<Vec<Kind>, FrameFault> {
    let what = "a list of codes";
    let pairs: Vec<[u8; 2]> = if bytes.len().is_multiple_of(2) {
        let [_, count, data @ ..] = bytes else {
            return Err(FrameFault::length(what, "at least 2", bytes.len()));
        };
        let needs = 2 * usize::from(*count);
        let Some((own, rest)) = data.split_at_checked(needs) else {
            return Err(FrameFault::length(what, format!("at least {}", 2 + needs), bytes.len()));
        };
        if rest.iter().any(|byte| *byte != 0) {
            return Err(FrameFault::NotPadding("the counted codes"));
        }
        own.as_chunks::<2>().0.to_vec()
    } else if bytes.len() == 7 {
        bytes[1..].as_chunks::<2>().0.to_vec()
    } else {
        return Err(FrameFault::length(what, "2 and 2 for each code, or 7", bytes.len()));
    };
    let code = |[high, low]: [u8; 2]| codes::two_bytes(high, low);
    let codes = pairs.into_iter().filter_map(code).map(|code| Code { code, status: None });
    Ok(vec![Kind::Codes { list, codes: codes.collect() }])
}

/// Service 09, information 02: the vehicle identification number, in one message (CAN) or in five of seven bytes.
fn vehicle(bytes: &[u8]) -> Result<Vec<Kind>, FrameFault> {
    match bytes {
        [_, 0x02, 0x01, number @ ..] if bytes.len() == 20 => Ok(vec![vin(number)?]),
        [_, 0x02, ..] if bytes.len() == 35 => {
            let (messages, _) = bytes.as_chunks::<7>();
            let ordered = (1_u8..).zip(messages).all(|(at, message)| message[..3] == [0x49, 2, at]);
            let all: Vec<u8> = messages.iter().flat_map(|message| message[3..].to_vec()).collect();
            match all.split_at_checked(3) {
                Some(([0, 0, 0], number)) if ordered => Ok(vec![vin(number)?]),
                _ => Err(FrameFault::NotAVin),
            }
        }
        [_, 0x02, ..] => Err(FrameFault::length("an answer with the VIN", "20 or 35", bytes.len())),
        [service, sub, ..] => Err(FrameFault::UnknownSubFunction(*service, *sub)),
        _ => Err(FrameFault::length("an answer of service 09", "20 or 35", bytes.len())),
    }
}
