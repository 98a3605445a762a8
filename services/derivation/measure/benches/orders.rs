//! Mixed orders of six lines, operations given.

use derivation::repair::{Repair, RepairLine, StatedOperation};
use domain::catalogue::Catalogue;
use domain::operation::Operation;
use domain::order::{Authorisation, Done, Reading};
use domain::vehicle::{FactValue, Powertrain, VehicleFacts};

/// An order that owns what a derivation borrows.
#[derive(Clone)]
pub(crate) struct Order {
    pub(crate) vehicle: VehicleFacts,
    pub(crate) lines: Vec<RepairLine>,
}

impl Order {
    pub(crate) fn repair(&self) -> Repair<'_> {
        Repair {
            vehicle: &self.vehicle,
            lines: &self.lines,
            trouble_codes: &[],
            complaints: &[],
            observed: &[],
        }
    }
}

/// Numbers without a pattern, the same in every run (xorshift).
pub(crate) struct Numbers(pub(crate) u64);

impl Numbers {
    pub(crate) fn below(&mut self, end: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 >> 11).unwrap_or_default() % end
    }
}

/// Orders over all components; the actions are those that a line mostly says.
pub(crate) fn mixed(catalogue: &Catalogue, count: usize, all_known: bool) -> Vec<Order> {
    const ACTIONS: [&str; 4] = ["replace", "replace", "remove_install", "repair"];
    let vocabulary = &catalogue.vocabulary;
    let mut numbers = Numbers(0x5DEE_CE66);
    (0..count)
        .map(|_| {
            let mut vehicle = VehicleFacts {
                make: Some(format!("Make {}", numbers.below(50))),
                model: Some("Tarn".to_owned()),
                model_year: Some(2005 + i32::try_from(numbers.below(20)).unwrap_or_default()),
                powertrain: Some(match numbers.below(4) {
                    0 => Powertrain::Electric,
                    1 => Powertrain::Hybrid,
                    _ => Powertrain::Combustion,
                }),
                ..VehicleFacts::default()
            };
            for feature in &vocabulary.features {
                if !all_known && numbers.below(2) == 0 {
                    continue;
                }
                let value = match &feature.one_of[..] {
                    [] => FactValue::Flag(numbers.below(2) == 0),
                    words => FactValue::Word(words[numbers.below(words.len())].clone()),
                };
                vehicle.features.insert(feature.id.clone(), value);
            }
            let lines = (1..=6)
                .map(|line| {
                    let component = numbers.below(vocabulary.components.len());
                    let component = &vocabulary.components[component].id;
                    let operation = Operation::new(ACTIONS[numbers.below(4)], component);
                    RepairLine {
                        line,
                        authorisation: Authorisation::Approved,
                        begun: false,
                        reading: Reading::Sure,
                        operations: vec![StatedOperation {
                            operation,
                            done: Done::Planned,
                            sure: true,
                            words: String::new(),
                        }],
                    }
                })
                .collect();
            Order { vehicle, lines }
        })
        .collect()
}
