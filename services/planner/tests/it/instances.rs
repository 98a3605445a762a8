//! Instance files: what is wrong with one is said, and nothing is planned from it.

use planner::outcome::Options;
use planner::yardstick::solve_text;

fn solve(text: &str) -> Result<String, String> {
    let options = Options { iterations: Some(50), ..Options::default() };
    solve_text(text, &options, &|| 0.0).map_err(|error| error.to_string())
}

/// A shop day of one task, with some of its words replaced.
fn day(changes: &[(&str, &str)]) -> String {
    let mut text = r#"{"format":"shop-instance/1","name":"one","time_unit":"minute","now":0,"horizon":1000,
 "move":{"same_zone":5,"other_zone":35,"cost":5},
 "bays":[{"id":"B1","zone":"Z1","capabilities":["lift"],"closed":[]}],
 "technicians":[{"id":"T1","zones":["Z1"],"skills":["diagnosis"],"shifts":[[0,480]]}],
 "equipment":[{"kind":"scan_tool","zone":"Z1","capacity":1}],
 "orders":[{"id":"R1","kind":"relearn","zones":["Z1"],"release":0,"due":60,"weight":1,"tasks":[
  {"id":"R1.scan","minutes":15,"bay":[],"skills":["diagnosis"],"equipment":{"scan_tool":1},"after":[]},
  {"id":"R1.drive","minutes":30,"bay":null,"skills":[],"equipment":{},"after":[{"task":"R1.scan","wait":5}]}]}]}"#
        .to_owned();
    for (from, to) in changes {
        assert!(text.contains(from), "{from} is not in it");
        text = text.replacen(from, to, 1);
    }
    text
}

#[test]
fn a_shop_day_gives_a_plan_and_nothing_else() {
    let plan = solve(&day(&[])).expect("a plan");
    assert!(
        plan.starts_with('{')
            && plan.contains(r#""R1.drive":{"bay":null,"start":20,"technician":"T1"}"#),
        "{plan}"
    );
    assert!(!plan.contains("unplanned"));
}

#[test]
fn what_a_shop_day_can_not_do_stands_there_with_its_reason_and_the_rest_is_planned() {
    let plan = solve(&day(&[(r#""capacity":1"#, r#""capacity":0"#)])).expect("a plan");
    assert!(plan.contains("1 of scan_tool needed, fewer are there"), "{plan}");
    let plan = solve(&day(&[("[[0,480]]", "[[0,0]]")])).expect("a plan");
    assert!(plan.contains("nobody with the skill diagnosis is there long enough for it"), "{plan}");
}

#[test]
fn what_is_wrong_with_a_file_is_said() {
    let refused = |changes: &[(&str, &str)], words: &str| {
        let error = solve(&day(changes)).expect_err(words);
        assert!(error.contains(words), "{error}");
    };
    refused(&[("shop-instance/1", "shop-instance/2")], "format `shop-instance/2`");
    refused(&[(r#""zone":"Z1","capabilities""#, r#""capabilities""#)], "missing field `zone`");
    refused(&[(r#""task":"R1.scan""#, r#""task":"R2.scan""#)], "task `R2.scan` is not there");
    refused(&[(r#""id":"R1.drive""#, r#""id":"R1.scan""#)], "two tasks `R1.scan`");
    refused(&[("[[0,480]]", "[[480,0]]")], "a window from 480 ends before it begins, at 0");
    let again = r#"},{"id":"T1","zones":[],"skills":[],"shifts":[]}],
 "equipment""#;
    refused(&[("}],\n \"equipment\"", again)], "technician `T1` twice");
    refused(&[(r#""minutes":15"#, r#""minutes":-15"#)], "minutes -15 is not between");
    refused(
        &[(r#""release":0"#, r#""release":9000000000000000000"#)],
        "release 9000000000000000000 is not between",
    );
    refused(&[(r#""weight":1"#, r#""weight":-1"#)], "weight -1 is not between");
    for (text, words) in [
        ("", "the first line needs the numbers of jobs and machines"),
        ("{", "not a shop day"),
        ("3 2\n0 1 1 2\n", "3 jobs announced, 1 there"),
        ("1 2\n1 1 7 3\n", "not a job shop"),
        ("1 99999999999\n", "not a job shop"),
        ("1 1\n1 0\n", "not a job shop"),
        ("a b\n", "`a` is no number"),
    ] {
        let error = solve(text).expect_err(words);
        assert!(error.contains(words), "{error}");
    }
}
