//! How much of what is there a plan uses, hour by hour.

use crate::calendar::Calendar;
use crate::model::{Model, Placement, Ticks};
use std::collections::BTreeMap;

/// What is there of one capability or skill, and how much of it is planned, by slot, in ticks.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Supply {
    /// Time of all bays that offer it while they are open, or of all people who have it while they are there.
    pub there: Vec<Ticks>,
    /// Time of all placed jobs that ask for it.
    pub planned: Vec<Ticks>,
}

/// Supply by name.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Load {
    /// By capability of bays.
    pub capabilities: BTreeMap<String, Supply>,
    /// By skill of people.
    pub skills: BTreeMap<String, Supply>,
}

/// The load of these placements (by job) in the slots `[from, to)`. A job or a person counts for everything it asks for
/// or offers, so sums over names mean nothing.
#[must_use]
pub fn load(model: &Model, placements: &[Option<Placement>], slots: &[(Ticks, Ticks)]) -> Load {
    let mut load = Load::default();
    for bay in &model.bays {
        let mut open = Calendar::between(model.now, model.horizon);
        for &(from, to) in &bay.closed {
            open.close(from, to);
        }
        for capability in &bay.capabilities {
            add(&mut there(&mut load.capabilities, capability, slots.len()).there, slots, &open);
        }
    }
    for technician in &model.technicians {
        let shifts = Calendar::open(technician.shifts.clone());
        for skill in &technician.skills {
            add(&mut there(&mut load.skills, skill, slots.len()).there, slots, &shifts);
        }
    }
    for (job, placement) in model.jobs.iter().zip(placements) {
        let Some(placement) = placement else { continue };
        let busy = Calendar::between(placement.start, placement.end);
        for capability in job.bay.iter().flatten() {
            add(&mut there(&mut load.capabilities, capability, slots.len()).planned, slots, &busy);
        }
        for skill in job.people.iter().flatten() {
            add(&mut there(&mut load.skills, skill, slots.len()).planned, slots, &busy);
        }
    }
    load
}

fn there<'a>(by: &'a mut BTreeMap<String, Supply>, name: &str, slots: usize) -> &'a mut Supply {
    by.entry(name.to_owned())
        .or_insert_with(|| Supply { there: vec![0; slots], planned: vec![0; slots] })
}

fn add(sums: &mut [Ticks], slots: &[(Ticks, Ticks)], calendar: &Calendar) {
    for (sum, &(from, to)) in sums.iter_mut().zip(slots) {
        let within = |&(a, b): &(Ticks, Ticks)| (b.min(to) - a.max(from)).max(0);
        *sum += calendar.windows().iter().map(within).sum::<Ticks>();
    }
}

#[cfg(test)]
mod tests {
    use super::load;
    use crate::model::{Bay, Job, Model, Placement, Technician};

    #[test]
    fn an_hour_knows_what_is_there_and_what_of_it_is_planned() {
        let offers = vec!["lift".to_owned()];
        let model = Model {
            horizon: 200,
            bays: vec![
                Bay { capabilities: offers.clone(), ..Bay::default() },
                Bay {
                    capabilities: offers.clone(),
                    closed: vec![(0, 30), (20, 60)],
                    ..Bay::default()
                },
            ],
            technicians: vec![Technician {
                skills: vec!["brakes".to_owned()],
                shifts: vec![(50, 120)],
                ..Technician::default()
            }],
            jobs: vec![Job {
                bay: Some(offers),
                people: vec![vec!["brakes".to_owned()]],
                ..Job::default()
            }],
            ..Model::default()
        };
        let placed = Placement { start: 90, end: 110, bay: Some(0), technicians: vec![0] };
        let load = load(&model, &[Some(placed)], &[(0, 100), (100, 200)]);
        assert_eq!(load.capabilities["lift"].there, [140, 200]);
        assert_eq!(load.capabilities["lift"].planned, [10, 10]);
        assert_eq!(load.skills["brakes"].there, [50, 20]);
        assert_eq!(load.skills["brakes"].planned, [10, 10]);
    }
}
