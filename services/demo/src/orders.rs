//! The orders of the invented day.

use chrono::{DateTime, TimeDelta, Utc};
use contract::orders::{NewLine, NewOrder};
use domain::lifecycle::OrderState;
use domain::order::{Authorisation, Done, LineOperation};
use domain::vehicle::{FactValue, Powertrain, VehicleFacts};

use crate::vin;

/// Every feature that the starter catalogue asks for; an order of the day states those that it does not name as absent.
const FEATURES: &[&str] = &[
    "electronic_parking_brake",
    "electronic_throttle",
    "front_camera",
    "front_radar",
    "corner_radar",
    "surround_camera",
    "rear_camera",
    "parking_sensors",
    "adaptive_headlamps",
    "head_up_display",
    "rain_light_sensor",
    "air_suspension",
    "adaptive_dampers",
    "battery_sensor",
    "electric_power_steering",
    "electric_brake_booster",
    "occupant_sensing",
    "tire_pressure_monitoring",
    "power_windows_one_touch",
    "sunroof",
    "power_liftgate",
    "memory_seats",
    "particulate_filter",
    "reductant_system",
    "automatic_transmission",
    "dual_clutch",
    "high_voltage",
    "plug_in",
    "rear_axle_steering",
];

/// What happens on an order beside the plain course of work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scene {
    /// Nothing.
    Plain,
    /// The engine is too cold for its idle relearn: refused, warmed up, done.
    ColdEngine,
    /// Another vehicle stands in the bay.
    WrongVehicle,
    /// One technician hands a task over to another.
    Handover,
    /// The connection breaks while a task runs; the same technician goes on.
    BrokenThenResumed,
    /// The connection breaks while a task runs; it is begun anew.
    BrokenThenRetried,
    /// A task fails and is tried again.
    FailsOnce,
    /// A task is waived by two people.
    Waived,
    /// Line 2, asked for while the calipers stand open, does not disconnect the battery until they are closed.
    CalipersOpen,
    /// The vehicle is asked for too early.
    AskedTooEarly,
    /// The customer declines a line.
    Declined,
    /// A promise that cannot be kept is told early.
    PromiseAtRisk,
}

/// An order of the day.
#[derive(Debug, Clone, Copy)]
pub struct Plot {
    /// What it is about.
    pub about: &'static str,
    make: &'static str,
    model: &'static str,
    model_year: i32,
    powertrain: Powertrain,
    /// Features that it has, `name` or `name=word`; `?name` is not known.
    features: &'static [&'static str],
    lines: &'static [Work],
    codes: &'static [&'static str],
    /// Hours until it is promised.
    promised: Option<i64>,
    /// What happens on it.
    pub scene: Scene,
    /// The state in which it is to end.
    pub ends: OrderState,
}

/// A line of work.
#[derive(Debug, Clone, Copy)]
struct Work {
    text: &'static str,
    /// `action component` or `action component place`; without any, the service reads the text.
    operations: &'static [&'static str],
    minutes: i32,
}

