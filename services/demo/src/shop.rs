//! An invented shop: bays, technicians, equipment and shifts that together can do everything in the starter catalogue.

use std::collections::BTreeSet;
use std::time::Duration;

use chrono::NaiveDate;
use contract::resources::{
    BayView, EquipmentView, NewBay, NewEquipment, NewShift, NewTechnician, ShiftView,
    TechnicianView,
};
use contract::tasks::TaskView;
use domain::role::Role;
use std::sync::Arc;
use tokio::sync::{Mutex, OwnedMutexGuard};

use crate::client::{Client, Failure};
use crate::service::Service;
use crate::technician::Technician;

/// Bays: name, part of the premises, what can be done there.
const BAYS: &[(&str, &str, &[&str])] = &[
    ("Lift 1", "hall", &["lift", "exhaust_extraction", "battery_support"]),
    ("Lift 2", "hall", &["lift", "exhaust_extraction", "battery_support", "no_ignition_sources"]),
    ("Lift 3", "hall", &["lift", "level_floor", "exhaust_extraction", "battery_support"]),
    ("Lift 4", "hall", &["lift", "level_floor", "exhaust_extraction", "battery_support"]),
    ("Rack", "hall", &["lift", "level_floor", "alignment_rack", "battery_support"]),
    ("Target bay", "annex", &["level_floor", "target_space", "battery_support"]),
    ("Glass bay", "annex", &["level_floor", "target_space", "battery_support"]),
    ("Fuel bay", "annex", &["exhaust_extraction", "battery_support", "no_ignition_sources"]),
    ("High-voltage bay", "annex", &["lift", "level_floor", "high_voltage_area", "battery_support"]),
    ("Yard", "yard", &["outdoors", "high_temperature_extraction", "exhaust_extraction"]),
    ("Wash", "yard", &[]),
];

/// Technicians: an invented name and what they can do.
const TECHNICIANS: &[(&str, &[&str])] = &[
    ("Fenna Orrick", &["general", "brakes", "steering_alignment", "licensed_driver"]),
    ("Tibo Marsken", &["general", "brakes", "climate", "licensed_driver"]),
    ("Ysolde Crannock", &["general", "driver_assistance", "steering_alignment", "licensed_driver"]),
    ("Jorim Tallis", &["general", "driver_assistance", "programming", "licensed_driver"]),
    ("Maelle Wendrow", &["general", "restraints", "high_voltage", "programming"]),
    ("Oskan Brill", &["general", "restraints", "high_voltage", "brakes", "licensed_driver"]),
    ("Runa Haldecott", &["general", "climate", "steering_alignment", "licensed_driver"]),
    ("Pell Varnham", &["general", "brakes", "licensed_driver"]),
];

/// Equipment: kind and how many units.
const EQUIPMENT: &[(&str, u32)] = &[
    ("scan_tool", 6),
    ("battery_support_unit", 6),
    ("alignment_system", 1),
    ("calibration_targets", 2),
    ("radar_reflector", 2),
    ("headlamp_tester", 1),
    ("brake_bleeder", 2),
    ("tire_sensor_tool", 2),
    ("force_gauge", 2),
    ("refrigerant_station", 1),
    ("high_voltage_kit", 1),
    ("insulation_tester", 1),
    ("coolant_filler", 2),
    ("smoke_machine", 1),
    ("fluid_filler", 1),
];

/// Minutes of a shift: the invented shop is open day and night, so that its day can begin at any hour.
const SHIFT_MINUTES: i32 = 1_440;

/// The shop and its people.
#[derive(Debug)]
pub struct Shop {
    /// The service, for tokens.
    pub service: Service,
    /// The shop's own system.
    pub desk: Client,
    /// The dispatcher.
    pub dispatcher: Client,
    /// The owner.
    pub owner: Client,
    /// Bays in use.
    pub bays: Vec<BayView>,
    people: Vec<(Technician, Arc<Mutex<()>>)>,
}

/// A technician with both hands free for one job.
#[derive(Debug)]
pub struct Hands {
    /// Who.
    pub technician: Technician,
    _busy: OwnedMutexGuard<()>,
}

impl Shop {
    /// Opens the shop: makes what is not there yet, uses what is.
    pub async fn open(service: &Service) -> Result<Self, Failure> {
        let dispatcher = service.as_role(Role::Dispatcher);
        let bays = bays(&dispatcher).await?;
        let technicians = technicians(&dispatcher).await?;
        equipment(&dispatcher).await?;
        shifts(&dispatcher, &technicians).await?;
        let people = technicians
            .iter()
            .map(|one| Technician::new(service, one.id, &one.name, &one.skills))
            .map(|technician| (technician, Arc::new(Mutex::new(()))))
            .collect();
        Ok(Self {
            service: service.clone(),
            desk: service.as_role(Role::Integration),
            owner: service.as_role(Role::Owner),
            dispatcher,
            bays,
            people,
        })
    }

