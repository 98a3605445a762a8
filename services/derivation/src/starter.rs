//! The starter catalogue: general trade practice, copied for every new shop.

use domain::catalogue::Catalogue;

use crate::document::{Fault, Limits, read_parts};

macro_rules! part {
    ($name:literal) => {
        ($name, include_str!(concat!("../data/catalogue/", $name)))
    };
}

/// The documents it is read from, by file name; words and sources first, then one per system.
pub const PARTS: [(&str, &str); 11] = [
    part!("00-words.yaml"),
    part!("body_electrical.yaml"),
    part!("brakes.yaml"),
    part!("climate.yaml"),
    part!("driveline.yaml"),
    part!("driver_assistance.yaml"),
    part!("engine.yaml"),
    part!("general.yaml"),
    part!("high_voltage.yaml"),
    part!("restraints.yaml"),
    part!("steering_suspension.yaml"),
];

/// The starter catalogue, read anew. A test keeps it free of faults, so that a built program never sees one.
pub fn catalogue() -> Result<Catalogue, Vec<(String, Fault)>> {
    read_parts(&PARTS, Limits::default())
}