const fn work(text: &'static str, operations: &'static [&'static str], minutes: i32) -> Work {
    Work { text, operations, minutes }
}

const PLAIN: Plot = Plot {
    about: "",
    make: "Brennick",
    model: "Tarn",
    model_year: 2021,
    powertrain: Powertrain::Combustion,
    features: &[],
    lines: &[],
    codes: &[],
    promised: Some(12),
    scene: Scene::Plain,
    ends: OrderState::Released,
};

/// The day, in the order in which the vehicles come.
pub const DAY: &[Plot] = &[
    Plot {
        about: "throttle body, engine too cold at first",
        features: &["electronic_throttle"],
        lines: &[work("Replace throttle body", &["replace throttle_body"], 45)],
        codes: &["P0507"],
        scene: Scene::ColdEngine,
        ..PLAIN
    },
    Plot {
        about: "rear pads, and the battery asked for later",
        model: "Tarn Estate",
        features: &["electronic_parking_brake", "power_windows_one_touch"],
        lines: &[
            work("R&R rear brake pads", &["replace rear_brake_pads"], 60),
            work("Disconnect battery for wiring repair", &["disconnect battery"], 20),
        ],
        scene: Scene::CalipersOpen,
        ..PLAIN
    },
    Plot {
        about: "windshield with camera",
        make: "Ostara",
        model: "Vey",
        model_year: 2023,
        features: &["front_camera", "camera_calibration=static", "rain_light_sensor"],
        lines: &[work("Replace windshield", &["replace windshield"], 90)],
        promised: Some(24),
        ..PLAIN
    },
    Plot {
        about: "alignment, asked for too early",
        make: "Ostara",
        model: "Lune",
        features: &["electric_power_steering"],
        lines: &[work("Four wheel alignment", &["align wheel_alignment"], 10)],
        scene: Scene::AskedTooEarly,
        ..PLAIN
    },
    Plot {
        about: "airbag, handed over",
        make: "Calder",
        model: "Six",
        features: &["occupant_sensing"],
        lines: &[work("Replace driver airbag", &["replace airbag"], 50)],
        scene: Scene::Handover,
        ..PLAIN
    },
    Plot {
        about: "tires, wrong vehicle in the bay",
        make: "Calder",
        model: "Four",
        features: &["tire_pressure_monitoring"],
        lines: &[work("Mount four new tires", &["replace tire"], 45)],
        scene: Scene::WrongVehicle,
        ..PLAIN
    },
    Plot {
        about: "battery",
        make: "Hadrell",
        model: "Moor",
        features: &["battery_sensor", "power_windows_one_touch"],
        lines: &[work("Replace battery", &["replace battery"], 25)],
        ends: OrderState::Closed,
        ..PLAIN
    },
    Plot {
        about: "window motor, a relearn fails once",
        make: "Hadrell",
        model: "Fell",
        features: &["power_windows_one_touch"],
        lines: &[work("Replace window motor LF", &["replace window_motor front_left"], 60)],
        scene: Scene::FailsOnce,
        ..PLAIN
    },
    Plot {
        about: "bumper with radar, road check waived",
        make: "Ostara",
        model: "Vey",
        model_year: 2022,
        features: &["front_radar", "radar_calibration=static"],
        lines: &[work("Replace front bumper cover", &["replace front_bumper_cover"], 75)],
        scene: Scene::Waived,
        ..PLAIN
    },
    Plot {
        about: "injector, connection breaks",
        make: "Brennick",
        model: "Quay",
        lines: &[work("Replace injector cylinder 2", &["replace fuel_injector"], 90)],
        scene: Scene::BrokenThenRetried,
        ..PLAIN
    },
    Plot {
        about: "transmission fluid",
        make: "Brennick",
        model: "Quay",
        model_year: 2018,
        features: &["automatic_transmission"],
        lines: &[work("Drain and fill transmission fluid", &["refill transmission_fluid"], 30)],
        ..PLAIN
    },
    Plot {
        about: "air conditioning",
        make: "Calder",
        model: "Four",
        lines: &[work("Replace condenser", &["replace condenser"], 80)],
        ..PLAIN
    },
    Plot {
        about: "headlamp",
        make: "Calder",
        model: "Six",
        features: &["adaptive_headlamps"],
        lines: &[work("Replace headlamp right", &["replace headlamp right"], 50)],
        ..PLAIN
    },
    Plot {
        about: "key, connection breaks",
        make: "Hadrell",
        model: "Moor",
        lines: &[work("Additional key", &["replace key"], 5)],
        scene: Scene::BrokenThenResumed,
        ..PLAIN
    },
    Plot {
        about: "wash",
        make: "Hadrell",
        model: "Fell",
        lines: &[work("Wash and vacuum", &[], 20)],
        ..PLAIN
    },
    Plot {
        about: "spark plugs",
        model: "Tarn",
        model_year: 2016,
        lines: &[work("Replace spark plugs", &["replace spark_plug"], 40)],
        ..PLAIN
    },
    Plot {
        about: "rear pads, brake not known",
        make: "Ostara",
        model: "Lune",
        features: &["?electronic_parking_brake"],
        lines: &[work("Replace rear brake pads", &["replace rear_brake_pads"], 60)],
        ..PLAIN
    },
    Plot {
        about: "oil and declined shock absorbers",
        make: "Calder",
        model: "Six",
        model_year: 2017,
        lines: &[
            work("Oil and filter", &["refill engine_oil"], 25),
            work("Replace shock absorbers", &["replace shock_absorber"], 120),
        ],
        scene: Scene::Declined,
        ..PLAIN
    },
    Plot {
        about: "water pump, promised too early",
        make: "Hadrell",
        model: "Moor",
        model_year: 2015,
        lines: &[work("Replace water pump", &["replace water_pump"], 180)],
        promised: Some(1),
        scene: Scene::PromiseAtRisk,
        ..PLAIN
    },
    Plot {
        about: "front pads by text",
        model: "Tarn",
        lines: &[work("Replace front brake pads", &[], 50)],
        ..PLAIN
    },
    Plot {
        about: "something nobody reads",
        make: "Ostara",
        model: "Vey",
        lines: &[work("Cust states funny noise, see notes", &[], 20)],
        ..PLAIN
    },
    Plot {
        about: "blend door actuator",
        make: "Calder",
        model: "Four",
        lines: &[work("Replace blend door actuator", &["replace blend_door_actuator"], 70)],
        ..PLAIN
    },
    Plot {
        about: "pedal sensor",
        make: "Hadrell",
        model: "Fell",
        features: &["electronic_throttle"],
        lines: &[work("Replace accelerator pedal", &["replace accelerator_pedal_sensor"], 25)],
        ..PLAIN
    },
    Plot {
        about: "rear camera",
        make: "Brennick",
        model: "Quay",
        model_year: 2022,
        features: &["rear_camera"],
        lines: &[work("Replace rear camera", &["replace rear_camera"], 40)],
        ..PLAIN
    },
    Plot {
        about: "inverter of an electric car",
        make: "Ostara",
        model: "Lune E",
        model_year: 2024,
        powertrain: Powertrain::Electric,
        features: &["high_voltage"],
        lines: &[work("Replace inverter", &["replace inverter"], 150)],
        promised: Some(24),
        ..PLAIN
    },
    Plot {
        about: "caliper and brake fluid",
        make: "Calder",
        model: "Six",
        model_year: 2014,
        lines: &[work("Replace front caliper", &["replace front_brake_caliper"], 60)],
        ..PLAIN
    },
];

impl Plot {
    /// The vehicle's trouble codes.
    pub fn codes(&self) -> &'static [&'static str] {
        self.codes
    }

    /// The vehicle's number, one of its own for each serial.
    pub fn vin(&self, serial: u32) -> String {
        vin::invented(self.model_year, serial)
    }

    /// The order as the shop's system posts it.
    pub fn order(&self, number: &str, vin: &str, now: DateTime<Utc>) -> NewOrder {
        NewOrder {
            number: number.to_owned(),
            vehicle: VehicleFacts {
                vin: Some(vin.to_owned()),
                market: Some("US".to_owned()),
                make: Some(self.make.to_owned()),
                model: Some(self.model.to_owned()),
                model_year: Some(self.model_year),
                powertrain: Some(self.powertrain),
                features: self.facts(),
                ..VehicleFacts::default()
            },
            lines: (1..)
                .zip(self.lines)
                .filter(|(line, _)| self.scene != Scene::CalipersOpen || *line == 1)
                .map(|(line, work)| work.line(line))
                .collect(),
            trouble_codes: self.codes.iter().map(|code| (*code).to_owned()).collect(),
            complaints: Vec::new(),
            arrives_at: None,
            promised_at: self.promised.map(|hours| now + TimeDelta::hours(hours)),
            weight: None,
            follows: None,
            odometer_in: Some(48_210),
            beside_open_order: false,
        }
    }

    /// The line of this number with the customer's decision.
    pub fn line(&self, line: i32, authorisation: Authorisation) -> Option<NewLine> {
        let at = usize::try_from(line - 1).ok()?;
        let work = self.lines.get(at)?;
        Some(NewLine { authorisation, ..work.line(line) })
    }

    /// What the desk answers when the service asks for this fact; what it does not know, the vehicle does not have.
    pub fn fact(&self, name: &str) -> FactValue {
        let known = self.features.iter().map(|one| one.trim_start_matches('?'));
        for one in known {
            match one.split_once('=') {
                Some((feature, word)) if feature == name => {
                    return FactValue::Word(word.to_owned());
                }
                None if one == name => return FactValue::Flag(true),
                _ => {}
            }
        }
        FactValue::Flag(false)
    }

    fn facts(&self) -> std::collections::BTreeMap<String, FactValue> {
        let unknown =
            |name: &str| self.features.iter().any(|one| one.strip_prefix('?') == Some(name));
        let words =
            self.features.iter().filter_map(|one| one.split_once('=')).map(|(name, _)| name);
        FEATURES
            .iter()
            .copied()
            .chain(words)
            .filter(|name| !unknown(name))
            .map(|name| (name.to_owned(), self.fact(name)))
            .collect()
    }
}

