//! What a schema cannot say of a request: words of the catalogue, forms of codes, things that fit together.

use std::collections::BTreeSet;

use contract::orders::{NewLine, NewOrder};
use contract::problem::FieldFault;
use derivation::index::Compiled;
use domain::operation::Operation;

/// Every fault of an order's contents.
pub(crate) fn order(compiled: &Compiled, new: &NewOrder) -> Vec<FieldFault> {
    let mut faults = Vec::new();
    let mut numbers = BTreeSet::new();
    for (at, line) in new.lines.iter().enumerate() {
        if !numbers.insert(line.line) {
            faults.push(fault(
                &format!("/lines/{at}/line"),
                format!("line {} stands twice", line.line),
            ));
        }
        faults.extend(self::line(compiled, line, &format!("/lines/{at}")));
    }
    for (at, code) in new.trouble_codes.iter().enumerate() {
        faults.extend(trouble_code(code, &format!("/trouble_codes/{at}")));
    }
    faults
}

/// Every fault of a line.
pub(crate) fn line(compiled: &Compiled, line: &NewLine, at: &str) -> Vec<FieldFault> {
    let mut faults = Vec::new();
    for (index, stated) in line.operations.iter().enumerate() {
        let at = format!("{at}/operations/{index}");
        faults.extend(operation(compiled, &stated.operation(), &at));
    }
    let vocabulary = &compiled.catalogue().vocabulary;
    for (index, word) in line.bay.iter().flatten().enumerate() {
        if !vocabulary.bay_capabilities.iter().any(|known| known.id == *word) {
            faults.push(fault(
                &format!("{at}/bay/{index}"),
                format!("`{word}` is no capability of a bay"),
            ));
        }
    }
    for (index, word) in line.skills.iter().flatten().enumerate() {
        if !vocabulary.skills.iter().any(|known| known.id == *word) {
            faults.push(fault(&format!("{at}/skills/{index}"), format!("`{word}` is no skill")));
        }
    }
    if line.operations.is_empty() && line.text.trim().is_empty() && line.labour_code.is_none() {
        faults.push(fault(at, "a line has operations, text or a labour code".to_owned()));
    }
    faults
}

/// Every fault of an operation.
pub(crate) fn operation(compiled: &Compiled, operation: &Operation, at: &str) -> Vec<FieldFault> {
    let vocabulary = &compiled.catalogue().vocabulary;
    let mut faults = Vec::new();
    if !vocabulary.actions.iter().any(|known| known.id == operation.action) {
        faults.push(fault(
            &format!("{at}/action"),
            format!("`{}` is no action of the catalogue", operation.action),
        ));
    }
    if !vocabulary.components.iter().any(|known| known.id == operation.component) {
        let detail = format!("`{}` is no component of the catalogue", operation.component);
        faults.push(fault(&format!("{at}/component"), detail));
    }
    if let Some(place) = &operation.place
        && !vocabulary.places.iter().any(|known| known.id == *place)
    {
        faults
            .push(fault(&format!("{at}/place"), format!("`{place}` is no place of the catalogue")));
    }
    faults
}

/// The form of SAE J2012: a letter of P, C, B, U, a digit of 0 to 3, three hex digits, perhaps a failure type of two.
pub(crate) fn trouble_code(code: &str, at: &str) -> Option<FieldFault> {
    let bytes = code.as_bytes();
    let (head, tail) = bytes.split_at(bytes.len().min(5));
    let good_head = head.len() == 5
        && matches!(head[0], b'P' | b'C' | b'B' | b'U')
        && matches!(head[1], b'0'..=b'3')
        && head[2..].iter().all(|b| b.is_ascii_digit() || (b'A'..=b'F').contains(b));
    let good_tail = match tail {
        [] => true,
        [b'-', rest @ ..] => rest.len() == 2 && rest.iter().all(u8::is_ascii_hexdigit),
        _ => false,
    };
    (!(good_head && good_tail)).then(|| {
        fault(
            at,
            format!("`{code}` is no trouble code of the form of SAE J2012, for example P0507"),
        )
    })
}

/// A fault at a place.
pub(crate) fn fault(pointer: &str, detail: impl Into<String>) -> FieldFault {
    FieldFault { pointer: pointer.to_owned(), detail: detail.into() }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Form of SAE J2012.
    #[test]
    fn trouble_codes_have_their_form() {
        for good in ["P0507", "C0035", "U0158", "B1234", "P3FFF", "C0035-11"] {
            assert!(trouble_code(good, "").is_none(), "{good}");
        }
        for bad in ["", "P050", "p0507", "P4000", "X0123", "P05G7", "P0507-1", "P05077"] {
            assert!(trouble_code(bad, "").is_some(), "{bad}");
        }
    }
}
