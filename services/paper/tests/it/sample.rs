//! An invented order and an invented day. What is drawn from them also lies beside the test
//! binaries, to be looked at.

use chrono::{DateTime, TimeZone, Utc};
use paper::board::{Bar, BarState, Bay, Board, Closed, Unplanned};
use paper::report::task::{Attempt, Caution, Event, Evidence, Precondition, Reason, Task};
use paper::report::{
    Addendum, Catalogue, DEFERENCE, Fact, Finding, Line, Order, Refusal, Release, Report, Seal,
    Shop, Value, Vehicle, Waiver,
};

pub(crate) fn at(hour: u32, minute: u32) -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2026, 11, 26, hour, minute, 0).unwrap()
}

/// Keeps what was drawn where a person can open it.
pub(crate) fn keep(name: &str, text: &str) {
    std::fs::write(format!("{}/{name}", env!("CARGO_TARGET_TMPDIR")), text).unwrap();
}

fn value(value: &str, unit: &str) -> Value {
    Value { value: value.into(), unit: (!unit.is_empty()).then(|| unit.into()) }
}

fn reading(what: &str, figure: &str, unit: &str, minute: u32) -> Evidence {
    Evidence {
        what: what.into(),
        given: value(figure, unit),
        raw: None,
        taken_at: at(15, minute),
        source: "scan tool ST-2, calibrated until 2027-03-01".into(),
        marks: vec![],
    }
}

pub(crate) fn report() -> Report {
    Report {
        v: 1,
        made_at: at(19, 2),
        deference: DEFERENCE.into(),
        shop: Shop {
            name: "Quarrybridge Motor Works".into(),
            address: Some("14 Limekiln Road, Quarrybridge".into()),
            time_zone: "America/New_York".into(),
        },
        order: Order {
            id: "0193a1b2-0000-7000-8000-000000000417".into(),
            number: "RO-20417".into(),
            state: "released".into(),
            taken_at: at(13, 4),
            promised_at: Some(at(21, 0)),
            follows: None,
            complaints: vec!["idle rough when warm".into()],
            trouble_codes: vec!["P0507".into()],
        },
        vehicle: Vehicle {
            vin: Some("1H9AC3EB2KA042117".into()),
            plate: Some("QB 4117".into()),
            description: "Brennick Tarn 2019, combustion".into(),
            facts: vec![
                Fact { name: "electronic_throttle".into(), value: "yes".into() },
                Fact { name: "front_camera".into(), value: "unknown".into() },
            ],
            odometer_in: Some(value("61204", "[mi_i]")),
            odometer_out: Some(value("61209", "[mi_i]")),
        },
        release: Release {
            kind: Some("complete".into()),
            at: Some(at(19, 0)),
            by: Some("Noor Halden".into()),
            remarks: vec!["The window on the driver's side was not taught: see Waivers.".into()],
        },
        findings: vec![Finding {
            code: "vin_model_year_differs".into(),
            detail: "The VIN tells model year 2019, the order said 2018.".into(),
        }],
        lines: vec![Line {
            line: 2,
            text: "Disconnect battery, replace throttle body".into(),
            reading: "sure".into(),
            operations: vec!["disconnect battery".into(), "replace throttle body".into()],
            state: "finished".into(),
            authorisation: Some("approved".into()),
        }],
        tasks: vec![throttle(), window()],
        waivers: vec![Waiver {
            scope: "one-touch window, driver's door".into(),
            reason: "The regulator is on order; the window stays closed.".into(),
            by: "Noor Halden".into(),
            at: at(18, 40),
            approved_by: Some("Ivo Castellane".into()),
            customer_told: Some("The window must not be used until the next visit.".into()),
            restriction: Some("until 2026-12-10".into()),
            expires_at: None,
            revoked_at: None,
        }],
        refusals: vec![Refusal {
            at: at(15, 10),
            by: "Ida Brandt".into(),
            asked: "start throttle position relearn".into(),
            reasons: vec![
                "coolant is 68 °C, needs 93 to 99 °C".into(),
                "the caution about the running engine is not acknowledged".into(),
            ],
        }],
        addenda: vec![Addendum {
            at: at(20, 15),
            by: "Noor Halden".into(),
            text: "Customer called: idle is smooth.".into(),
        }],
        catalogue: Catalogue {
            version: "starter 2026.11".into(),
            basis: Some("General trade practice; no maker's figures.".into()),
        },
    }
}

