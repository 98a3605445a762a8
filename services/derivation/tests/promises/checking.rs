//! What the check of a catalogue promises: each fault by name, at its place, all at once.

use derivation::check::{Report, check};
use derivation::document::{Fault, Limits, read};

use crate::shop::CATALOGUE;

fn report(text: &str) -> Report {
    let document = read(text.as_bytes(), Limits::default()).expect("reads");
    check(&document.catalogue, &document.positions)
}

fn changed(from: &str, to: &str) -> String {
    assert!(CATALOGUE.contains(from), "the catalogue has no `{from}`");
    CATALOGUE.replacen(from, to, 1)
}

/// The change leads to one fault of this sort, in a line that holds these words.
fn refuses(from: &str, to: &str, code: &str, words: &str) {
    let text = changed(from, to);
    let faults = report(&text).faults;
    let [fault] = &faults[..] else { panic!("one fault wanted, got {faults:#?}") };
    assert_eq!(fault.code, code, "{fault}");
    let line = text.lines().nth(usize::try_from(fault.line).expect("small") - 1).expect("there");
    assert!(line.contains(words), "{fault} points at `{line}`");
}

fn codes(faults: &[Fault]) -> Vec<&str> {
    faults.iter().map(|fault| fault.code).collect()
}

#[test]
fn a_sound_catalogue_has_no_faults_and_nothing_to_note() {
    assert_eq!(report(CATALOGUE), Report::default());
}

#[test]
fn unknown_names_are_refused_where_they_stand() {
    let unknown = "unknown_name";
    refuses("after: [ steering_angle_zero ]", "after: [ steering_zero ]", unknown, "steering_zero");
    refuses("needs: [ parking_brake_open ]", "needs: [ brake_open ]", unknown, "brake_open");
    refuses("{ lacks: one_touch }", "{ lacks: touch }", unknown, "touch");
    refuses("one_of: [ dynamic ]", "one_of: [ dynamic, moving ]", unknown, "moving");
    refuses("where: { bay: [ lift ] }", "where: { bay: [ crane ] }", unknown, "crane");
    refuses("statement: calipers_bolted", "statement: calipers_on", unknown, "calipers_on");
    refuses("signal: parking_brake", "signal: handbrake", unknown, "handbrake");
    refuses("complaints: [ rough_idle ]", "complaints: [ rough ]", unknown, "rough");
    refuses("action: zero, component", "action: nought, component", unknown, "nought");
    refuses("parent: brake_system", "parent: brakes_all", unknown, "brakes_all");
    refuses("trouble_codes: [ P050x ]", "trouble_codes: [ Q050x ]", "trouble_code", "Q050x");
    refuses("has: one_touch", "has: camera_calibration", "wrong_fact", "camera_calib");
}

#[test]
fn a_source_is_never_missing() {
    let (from, because) = ("because: A charge must not fire.\n    source: practice", "source:");
    let to = "because: A charge must not fire.\n    source: \"\"";
    refuses(from, to, "missing_source", because);
    refuses(from, &from.replace("practice", "hearsay"), "unknown_source", "hearsay");
}

#[test]
fn what_stands_twice_is_refused() {
    refuses("id: throttle_is_new", "id: motor_is_new", "duplicate", "motor_is_new");
    refuses(
        "{ id: battery, title",
        "{ id: windshield, title: Again }\n    - { id: battery, title",
        "duplicate",
        "Windshield",
    );
}

#[test]
fn a_circle_is_told_as_its_path() {
    let text = changed(
        "phase: after\n    needs: [ parking_brake_open ]",
        "phase: after\n    after: [ parking_brake_test ]\n    needs: [ parking_brake_open ]",
    );
    let faults = report(&text).faults;
    assert_eq!(codes(&faults), ["cycle"]);
    assert!(
        faults[0]
            .detail
            .ends_with("parking_brake_close -> parking_brake_test -> parking_brake_close"),
        "{}",
        faults[0]
    );
    refuses(
        "{ id: brake_system, title",
        "{ id: brake_system, parent: rear_brake_pads, title",
        "cycle",
        "rear_brake_pads",
    );
}

#[test]
fn a_preparation_never_needs_what_is_done_after_the_work() {
    refuses(
        "phase: before\n    emits",
        "phase: before\n    needs: [ throttle_relearn ]\n    emits",
        "before_needs_after",
        "throttle_relearn",
    );
}

#[test]
fn what_people_read_is_never_empty() {
    let version = CATALOGUE.lines().find(|line| line.starts_with("version:")).expect("it has one");
    refuses(version, "version: \"\"", "empty_name", "version");
    let title = CATALOGUE.lines().find(|line| line.starts_with("    title:")).expect("a procedure");
    refuses(title, "    title: \" \"", "empty_name", "title");
}

