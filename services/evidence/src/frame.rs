//! Raw bytes of a diagnostic answer, decoded into what they say; what cannot be decoded is refused, never guessed.
//!
//! SAE J1979 / ISO 15031-5 and ISO 14229-1 are sold and were not opened: scalings and codes are common knowledge
//! and agree with public decoders (see the crate's tests). An answer has exactly the length that it must have: a
//! short one is not padded, a long one is not cut.

pub mod codes;
pub mod isotp;
pub mod obd;
pub mod parameter;
pub mod uds;

use crate::sample::Kind;

/// Longest answer that is read: what ISO 15765-2 can carry in one message.
pub const MOST_BYTES: usize = 4_095;

/// How the bytes of an item are to be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Protocol {
    /// One answer of a service of SAE J1979, beginning with the service byte.
    Obd,
    /// One answer of a service of ISO 14229-1, beginning with the service byte.
    Uds,
    /// Data fields of CAN frames that carry one answer of either by ISO 15765-2, eight bytes each, in order; the
    /// last may be shorter.
    IsoTpCan,
}

impl Protocol {
    /// The protocol of this word.
    pub fn of_word(word: &str) -> Option<Self> {
        match word {
            "obd" => Some(Self::Obd),
            "uds" => Some(Self::Uds),
            "iso_tp_can" => Some(Self::IsoTpCan),
            _ => None,
        }
    }

    /// The word used in documents.
    pub fn word(self) -> &'static str {
        match self {
            Self::Obd => "obd",
            Self::Uds => "uds",
            Self::IsoTpCan => "iso_tp_can",
        }
    }
}

/// Why bytes are refused as evidence.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FrameFault {
    /// No bytes.
    #[error("the answer is empty")]
    Empty,
    /// More bytes than one message can carry.
    #[error("the answer has more than {MOST_BYTES} bytes")]
    TooLong,
    /// Another number of bytes than the answer must have.
    #[error("{what} has {has} bytes, needs {needs}")]
    WrongLength {
        /// What was read.
        what: String,
        /// How many bytes it must have, in words.
        needs: String,
        /// How many it has.
        has: usize,
    },
    /// The first byte is not an answer that proves anything here.
    #[error("{0:02X} does not begin an answer of this protocol")]
    UnknownService(u8),
    /// The sub-function or list is not one that is read.
    #[error("sub-function {1:02X} of service {0:02X} is not read")]
    UnknownSubFunction(u8, u8),
    /// The parameter is not known, so neither is its length.
    #[error("parameter {0:02X} of service 01 is not known")]
    UnknownParameter(u8),
    /// The data identifier is not one that is read.
    #[error("data identifier {0:04X} is not read")]
    UnknownIdentifier(u16),
    /// Bytes after the content are not padding.
    #[error("what follows {0} is not padding")]
    NotPadding(&'static str),
    /// The bytes are not a vehicle identification number.
    #[error("the answer does not hold 17 characters of a vehicle identification number")]
    NotAVin,
    /// A CAN frame is out of order, missing or of the wrong kind.
    #[error("CAN frame {at}: {why}")]
    Transport {
        /// Which frame, from 0.
        at: usize,
        /// What is wrong.
        why: &'static str,
    },
}

impl FrameFault {
    fn length(what: impl Into<String>, needs: impl std::fmt::Display, has: usize) -> Self {
        Self::WrongLength { what: what.into(), needs: format!("{needs}"), has }
    }
}

/// What an answer says. An answer that is well formed but says nothing that could be judged (a positive answer to
/// a reset, a list of supported parameters) gives an empty list.
///
/// # Errors
/// Says why the bytes cannot be evidence.
pub fn decode(protocol: Protocol, bytes: &[u8]) -> Result<Vec<Kind>, FrameFault> {
    match protocol {
        Protocol::Obd => whole(bytes).and_then(obd::decode),
        Protocol::Uds => whole(bytes).and_then(uds::decode),
        Protocol::IsoTpCan => {
            let frames: Vec<&[u8]> = bytes.chunks(8).collect();
            answer(&isotp::join(&frames)?)
        }
    }
}

/// What an answer says whose protocol its first byte tells.
///
/// # Errors
/// Says why the bytes cannot be evidence.
pub fn answer(bytes: &[u8]) -> Result<Vec<Kind>, FrameFault> {
    match whole(bytes)?.first() {
        Some(0x40..=0x4A) => obd::decode(bytes),
        _ => uds::decode(bytes),
    }
}

/// What an answer is of which nothing is used: one that [`decode`] reads and that says nothing.
pub fn unused(protocol: Protocol, bytes: &[u8]) -> String {
    let joined = match protocol {
        Protocol::IsoTpCan => isotp::join(&bytes.chunks(8).collect::<Vec<_>>()).unwrap_or_default(),
        Protocol::Obd | Protocol::Uds => bytes.to_vec(),
    };
    let what = match joined.as_slice() {
        [0x41, data @ ..] => {
            let pids: Vec<String> = obd::pids(data).map(|pid| format!("{pid:02X}")).collect();
            format!("current powertrain data (01), parameter {}", pids.join(", "))
        }
        [first, ..] => {
            let service = first.wrapping_sub(POSITIVE);
            let name = crate::refusal::service_name(service).unwrap_or("a service");
            format!("{name} ({service:02X})")
        }
        [] => "nothing".to_owned(),
    };
    format!("a positive answer to {what}: kept, and nothing of it is used")
}

/// How much more the first byte of a positive answer is than the service.
const POSITIVE: u8 = 0x40;

fn whole(bytes: &[u8]) -> Result<&[u8], FrameFault> {
    if bytes.len() > MOST_BYTES { Err(FrameFault::TooLong) } else { Ok(bytes) }
}

/// `7F`, service, code: exactly three bytes.
fn negative(bytes: &[u8]) -> Result<Vec<Kind>, FrameFault> {
    match bytes {
        [0x7F, service, nrc] => Ok(vec![Kind::Refused { service: *service, nrc: *nrc }]),
        _ => Err(FrameFault::length("a negative response", 3, bytes.len())),
    }
}

/// Seventeen characters without I, O and Q.
fn vin(bytes: &[u8]) -> Result<Kind, FrameFault> {
    let fits = |byte: &u8| {
        (byte.is_ascii_digit() || byte.is_ascii_uppercase()) && !matches!(byte, b'I' | b'O' | b'Q')
    };
    match str::from_utf8(bytes) {
        Ok(text) if bytes.len() == 17 && bytes.iter().all(fits) => {
            Ok(Kind::Vin { vin: text.to_owned() })
        }
        _ => Err(FrameFault::NotAVin),
    }
}
