//! Any bytes as data fields of CAN frames: joined or refused; what is joined has the length that it announced.

#![no_main]

use evidence::frame::{Protocol, decode, isotp};

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let frames: Vec<&[u8]> = bytes.chunks(8).collect();
    if let Ok(message) = isotp::join(&frames) {
        let announced = match bytes[0] >> 4 {
            0 => usize::from(bytes[0]),
            _ => usize::from(bytes[0] & 0x0F) << 8 | usize::from(bytes[1]),
        };
        assert_eq!(message.len(), announced);
    }
    let _ = decode(Protocol::IsoTpCan, bytes);
});