fn throttle() -> Task {
    let coolant = |verdict: &str, figure: &str, minute| Precondition {
        text: "engine coolant temperature 93 to 99 °C".into(),
        verdict: verdict.into(),
        detail: (verdict == "violated").then(|| "coolant is 68 °C, needs 93 to 99 °C".into()),
        evidence: vec![Evidence {
            raw: Some("41058a".into()),
            ..reading("engine_coolant_temperature", figure, "Cel", minute)
        }],
    };
    Task {
        id: "t1".into(),
        procedure: "throttle_position_relearn".into(),
        title: "Throttle position relearn".into(),
        kind: "relearn".into(),
        phase: "after".into(),
        state: "passed".into(),
        because: vec![Reason {
            chain: vec![
                "line 2: \u{201c}replace throttle body\u{201d}".into(),
                "replace throttle body".into(),
                "rule throttle_replaced".into(),
            ],
            source: Some("common practice, no source".into()),
        }],
        cautions: vec![Caution {
            text: "The engine runs: connect the extraction first.".into(),
            acknowledged_by: Some("Ida Brandt".into()),
            acknowledged_at: Some(at(15, 12)),
        }],
        attempts: vec![
            Attempt {
                number: 1,
                people: vec!["Ida Brandt".into()],
                bay: Some("Bay 2".into()),
                taken_at: at(15, 5),
                started_at: Some(at(15, 22)),
                ended_at: Some(at(15, 26)),
                outcome: "failed".into(),
                preconditions: vec![coolant("met", "94", 21)],
                results: vec![Evidence {
                    marks: vec!["by_hand".into()],
                    ..reading("engine_speed", "1450", "/min", 26)
                }],
                events: vec![Event {
                    at: at(15, 25),
                    by: "Ida Brandt".into(),
                    text: "the connection broke off; the engine idles".into(),
                }],
                ..Attempt::default()
            },
            Attempt {
                number: 2,
                people: vec!["Ida Brandt (general, until 2027-06-30)".into()],
                bay: Some("Bay 2, exhaust extraction".into()),
                equipment: vec!["scan tool ST-2".into(), "battery support BS-1".into()],
                identity: Some("VIN read from the vehicle".into()),
                taken_at: at(15, 30),
                started_at: Some(at(15, 41)),
                ended_at: Some(at(15, 49)),
                outcome: "passed".into(),
                preconditions: vec![
                    coolant("met", "98", 40),
                    Precondition {
                        text: "control module voltage at least 12.4 V throughout".into(),
                        verdict: "met".into(),
                        detail: None,
                        evidence: vec![
                            reading("control_module_voltage", "13.1", "V", 40),
                            reading("control_module_voltage", "13.0", "V", 48),
                        ],
                    },
                ],
                results: vec![reading("engine_speed", "700", "/min", 49)],
                events: vec![],
            },
        ],
        settled_at: Some(at(15, 50)),
        ..Task::default()
    }
}

fn window() -> Task {
    Task {
        id: "t2".into(),
        procedure: "window_end_stops".into(),
        title: "One-touch window, driver's door".into(),
        kind: "initialisation".into(),
        phase: "after".into(),
        state: "waived".into(),
        because: vec![Reason {
            chain: vec![
                "line 2: \u{201c}disconnect battery\u{201d}".into(),
                "rule power_lost".into(),
            ],
            source: None,
        }],
        preconditions: vec![Precondition {
            text: "window closes fully".into(),
            verdict: "missing".into(),
            detail: Some("nobody has stated it".into()),
            evidence: vec![],
        }],
        ..Task::default()
    }
}

pub(crate) fn seal() -> Seal {
    Seal {
        report_sha256: "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad".into(),
        origin: "bayproof/0193a1b2-0000-7000-8000-000000000001".into(),
        size: 1834,
        root: "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328".into(),
        signed_at: at(19, 1),
        key_id: "c74f20a3".into(),
    }
}

fn bar(order: u32, title: &str, who: &str, from: (u32, u32), until: (u32, u32)) -> Bar {
    Bar {
        order: format!("RO-{order}"),
        title: title.into(),
        technician: (!who.is_empty()).then(|| who.into()),
        from: at(from.0, from.1),
        until: at(until.0, until.1),
        settles_until: None,
        state: BarState::Planned,
        late: false,
        pinned: false,
    }
}