    /// Everybody.
    pub fn technicians(&self) -> impl Iterator<Item = &Technician> {
        self.people.iter().map(|(technician, _)| technician)
    }

    /// Waits for a technician who is able and has their hands free.
    pub async fn hands(&self, able: impl Fn(&Technician) -> bool) -> Hands {
        loop {
            for (technician, busy) in self.people.iter().filter(|(one, _)| able(one)) {
                if let Ok(guard) = Arc::clone(busy).try_lock_owned() {
                    return Hands { technician: technician.clone(), _busy: guard };
                }
            }
            tokio::time::sleep(Duration::from_millis(25)).await;
        }
    }

    /// High-voltage work is one person's from beginning to end here, because whoever set the lock takes it off.
    pub fn may_lock(&self, one: &Technician, task: &TaskView) -> bool {
        let locks = |skills: &[String]| skills.iter().any(|skill| skill == "high_voltage");
        let first = self.technicians().find(|other| locks(&other.skills));
        !locks(&task.needs.skills) || first.is_some_and(|first| first.id == one.id)
    }

    /// Another person than this one, to stand by or to take over: able to do this work if there is one, and otherwise with
    /// as many of the same skills as there are.
    pub fn other(&self, than: &Technician, work: &[String]) -> Option<&Technician> {
        let shared = |one: &Technician| {
            one.skills.iter().filter(|skill| than.skills.contains(skill)).count()
        };
        let able = |one: &Technician| work.iter().all(|skill| one.skills.contains(skill));
        self.technicians()
            .filter(|one| one.id != than.id)
            .max_by_key(|one| (able(one), shared(one)))
    }
}

async fn bays(dispatcher: &Client) -> Result<Vec<BayView>, Failure> {
    let mut there: Vec<BayView> = dispatcher.list("/v1/bays").await?;
    for (name, zone, capabilities) in BAYS {
        if !there.iter().any(|bay| bay.name == *name) {
            let body = NewBay {
                name: (*name).to_owned(),
                zone: (*zone).to_owned(),
                capabilities: words(capabilities),
                measured: Vec::new(),
            };
            there.push(dispatcher.post("/v1/bays", &body).await?);
        }
    }
    there.retain(|bay| !bay.retired);
    Ok(there)
}

async fn technicians(dispatcher: &Client) -> Result<Vec<TechnicianView>, Failure> {
    let mut there: Vec<TechnicianView> = dispatcher.list("/v1/technicians").await?;
    for (name, skills) in TECHNICIANS {
        if !there.iter().any(|one| one.name == *name) {
            let body = NewTechnician {
                name: (*name).to_owned(),
                skills: words(skills),
                certificates: Vec::new(),
            };
            there.push(dispatcher.post("/v1/technicians", &body).await?);
        }
    }
    there.retain(|one| !one.retired);
    Ok(there)
}

async fn equipment(dispatcher: &Client) -> Result<(), Failure> {
    let there: Vec<EquipmentView> = dispatcher.list("/v1/equipment").await?;
    for (kind, units) in EQUIPMENT {
        for number in 1..=*units {
            let name = format!("{} {number}", kind.replace('_', " "));
            if !there.iter().any(|unit| unit.name == name) {
                let body = NewEquipment { name, kind: (*kind).to_owned(), calibrated_until: None };
                dispatcher.post::<_, EquipmentView>("/v1/equipment", &body).await?;
            }
        }
    }
    Ok(())
}

async fn shifts(dispatcher: &Client, technicians: &[TechnicianView]) -> Result<(), Failure> {
    let there: Vec<ShiftView> = dispatcher.list("/v1/shifts").await?;
    let served: BTreeSet<_> = there.iter().map(|shift| shift.technician).collect();
    let first_day = NaiveDate::from_ymd_opt(2026, 1, 1).unwrap_or_default();
    for one in technicians.iter().filter(|one| !served.contains(&one.id)) {
        let body = NewShift {
            technician: one.id,
            starts_local: first_day.into(),
            minutes: SHIFT_MINUTES,
            rrule: Some("FREQ=DAILY".to_owned()),
            except_dates: Vec::new(),
        };
        dispatcher.post::<_, ShiftView>("/v1/shifts", &body).await?;
    }
    Ok(())
}

fn words(of: &[&str]) -> Vec<String> {
    of.iter().map(|word| (*word).to_owned()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn somebody_can_do_everything() {
        let skills: BTreeSet<_> = TECHNICIANS.iter().flat_map(|(_, skills)| *skills).collect();
        assert_eq!(skills.len(), 9, "the nine skills of the starter catalogue");
        let able: BTreeSet<_> = BAYS.iter().flat_map(|(_, _, able)| *able).collect();
        assert_eq!(able.len(), 10, "the ten capabilities of the starter catalogue");
        assert_eq!(EQUIPMENT.len(), 15, "the fifteen kinds of the starter catalogue");
        assert!(BAYS.len() >= 6 && TECHNICIANS.len() >= 5);
    }
}