#[test]
fn a_mode_that_is_entered_is_left_by_what_leaves_it() {
    refuses("    closes: calipers_open\n", "", "bracket_without_leaving", "left_by");
    let text = changed("closes: calipers_open", "closes: calipers_shut");
    assert_eq!(codes(&report(&text).faults), ["bracket_without_leaving", "unknown_name"]);
}

#[test]
fn a_proof_never_names_a_later_task() {
    refuses(
        "text: The tool says closed, condition: { routine: {} }",
        "text: \"Open and close three times went well\", condition: { routine: {} }",
        "proof_names_later",
        "three times",
    );
}

#[test]
fn limits_fit_their_signals_and_leave_something_possible() {
    let proof = "id: closed, text: The tool says closed, condition: { routine: {} }";
    let with =
        |condition: &str| format!("id: closed, text: The tool says closed, condition: {condition}");
    let range = |inner: &str| with(&format!("{{ range: {{ {inner} }} }}"));
    let coolant = "signal: engine_coolant_temperature";
    refuses(proof, &range(&format!("{coolant}, at_least: 90, unit: V")), "unit", "unit: V");
    refuses(proof, &range(&format!("{coolant}, at_least: 90, unit: Celsius")), "unit", "Celsius");
    refuses(proof, &range(&format!("{coolant}, unit: Cel")), "empty_range", "coolant");
    refuses(
        proof,
        &range(&format!("{coolant}, at_least: 90, at_most: 80, unit: Cel")),
        "empty_range",
        "coolant",
    );
    refuses(proof, &range("signal: ignition, at_least: 1, unit: V"), "unit", "ignition");
    refuses(proof, &with("{ state: { signal: ignition, is: glowing } }"), "unit", "glowing");
    let twice = format!(
        "{{ all: [ {{ range: {{ {coolant}, at_least: 93, unit: Cel }} }}, {{ range: {{ {coolant}, at_most: 199, unit: \"[degF]\" }} }} ] }}"
    );
    refuses(proof, &with(&twice), "empty_range", "coolant");
    refuses("least: 10, likely: 20", "least: 30, likely: 20", "empty_range", "least: 30");
}

#[test]
fn another_figure_stands_in_for_one_limit_within_a_rule_that_the_catalogue_keeps_itself() {
    let proof = "id: closed, text: The tool says closed, condition: { routine: {} }";
    let with = |condition: &str, rule: &str| {
        format!(
            "id: closed, text: The tool says closed, condition: {condition}, may_differ: {rule}"
        )
    };
    let warm =
        "{ range: { signal: engine_coolant_temperature, at_least: 90, at_most: 100, unit: Cel } }";
    refuses(proof, &with(warm, "{ at_least: 92, people: 2 }"), "may_differ", "at_least: 92");
    refuses(proof, &with(warm, "{ people: 2 }"), "may_differ", "{ people: 2 }");
    refuses(proof, &with(warm, "{ at_least: 80, people: 3 }"), "people", "people: 3");
    refuses(proof, &with("{ routine: {} }", "{ at_least: 80 }"), "may_differ", "{ at_least: 80 }");
    let two = format!("{{ all: [{warm}, {{ elapsed: {{ since: engine_off, at_least: 60 }} }}] }}");
    refuses(proof, &with(&two, "{ at_least: 10 }"), "may_differ", "{ at_least: 10 }");
}

#[test]
fn an_engine_never_runs_indoors_without_an_extraction() {
    let from = "text: It passed, condition: { routine: {} }, source: practice } ]\n    where: { bay: [] }\n    minutes: { least: 1, likely: 2, most: 5 }\n    source: practice\n  - id: window_initialise";
    let running = from.replacen("{ routine: {} }", "{ state: { signal: engine, is: running } }", 1);
    let text = changed(from, &running);
    let faults = report(&text).faults;
    assert_eq!(codes(&faults), ["engine_without_extraction"; 2], "{faults:#?}");
    let outdoors = changed(
        "{ id: lift, title: Lift }",
        "{ id: lift, title: Lift }\n    - { id: outdoors, title: Outdoors }",
    )
    .replacen(from, &running.replacen("bay: []", "bay: [ outdoors ]", 1), 1);
    assert_eq!(report(&outdoors).faults, []);
}

#[test]
fn what_requires_a_procedure_undoes_it_or_the_entry_says_why_not() {
    let from = "disturbed_by: [ { component: wheel_alignment }, { component: battery } ]";
    refuses(
        from,
        "disturbed_by: [ { component: battery } ]",
        "trigger_without_effect",
        "wheel_alignment",
    );
    let survives = "disturbed_by: [ { component: battery } ]\n    survives: [ { operation: { component: wheel_alignment }, because: For tests., source: practice } ]";
    assert_eq!(report(&changed(from, survives)).faults, []);
}