fn bay(name: &str, offers: &str, bars: Vec<Bar>) -> Bay {
    Bay { name: name.into(), offers: offers.into(), closed: vec![], bars }
}

#[expect(clippy::too_many_lines, reason = "one invented day, row by row")]
pub(crate) fn day() -> Board {
    let done = |bar: Bar| Bar { state: BarState::Done, ..bar };
    let settling = |bar: Bar, hour, minute| Bar { settles_until: Some(at(hour, minute)), ..bar };
    Board {
        shop: "Quarrybridge Motor Works".into(),
        time_zone: "America/New_York".into(),
        now: at(15, 40),
        from: at(12, 0),
        until: at(23, 0),
        bays: vec![
            bay(
                "Bay 1",
                "lift",
                vec![
                    done(bar(
                        20411,
                        "Open parking brake for service",
                        "Sam Oyelaran",
                        (12, 20),
                        (13, 0),
                    )),
                    Bar {
                        state: BarState::Running,
                        ..bar(
                            20411,
                            "Close and calibrate parking brake",
                            "Sam Oyelaran",
                            (15, 10),
                            (16, 5),
                        )
                    },
                    settling(
                        bar(
                            20411,
                            "Three-cycle functional test",
                            "Sam Oyelaran",
                            (16, 10),
                            (16, 40),
                        ),
                        17,
                        20,
                    ),
                    Bar {
                        late: true,
                        ..bar(20430, "Steering angle sensor zero", "Ida Brandt", (18, 0), (18, 30))
                    },
                ],
            ),
            bay(
                "Bay 2",
                "lift, exhaust extraction",
                vec![
                    done(settling(
                        bar(20417, "Throttle position relearn", "Ida Brandt", (13, 40), (14, 20)),
                        14,
                        50,
                    )),
                    Bar {
                        state: BarState::Held,
                        ..bar(
                            20422,
                            "Particulate filter regeneration",
                            "Ida Brandt",
                            (15, 0),
                            (16, 30),
                        )
                    },
                    Bar {
                        pinned: true,
                        late: true,
                        ..bar(20422, "Idle relearn", "Ida Brandt", (16, 45), (17, 30))
                    },
                ],
            ),
            Bay {
                closed: vec![Closed {
                    from: at(12, 0),
                    until: at(14, 30),
                    why: "rack is being recalibrated".into(),
                }],
                ..bay(
                    "Alignment",
                    "alignment rack, level floor",
                    vec![
                        bar(20430, "Wheel alignment check", "Lene Aubry", (14, 45), (16, 0)),
                        bar(20431, "Wheel alignment check", "Lene Aubry", (16, 15), (17, 45)),
                    ],
                )
            },
            bay(
                "Calibration",
                "level floor, target space",
                vec![
                    Bar {
                        pinned: true,
                        ..bar(
                            20425,
                            "Front camera calibration, static",
                            "Lene Aubry",
                            (18, 0),
                            (19, 30),
                        )
                    },
                    bar(20425, "Check", "Lene Aubry", (19, 32), (19, 36)),
                    bar(20425, "Scan", "Lene Aubry", (19, 45), (20, 0)),
                ],
            ),
            bay("Bay 5 (a room with a rather long name)", "high voltage area", vec![]),
            Bay {
                closed: vec![Closed {
                    from: at(12, 0),
                    until: at(23, 0),
                    why: "out of service".into(),
                }],
                ..bay("Yard", "outdoors", vec![])
            },
            bay(
                "Bay 7",
                "two places",
                vec![
                    bar(20440, "Window end stops", "Piet Marlow", (16, 0), (16, 40)),
                    bar(20441, "Sunroof initialisation", "Piet Marlow", (16, 20), (17, 0)),
                ],
            ),
        ],
        road: vec![bar(
            20425,
            "Front camera calibration, dynamic",
            "Lene Aubry",
            (20, 15),
            (21, 0),
        )],
        unplanned: vec![
            Unplanned {
                order: "RO-20433".into(),
                title: "Front radar calibration".into(),
                why: "no technician with skill driver assistance on shift".into(),
            },
            Unplanned {
                order: "RO-20436".into(),
                title: "Battery registration".into(),
                why: "part expected 2026-11-27".into(),
            },
        ],
    }
}
