//! Answers of ISO 14229-1.

use super::{FrameFault, codes, negative, vin};
use crate::sample::{Code, CodeList, Kind, RoutineAnswer};

/// Data identifier of the vehicle identification number.
const VIN_IDENTIFIER: u16 = 0xF190;

/// What an answer says.
///
/// # Errors
/// Says why the bytes cannot be evidence.
pub fn decode(bytes: &[u8]) -> Result<Vec<Kind>, FrameFault> {
    match bytes {
        [] => Err(FrameFault::Empty),
        [0x50, ..] => session(bytes),
        [0x54] => Ok(vec![Kind::CodesCleared]),
        [0x54, ..] => Err(FrameFault::length("an answer to clearing codes", 1, bytes.len())),
        [0x59, ..] => codes_with_status(bytes),
        [0x62, ..] => data(bytes),
        [0x71, ..] => routine(bytes),
        [0x7F, ..] => negative(bytes),
        // Positive answers that prove nothing by themselves: reset, security, writing, output control, presence.
        [0x51 | 0x67 | 0x6E | 0x6F | 0x7E, _, ..] => Ok(Vec::new()),
        [service @ (0x51 | 0x67 | 0x6E | 0x6F | 0x7E)] => {
            let what = format!("an answer {service:02X}");
            Err(FrameFault::length(what, "at least 2", 1))
        }
        [service, ..] => Err(FrameFault::UnknownService(*service)),
    }
}

/// `50`, session, and (since the 2006 edition) two timings.
fn session(bytes: &[u8]) -> Result<Vec<Kind>, FrameFault> {
    let word = match bytes {
        [_, session] | [_, session, _, _, _, _] => match session {
            1 => Some("default"),
            2 => Some("programming"),
            3 => Some("extended"),
            4 => Some("safety_system"),
            _ => None,
        },
        _ => return Err(FrameFault::length("an answer to session control", "2 or 6", bytes.len())),
    };
    let state = word
        .map(|word| Kind::State { signal: "diagnostic_session".to_owned(), is: word.to_owned() });
    Ok(state.into_iter().collect())
}

/// `59 02` or (whatever its status) `59 0A`, mask, then three bytes of code and one of status each.
fn codes_with_status(bytes: &[u8]) -> Result<Vec<Kind>, FrameFault> {
    let what = "a list of codes with status";
    match bytes {
        [_, 0x02 | 0x0A, _mask, list @ ..] => {
            let (entries, rest) = list.as_chunks::<4>();
            if !rest.is_empty() {
                return Err(FrameFault::length(what, "3 and 4 for each code", bytes.len()));
            }
            let code = |[high, low, failure, status]: &[u8; 4]| -> Option<Code> {
                codes::with_status(*high, *low, *failure, *status)
            };
            let codes = entries.iter().filter_map(code).collect();
            Ok(vec![Kind::Codes { list: CodeList::WithStatus, codes }])
        }
        [_, 0x02 | 0x0A] | [_] => Err(FrameFault::length(what, "at least 3", bytes.len())),
        [service, sub, ..] => Err(FrameFault::UnknownSubFunction(*service, *sub)),
        [] => Err(FrameFault::Empty),
    }
}

/// `62`, identifier, data.
fn data(bytes: &[u8]) -> Result<Vec<Kind>, FrameFault> {
    let [_, high, low, data @ ..] = bytes else {
        return Err(FrameFault::length("an answer with data", "at least 4", bytes.len()));
    };
    let identifier = u16::from_be_bytes([*high, *low]);
    if identifier != VIN_IDENTIFIER {
        return Err(FrameFault::UnknownIdentifier(identifier));
    }
    if data.len() != 17 {
        return Err(FrameFault::length("an answer with the VIN", 20, bytes.len()));
    }
    Ok(vec![vin(data)?])
}

/// `71`, sub-function, identifier, status record. The record is the maker's: kept as it is.
fn routine(bytes: &[u8]) -> Result<Vec<Kind>, FrameFault> {
    let [service, sub, high, low, status @ ..] = bytes else {
        return Err(FrameFault::length("an answer of a routine", "at least 4", bytes.len()));
    };
    let answer = match sub {
        1 => RoutineAnswer::Started,
        2 => RoutineAnswer::Stopped,
        3 => RoutineAnswer::Results,
        _ => return Err(FrameFault::UnknownSubFunction(*service, *sub)),
    };
    Ok(vec![Kind::Routine {
        identifier: format!("{high:02X}{low:02X}"),
        sub: answer,
        status: hex(status),
    }])
}

fn hex(bytes: &[u8]) -> String {
    let digit = |half: u8| char::from_digit(half.into(), 16).unwrap_or('0').to_ascii_uppercase();
    bytes.iter().flat_map(|byte| [digit(byte >> 4), digit(byte & 0x0F)]).collect()
}
