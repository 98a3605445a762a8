//! Tables for spreadsheets.

use paper::table::csv;
use proptest::prelude::*;

fn text(rows: &[&[&str]]) -> String {
    String::from_utf8(csv(&["order", "note"], rows.iter().copied().map(<[&str]>::to_vec))).unwrap()
}

#[test]
fn cells_are_quoted_as_rfc_4180_wants() {
    // RFC 4180 section 2, rules 5 to 7: its own example rows.
    assert_eq!(
        text(&[&["aaa", "b \r\nbb"], &["aaa", "b\"bb"], &["zzz", "y,y"]]),
        "order,note\r\naaa,\"b \r\nbb\"\r\naaa,\"b\"\"bb\"\r\nzzz,\"y,y\"\r\n"
    );
}

#[test]
fn no_cell_is_a_formula() {
    for formula in ["=1+1", "+cmd|' /C calc'!A0", "-2+3", "@SUM(A1)", "\t=1", " =1", "\u{ff1d}1"] {
        let written = text(&[&["RO-1", formula]]);
        assert!(written.contains(&format!("'{formula}")), "{written}");
    }
    for number in ["-40", "+3", "-12.5", "RO-1", "68"] {
        assert!(!text(&[&["RO-1", number]]).contains('\''), "{number}");
    }
}

#[test]
fn a_long_table_is_written_in_parts() {
    let parts = [csv(&["a"], [["1"]]), csv(&[], [["2"]])].concat();
    assert_eq!(parts, b"a\r\n1\r\n2\r\n");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn no_cell_begins_as_a_formula(cell: String) {
        let written = csv(&[], [[cell.as_str(), "x"]]);
        let written = String::from_utf8(written).unwrap();
        let begin = written.trim_start_matches('"').chars().next();
        let number = cell.parse::<f64>().is_ok();
        prop_assert!(number || !begin.is_some_and(|c| "=+-@\t\r".contains(c)), "{}", written);
    }
}
