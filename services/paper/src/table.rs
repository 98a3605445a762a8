//! Tables as CSV (RFC 4180) that a spreadsheet can't mistake for formulas.

use std::borrow::Cow;

use csv::{Terminator, WriterBuilder};

/// Rows as CSV, UTF-8, lines ended by CR LF. A cell that a spreadsheet would take for a formula
/// gets an apostrophe before it; plain numbers, negative ones too, stay as they are.
///
/// To write a long table in parts, pass the headings with the first part only.
pub fn csv<R, C>(headings: &[&str], rows: R) -> Vec<u8>
where
    R: IntoIterator<Item = C>,
    C: IntoIterator<Item: AsRef<str>>,
{
    let mut writer =
        WriterBuilder::new().terminator(Terminator::CRLF).flexible(true).from_writer(Vec::new());
    let in_memory = "writing to memory does not fail";
    if !headings.is_empty() {
        writer.write_record(headings).expect(in_memory);
    }
    for row in rows {
        for cell in row {
            writer.write_field(harmless(cell.as_ref()).as_bytes()).expect(in_memory);
        }
        writer.write_record(None::<&[u8]>).expect(in_memory);
    }
    writer.into_inner().expect(in_memory)
}

fn harmless(cell: &str) -> Cow<'_, str> {
    let begins = cell.trim_start_matches([' ', '\u{a0}', '\u{3000}', '\u{feff}']).starts_with([
        '=', '+', '-', '@', '\t', '\r', '\n', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}',
    ]);
    if begins && !is_number(cell) { Cow::Owned(format!("'{cell}")) } else { Cow::Borrowed(cell) }
}

/// Digits with at most one sign before and one point among them.
fn is_number(cell: &str) -> bool {
    let digits = cell.strip_prefix(['-', '+']).unwrap_or(cell);
    digits.starts_with(|c: char| c.is_ascii_digit())
        && digits.matches('.').count() <= 1
        && digits.chars().all(|c| c.is_ascii_digit() || c == '.')
}