#[test]
fn a_rule_that_can_never_fire_is_refused() {
    let from = "require: [ throttle_relearn ]";
    let unreachable = "unreachable";
    refuses(
        from,
        &format!("on: {{ all: [ {{ has: one_touch }}, {{ lacks: one_touch }} ] }}\n    {from}"),
        unreachable,
        "one_touch",
    );
    refuses(
        "when: { operations: [ { component: restraint_system } ] }",
        "when: {}",
        unreachable,
        "when",
    );
    refuses(
        "require: [ window_initialise, window_by_hand ]\n    because: A new",
        "on: { has: one_touch }\n    require: [ window_initialise, window_by_hand ]\n    because: A new",
        unreachable,
        "window_by_hand",
    );
}

#[test]
fn too_many_facts_that_decide_in_both_ways_are_refused() {
    let letters: Vec<char> = ('a'..='i').collect();
    let features: Vec<String> = letters
        .iter()
        .map(|f| format!("    - {{ id: {f}, title: {f}, question: {f}? }}\n"))
        .collect();
    let features = features.concat();
    let ways: Vec<String> = letters
        .iter()
        .zip(letters.iter().cycle().skip(1))
        .map(|(one, other)| format!("{{ all: [ {{ has: {one} }}, {{ lacks: {other} }} ] }}"))
        .collect();
    let text = changed("  features:\n", &format!("  features:\n{features}")).replacen(
        "require: [ restraint_power_down ]",
        &format!("on: {{ any: [ {} ] }}\n    require: [ restraint_power_down ]", ways.join(", ")),
        1,
    );
    let faults = report(&text).faults;
    assert!(faults.iter().all(|fault| fault.code == "too_many_cases"), "{faults:#?}");
    assert_eq!(faults.len(), 4, "and what the battery forgets: {faults:#?}");
}

#[test]
fn what_nothing_would_miss_is_noted() {
    let text = changed(
        "  - id: restraints_are_touched",
        "  - id: also_a_motor\n    when: { operations: [ { component: window_motor, actions: [ replace ] } ] }\n    on: { has: one_touch }\n    require: [ window_initialise ]\n    because: Once more.\n    source: practice\n  - id: restraints_are_touched",
    );
    let report = report(&text);
    assert_eq!((report.faults.len(), codes(&report.notes)), (0, vec!["covered_rule"]));
    assert!(report.notes[0].detail.contains("`motor_is_new`"), "{}", report.notes[0]);
    let text = changed(
        "require: [ parking_brake_open, parking_brake_test ]",
        "require: [ parking_brake_open ]",
    );
    assert_eq!(codes(&self::report(&text).notes), ["unrequired_procedure"]);
    let text = changed(", needs_nothing_because: for tests", "");
    assert_eq!(codes(&self::report(&text).notes), ["component_without_consequence"]);
}

#[test]
fn all_faults_of_a_catalogue_are_told_at_once() {
    let text = changed("after: [ steering_angle_zero ]", "after: [ nowhere ]")
        .replacen("id: throttle_is_new", "id: motor_is_new", 1)
        .replacen("least: 10, likely: 20", "least: 30, likely: 20", 1);
    let mut found = report(&text).faults.iter().map(|fault| fault.code).collect::<Vec<_>>();
    found.sort_unstable();
    assert_eq!(found, ["duplicate", "empty_range", "unknown_name"]);
}

#[test]
fn places_in_json_are_those_in_yaml() {
    let text = changed("after: [ steering_angle_zero ]", "after: [ steering_zero ]");
    let catalogue = read(text.as_bytes(), Limits::default()).expect("reads").catalogue;
    let json = serde_json::to_string_pretty(&catalogue).expect("writes");
    let [fault] = &report(&json).faults[..] else { panic!("one fault") };
    let line = json.lines().nth(usize::try_from(fault.line).expect("small") - 1).expect("there");
    let before = usize::try_from(fault.column).expect("small") - 1;
    assert_eq!(line[before..].trim_end_matches(','), "\"steering_zero\"", "{fault}");
}

#[test]
fn what_is_wrong_beside_a_broken_entry_is_told_with_it() {
    let text = changed("phase: ", "phase: un");
    // A later one, whose place must not be mistaken since the broken one is left out.
    let broken = text.find("phase: un").expect("just put in");
    let (before, behind) = text.split_at(broken);
    let title = behind.lines().find(|line| line.starts_with("    title:")).expect("one more");
    let text = format!("{before}{}", behind.replacen(title, "    title: \"\"", 1));
    let (read, report) = derivation::check::examine(text.as_bytes(), Limits::default());
    assert!(read.is_none());
    let faults = report.faults;
    assert!(faults.iter().any(|fault| fault.code != "empty_name"), "{faults:#?}");
    let empty = faults.iter().find(|fault| fault.code == "empty_name");
    let empty = empty.unwrap_or_else(|| panic!("told as well: {faults:#?}"));
    let line = text.lines().nth(usize::try_from(empty.line).expect("small") - 1).expect("there");
    assert_eq!(line, "    title: \"\"", "{empty}");
    assert!(faults.len() <= 3, "nothing that only follows: {faults:#?}");
}