impl Work {
    fn line(&self, line: i32) -> NewLine {
        NewLine {
            line,
            text: self.text.to_owned(),
            labour_code: None,
            operations: self.operations.iter().map(|text| operation(text)).collect(),
            authorisation: Authorisation::Approved,
            minutes: Some(self.minutes),
            bay: None,
            skills: None,
            parts_expected_at: None,
            on_hold: None,
            sublet: None,
        }
    }
}

fn operation(text: &str) -> LineOperation {
    let mut words = text.split(' ').map(str::to_owned);
    LineOperation {
        action: words.next().unwrap_or_default(),
        component: words.next().unwrap_or_default(),
        place: words.next(),
        done: Done::Planned,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_day_is_full_and_every_scene_happens() {
        assert!(DAY.len() >= 24);
        let happens = |scene| DAY.iter().any(|plot| plot.scene == scene);
        for scene in [
            Scene::ColdEngine,
            Scene::WrongVehicle,
            Scene::Handover,
            Scene::BrokenThenResumed,
            Scene::BrokenThenRetried,
            Scene::FailsOnce,
            Scene::Waived,
            Scene::CalipersOpen,
            Scene::AskedTooEarly,
            Scene::Declined,
            Scene::PromiseAtRisk,
        ] {
            assert!(happens(scene), "{scene:?}");
        }
    }
}
