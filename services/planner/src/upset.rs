//! Why a job can't stay where a plan had it: what has changed since.

use crate::model::{BayId, JobId, Model, Placement, TechnicianId, Ticks};

/// What takes a job's place away.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Upset {
    /// It did not begin in time.
    Overdue,
    /// The dispatcher wants it elsewhere.
    Pinned,
    /// The bay is closed then.
    BayOut(BayId),
    /// The technician is not there then.
    Away(TechnicianId),
    /// The vehicle comes later.
    VehicleLater(Ticks),
    /// Its parts, or a hold, make it later.
    Later(Ticks),
    /// Work that runs, or is pinned, has the bay then.
    BayTaken(BayId, JobId),
    /// Work that runs, or is pinned, has the technician then.
    Busy(TechnicianId, JobId),
}

/// What keeps a job from staying there; none: nothing by itself, others came before it.
#[must_use]
pub fn upset(model: &Model, id: JobId, old: &Placement) -> Option<Upset> {
    let job = &model.jobs[id];
    let (start, end) = (old.start, old.end);
    let meets = |other: &(Ticks, Ticks)| other.0 < end && start < other.1;
    let elsewhere = job.pin.bay.is_some_and(|bay| old.bay != Some(bay))
        || job.pin.technician.is_some_and(|who| !old.technicians.contains(&who))
        || job.pin.start.is_some_and(|at| at != start);
    if job.fixed.is_none() && elsewhere {
        return Some(Upset::Pinned);
    }
    if let Some(bay) = old.bay.filter(|bay| model.bays[*bay].closed.iter().any(meets)) {
        return Some(Upset::BayOut(bay));
    }
    let absent = |who: &&TechnicianId| {
        let shifts = &model.technicians[**who].shifts;
        !shifts.iter().any(|shift| shift.0 <= start && start < shift.1)
            || job.pause.is_none() && !shifts.iter().any(|s| s.0 <= start && end <= s.1)
    };
    if let Some(who) = old.technicians.iter().find(absent) {
        return Some(Upset::Away(*who));
    }
    let arrival = model.orders[job.order].release;
    if arrival > start {
        return Some(Upset::VehicleLater(arrival));
    }
    if job.earliest > start {
        return Some(Upset::Later(job.earliest));
    }
    for (other, there) in model.jobs.iter().enumerate().filter(|(other, _)| *other != id) {
        let Some(there) = &there.fixed else { continue };
        if !meets(&(there.start, there.end)) {
            continue;
        }
        if let Some(bay) = there.bay.filter(|_| there.bay == old.bay) {
            return Some(Upset::BayTaken(bay, other));
        }
        if let Some(who) = there.technicians.iter().find(|who| old.technicians.contains(who)) {
            return Some(Upset::Busy(*who, other));
        }
    }
    (job.fixed.is_none() && start < model.now).then_some(Upset::Overdue)
}

impl Upset {
    /// It in words; `time` tells a moment.
    pub fn words(&self, model: &Model, time: impl Fn(Ticks) -> String) -> String {
        let job = |id: &JobId| &model.jobs[*id].name;
        match self {
            Self::Overdue => "it did not begin in time".to_owned(),
            Self::Pinned => "the dispatcher pinned it elsewhere".to_owned(),
            Self::BayOut(bay) => format!("{} is out of service then", model.bays[*bay].name),
            Self::Away(who) => format!("{} is not there then", model.technicians[*who].name),
            Self::VehicleLater(at) => format!("the vehicle is not there before {}", time(*at)),
            Self::Later(at) => format!("it can't begin before {}", time(*at)),
            Self::BayTaken(bay, other) => {
                format!("{} is taken by {} until later", model.bays[*bay].name, job(other))
            }
            Self::Busy(who, other) => {
                format!("{} is busy with {} until later", model.technicians[*who].name, job(other))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Upset, upset};
    use crate::improve::plan;
    use crate::outcome::Options;

    #[test]
    fn what_changed_is_named_and_nothing_where_the_place_still_holds() {
        let mut model = crate::samples::busy_shop(6);
        let options = Options { iterations: Some(200), ..Options::default() };
        let before = plan(&model, &options, &|| 0.0);
        let placed = |job: usize| before.placements[job].clone().expect("it is planned");
        let job = (0..model.jobs.len())
            .find(|job| model.jobs[*job].fixed.is_none() && placed(*job).bay.is_some())
            .expect("something is open");
        let old = placed(job);
        assert_eq!(upset(&model, job, &old), None);
        let whole = model.clone();

        let bay = old.bay.expect("it has a bay");
        model.bays[bay].closed.push((old.start, old.end));
        assert_eq!(upset(&model, job, &old), Some(Upset::BayOut(bay)));

        model.clone_from(&whole);
        model.technicians[old.technicians[0]].shifts.clear();
        assert_eq!(upset(&model, job, &old), Some(Upset::Away(old.technicians[0])));

        model.clone_from(&whole);
        let order = model.jobs[job].order;
        model.orders[order].release = old.start + 1;
        assert_eq!(upset(&model, job, &old), Some(Upset::VehicleLater(old.start + 1)));

        model.clone_from(&whole);
        model.jobs[job].earliest = old.start + 1;
        assert_eq!(upset(&model, job, &old), Some(Upset::Later(old.start + 1)));

        model.clone_from(&whole);
        model.jobs[job].pin.start = Some(old.start + 1);
        assert_eq!(upset(&model, job, &old), Some(Upset::Pinned));

        model.clone_from(&whole);
        model.now = old.start + 1;
        assert_eq!(upset(&model, job, &old), Some(Upset::Overdue));
    }
}
