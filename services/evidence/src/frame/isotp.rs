//! One message from the CAN frames that carry it (ISO 15765-2, normal addressing).

use super::{FrameFault, MOST_BYTES};

/// The message that these data fields of up to eight bytes carry, one message only.
///
/// # Errors
/// A frame that is missing, out of order, too short or of another kind refuses the whole message.
pub fn join(frames: &[&[u8]]) -> Result<Vec<u8>, FrameFault> {
    let fault = |at, why| Err(FrameFault::Transport { at, why });
    let Some((first, rest)) = frames.split_first() else {
        return Err(FrameFault::Empty);
    };
    if let Some(at) = frames.iter().position(|frame| frame.len() > 8) {
        return fault(at, "a data field has at most 8 bytes");
    }
    match first {
        [] => fault(0, "it is empty"),
        [head @ 0x00..=0x0F, data @ ..] => {
            let length = usize::from(*head);
            if length == 0 || length > 7 {
                return fault(0, "a single frame carries 1 to 7 bytes");
            }
            if !rest.is_empty() {
                return fault(1, "nothing follows a single frame");
            }
            match data.get(..length) {
                Some(message) => Ok(message.to_vec()),
                None => fault(0, "it is shorter than it says"),
            }
        }
        [high @ 0x10..=0x1F, low, data @ ..] => {
            let length = usize::from(high & 0x0F) << 8 | usize::from(*low);
            if length < 8 {
                return fault(0, "a first frame announces at least 8 bytes");
            }
            if data.len() != 6 {
                return fault(0, "a first frame has 8 bytes");
            }
            follow(length, data, rest)
        }
        _ => fault(0, "the message begins with a single or first frame"),
    }
}

fn follow(length: usize, begin: &[u8], frames: &[&[u8]]) -> Result<Vec<u8>, FrameFault> {
    let mut message = Vec::with_capacity(length.min(MOST_BYTES));
    message.extend_from_slice(begin);
    let mut expected = 1_u8;
    for (index, frame) in frames.iter().enumerate() {
        let at = index + 1;
        let fault = |why| Err(FrameFault::Transport { at, why });
        let missing = length - message.len();
        if missing == 0 {
            return fault("the message was complete before");
        }
        let Some((head, data)) = frame.split_first() else {
            return fault("it is empty");
        };
        if head >> 4 != 2 {
            return fault("a consecutive frame is expected");
        }
        if head & 0x0F != expected {
            return fault("it is out of sequence");
        }
        let takes = missing.min(7);
        let Some(part) = data.get(..takes) else {
            return fault("it is shorter than the message needs");
        };
        message.extend_from_slice(part);
        expected = (expected + 1) & 0x0F;
    }
    if message.len() < length {
        return Err(FrameFault::length("the message", length, message.len()));
    }
    Ok(message)
}
