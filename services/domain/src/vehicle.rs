//! What is known of a vehicle. A fact that nobody stated is unknown, and unknown is not "no".

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The value of a feature.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(untagged)]
pub enum FactValue {
    /// The vehicle has it, or is known not to.
    Flag(bool),
    /// One of several words, for example how a camera is calibrated (`static`, `dynamic`, `both`).
    Word(String),
    /// Stated as unknown (`null`), the same as leaving it out.
    Unknown,
}

/// Vehicle facts as an order states them; each may be missing.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct VehicleFacts {
    /// Vehicle identification number, 17 characters (ISO 3779); a vehicle may have none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "1H9AC3EB2KA042117", max_length = 32)]
    pub vin: Option<String>,
    /// How the vehicle is known when it has no VIN (chassis number, asset number, ...).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 64)]
    pub identity: Option<String>,
    /// Registration plate.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 16)]
    pub plate: Option<String>,
    /// Market the vehicle was built for, ISO 3166-1 alpha-2. The VIN's check digit is binding in US and CA.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "US", min_length = 2, max_length = 2)]
    pub market: Option<String>,
    /// Maker's name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "Brennick", max_length = 64)]
    pub make: Option<String>,
    /// Model's name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "Tarn", max_length = 64)]
    pub model: Option<String>,
    /// Model year.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = 2019, minimum = 1900, maximum = 2100)]
    pub model_year: Option<i32>,
    /// `combustion`, `hybrid` or `electric`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub powertrain: Option<Powertrain>,
    /// Features by name: `true`, `false`, a word, or `null` for unknown (the same as leaving it out).
    #[serde(default)]
    pub features: BTreeMap<String, FactValue>,
}

/// What drives the vehicle.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Powertrain {
    /// An engine only.
    Combustion,
    /// An engine and a traction battery.
    Hybrid,
    /// A traction battery only.
    Electric,
}

impl Powertrain {
    /// The word used in documents.
    pub fn word(self) -> &'static str {
        match self {
            Self::Combustion => "combustion",
            Self::Hybrid => "hybrid",
            Self::Electric => "electric",
        }
    }
}

impl VehicleFacts {
    /// Looks a fact up by the name that predicates and questions use: `make`, `model`, `powertrain`,
    /// `model_year`, or a feature's name. `None` is unknown.
    pub fn fact(&self, name: &str) -> Option<FactValue> {
        let word = |text: &Option<String>| text.clone().map(FactValue::Word);
        match name {
            "make" => word(&self.make),
            "model" => word(&self.model),
            "powertrain" => self.powertrain.map(|p| FactValue::Word(p.word().to_owned())),
            "model_year" => self.model_year.map(|year| FactValue::Word(year.to_string())),
            feature => {
                self.features.get(feature).filter(|value| **value != FactValue::Unknown).cloned()
            }
        }
    }
}
