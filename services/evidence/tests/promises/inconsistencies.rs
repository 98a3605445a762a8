use evidence::consistency::check;
use evidence::sample::{Kind, Mark, Sample};

use crate::scene::*;

fn codes_found(samples: &[Sample]) -> Vec<&'static str> {
    check(samples).into_iter().map(|found| found.code).collect()
}

#[test]
fn an_odometer_that_goes_back_is_a_finding_in_whatever_unit() {
    let came = number(-500, "odometer", "100000", "km");
    let left = number(500, "odometer", "62136", "[mi_i]");
    let found = check(&[left.clone(), came.clone()]);
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].evidence, [came.id, left.id]);
    assert_eq!(found[0].detail, "the odometer read 100000 km and later 99998.2 km");
    assert!(check(&[came.clone(), number(500, "odometer", "62138", "[mi_i]")]).is_empty());
    assert!(check(&[came, marked(Mark::WrongVehicle, left)]).is_empty());
}

#[test]
fn codes_that_somebody_cleared_without_a_record_are_a_finding() {
    let minutes = |second, value| number(second, "time_since_codes_cleared", value, "min");
    let between = sample(30, Kind::CodesCleared);
    assert_eq!(codes_found(&[minutes(10, "1440"), minutes(60, "1")]), ["codes_cleared_unrecorded"]);
    assert!(codes_found(&[minutes(10, "1440"), between, minutes(60, "1")]).is_empty());
    assert!(codes_found(&[minutes(10, "1440"), minutes(60, "1441")]).is_empty());
}
